"""``groupscan report``: pages printed from the command line."""

from contextlib import closing
from datetime import date

import numpy as np
import pytest
from typer.testing import CliRunner

from groupscan.cli import app
from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.store import Outing, open_store, save_outings
from tests.printed_pages import page_sizes_mm, words_of


def run(*words):
    return CliRunner().invoke(app, ["report", *map(str, words)])


@pytest.fixture
def home(tmp_path):
    rng = np.random.default_rng(3)
    outings = []
    for n in range(2):
        shots = tuple(
            ShotRecord(
                number=i,
                x_mm=float(x),
                y_mm=float(y),
                head=("field point", "broad")[i % 2],
                arrow=str(1 + i % 4),
            )
            for i, (x, y) in enumerate(rng.normal(0, 10, (12, 2)), 1)
        )
        session = Session(held_on=date(2026, 5, 2 + n), shooter="Ola", rig="Kite", distance_m=18.0)
        scan = ScanRecord(session_id=0, scale_source="typed", shots=shots)
        outings.append(Outing(session, [scan]))
    with closing(open_store(tmp_path / "club")) as store:
        save_outings(store, outings)
    return tmp_path / "club"


def test_each_page_is_written_where_it_was_asked_for(home, tmp_path):
    out = tmp_path / "page.pdf"
    for words, title in (
        (["session", 1], "Session of 2026-05-02"),
        (["session"], "Session of 2026-05-03"),
        (["match", "--tolerance", "30mm", "--reference", "broad"], "field point against broad"),
        (["match", "--looks", "any", "--reference", "broad"], "settled after"),
        (["quiver", "--worth", "1in", "--distance", "18m"], "Quiver of Kite"),
        (["reach", "--circle", "6in", "--standard", "0.8"], "Reach of Kite"),
        (["student", "ola"], "Ola"),
    ):
        unit = [] if words[0] == "reach" else ["--unit", "inch"]
        result = run(
            *words, *unit, "--home", home, "--out", out, "--paper", "letter",
            "--made-on", "2026-06-01",
        )  # fmt: skip
        assert result.exit_code == 0, result.output
        assert "Wrote" in result.output
        made = out.read_bytes()
        assert page_sizes_mm(made)[0] == pytest.approx((215.9, 279.4), abs=0.1)
        assert title in words_of(made)
        assert "Made on 2026-06-01" in words_of(made)


@pytest.mark.parametrize(("looks", "each"), [("any", True), ("4", False), ("1", False)])
def test_only_who_looks_after_any_end_is_shown_how_it_stood_after_each(home, tmp_path, looks, each):
    """Of four looks, none knows after which ends they were taken."""
    out = tmp_path / "page.pdf"
    result = run("match", "--looks", looks, "--reference", "broad", "--home", home, "--out", out)
    assert result.exit_code == 0, result.output
    assert ("settled after" in words_of(out.read_bytes())) == each


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["session", 99], "99"),
        (["student", "Nobody"], "there is Ola"),
        (["match", "--by", "rig"], "no two rigs"),
        (["match", "--reference", "x"], "no shot has the head 'x'"),
        (["match", "--looks", "often"], "neither a number of looks"),
        (["quiver", "--distance", "50m"], "no shot from 50 m"),
        (["reach", "--standard", "9"], "standard"),
        (["session", 1, "--made-on", "soon"], "no day"),
        (["session", 1, "--out", "/nowhere/at/all.pdf"], "was not written"),
    ],
)
def test_what_cannot_be_printed_is_told_in_one_sentence(home, words, said):
    result = run(*words, "--home", home)
    assert result.exit_code != 0
    assert said in f"{result.output}{result.exception}"


def test_no_folder_is_made_for_records_that_are_not_there(tmp_path):
    result = run("session", "--home", tmp_path / "none")
    assert result.exit_code != 0
    assert not (tmp_path / "none").exists()
