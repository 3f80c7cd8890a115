import csv
import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groupscan.csvfile import csv_bytes, defused, read_csv, read_number, undefused
from groupscan.errors import TableError

# OWASP, "CSV Injection": what a cell must not begin with.
FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
DANGEROUS = (*FORMULA, "\t", "\r", "\n")
HOSTILE = [
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://x.example","y")',
    "@SUM(A1)",
    "+1",
    "-1+1",
    "\t=1",
    "\r=1",
    " =1",
    "＝1+1",
    'say "no"',
    "two\nlines",
    "a,b;c\td",
    "'=kept",
    "'tis",
    "Zoë 弓 🏹",
]
tricky = st.text(alphabet="'=+-@ ,;\t\r\n\"aé＝", max_size=8) | st.text(
    st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12
)


def written(folder, text, name="t.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8", newline="")
    return path


@given(tricky)
def test_what_is_defused_begins_no_formula_and_comes_back_exactly(text):
    safe = defused(text)
    assert undefused(safe) == text
    for between in ",;\t":  # whichever the spreadsheet takes for the end of a cell
        for cell in safe.split(between):
            assert not cell.startswith(FORMULA)
    assert not safe.startswith(DANGEROUS)
    assert not safe.lstrip().startswith(FORMULA)


@given(st.lists(tricky.filter(lambda text: "\ufeff" not in text), min_size=1, max_size=4))
def test_pythons_reader_and_pandas_read_what_we_wrote(texts):
    data = csv_bytes(pd.DataFrame({"arrow": texts, "x_mm": -1.5}))
    head, *rows = csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True)
    assert head == ["arrow", "x_mm"]
    assert [undefused(text) for text, _ in rows] == texts
    assert {number for _, number in rows} == {"-1.5"}
    frame = pd.read_csv(io.BytesIO(data), dtype={"arrow": str}, keep_default_na=False)
    # Its fast parser has all line ends inside a cell, a lone CR included.
    assert frame["arrow"].map(undefused).tolist() == texts
    assert frame["x_mm"].tolist() == [-1.5] * len(texts)


def test_hostile_text_comes_back_from_a_file(tmp_path):
    path = tmp_path / "t.csv"
    path.write_bytes(csv_bytes(pd.DataFrame({"=name": HOSTILE, "x": 1})))
    read = read_csv(path)
    assert read.heads == ("=name", "x")
    assert read.columns()["=name"] == HOSTILE


def test_a_formula_in_a_column_of_strings_is_defused():
    table = pd.DataFrame({"place": pd.Series(['=HYPERLINK("http://x")'], dtype="string")})
    assert b"'=HYPERLINK" in csv_bytes(table)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_comes_back_to_the_last_bit(number):
    data = csv_bytes(pd.DataFrame({"x": [number]})).decode("utf-8-sig")
    assert read_number(data.split()[1]) == number


@pytest.mark.parametrize("between", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_separators_marks_and_line_ends(tmp_path, between, mark):
    lines = ["A b", "c"], ["1", "x y"], [], ["2"]
    text = mark + "\r\n".join(between.join(line) for line in lines)
    read = read_csv(written(tmp_path, text))
    assert read.heads == ("a_b", "c")
    assert read.rows == [["1", "x y"], ["2", ""]]
    assert read.numbers == [2, 4]
    assert read.decimal_comma == (between == ";")


def test_a_row_of_several_lines_counts_once_as_in_a_spreadsheet(tmp_path):
    assert read_csv(written(tmp_path, 'a,b\n"one\ntwo",1\n3,4\n')).numbers == [2, 3]


def test_a_row_with_too_many_cells_is_told_but_empty_ones_are_not(tmp_path):
    read = read_csv(written(tmp_path, "a,b\n1,2,,\n1,2,3\n"))
    assert read.too_long == {3: 3}
    assert [len(row) for row in read.rows] == [2, 2]


@pytest.mark.parametrize(
    ("text", "decimal_comma", "number"),
    [("1.5", False, 1.5), ("1,5", True, 1.5), ("−2", False, -2.0), ("+1e1", False, 10.0)],
)
def test_numbers(text, decimal_comma, number):
    assert read_number(text, decimal_comma=decimal_comma) == number


@pytest.mark.parametrize("text", ["", "nan", "inf", "1e999", "1_000", "1,5", "1.234,5", "12mm"])
def test_what_is_no_number_is_nan(text):
    assert np.isnan(read_number(text))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"\n , \n", "is empty"),
        (b"a,b\n", "no shot"),
        (b"a,a\n1,2\n", "the column a twice"),
        (b"a,b\n\xff,1\n", "not UTF-8"),
        ("a,b\n1,2\n".encode("utf-16"), "not UTF-8"),
        ("a,b\n1,2\n".encode("utf-16-le"), "no text"),
        (b'a,b\n"1,2\n', r"no CSV table: .*\(line 2\)"),
        (b'a,b\n"1"x,2\n', r"no CSV table"),
    ],
)
def test_what_is_no_table_is_refused_by_name(tmp_path, data, words):
    path = tmp_path / "bad.csv"
    path.write_bytes(data)
    with pytest.raises(TableError, match=rf"bad\.csv.*{words}"):
        read_csv(path)


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(TableError, match="cannot be read"):
        read_csv(tmp_path / "none.csv")
