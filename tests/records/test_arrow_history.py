"""Which arrow was which: numbers go on, shafts are built anew and break, and no shot loses its own.

Weekly changes of build are common practice among archers who tune; no source.
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from groupscan.errors import StoreError
from groupscan.records.store import (
    Arrow,
    Build,
    Outing,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    add_setup,
    delete_entry,
    get_arrow,
    get_session,
    list_arrows,
    list_corrections,
    load_scan,
    rebuild_arrow,
    rebuild_arrows,
    restore_entry,
    save_arrow,
    save_arrows,
    save_build,
    save_outings,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
    shots_frame,
)

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)
WEEK = timedelta(days=7)


def end(*arrows: str, **changes) -> ScanRecord:
    shots = tuple(
        ShotRecord(number=k, x_mm=float(k), y_mm=0.0, arrow=arrow)
        for k, arrow in enumerate(arrows, start=1)
    )
    return replace(ScanRecord(session_id=0, shots=shots), **changes)


def shoot(store, day, *arrows: str, **session) -> int:
    """Save a session with one end and return its id."""
    [saved] = save_outings(store, [Outing(Session(held_on=day, **session), [end(*arrows)])])
    return saved


def arrow_ids(store, session_id) -> list[int]:
    return [int(key) for key in shots_frame(store, session_ids=[session_id])["arrow_id"]]


@pytest.fixture
def builds(store):
    return [save_build(store, Build(name=name)) for name in ("Long", "Short", "Heavy")]


def test_a_season_of_weekly_rebuilds_keeps_every_shot_its_arrow_and_build(store, builds):
    save_shooter(store, Shooter(name="Ada"))
    rig = save_rig(store, Rig(name="Heron 62"))
    arrows = {
        number: save_arrow(store, Arrow(number=number, build_id=builds[0]))
        for number in ("1", "2", "3")
    }
    shafts = dict(arrows)
    told: dict[date, dict[str, tuple[int, str]]] = {}
    names = ("Long", "Short", "Heavy")
    sessions = []
    for week in range(26):
        day = DAY + week * WEEK
        turn = week % 3
        add_setup(store, Setup(rig_id=rig, since=day, build_id=builds[turn]))
        if week:
            arrows = {
                number: rebuild_arrow(store, key, builds[turn], on=day, why="weekly test")
                for number, key in arrows.items()
            }
        told[day] = {number: (key, names[turn]) for number, key in arrows.items()}
        sessions.append(shoot(store, day, "1", "2", "3", shooter="Ada", rig="Heron 62"))
    # An end of each week that is typed in after the season finds the arrows of its day.
    for session_id in sessions:
        save_scan(store, end("3", "1", "2", session_id=session_id))

    frame = shots_frame(store)
    assert len(frame) == 26 * 6
    of = list_arrows(store).set_index("id")
    assert len(of) == 26 * 3
    for row in frame.itertuples():
        key, build = told[row.held_on.date()][row.arrow]
        assert (row.arrow_id, row.build, of.loc[row.arrow_id, "build"]) == (key, build, build)
    assert (frame.groupby("arrow_id").size() == 2).all()
    for number, first in shafts.items():
        history = shots_frame(store, shaft_id=first)
        assert history["arrow"].tolist() == [number] * 52
        assert set(history["shaft_id"]) == {first}
        assert history["held_on"].is_monotonic_increasing
        rows = of[of["shaft_id"] == first]
        assert rows["state"].tolist() == ["rebuilt"] * 25 + ["in use"]
        assert rows["build"].tolist() == [names[week % 3] for week in range(26)]
        assert rows["state_why"].iloc[-1] == "weekly test"


def test_a_rebuilt_arrow_keeps_its_number_and_leaves_its_mass_behind(store, builds):
    first = save_arrow(
        store, Arrow(number="7", build_id=builds[0], mass_g=25.1, notes="nick at the nock")
    )
    second = rebuild_arrow(store, first, builds[1], on=DAY, why="longer insert")
    assert get_arrow(store, first) == Arrow(
        number="7", build_id=builds[0], mass_g=25.1, notes="nick at the nock", state="rebuilt",
        state_since=DAY, state_why="longer insert", id=first, revision=2,
    )  # fmt: skip
    assert get_arrow(store, second) == Arrow(
        number="7", build_id=builds[1], notes="nick at the nock", state_since=DAY,
        state_why="longer insert", first_id=first, id=second, revision=1,
    )  # fmt: skip
    third = rebuild_arrow(store, second, builds[0], on=DAY)
    assert get_arrow(store, third).first_id == first


def test_a_rebuilt_arrow_takes_no_number_that_another_has(store, builds):
    old = save_arrow(store, Arrow(number="7", build_id=builds[0]))
    taken = save_arrow(store, Arrow(number="7", build_id=builds[1]))
    with pytest.raises(StoreError, match="already"):
        rebuild_arrow(store, old, builds[1], on=DAY)
    assert get_arrow(store, old).state == "in use"
    save_arrow(store, replace(get_arrow(store, taken), state="broken", state_since=DAY))
    rebuild_arrow(store, old, builds[1], on=DAY)
    assert list_corrections(store)["after"].map(lambda after: after["state"]).tolist() == [
        "rebuilt",
        "broken",
    ]


def test_several_arrows_are_saved_or_built_anew_all_or_none(store, builds):
    keys = save_arrows(store, [Arrow(number=n, build_id=builds[0]) for n in ("1", "2", "3")])
    with pytest.raises(StoreError, match="already"):
        save_arrows(store, [Arrow(number=n, build_id=builds[0]) for n in ("4", "5", "3")])
    assert list_arrows(store)["number"].tolist() == ["1", "2", "3"]
    save_arrow(store, Arrow(number="3", build_id=builds[1]))
    with pytest.raises(StoreError, match="already"):
        rebuild_arrows(store, keys, builds[1], on=DAY)
    assert list_arrows(store)["state"].tolist() == ["in use"] * 4
    rebuilt = rebuild_arrows(store, keys[:2], builds[1], on=DAY)
    assert [get_arrow(store, key).first_id for key in rebuilt] == keys[:2]


@pytest.mark.parametrize(
    ("which", "build", "day", "words"),
    [
        ("old", 2, DAY, "built anew already"),
        ("new", 1, DAY, "another build"),
        ("new", 2, DAY - WEEK, "before that"),
        ("new", 9, DAY, "no build"),
        ("none", 2, DAY, "no arrow"),
        ("new", 2, None, "without a time"),
    ],
)
def test_what_cannot_be_rebuilt_stays_as_it_is(store, builds, which, build, day, words):
    old = save_arrow(store, Arrow(number="7", build_id=builds[0]))
    new = rebuild_arrow(store, old, builds[1], on=DAY)
    before = list_arrows(store)
    key = {"old": old, "new": new, "none": 99}[which]
    with pytest.raises(StoreError, match=words):
        rebuild_arrow(store, key, builds[build] if build < 3 else 99, on=day)
    assert list_arrows(store).equals(before)


def test_an_arrow_keeps_its_build_when_it_is_saved_again(store, builds):
    saved = save_arrow(store, Arrow(number="7"))
    save_arrow(store, replace(get_arrow(store, saved), build_id=builds[0]))  # now it is known
    for build in (builds[1], None):
        with pytest.raises(StoreError, match="keeps its build"):
            save_arrow(store, replace(get_arrow(store, saved), build_id=build))


def test_a_shaft_is_one_arrow_at_a_time(store, builds):
    old = save_arrow(store, Arrow(number="7", build_id=builds[0]))
    new = rebuild_arrow(store, old, builds[1], on=DAY)
    with pytest.raises(StoreError, match="arrow 2 now"):
        save_arrow(store, replace(get_arrow(store, old), state="in use"))
    # Taking the rebuilding back: the new one is deleted, the old one is in use again.
    delete_entry(store, "arrow", new)
    save_arrow(store, replace(get_arrow(store, old), state="in use", state_since=None))
    with pytest.raises(StoreError, match="built anew"):
        restore_entry(store, "arrow", new)
    assert list_arrows(store)["id"].tolist() == [old]
    assert list_arrows(store, deleted=True)["id"].tolist() == [new]


def test_a_number_is_free_again_when_its_arrow_broke(store, builds):
    first = save_arrow(store, Arrow(number="7", build_id=builds[0]))
    before = shoot(store, DAY, "7", build_id=builds[0])
    broken = replace(get_arrow(store, first), state="broken", state_since=DAY, state_why="cracked")
    save_arrow(store, broken)
    second = save_arrow(store, Arrow(number="7", build_id=builds[0]))
    assert arrow_ids(store, before) == [first]
    after = shoot(store, DAY + WEEK, "7", build_id=builds[0])
    assert arrow_ids(store, after) == [second]
    # Typed in later, but shot on the day on which it broke.
    late = shoot(store, DAY, "7", build_id=builds[0])
    assert arrow_ids(store, late) == [first]
    with pytest.raises(StoreError, match="already"):
        save_arrow(store, replace(get_arrow(store, first), state="in use"))


def test_a_broken_arrow_is_not_shot_again(store, builds):
    first = save_arrow(
        store, Arrow(number="7", build_id=builds[0], state="broken", state_since=DAY)
    )
    again = shoot(store, DAY + WEEK, "7", build_id=builds[0])
    assert arrow_ids(store, again) != [first]
    assert list_arrows(store)["state"].tolist() == ["broken", "in use"]


def test_a_broken_arrow_of_no_known_day_is_still_found(store, builds):
    first = save_arrow(store, Arrow(number="7", build_id=builds[0], state="broken"))
    assert arrow_ids(store, shoot(store, DAY, "7", build_id=builds[0])) == [first]


def test_a_pulled_arrow_keeps_its_number(store, builds):
    first = save_arrow(
        store, Arrow(number="7", build_id=builds[0], state="pulled", state_since=DAY)
    )
    assert arrow_ids(store, shoot(store, DAY + WEEK, "7", build_id=builds[0])) == [first]
    with pytest.raises(StoreError, match="already"):
        save_arrow(store, Arrow(number="7", build_id=builds[0]))


def test_a_session_whose_build_is_corrected_gets_the_arrows_of_that_build(store, builds):
    arrows = [
        [save_arrow(store, Arrow(number=n, build_id=build)) for n in ("1", "2")]
        for build in builds[:2]
    ]
    saved = shoot(store, DAY, "1", "2", "1", "", build_id=builds[0])
    other = shoot(store, DAY, "1", build_id=builds[0])
    save_session(store, replace(get_session(store, saved), build_id=builds[1]))
    assert shots_frame(store, session_ids=[saved])["arrow_id"].tolist()[:3] == [
        arrows[1][0], arrows[1][1], arrows[1][0],
    ]  # fmt: skip
    assert shots_frame(store, session_ids=[saved])["arrow"].tolist() == ["1", "2", "1", ""]
    assert arrow_ids(store, other) == [arrows[0][0]]
    changed = list_corrections(store)
    assert changed["entry"].tolist() == ["shot"] * 3 + ["session"]
    assert all(set(line) == {"arrow"} for line in changed["before"][:3])
    # And back: nothing is lost by the mistake.
    save_session(store, replace(get_session(store, saved), build_id=builds[0]))
    assert shots_frame(store, session_ids=[saved])["arrow_id"].tolist()[:3] == [
        arrows[0][0], arrows[0][1], arrows[0][0],
    ]  # fmt: skip


def test_an_end_that_goes_to_another_shooters_session_takes_no_arrows_along(store, builds):
    ada, bo = (save_shooter(store, Shooter(name=name)) for name in ("Ada", "Bo"))
    of = {
        who: save_arrow(store, Arrow(number="1", build_id=builds[0], shooter_id=who))
        for who in (ada, bo)
    }
    first, second = (
        shoot(store, DAY, "1", "1", shooter=name, build_id=builds[0]) for name in ("Ada", "Bo")
    )
    scan_id = int(shots_frame(store, session_ids=[first])["scan_id"].iloc[0])
    record = load_scan(store, scan_id)
    save_scan(store, replace(record, session_id=second, shots=record.shots[:1]))
    moved = shots_frame(store, scan_ids=[scan_id], removed=True)
    assert moved["arrow_id"].tolist() == [of[bo]] * 2
    assert moved["removed"].tolist() == [False, True]


def test_a_renumbered_arrow_keeps_its_shots(store, builds):
    saved = save_arrow(store, Arrow(number="1", build_id=builds[0]))
    session_id = shoot(store, DAY, "1", build_id=builds[0])
    save_arrow(store, replace(get_arrow(store, saved), number="11"))
    frame = shots_frame(store, session_ids=[session_id])
    assert frame[["arrow", "arrow_id"]].to_numpy().tolist() == [["11", saved]]
    record = load_scan(store, int(frame["scan_id"].iloc[0]))
    save_scan(store, replace(record, warnings=("saved again",)))
    assert arrow_ids(store, session_id) == [saved]


def test_a_deleted_arrow_keeps_its_shots_and_gives_its_number_free(store, builds):
    first = save_arrow(store, Arrow(number="1", build_id=builds[0]))
    session_id = shoot(store, DAY, "1", build_id=builds[0])
    delete_entry(store, "arrow", first)
    record = load_scan(store, int(shots_frame(store)["scan_id"].iloc[0]))
    save_scan(store, replace(record, shots=(replace(record.shots[0], x_mm=9.0),)))
    assert arrow_ids(store, session_id) == [first]
    assert shots_frame(store, shaft_id=first)["x_mm"].tolist() == [9.0]
    second = save_arrow(store, Arrow(number="1", build_id=builds[0]))
    assert arrow_ids(store, shoot(store, DAY, "1", build_id=builds[0])) == [second]
