"""Printed pages of sessions, comparisons and students, from records of their own."""

import re
from contextlib import closing
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from groupscan.errors import StoreError, TableError
from groupscan.printouts import (
    paper_of,
    print_arrows,
    print_comparison,
    print_distances,
    print_session,
    print_student,
    student_named,
)
from groupscan.records.entries import Head, Rig, ScanRecord, Session, Shooter, ShotRecord
from groupscan.records.preferences import Preferences, save_preferences
from groupscan.records.store import (
    Outing,
    get_arrow,
    get_shooter,
    list_arrows,
    open_store,
    save_arrow,
    save_head,
    save_outings,
    save_rig,
    save_session,
    save_shooter,
)
from groupscan.report.palette import palette
from tests.printed_pages import blobs_mm, page_sizes_mm, text_edges_mm, words_of

DAY = date(2026, 6, 1)
HOSTILE = "<img src=q onerror=x> **[a](b)** $x^2$ \\\\n & “λ”"
# Width and height, mm: ISO 216 A4; ANSI/ASME Y14.1 size A is 8.5 x 11 in.
SIZES = {"a4": (210.0, 297.0), "letter": (8.5 * 25.4, 11 * 25.4)}


@pytest.fixture
def store(tmp_path):
    with closing(open_store(tmp_path / "club")) as opened:
        yield opened


def shots(places, **fields):
    return tuple(
        ShotRecord(number=i, x_mm=float(x), y_mm=float(y), **fields)
        for i, (x, y) in enumerate(places, 1)
    )


def keep(store, ends, *, held_on=date(2026, 5, 2), **session):
    scans = [ScanRecord(session_id=0, scale_source="typed", shots=end) for end in ends]
    about = Session(held_on=held_on, **{"shooter": "Ola", "distance_m": 18.0, **session})
    return save_outings(store, [Outing(about, scans)])[0]


def some(n, seed=1, sigma=12.0, at=(0.0, 0.0)):
    return np.random.default_rng(seed).normal(0, sigma, (n, 2)) + at


def inside_margins(contents):
    for (wide, tall), edges in zip(page_sizes_mm(contents), text_edges_mm(contents), strict=True):
        left, right, top, bottom = edges
        assert left > 14.5
        assert right < wide - 14.5
        assert top > 14.5
        assert bottom < tall - 5  # the foot stands in the margin, where printers still print
    return True


@pytest.mark.parametrize("paper", SIZES)
def test_a_session_takes_one_page_of_the_paper_asked_for(store, paper):
    key = keep(store, [shots(some(6, seed)) for seed in range(4)], rig="Kite")
    made = print_session(store, key, paper=paper, made_on=DAY)
    assert page_sizes_mm(made) == [pytest.approx(SIZES[paper], abs=0.1)]
    assert inside_margins(made)


def test_a_session_tells_the_numbers_the_meaning_what_was_pooled_and_whence(store):
    ends = [shots(some(6, 1, at=(60, 0)), head="field point"), shots(some(6, 2, at=(60, 0)))]
    key = keep(store, ends, rig="Kite", place="North butts", notes="New string.")
    words = words_of(print_session(store, key, made_on=DAY))
    assert "Session of 2026-05-02" in words
    assert "Ola · Kite · 18 m" in words
    assert "The group of 12 sits" in words
    assert re.search(r"Bring the impact \d+ mm left", words)
    assert re.search(r"Offset, sideways \d+ mm right \(\d+ to \d+\)", words)
    assert "value (95% interval)" in words
    assert "2 ends are pooled, each about its own aim" in words
    assert "Shots with 2 heads are pooled: field point 6, not said 6" in words
    assert "All ends were typed in" in words
    assert "North butts" in words
    assert "New string." in words
    assert "Walk up only when the range is clear" in words
    assert "no licence for a shot at game" in words
    assert "Made on 2026-06-01 by groupscan" in words
    assert f"from session {key}, ends 1, 2 of the records in club" in words


