"""Decisions from the command line: each answers on a table and on records, and refuses plainly."""

import json
import re
import sys
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from groupscan import cli
from groupscan.csvfile import csv_bytes
from groupscan.decisions.shot_table import read_shot_csv
from groupscan.errors import GroupscanError
from groupscan.records.store import (
    ScanRecord,
    Session,
    ShotRecord,
    add_photo,
    open_store,
    save_scan,
    save_session,
)
from groupscan.stats.reach import CAUTION
from sample_targets.practice_shots import write_season

SEASON = Path(__file__).parent.parent / "sample_targets" / "practice_shots.csv"
HERON = ("--rig", "Heron", "--distance", "20yd")
COMMANDS = {
    "group": (*HERON, "--head", "field point"),
    "compare": (*HERON, "--tolerance", "30mm", "--bow", "compound"),
    "arrows": (*HERON, "--worth", "30mm"),
    "season": ("--rig", "Heron", "--head", "field point"),
    "reach": ("--rig", "Slate", "--circle", "150mm"),
    "plan": (*HERON, "--offset", "30mm"),
}


def run(*arguments: object):
    return CliRunner().invoke(cli.app, [str(a) for a in arguments], env={"COLUMNS": "80"})


def told(*arguments: object) -> dict:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.output
    (line,) = result.stdout.splitlines()
    return json.loads(line, parse_constant=pytest.fail)


