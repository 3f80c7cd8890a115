"""Shooters, rigs, setups, builds, arrows and heads: kept, checked, and never lost."""

import itertools
import math
from dataclasses import fields, replace
from datetime import date, datetime
from typing import get_args

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groupscan.errors import StoreError
from groupscan.records.entries import ARROW_STATES, BOWS, HANDS, HEAD_KINDS
from groupscan.records.removal import Entry
from groupscan.records.store import (
    Arrow,
    Build,
    Head,
    Pin,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    Speed,
    add_pins,
    add_setup,
    add_speeds,
    delete_entry,
    get_arrow,
    get_build,
    get_head,
    get_rig,
    get_session,
    get_setup,
    get_shooter,
    list_arrows,
    list_builds,
    list_corrections,
    list_heads,
    list_pins,
    list_rigs,
    list_scans,
    list_sessions,
    list_setups,
    list_shooters,
    list_speeds,
    load_scan,
    restore_entry,
    save_arrow,
    save_build,
    save_head,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
)

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)
FUNCTIONS = {
    Shooter: (save_shooter, get_shooter),
    Rig: (save_rig, get_rig),
    Setup: (add_setup, get_setup),
    Build: (save_build, get_build),
    Arrow: (save_arrow, get_arrow),
    Head: (save_head, get_head),
}
LISTS = {
    "shooter": list_shooters,
    "rig": list_rigs,
    "setup": list_setups,
    "build": list_builds,
    "arrow": list_arrows,
    "head": list_heads,
    "speed": list_speeds,
    "pin": list_pins,
    "session": list_sessions,
    "scan": list_scans,
}
text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
above_zero = st.none() | st.floats(1e-300, 1e300)
from_zero = st.none() | st.just(0.0) | st.floats(1e-300, 1e300)
days = st.dates(date(1900, 1, 1), date(2200, 1, 1))
numbers = itertools.count()


def named() -> str:
    return f"Nº {next(numbers)} =1+1"


def without_keys(entry):
    own = {field.name for field in fields(entry)} & {"id", "revision", "first_id"}
    return replace(entry, **dict.fromkeys(own))


