"""Pages that have more to tell than a page holds: one sheet of paper all the same."""

from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from groupscan.printouts import (
    print_arrows,
    print_comparison,
    print_distances,
    print_session,
    print_student,
    student_named,
)
from groupscan.records.entries import Rig, ScanRecord, Session, Setup, ShotRecord
from groupscan.records.store import (
    Outing,
    add_setup,
    get_shooter,
    open_store,
    save_outings,
    save_rig,
    save_shooter,
)
from tests.printed_pages import page_sizes_mm, text_edges_mm, words_of

DAY = date(2026, 6, 1)
# From right to left, letters that no font here has, a picture, a word without an end.
LONG = "קשת ארוכה " + "弓 " * 6 + "🎯 " + "compound with the long stabiliser " + "X" * 30
RIG = (LONG + " " * 80)[:80].strip()
HEADS = [f"{kind}, {LONG}"[:78] for kind in ("field point", "fixed", "expandable", "two-blade")]
NOTES = "Wind from the left in gusts. " * 150 + "\nLast line.\n" + "W" * 600
RANGE = "Walk up only when the range is clear"
GAME = "In doubt, ask a qualified technician or coach."

pytestmark = pytest.mark.parametrize("paper", ["a4", "letter"])


@pytest.fixture
def store(tmp_path):
    with closing(open_store(tmp_path / "club")) as opened:
        yield opened


def shots(rng, *, arrows=("",), heads=("",), sigma=12.0, flyers=0):
    return tuple(
        ShotRecord(
            number=i, x_mm=float(x + 9 * (i % 5)), y_mm=float(y), arrow=arrow, head=head,
            flyer=i <= flyers, flyer_why=LONG if i <= flyers else "",
        )
        for i, ((arrow, head), (x, y)) in enumerate(
            (
                (pair, rng.normal(0, sigma, 2))
                for pair in ((arrow, head) for arrow in arrows for head in heads)
            ),
            1,
        )
    )  # fmt: skip


def fill(store, sessions, ends, *, distances=(18.0,), notes="", **of_shots):
    rng = np.random.default_rng(4)
    outings = []
    for n in range(sessions):
        scans = [
            ScanRecord(session_id=0, scale_source="typed", shots=shots(rng, **of_shots))
            for _ in range(ends)
        ]
        about = Session(
            held_on=date(2026, 1, 3) + timedelta(days=4 * n), shooter="Ola " + LONG, rig=RIG,
            distance_m=distances[n % len(distances)], notes=notes, place=LONG, purpose=LONG,
            weather=LONG, temperature_c=4.0, wind_m_s=3.0,
        )  # fmt: skip
        outings.append(Outing(about, scans))
    return save_outings(store, outings)


def one_sheet(contents, *, cautions=True):
    """The words of a page that is whole: one sheet, nothing over its edge, its cautions read."""
    (size,) = page_sizes_mm(contents)
    ((left, right, top, bottom),) = text_edges_mm(contents)
    assert left > 14.5
    assert right < size[0] - 14.5
    assert top > 14.5
    assert bottom < size[1] - 5
    words = words_of(contents)
    assert GAME in words
    assert not cautions or RANGE in words
    assert "continued" not in words
    return words


def test_a_session_of_many_ends_heads_flyers_and_long_notes(store, paper):
    (key,) = fill(store, 1, 60, notes=NOTES, heads=HEADS, flyers=2)
    words = one_sheet(print_session(store, key, paper=paper, made_on=DAY))
    assert "more ends, on the Group sheet" in words
    assert "Bring the impact" in words
    assert "R90" in words
    assert "more notes in the app" in words
    assert "(more in the app)" in words
    assert words.count("gusts.") >= 1
    assert "Scale 1 : " in words


def test_a_comparison_of_long_names_over_many_sessions_with_looks(store, paper):
    save_rig(store, Rig(name=RIG, bow="compound", hand="right"))
    fill(store, 9, 3, heads=HEADS, arrows=("1", "2", "3"))
    made = print_comparison(store, tolerance_mm=300.0, looks=float("inf"), paper=paper, made_on=DAY)
    words = one_sheet(made)
    assert "Looked at after every end" in words
    for head in HEADS:  # each with its row, however long its name is
        assert words.count(head[:5]) >= 3


def test_a_student_with_many_changes_goals_and_notes(store, paper):
    rig = save_rig(store, Rig(name=RIG, bow="compound", hand="right"))
    for n in range(14):
        since = date(2026, 1, 4) + timedelta(days=8 * n)
        add_setup(store, Setup(rig_id=rig, since=since, changed=LONG, notes=NOTES[:400]))
    fill(store, 30, 3, arrows=("1", "2", "3", "4"), heads=HEADS[:1])
    key = student_named(store, "Ola " + LONG)
    save_shooter(store, replace(get_shooter(store, key), goals=NOTES, notes=NOTES))
    words = one_sheet(print_student(store, key, paper=paper, made_on=DAY), cautions=False)
    assert "Goals" in words
    assert "Notes" in words
    assert words.count("(more in the app)") >= 2


def test_a_quiver_of_two_dozen_arrows_with_long_names(store, paper):
    arrows = [f"{n}{'' if n % 3 else ' ' + LONG[:17]}" for n in range(1, 25)]
    fill(store, 3, 2, arrows=arrows, heads=HEADS[:2])
    words = one_sheet(print_arrows(store, paper=paper, made_on=DAY))
    assert "more arrows, on the Quiver screen" in words
    assert "Arrow by arrow" in words


def test_a_reach_over_many_distances(store, paper):
    fill(store, 12, 1, distances=(10.0, 18.0, 25.0, 40.0, 60.0), heads=HEADS, arrows=("1", "2"))
    words = one_sheet(print_distances(store, paper=paper, made_on=DAY))
    assert "not a licence for a shot at game" in words
    assert "Circle about the aim" in words