def table(folder: Path, text: str) -> Path:
    path = folder / "shots.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    """Records of six sessions of two ends, both heads in each; broadheads 60 mm low."""
    folder = tmp_path_factory.mktemp("records")
    rng = np.random.default_rng(8)
    with closing(open_store(folder)) as store:
        photo = add_photo(store, b"a photo", name="end.jpg")
        for week in range(6):
            day = date(2026, 5, 3) + timedelta(days=7 * week)
            key = save_session(store, Session(held_on=day, rig="Heron", distance_m=18.288))
            for _ in range(2):
                shots = []
                for number in range(1, 7):
                    low = 60.0 * (number > 3)
                    x, y = (float(v) for v in rng.normal(0, 12, 2))
                    head = "fixed-blade" if low else "field point"
                    shots.append(
                        ShotRecord(
                            number=number,
                            x_mm=100 + x,
                            y_mm=y - low,
                            auto_x_mm=100 + x,
                            auto_y_mm=y - low,
                            se_mm=0.2,
                            auto_se_mm=0.2,
                            auto_shared_se_mm=0.1,
                            head=head,
                            arrow=str(number),
                        )
                    )
                save_scan(
                    store,
                    ScanRecord(
                        session_id=key, photo_sha256=photo, image_size_px=(100, 100),
                        mm_to_px=((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)), aim_mm=(100.0, 0.0),
                        shots=tuple(shots),
                    ),
                )  # fmt: skip
    return folder


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_answers_on_the_sample_season_within_80_columns(command) -> None:
    result = run(command, SEASON, *COMMANDS[command])
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "nan" not in result.stdout
    assert "…" not in result.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_answers_on_records(command, home) -> None:
    options = [o for o in COMMANDS[command] if o != "Slate"]
    options = [o for o in options if o != "--rig" or "Heron" in options]
    assert told(command, "--home", home, *options)


def test_what_was_put_into_the_season_is_found() -> None:
    assert SEASON.exists()
    against = told("compare", SEASON, *COMMANDS["compare"])["centres"]["against"]
    assert {name: one["verdict"] for name, one in against.items()} == {
        "fixed-blade": "apart", "two-blade": "together", "expandable": "together",
    }  # fmt: skip
    odd = [a["name"] for a in told("arrows", SEASON, *HERON)["arrows"] if a["action"] != "none"]
    assert odd == ["4"]
    (change,) = told("season", SEASON, *COMMANDS["season"])["season"]["sigma_changes"]["changes"]
    assert change["first_after"] == "2026-06-06"


def test_the_season_is_what_its_script_writes(tmp_path) -> None:
    write_season(tmp_path / "again.csv")
    assert (tmp_path / "again.csv").read_bytes() == SEASON.read_bytes().replace(b"\r\n", b"\n")


def test_records_are_taken_about_their_aim_and_tell_no_order(home) -> None:
    (found,) = told("compare", "--home", home, "--tolerance", "30mm")["centres"]["against"].values()
    assert found["verdict"] == "apart"
    assert found["y"]["low"] < -60 < found["y"]["high"]
    x = told("group", "--home", home, "--head", "field point")["group"]["offset"]["x_mm"]
    assert abs(x) < 12
    assert told("season", "--home", home)["season"]["cold_arrow"] is None


def test_the_caution_stands_beside_every_reach() -> None:
    shown = run("reach", SEASON, *COMMANDS["reach"]).stdout
    assert CAUTION in " ".join(shown.split())


def test_a_written_order_is_filled_in_and_analysed(tmp_path) -> None:
    path = tmp_path / "order.csv"
    plan = ("plan", "--order", "field point,fixed-blade", "--arrows", 6, "--ends", 4)
    assert run(*plan, "--out", path).exit_code == 0
    head, *rows = path.read_text(encoding="utf-8-sig").splitlines()
    assert head.endswith("right_mm,high_mm")
    assert len(rows) == 24
    rng = np.random.default_rng(2)
    shot = [
        f"{row[:-1]}{rng.normal():.2f},{rng.normal() - 9 * ('fixed' in row):.2f}" for row in rows
    ]
    filled = table(tmp_path, "\n".join([head, *shot]))
    (offset,) = told("compare", filled, "--planned")["planned"]["offsets"]
    assert offset["verdict"] == "apart"
    assert told(*plan)["order"] == told(*plan)["order"]


def test_the_apps_own_table_is_read_back(tmp_path) -> None:
    import pandas as pd

    path = tmp_path / "holes.csv"
    shots = pd.DataFrame(
        {
            "session_id": 3, "held_on": pd.Timestamp("2026-05-03"), "scan_id": [7, 7, 8],
            "number": [1, 2, 1], "x_mm": 500.0, "y_mm": 500.0, "head": ["=A1", "@b", "field"],
            "right_mm": [1.0, 2.0, -3.0], "high_mm": [0.0, 5.0, 2.0],
        }
    )  # fmt: skip
    path.write_bytes(csv_bytes(shots))
    read = read_shot_csv([path])
    assert read["head"].tolist() == ["=A1", "@b", "field"]
    assert read["right_mm"].tolist() == [1.0, 2.0, -3.0]
    assert read["session"].unique().tolist() == ["2026-05-03"]
    assert read["order"].isna().all()


def test_semicolons_bring_decimal_commas(tmp_path) -> None:
    read = read_shot_csv([table(tmp_path, "x_mm;y_mm;distance\n1,5;-2,5;20 yd\n")])
    assert read[["right_mm", "high_mm", "distance_m"]].values.tolist() == [[1.5, -2.5, 18.288]]


@pytest.mark.parametrize(
    ("command", "text", "words"),
    [
        ("group", "right_mm,head\n1,a\n", "no columns right_mm and high_mm"),
        ("group", "", "is empty"),
        ("group", "right_mm,high_mm\n", "no shot"),
        ("group", "right_mm,high_mm\n1,2\n\nnan,3\n", "row 4, right_mm: 'nan' is no number"),
        ("group", "right_mm,high_mm\n1,\n", "row 2, high_mm: the cell is empty"),
        ("group", "right_mm,high_mm\n1,2,3\n", "row 2 has 3 cells for 2 columns"),
        ("group", "right_mm,high_mm,date\n1,2,3/5/26\n", "row 2: '3/5/26' is no date"),
        ("group", "right_mm,high_mm,rig\n1,2,a\n3,4,b\n", "choose one with --rig"),
        ("group", "right_mm,high_mm,distance_m\n1,2,18\n3,4,30\n", "choose one with --distance"),
        ("compare", "right_mm,high_mm,head\n1,2,a\n3,4,a\n", "two different ones are needed"),
        ("compare", "right_mm,high_mm,head\n1,2,a\n3,4,b\n", "say with --reference"),
        ("compare", "right_mm,high_mm\n1,2\n", "no shot says its head"),
        ("compare --by haed", "right_mm,high_mm,head\n1,2,a\n3,4,b\n", "choose one of: head"),
        ("arrows", "right_mm,high_mm\n1,2\n", "no shot says its arrow"),
        ("season", "right_mm,high_mm\n1,2\n", "have no session or date"),
        ("plan --offset 30mm", "right_mm,high_mm\n1,2\n", "give it with --scatter"),
        ("plan --offset 30mm", "right_mm,high_mm\n1,2\n1,2\n", "give it with --scatter"),
    ],
)
def test_a_table_that_cannot_answer_is_one_sentence_and_exit_code_two(
    command, text, words, tmp_path, monkeypatch, capsys
) -> None:
    monkeypatch.setattr(sys, "argv", ["groupscan", *command.split(), str(table(tmp_path, text))])
    with pytest.raises(SystemExit) as stop:
        cli.main()
    assert stop.value.code == 2
    said = capsys.readouterr().err
    assert words in said
    assert "Traceback" not in said


def test_ends_of_a_session_count_in_the_order_shot(tmp_path) -> None:
    rng = np.random.default_rng(3)
    rows = [
        f"2026-05-{day:02d},{end},{x:.1f},{y + 10 * end:.1f}"
        for day in range(1, 7)
        for end in range(1, 13)
        for x, y in rng.normal(0, 2, (3, 2))
    ]
    path = table(tmp_path, "\n".join(["date,end,right_mm,high_mm", *rows]))
    fatigue = told("season", path)["season"]["fatigue"]
    # As words, ends 10 to 12 would come before end 2.
    assert fatigue["y"]["value"] == pytest.approx(10, abs=0.3)
    heights = [end["y"]["value"] for end in fatigue["by_end"]]
    assert heights == sorted(heights)


def test_too_few_arrows_are_held_against_no_number(tmp_path) -> None:
    result = run("arrows", table(tmp_path, "right_mm,high_mm,arrow\n1,2,1\n5,1,2\n"))
    assert result.exit_code == 0
    assert "nan" not in result.output


def test_who_looks_often_is_told_that_tightness_is_for_one_look() -> None:
    def words(*looks: object) -> str:
        return " ".join(told("compare", SEASON, *HERON, *looks)["notes"])

    assert "one look" in words("--looks", "any")
    assert "one look" in words("--looks", 4)
    assert "one look" not in words("--looks", 1)
    assert "one look" not in words()


def test_an_order_says_of_all_builds_which_arrows_they_keep_or_of_none() -> None:
    with pytest.raises(GroupscanError, match="every build"):
        CliRunner().invoke(
            cli.app,
            ["plan", "--order", "old=1 2,new", "--arrows", "4", "--ends", "2"],
            catch_exceptions=False,
        )


def test_files_of_one_name_are_two_sessions_and_one_file_counts_once(tmp_path) -> None:
    paths = []
    for folder, right in (("may", 0), ("june", 100)):
        (tmp_path / folder).mkdir()
        paths.append(table(tmp_path / folder, f"end,right_mm,high_mm\n1,{right},0\n1,{right},5\n"))
    assert read_shot_csv(paths)["end"].nunique() == 2
    with pytest.raises(GroupscanError, match="given twice"):
        read_shot_csv([paths[0], tmp_path / "june" / ".." / "may" / paths[0].name])


def test_looks_are_a_plain_number_or_any(tmp_path) -> None:
    path = table(tmp_path, "right_mm,high_mm,head\n1,2,field point\n3,4,b\n")
    with pytest.raises(GroupscanError, match="neither a number of looks"):
        CliRunner().invoke(
            cli.app, ["compare", str(path), "--looks", "\u00b2"], catch_exceptions=False
        )


def test_reach_needs_a_circle_and_distances(tmp_path) -> None:
    path = table(tmp_path, "right_mm,high_mm\n1,2\n3,4\n")
    assert run("reach", path).exit_code == 2
    with pytest.raises(GroupscanError, match="give --distance"):
        CliRunner().invoke(cli.app, ["reach", str(path), "--circle", "9in"], catch_exceptions=False)


def test_a_column_of_one_file_only_parts_the_shots_of_both(tmp_path) -> None:
    with_builds = table(tmp_path, "build,right_mm,high_mm\nold,1,2\nold,3,4\nnew,5,5\nnew,1,9\n")
    without = tmp_path / "without.csv"
    without.write_text("right_mm,high_mm\n1,2\n3,4\n", encoding="utf-8")
    answer = told("compare", with_builds, str(without), "--by", "build", "--reference", "old")
    assert answer["shots"] == {"old": 2, "new": 2}
    assert answer["notes"] == ["2 shots do not say their build and are left out."]


def test_shots_without_a_distance_are_not_left_out_unsaid(tmp_path) -> None:
    given = table(tmp_path, "right_mm,high_mm,distance\n1,2,20yd\n3,4,\n5,1,20yd\n")
    answer = run("group", given, "--distance", "20yd")
    assert answer.exit_code == 2 or isinstance(answer.exception, GroupscanError)
    assert "1 of 3 shots have no distance" in str(answer.exception or answer.output)


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "group"])
def test_a_decision_is_told_in_inches_where_they_are_asked_for(name):
    result = run(name, SEASON, *COMMANDS[name], "--unit", "inch")
    assert result.exit_code == 0, result.output
    assert re.search(r"\bmm\b", result.stdout) is None
    assert re.search(r"\d in\b|, in\b", result.stdout)


@pytest.mark.parametrize("name", COMMANDS)
def test_json_holds_no_space_that_nobody_searches_for(name):
    result = run(name, SEASON, *COMMANDS[name], "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)
    assert re.findall(r"\\u00a0|\\u2060", result.stdout) == []


def test_numbers_in_inches_are_those_in_mm_over_25_4():
    said = {
        unit: run("compare", SEASON, *COMMANDS["compare"], "--unit", unit).stdout
        for unit in ("mm", "inch")
    }
    row = re.compile(r"fixed-blade\s+\d+\s+(-?[\d.]+) \((-?[\d.]+) to (-?[\d.]+)\)")
    mm, inches = ([float(x) for x in row.search(said[unit]).groups()] for unit in ("mm", "inch"))
    for a, b in zip(mm, inches, strict=True):
        assert a / 25.4 == pytest.approx(b, abs=0.6 / 25.4 + 0.05)


@pytest.mark.parametrize("unit", ["moa", "mrad"])
def test_angles_are_told_where_the_shots_have_one_distance(unit, tmp_path):
    result = run("arrows", SEASON, *COMMANDS["arrows"], "--unit", unit)
    assert result.exit_code == 0, result.output
    assert {"moa": "MOA; in brackets", "mrad": "mrad; in brackets"}[unit] in result.stdout
    path = table(
        tmp_path,
        "end,right_mm,high_mm,head\n" + "".join(
            f"{end},{end + x},{x},{head}\n" for end in range(4) for x in range(3)
            for head in ("field point", "broadhead")
        ),
    )  # fmt: skip
    refused = run("compare", path, "--unit", unit)
    assert refused.exit_code != 0
    assert "give --distance" in str(refused.exception)