def test_the_picture_is_true_to_the_scale_that_it_states(store):
    places = [(-100.0, 0.0), (100.0, 0.0), (0.0, 80.0), (0.0, -80.0)]
    key = save_outings(
        store,
        [
            Outing(
                Session(held_on=DAY, shooter="Ola"),
                [ScanRecord(session_id=0, scale_source="typed", shots=shots(places))],
            )
        ],
    )[0]
    made = print_session(store, key, made_on=DAY)
    stated = float(re.search(r"Scale 1 : ([\d.]+)\.", words_of(made))[1])
    said = float(re.search(r"bar is 50 mm long: ([\d.]+) mm on the target", words_of(made))[1])
    assert said == 50 * stated
    # Shots of ends without a photo have a sign and a colour of their own.
    spots = blobs_mm(made, palette("light").typed)
    away = np.linalg.norm(spots[:, None] - spots[None], axis=2)
    for wanted in (200 / stated, 160 / stated):
        assert np.abs(away - wanted).min() < 0.15


def test_the_same_records_of_the_same_day_give_the_same_bytes(store):
    key = keep(store, [shots(some(6)), shots(some(6, 2))])
    assert print_session(store, key, made_on=DAY) == print_session(store, key, made_on=DAY)
    assert print_session(store, key, made_on=DAY) != print_session(
        store, key, made_on=date(2026, 6, 2)
    )


def test_what_users_typed_is_printed_as_text(store):
    key = keep(store, [shots(some(6), head=HOSTILE)], shooter=HOSTILE, place=HOSTILE, notes=HOSTILE)
    words = words_of(print_session(store, key, made_on=DAY))
    assert words.count(HOSTILE) >= 3
    student = print_student(store, student_named(store, HOSTILE), made_on=DAY)
    assert HOSTILE in words_of(student)


def test_letters_that_the_font_lacks_are_told_by_a_sign_and_nothing_is_warned_of(store, caplog):
    keep_heads(store, name="射 🎯 broad")
    words = words_of(print_comparison(store, made_on=DAY))
    assert "\ufffd \ufffd broad against field point" in words
    assert caplog.text == ""


def test_notes_are_printed_whole_where_there_is_room_and_long_words_are_broken(store):
    notes = "Wind from the left in gusts. " * 12 + "\nLast line.\n" + "W" * 300
    key = keep(store, [shots(some(6))], notes=notes, rig="R" * 110)
    made = print_session(store, key, made_on=DAY)
    words = words_of(made)
    assert len(page_sizes_mm(made)) == 1
    assert inside_margins(made)
    assert words.split().count("gusts.") == 12
    assert "Last line." in words
    assert words.replace(" ", "").count("W" * 300) == 1


@pytest.mark.parametrize("count", [7, 30])
def test_every_end_of_many_stands_on_the_page(store, count):
    key = keep(store, [shots(some(3, seed)) for seed in range(count)])
    made = print_session(store, key, made_on=DAY)
    words = words_of(made)
    assert all(f"End {i} " in words for i in range(1, count + 1))
    assert len(page_sizes_mm(made)) == 1
    assert inside_margins(made)


def test_flyers_marked_are_told_with_and_without(store):
    good = shots(some(7))
    odd = ShotRecord(number=8, x_mm=90.0, y_mm=90.0, flyer=True, flyer_why="let go early")
    words = words_of(print_session(store, keep(store, [(*good, odd)]), made_on=DAY))
    assert "Marked as flyers by the shooter, and counted: 8 (let go early)." in words
    assert "without those marked (8)" in words


def test_a_session_without_shots_says_so(store):
    key = save_session(store, Session(held_on=DAY))
    with pytest.raises(StoreError, match="no shot"):
        print_session(store, key)


def test_units_dates_and_paper_go_by_what_the_reader_prefers(store):
    key = keep(store, [shots(some(6, at=(60, 0)))], distance_m=18.288)
    save_preferences(store, Preferences(length="in", distance="yd", date_style="3 May 2026"))
    words = words_of(print_session(store, key, made_on=DAY))
    assert "Session of 2 May 2026" in words
    assert "20 yd" in words
    assert re.search(r"Offset, sideways [\d.]+ in right", words)
    assert paper_of(Preferences(length="in", remembered={"paper": "a4"})) == "a4"


def keep_heads(store, *, name="fixed-blade", sessions=1, owner=None, bow="compound", hand="right"):
    save_head(store, Head(name="field point", kind="field point"))
    save_head(store, Head(name=name, kind="fixed-blade"))
    save_rig(store, Rig(name="Kite", shooter_id=owner, bow=bow, hand=hand))
    for n in range(sessions):
        ends = []
        for seed in range(6):
            field, fixed = some(4, seed + 10 * n, 8.0), some(4, seed + 100, 8.0, at=(60.0, -40.0))
            ends.append(
                tuple(
                    ShotRecord(number=i, x_mm=float(x), y_mm=float(y), head=head)
                    for i, (head, (x, y)) in enumerate(
                        [("field point", p) for p in field] + [(name, p) for p in fixed], 1
                    )
                )
            )
        keep(store, ends, rig="Kite", held_on=date(2026, 5, 1 + n))


