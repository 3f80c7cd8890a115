"""Notes and messages as their reader is told them: without the options of the command line."""

import re
from pathlib import Path

import pandas as pd
import pytest

import groupscan.decisions
from groupscan.decisions.pooling import NEVER_MIXED, POOLED, pooling_notes
from groupscan.errors import TableError
from groupscan.printouts.common import for_reader
from groupscan.records.preferences import Preferences


def table(**columns):
    count = len(next(iter(columns.values())))
    named = {name: [""] * count for name in (*POOLED, *NEVER_MIXED)} | columns
    return pd.DataFrame(named).assign(flyer=False)


def test_a_name_with_two_dashes_is_told_whole():
    heads = ["judo with --spring arms", "field"]
    (note,) = pooling_notes(table(head=heads))
    assert for_reader(note, Preferences()) == (
        "Shots with 2 heads are pooled (judo with --spring arms 1, field 1)."
    )


@pytest.mark.parametrize("column", NEVER_MIXED)
def test_who_reads_a_page_is_pointed_to_no_option(column):
    with pytest.raises(TableError, match=f"--{column}") as refused:
        pooling_notes(table(**{column: ["a", "b"]}))
    assert "--" not in for_reader(str(refused.value), Preferences())


@pytest.mark.parametrize("column", POOLED)
def test_no_note_points_to_one_either(column):
    (note,) = pooling_notes(table(**{column: ["a", "b"]}))
    assert f"--{column}" in note
    assert "--" not in for_reader(note, Preferences())


def test_every_option_that_a_decision_names_is_known_as_one():
    folder = Path(groupscan.decisions.__file__).parent
    text = "\n".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py"))
    named = set(re.findall(r"--([a-z]+(?:-[a-z]+)*)", text))
    assert {"by", "distance", "session"} <= named
    for option in named:
        said = f"there is more: choose with --{option} which"
        assert for_reader(said, Preferences()) == "there is more: choose", option
