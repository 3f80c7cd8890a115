"""A name means the entry that a person would mean, and makes one where there is none."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date

import pytest

from groupscan.records import schema
from groupscan.records.connect import writing
from groupscan.records.names import ForeseenNames, Names
from groupscan.records.store import (
    Arrow,
    Head,
    Rig,
    Session,
    Setup,
    Shooter,
    add_setup,
    delete_entry,
    get_head,
    get_session,
    get_shooter,
    list_arrows,
    list_heads,
    list_rigs,
    list_sessions,
    list_shooters,
    restore_entry,
    save_arrow,
    save_head,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
)

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)


def session(store, **said):
    return get_session(store, save_session(store, Session(held_on=DAY, **said)))


@pytest.mark.parametrize(
    ("kept", "typed"),
    [
        ("Ada Fenwick", "Ada Fenwick"),
        ("Ada Fenwick", "ADA fenwick"),
        ("Ada Fenwick", "  Ada Fenwick\t"),
        ("Jürgen Straße", "JÜRGEN STRASSE"),
        ("Zo\N{LATIN SMALL LETTER E WITH DIAERESIS}", "ZOE\u0308"),
        ("Σίσυφος", "ΣΊΣΥΦΟΣ"),
    ],
)
def test_a_name_is_known_again_however_it_is_typed(store, kept, typed):
    key = save_shooter(store, Shooter(name=kept))
    found = session(store, shooter=typed)
    assert (found.shooter_id, found.shooter) == (key, kept)
    assert len(list_shooters(store)) == 1


def test_names_that_differ_make_two(store):
    ids = {session(store, shooter=name).shooter_id for name in ("Ada", "Ada F", "Zoe", "Zoé", "I")}
    assert len(ids) == len(list_shooters(store)) == 5


def test_letter_by_letter_goes_before_whatever_the_case(store):
    # Two that differ in case come from two stores that were put together.
    with writing(store) as connection:
        names = Names(connection)
        first, second = (names._make(schema.head, {"name": name}) for name in ("Fix", "FIX"))
    with writing(store) as connection:
        names = Names(connection)
        assert (names.head("Fix"), names.head("FIX")) == (first, second)
        assert names.head("fix") == second  # the later one, whatever the case


def test_nothing_is_made_of_an_empty_name(store):
    found = session(store, shooter=" ", rig="")
    assert (found.shooter_id, found.rig_id) == (None, None)
    assert list_shooters(store).empty
    assert list_rigs(store).empty


def test_a_rig_is_the_shooters_own_before_one_that_is_shared(store):
    ada, bo = (save_shooter(store, Shooter(name=name)) for name in ("Ada", "Bo"))
    shared = save_rig(store, Rig(name="Heron"))
    own = save_rig(store, Rig(name="Heron", shooter_id=ada))
    assert session(store, shooter="Ada", rig="heron").rig_id == own
    assert session(store, shooter="Bo", rig="heron").rig_id == shared
    assert session(store, rig="heron").rig_id == shared
    slate = session(store, shooter="Bo", rig="Slate").rig_id
    assert list_rigs(store).set_index("id").loc[slate, "shooter_id"] == bo
    assert session(store, shooter="Ada", rig="Slate").rig_id != slate


def test_a_head_that_is_called_as_its_kind_is_of_that_kind(store, make_scan, make_shot):
    heads = ("Bare shaft", "Vane X")
    save_scan(store, make_scan(shots=tuple(make_shot(k, head=heads[k - 1]) for k in (1, 2))))
    assert list_heads(store)[["name", "kind"]].to_numpy().tolist() == [
        ["Bare shaft", "bare shaft"],
        ["Vane X", ""],
    ]


def test_a_deleted_name_is_made_anew_and_the_old_one_stays_with_its_sessions(store):
    before = session(store, shooter="Ada")
    delete_entry(store, "shooter", before.shooter_id)
    after = session(store, shooter="Ada")
    assert after.shooter_id != before.shooter_id
    assert get_session(store, before.id).shooter_id == before.shooter_id
    # Saved again under its unchanged name, the old session still means the old one.
    save_session(store, replace(before, notes="later"))
    assert get_session(store, before.id).shooter_id == before.shooter_id
    delete_entry(store, "shooter", after.shooter_id)
    restore_entry(store, "shooter", before.shooter_id)
    assert session(store, shooter="Ada").shooter_id == before.shooter_id
    assert list_sessions(store)["shooter"].tolist() == ["Ada"] * 3


def test_a_renamed_entry_is_found_by_its_new_name_only(store):
    key = save_head(store, Head(name="Old"))
    save_head(store, replace(get_head(store, key), name="New"))
    with writing(store) as connection:
        names = Names(connection)
        assert names.head("new") == key
        assert names.head("Old") != key


def test_a_name_that_another_took_is_not_taken_from_a_session(store):
    first = session(store, shooter="Ada")
    save_shooter(store, replace(get_shooter(store, first.shooter_id), name="Ada Fenwick"))
    second = session(store, shooter="Ada")
    assert second.shooter_id != first.shooter_id
    again = get_session(store, first.id)
    assert again.shooter == "Ada Fenwick"
    save_session(store, replace(again, notes="x"))
    assert get_session(store, first.id).shooter_id == first.shooter_id


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2026, 2, 28), None),
        (date(2026, 3, 1), 0),
        (date(2026, 4, 30), 0),
        (date(2026, 5, 1), 2),  # the last of the two of that day
        (date(2030, 1, 1), 3),
    ],
)
def test_the_setup_is_that_of_the_day(store, day, expected):
    rig = save_rig(store, Rig(name="Heron"))
    other = save_rig(store, Rig(name="Slate"))
    add_setup(store, Setup(rig_id=other, since=date(2026, 1, 1)))
    days = (date(2026, 3, 1), date(2026, 5, 1), date(2026, 5, 1), date(2027, 1, 1))
    setups = [add_setup(store, Setup(rig_id=rig, since=since)) for since in days]
    gone = add_setup(store, Setup(rig_id=rig, since=date(2026, 1, 1)))
    delete_entry(store, "setup", gone)
    with writing(store) as connection:
        names = Names(connection)
        for _ in range(2):  # read once, then known
            found, _ = names.setup(rig, day)
            assert found == (None if expected is None else setups[expected])
        assert names.setup(None, day) == (None, None)


def test_an_arrow_without_an_owner_serves_everybody(store):
    shared = save_arrow(store, Arrow(number="4"))
    with writing(store) as connection:
        names = Names(connection)
        ada = names.shooter("Ada")
        assert names.arrow("4", None, ada) == shared
        own = names.arrow("5", None, ada)
        assert names.arrow("5", None, names.shooter("Bo")) != own
        assert names.arrow("", None, ada) is None
    assert len(list_arrows(store)) == 3


def test_what_is_foreseen_is_what_saving_makes(store):
    save_shooter(store, Shooter(name="Ada"))

    def ask(names):
        ada, bo = names.shooter("ada"), names.shooter("Bo")
        rig = names.rig("Heron", bo)
        names.rig("heron", bo)
        names.head("field point")
        build = names.build("Long", bo)
        for number in ("1", "1", "2"):
            names.arrow(number, build, bo, held_on=DAY)
        names.arrow("1", build, ada, held_on=DAY)
        assert names.setup(rig, DAY) == (None, None)

    with writing(store) as connection:
        foreseen = ForeseenNames(connection)
        ask(foreseen)
    assert len(list_shooters(store)) == 1
    assert list_rigs(store).empty
    with writing(store) as connection:
        ask(Names(connection))
    assert foreseen.made == {
        "shooter": ["Bo"],
        "rig": ["Heron"],
        "head": ["field point"],
        "build": ["Long"],
        "arrow": ["1", "2", "1"],
    }
    assert list_arrows(store)["number"].tolist() == ["1", "2", "1"]
    assert list_shooters(store)["name"].tolist() == ["Ada", "Bo"]


def test_writers_at_once_make_a_new_name_once(store):
    entry = Session(held_on=DAY, shooter="Ada", rig="Heron")
    with ThreadPoolExecutor(8) as pool:
        saved = list(pool.map(lambda _: save_session(store, entry), range(24)))
    assert len(set(saved)) == 24
    assert list_shooters(store)["name"].tolist() == ["Ada"]
    assert list_rigs(store)["name"].tolist() == ["Heron"]
    assert len(set(list_sessions(store)["rig_id"])) == 1