@pytest.mark.parametrize("paper", SIZES)
def test_a_comparison_tells_verdicts_tightness_and_what_to_move(store, paper):
    keep_heads(store)
    made = print_comparison(store, tolerance_mm=30.0, paper=paper, made_on=DAY)
    words = words_of(made)
    assert page_sizes_mm(made) == [pytest.approx(SIZES[paper], abs=0.1)]
    assert inside_margins(made)
    assert "Heads: fixed-blade against field point" in words
    assert "fixed-blade is apart from field point: it hits low right" in words
    assert "What to move first" in words
    assert "rest up" in words
    assert "For a right-handed compound bow" in words
    assert "How tight" in words
    assert "Tolerance 30 mm" in words
    assert "from session 2026-05-01 of the records in club" in words


def test_the_advice_on_paper_is_for_the_shooters_own_rig_and_hand(store):
    ann = save_shooter(store, Shooter(name="Ann"))
    ola = save_shooter(store, Shooter(name="Ola", hand="left"))
    save_rig(store, Rig(name="Kite", shooter_id=ann, bow="compound", hand="right"))
    keep_heads(store, owner=ola, bow="recurve", hand="")
    words = words_of(print_comparison(store, tolerance_mm=30.0, made_on=DAY))
    assert "For a left-handed recurve bow" in words


def test_paper_gives_no_advice_where_nobody_said_the_hand(store):
    keep_heads(store, hand="")
    words = words_of(print_comparison(store, tolerance_mm=30.0, made_on=DAY))
    assert "rest up" not in words
    assert "where bow and hand are known" in words


def test_a_comparison_names_kinds_as_they_are_typed_and_refuses_a_single_one(store):
    with pytest.raises(TableError):
        print_comparison(store)
    keep(store, [shots(some(6), head="judo")])
    with pytest.raises(TableError, match="nothing to compare"):
        print_comparison(store)
    keep_heads(store, name=HOSTILE)
    words = words_of(print_comparison(store, rig="Kite", made_on=DAY))
    assert words.count(HOSTILE) >= 2
    assert "--" not in words.replace("-" * 3, "")


@pytest.mark.parametrize("paper", SIZES)
def test_a_student_has_the_season_the_last_sessions_goals_and_notes(store, paper):
    for n in range(8):
        keep(
            store, [shots(some(6, 10 * n + k, sigma=8 if n < 4 else 24)) for k in range(3)],
            held_on=date(2026, 3, 1 + 3 * n), rig="Kite",
        )  # fmt: skip
    key = student_named(store, "ola")
    coach = save_shooter(store, Shooter(name="Wren"))
    ola = get_shooter(store, key)
    written = {"goals": "A calm anchor.", "notes": "Tired late.", "coach_id": coach}
    save_shooter(store, replace(ola, **written))
    made = print_student(store, key, paper=paper, made_on=DAY)
    words = words_of(made)
    assert page_sizes_mm(made)[0] == pytest.approx(SIZES[paper], abs=0.1)
    assert inside_margins(made)
    assert "Coach" in words
    assert "Wren" in words
    assert "A calm anchor." in words
    assert "Tired late." in words
    assert "wider" in words
    assert "What to work on" in words
    assert words.count("2026-03-22") >= 1
    assert "8 and 144" in words
    assert made == print_student(store, key, paper=paper, made_on=DAY)


def test_a_student_without_shots_has_a_page_that_says_what_is_missing(store):
    key = save_shooter(store, Shooter(name="Wren", goals="Start."))
    words = words_of(print_student(store, key, made_on=DAY))
    assert "No shot of this student can be measured yet" in words
    assert "Start." in words
    with pytest.raises(StoreError, match="there is Wren"):
        student_named(store, "Nobody")