@st.composite
def entries(draw: st.DrawFn, store):
    """Draw an entry of any kind, with every field said or left out."""
    kind = draw(st.sampled_from(list(FUNCTIONS)))
    whose = draw(st.none() | st.just(1))
    if kind is Shooter:
        return Shooter(
            name=named(), hand=draw(st.sampled_from(HANDS)), coach_id=whose, goals=draw(text),
            notes=draw(text),
        )  # fmt: skip
    if kind is Rig:
        return Rig(
            name=named(), shooter_id=whose, bow=draw(st.sampled_from(BOWS)),
            hand=draw(st.sampled_from(HANDS)), notes=draw(text),
        )  # fmt: skip
    if kind is Head:
        return Head(
            name=named(), kind=draw(st.sampled_from(HEAD_KINDS)),
            blades=draw(st.none() | st.integers(0, 6)), cut_mm=draw(above_zero),
            mass_g=draw(above_zero), notes=draw(text),
        )  # fmt: skip
    if kind is Arrow:
        return Arrow(
            number=named(), build_id=whose, shooter_id=whose,
            state=draw(st.sampled_from([one for one in ARROW_STATES if one != "rebuilt"])),
            state_since=draw(st.none() | days), state_why=draw(text), mass_g=draw(above_zero),
            notes=draw(text),
        )  # fmt: skip
    if kind is Setup:
        sizes = ("draw_weight_n", "draw_length_mm", "sight_radius_mm", "peep_height_mm")
        return Setup(
            rig_id=1, since=draw(days), changed=draw(text), build_id=whose, rest=draw(text),
            sight=draw(text), notes=draw(text), **{name: draw(above_zero) for name in sizes},
        )  # fmt: skip
    whole = ("shaft_mm", "length_mm", "spine", "shaft_g_per_m", "mass_g", "balance_mm")
    parts = ("insert_g", "collar_g", "point_g", "fletching_g", "wrap_g", "nock_g")
    return Build(
        name=named(), shooter_id=whose, notes=draw(text),
        **{name: draw(text) for name in ("shaft", "insert", "fletching", "nock")},
        **{name: draw(above_zero) for name in whole}, **{name: draw(from_zero) for name in parts},
    )  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_every_entry_comes_back_as_it_went_in(shared_store, data):
    if list_rigs(shared_store).empty:
        save_shooter(shared_store, Shooter(name="Ada Fenwick"))
        save_rig(shared_store, Rig(name="Heron 62"))
        save_build(shared_store, Build(name="Long"))
    entry = data.draw(entries(shared_store))
    save, get = FUNCTIONS[type(entry)]
    kept = get(shared_store, save(shared_store, entry))
    assert without_keys(kept) == entry
    for field in fields(entry):  # to the bit, so not by ==, and no int for a float
        assert repr(getattr(without_keys(kept), field.name)) == repr(getattr(entry, field.name))


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (Shooter(name=" \t"), "name of the shooter is empty"),
        (Shooter(name="A", hand="both"), "hand of the shooter.*give one of right, left"),
        (Shooter(name="A", coach_id=7), "no shooter 7"),
        (Rig(name="R", bow="catapult"), "bow of the rig"),
        (Rig(name="R", shooter_id=7), "no shooter 7"),
        (Setup(rig_id=7, since=DAY), "no rig 7"),
        (Setup(rig_id=None, since=DAY), "rig_id of the setup"),
        (Setup(rig_id=1, since=None), "since of the setup"),
        (Setup(rig_id=1, since=datetime(2026, 5, 3, 12)), "without a time"),
        (Setup(rig_id=1, since=DAY, draw_weight_n=0.0), "draw_weight_n of the setup is 0"),
        (Setup(rig_id=1, since=DAY, draw_length_mm=-1.0), "draw_length_mm of the setup"),
        (Setup(rig_id=1, since=DAY, sight_radius_mm=math.inf), "finite"),
        (Setup(rig_id=1, since=DAY, build_id=7), "no build 7"),
        (Build(name="B", mass_g=0), "mass_g of the build"),
        (Build(name="B", insert_g=-0.1), "insert_g of the build.*from zero up"),
        (Build(name="B", spine="stiff"), "spine of the build"),
        (Build(name="B", length_mm=-700.0), "length_mm of the build"),
        (Arrow(number=""), "number of the arrow is empty"),
        (Arrow(number="1", state="lost"), "state of the arrow"),
        (Arrow(number="1", state="rebuilt"), "rebuild_arrow"),
        (Arrow(number="1", build_id=7), "no build 7"),
        (Arrow(number="1", mass_g=-3.0), "mass_g of the arrow"),
        (Head(name="H", kind="round"), "kind of the head"),
        (Head(name="H", blades=2.5), "blades of the head"),
        (Head(name="H", blades="two"), "blades of the head"),
        (Head(name="H", cut_mm=0.0), "cut_mm of the head"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_kept(store, entry, words):
    save_rig(store, Rig(name="Heron 62"))
    save, _ = FUNCTIONS[type(entry)]
    with pytest.raises(StoreError, match=words):
        save(store, entry)
    name = type(entry).__name__.lower()
    assert len(LISTS[name](store)) == (name == "rig")


def test_what_pandas_leaves_open_is_not_known(store):
    # A row of a table that pandas read: NA where a whole number misses, NaN for a float.
    saved = save_head(store, Head(name="H", blades=pd.NA, mass_g=math.nan, cut_mm=pd.NA))
    assert get_head(store, saved) == Head(name="H", id=saved, revision=1)
    arrow = save_arrow(store, Arrow(number="1", build_id=pd.NA, state_since=pd.NaT))
    assert get_arrow(store, arrow).build_id is None
    assert get_arrow(store, arrow).state_since is None


def test_a_change_of_the_rig_is_a_new_setup_and_old_sessions_keep_theirs(store):
    rig = save_rig(store, Rig(name="Heron 62", bow="recurve"))
    light = save_build(store, Build(name="Light", mass_g=24.0))
    heavy = save_build(store, Build(name="Heavy", mass_g=30.0))
    spring = Setup(rig_id=rig, since=date(2026, 3, 1), draw_weight_n=160.0, build_id=light)
    first = add_setup(store, spring)
    early = save_session(store, Session(held_on=date(2026, 4, 1), rig="Heron 62"))
    before = get_session(store, early)
    assert (before.setup_id, before.build_id) == (first, light)

    changed = replace(
        spring, since=date(2026, 5, 1), changed="limbs two pounds up", draw_weight_n=169.0,
        build_id=heavy,
    )  # fmt: skip
    second = add_setup(store, changed)
    assert get_session(store, early) == before
    assert get_setup(store, first) == replace(spring, id=first)
    late = get_session(
        store, save_session(store, Session(held_on=date(2026, 5, 1), rig="Heron 62"))
    )
    assert (late.setup_id, late.build_id) == (second, heavy)
    # One that is typed in later, but was held before the change, has the setup of its day.
    typed_late = save_session(store, Session(held_on=date(2026, 4, 30), rig="heron 62"))
    assert get_session(store, typed_late).setup_id == first
    too_early = save_session(store, Session(held_on=date(2026, 2, 28), rig="Heron 62"))
    assert get_session(store, too_early).setup_id is None
    told = list_setups(store, rig)
    assert told["since"].dt.date.tolist() == [date(2026, 3, 1), date(2026, 5, 1)]
    assert told["changed"].tolist() == ["", "limbs two pounds up"]
    assert told["build"].tolist() == ["Light", "Heavy"]


def test_a_setup_dated_before_a_session_that_is_there_does_not_slide_under_it(store):
    rig = save_rig(store, Rig(name="Heron 62"))
    first = add_setup(store, Setup(rig_id=rig, since=date(2026, 3, 1)))
    saved = save_session(store, Session(held_on=date(2026, 5, 3), rig="Heron 62"))
    add_setup(store, Setup(rig_id=rig, since=date(2026, 5, 1), changed="new string"))
    assert get_session(store, saved).setup_id == first
    # Nor does it when the session is saved again, whatever else changes in it.
    save_session(store, replace(get_session(store, saved), notes="windy", held_on=DAY))
    moved = replace(get_session(store, saved), held_on=date(2026, 5, 4))
    save_session(store, moved)
    assert get_session(store, saved).setup_id == first


def test_a_mistyped_day_takes_its_setup_along_and_a_chosen_setup_stays(store):
    rig = save_rig(store, Rig(name="Heron 62"))
    build = save_build(store, Build(name="Long"))
    first = add_setup(store, Setup(rig_id=rig, since=date(2025, 1, 1)))
    second = add_setup(store, Setup(rig_id=rig, since=date(2026, 1, 1), build_id=build))
    saved = save_session(store, Session(held_on=date(2025, 5, 3), rig="Heron 62"))
    assert get_session(store, saved).setup_id == first
    save_session(store, replace(get_session(store, saved), held_on=date(2026, 5, 3)))
    kept = get_session(store, saved)
    assert (kept.setup_id, kept.build_id) == (second, build)
    save_session(store, replace(kept, setup_id=first))
    save_session(store, replace(get_session(store, saved), held_on=date(2026, 5, 4)))
    assert get_session(store, saved).setup_id == first


def test_two_setups_of_one_day_count_as_they_were_added(store):
    rig = save_rig(store, Rig(name="Heron 62"))
    add_setup(store, Setup(rig_id=rig, since=DAY))
    last = add_setup(store, Setup(rig_id=rig, since=DAY, changed="again"))
    saved = save_session(store, Session(held_on=DAY, rig="Heron 62"))
    assert get_session(store, saved).setup_id == last


def test_a_setup_never_changes(store):
    rig = save_rig(store, Rig(name="Heron 62"))
    saved = add_setup(store, Setup(rig_id=rig, since=DAY, draw_weight_n=160.0))
    kept = get_setup(store, saved)
    with pytest.raises(StoreError, match="never changes: add the new state"):
        add_setup(store, replace(kept, draw_weight_n=170.0))
    assert get_setup(store, saved) == kept
    assert len(list_setups(store)) == 1
    assert list_corrections(store).empty


def test_a_session_cannot_have_the_setup_of_another_rig(store):
    other = add_setup(store, Setup(rig_id=save_rig(store, Rig(name="Slate")), since=DAY))
    with pytest.raises(StoreError, match="another rig"):
        save_session(store, Session(held_on=DAY, rig="Heron 62", setup_id=other))
    assert list_sessions(store).empty
    assert list_rigs(store)["name"].tolist() == ["Slate"]


def test_a_session_that_goes_to_another_rig_gets_that_rigs_setup(store):
    build = save_build(store, Build(name="Long"))
    rigs = [save_rig(store, Rig(name=name)) for name in ("Heron 62", "Slate")]
    setups = [add_setup(store, Setup(rig_id=key, since=DAY, build_id=build)) for key in rigs]
    saved = save_session(store, Session(held_on=DAY, rig="Heron 62"))
    save_session(store, replace(get_session(store, saved), rig="Slate"))
    kept = get_session(store, saved)
    assert (kept.rig_id, kept.setup_id, kept.build_id) == (rigs[1], setups[1], build)
    save_session(store, replace(kept, rig=""))
    kept = get_session(store, saved)
    assert (kept.rig_id, kept.setup_id) == (None, None)


@pytest.mark.parametrize(
    ("save", "entry", "same"),
    [
        (save_shooter, Shooter(name="Ada Fenwick"), {"name": " ada FENWICK "}),
        (save_head, Head(name="Straße"), {"name": "STRASSE"}),
        (save_head, Head(name="Caf\N{LATIN SMALL LETTER E WITH ACUTE}"), {"name": "Cafe\u0301"}),
        (save_rig, Rig(name="Heron 62"), {"name": "HERON 62"}),
        (save_build, Build(name="Long"), {"name": "long"}),
        (save_arrow, Arrow(number="3a"), {"number": "3A"}),
    ],
)
def test_a_name_is_given_once(store, save, entry, same):
    first = save(store, entry)
    with pytest.raises(StoreError, match="already"):
        save(store, replace(entry, **same))
    save(store, replace(entry, id=first, revision=1, notes="its own name is no other's"))


def test_owners_may_call_their_things_the_same(store):
    ada, bo = (save_shooter(store, Shooter(name=name)) for name in ("Ada", "Bo"))
    for save, entry in (
        (save_rig, Rig(name="Heron 62")),
        (save_build, Build(name="Long")),
        (save_arrow, Arrow(number="1")),
    ):
        assert len({save(store, replace(entry, shooter_id=who)) for who in (ada, bo, None)}) == 3


def test_nobody_coaches_themselves_by_way_of_others(store):
    ada = save_shooter(store, Shooter(name="Ada"))
    bo = save_shooter(store, Shooter(name="Bo", coach_id=ada))
    cy = save_shooter(store, Shooter(name="Cy", coach_id=bo))
    for coach in (ada, bo, cy):
        with pytest.raises(StoreError, match="coach"):
            save_shooter(store, replace(get_shooter(store, ada), coach_id=coach))
    assert get_shooter(store, ada).coach_id is None
    coaches = list_shooters(store).set_index("name")["coach"]
    assert coaches.to_dict() == {"Ada": "", "Bo": "Ada", "Cy": "Bo"}


def test_a_stale_copy_of_gear_cannot_undo_a_later_save(store):
    for save, get, entry in (
        (save_shooter, get_shooter, Shooter(name="A")),
        (save_rig, get_rig, Rig(name="R")),
        (save_build, get_build, Build(name="B")),
        (save_arrow, get_arrow, Arrow(number="1")),
        (save_head, get_head, Head(name="H")),
    ):
        mine = get(store, save(store, entry))
        save(store, replace(mine, notes="yours"))
        with pytest.raises(StoreError, match="load it again"):
            save(store, replace(mine, notes="mine"))
        assert get(store, mine.id).notes == "yours"


def make(store, entry: str) -> int:
    """Save an entry of a kind, with what it needs."""
    if entry == "setup":
        return add_setup(store, Setup(rig_id=make(store, "rig"), since=DAY))
    if entry == "speed":
        rig = make(store, "rig")
        one = Speed(rig_id=rig, taken_on=DAY, mass_g=26.7, speed_mps=85.3)
        return add_speeds(store, [one])[0]
    if entry == "pin":
        return add_pins(store, [Pin(rig_id=make(store, "rig"), set_on=DAY, distance_m=18.288)])[0]
    if entry == "session":
        return save_session(store, Session(held_on=DAY))
    if entry == "scan":
        return save_scan(store, ScanRecord(session_id=make(store, "session")))
    kinds = {kind.__name__.lower(): kind for kind in FUNCTIONS}
    kind = kinds[entry]
    name = "number" if kind is Arrow else "name"
    return FUNCTIONS[kind][0](store, kind(**{name: "One"}))


GET = {kind.__name__.lower(): get for kind, (_, get) in FUNCTIONS.items()}
GET |= {"session": get_session, "scan": load_scan}


@pytest.mark.parametrize("entry", get_args(Entry))
def test_what_is_deleted_is_hidden_until_it_is_restored(store, entry):
    key = make(store, entry)
    get = GET.get(entry, lambda store, _: LISTS[entry](store).to_dict("records"))
    before = get(store, key)
    delete_entry(store, entry, key)
    assert LISTS[entry](store).empty
    assert LISTS[entry](store, deleted=True)["id"].tolist() == [key]
    if entry in GET:
        with pytest.raises(StoreError, match="was deleted on"):
            get(store, key)
    restore_entry(store, entry, key)
    assert str(get(store, key)) == str(before)
    assert LISTS[entry](store, deleted=True).empty
    actions = list_corrections(store)[["action", "entry"]].to_numpy().tolist()
    assert actions == [["restored", entry], ["deleted", entry]]


def test_sessions_keep_the_gear_that_is_deleted(store):
    ada = save_shooter(store, Shooter(name="Ada"))
    rig = save_rig(store, Rig(name="Heron 62", shooter_id=ada))
    build = save_build(store, Build(name="Long"))
    setup = add_setup(store, Setup(rig_id=rig, since=DAY, build_id=build))
    saved = save_session(store, Session(held_on=DAY, shooter="Ada", rig="Heron 62"))
    before = get_session(store, saved)
    for entry, key in (("setup", setup), ("build", build), ("rig", rig), ("shooter", ada)):
        delete_entry(store, entry, key)
    assert get_session(store, saved) == before
    row = list_sessions(store).iloc[0]
    assert row[["shooter", "rig", "build"]].tolist() == ["Ada", "Heron 62", "Long"]
    save_session(store, replace(before, notes="saved again"))
    again = get_session(store, saved)
    assert replace(again, notes="", revision=1) == before
    # A new session of these names is another shooter's, with another rig.
    other = get_session(
        store, save_session(store, Session(held_on=DAY, shooter="Ada", rig="Heron 62"))
    )
    assert other.shooter_id != ada
    assert other.rig_id != rig
    with pytest.raises(StoreError, match="already"):
        restore_entry(store, "shooter", ada)
    assert list_shooters(store, deleted=True)["id"].tolist() == [ada]