def keep_arrows(store, *, distance_m=18.0, sigma=5.0, places=((0, 0), (2, 0), (0, -2), (60, 25))):
    """Three sessions of four ends, each arrow once an end about its own place."""
    rng = np.random.default_rng(5)
    for day in range(3):
        ends = [
            tuple(
                ShotRecord(
                    number=i, x_mm=x + rng.normal(0, sigma), y_mm=y + rng.normal(0, sigma),
                    arrow=str(i), head="field point",
                )
                for i, (x, y) in enumerate(places, 1)
            )
            for _ in range(4)
        ]  # fmt: skip
        keep(store, ends, rig="Kite", held_on=date(2026, 5, 1 + day), distance_m=distance_m)


@pytest.mark.parametrize("paper", SIZES)
def test_a_quiver_tells_each_arrows_offset_and_which_to_turn(store, paper):
    keep_arrows(store)
    made = print_arrows(store, worth_mm=30.0, paper=paper, made_on=DAY)
    words = words_of(made)
    assert page_sizes_mm(made) == [pytest.approx(SIZES[paper], abs=0.1)]
    assert inside_margins(made)
    assert "Quiver of Kite" in words
    assert "Ola · Kite · field point · 18 m" in words
    assert "Turn the nock of arrow 4 to the next vane and shoot again." in words
    x, y = (re.search(r" 4 ([\d.]+) mm right .*? ([\d.]+) mm high", words)[i] for i in (1, 2))
    # It was put 60 mm right and 25 mm high of the mean of the others: a third of 2 and -2 more.
    assert abs(float(x) - 60 + 2 / 3) < 6
    assert abs(float(y) - 25 - 2 / 3) < 6
    assert "flies apart; 12 shots" in words
    assert "Offset that matters 30 mm" in words
    assert "Walk up only when the range is clear" in words
    assert "from 3 sessions 2026-05-01, 2026-05-02, 2026-05-03 of the records in club" in words
    assert made == print_arrows(store, worth_mm=30.0, paper=paper, made_on=DAY)


def test_an_arrow_that_was_pulled_is_not_told_to_be_turned(store):
    keep_arrows(store)
    row = list_arrows(store).set_index("number").loc["4"]
    save_arrow(store, replace(get_arrow(store, int(row["id"])), state="pulled"))
    words = words_of(print_arrows(store, made_on=DAY))
    assert "Arrow 4 did not fly with the others and is out of use" in words
    assert "It is pulled already." in words


def test_arrows_of_several_distances_or_without_numbers_are_refused(store):
    keep(store, [shots(some(6))])
    with pytest.raises(TableError, match="arrow"):
        print_arrows(store)
    keep_arrows(store)
    keep_arrows(store, distance_m=30.0)
    with pytest.raises(TableError, match="several distances"):
        print_arrows(store, rig="Kite")


@pytest.mark.parametrize("paper", SIZES)
def test_a_reach_tells_circle_chances_the_distance_and_the_caution(store, paper):
    for away in (18.0, 30.0):
        keep_arrows(store, distance_m=away, sigma=away, places=((0, 0),) * 4)
    made = print_distances(store, circle_mm=150.0, standard=0.8, paper=paper, made_on=DAY)
    words = words_of(made)
    assert page_sizes_mm(made) == [pytest.approx(SIZES[paper], abs=0.1)]
    assert inside_margins(made)
    assert "Reach of Kite" in words
    assert "Circle about the aim" in words
    assert "150 mm across" in words
    assert "8 arrows in 10 inside" in words
    assert "18 m 48, 30 m 48" in words
    assert re.search(r"Rely on \d+ m: as far as that, these 96 arrows show 8 arrows in 10", words)
    # A round scatter of 18 mm at 18 m: 1 - exp(-75^2 / (2 18^2)) lands inside 75 mm (Rayleigh),
    # beyond what a chance of three nines says; at 30 m it is 95.6 %.
    inside = float(re.search(r"30 m ([\d.]+) \(", words)[1])
    assert abs(inside - 95.6) < 4
    assert "extrapolated" in words
    assert "not a licence for a shot at game" in words
    assert made == print_distances(store, circle_mm=150.0, standard=0.8, paper=paper, made_on=DAY)


def test_a_reach_asks_as_the_reader_did_last(store):
    keep_arrows(store, distance_m=18.288, sigma=18.0, places=((0, 0),) * 4)
    asked = {"reach_circle": "4 in", "reach_standard": 95}
    save_preferences(store, Preferences(length="in", distance="yd", remembered=asked))
    words = words_of(print_distances(store, made_on=DAY))
    assert words.count("4 in across") == 2  # in the sentence as beside it: somebody set it
    assert "95 arrows in 100 inside" in words
    assert "20 yd 48" in words
