"""Gear, sessions, shots and the log on the command line: what is said is kept, and told again."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from groupscan import cli
from groupscan.errors import GroupscanError, StoreError
from groupscan.records import gear
from groupscan.records.store import (
    Arrow,
    Outing,
    ScanRecord,
    Session,
    ShotRecord,
    get_build,
    get_head,
    get_rig,
    get_session,
    get_setup,
    get_shooter,
    list_arrows,
    list_builds,
    list_heads,
    list_pins,
    list_rigs,
    list_setups,
    list_shooters,
    list_speeds,
    load_scan,
    open_store,
    save_arrow,
    save_outings,
)


def invoke(*arguments: object):
    return CliRunner().invoke(
        cli.app,
        [str(argument) for argument in arguments],
        env={"COLUMNS": "120"},
        catch_exceptions=False,
    )


@pytest.fixture
def say(tmp_path, monkeypatch):
    """Run a command over records of its own; return what it prints."""
    monkeypatch.setenv("GROUPSCAN_HOME", str(tmp_path))
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL", raising=False)

    def run(*arguments: object) -> str:
        result = invoke(*arguments)
        assert result.exit_code == 0, result.output
        return result.output

    return run


@pytest.fixture
def store(tmp_path, say):
    with closing(open_store(tmp_path)) as opened:
        yield opened


@pytest.fixture
def bench(say):
    """One shooter, rig and build, set up."""
    say("gear", "shooter", "Tamsin Orrell", "--hand", "right")
    say("gear", "rig", "Heron", "--shooter", "Tamsin Orrell", "--bow", "compound")
    say("gear", "build", "Reed 340", "--shooter", "Tamsin Orrell", "--spine", "340")
    say(
        *("gear", "setup", "Heron", "--since", "2026-04-01", "--draw-weight", "60lb"),
        *("--draw-length", "29in", "--build", "Reed 340", "--rest", "drop-away"),
    )


def outing(day: date, *ends: ScanRecord, **fields) -> Outing:
    return Outing(Session(held_on=day, **fields), list(ends))


def typed(*places: tuple[float, float], **fields) -> ScanRecord:
    shots = [ShotRecord(number=i, x_mm=x, y_mm=y) for i, (x, y) in enumerate(places, 1)]
    return ScanRecord(session_id=0, shots=tuple(shots), **fields)


# ------------------------------------------------------------------------------------------ gear


def test_what_is_typed_in_archery_units_is_kept_in_si_and_told_as_typed(say, store) -> None:
    said = say(
        *("gear", "build", "Reed 340", "--length", "29in", "--spine", "340", "--gpi", "9.3"),
        *("--insert-mass", "50gr", "--diameter", "5.9mm", "--balance", "42cm"),
    )
    entry = get_build(store, int(list_builds(store)["id"].iloc[0]))
    assert entry.length_mm == pytest.approx(736.6)
    assert entry.insert_g == pytest.approx(3.2399455)  # grain 64.79891 mg, NIST SP 811
    assert entry.shaft_g_per_m == pytest.approx(9.3 * 0.06479891 / 0.0254)
    assert (entry.spine, entry.shaft_mm, entry.balance_mm) == (340.0, 5.9, 420.0)
    told = dict(line.strip().split("  ", 1) for line in said.splitlines() if line[:2] == "  ")
    assert {name: text.strip() for name, text in told.items()} == {
        "shaft diameter": "5.9 mm", "length": "29 in", "spine": "340", "shaft mass": "9.3 gpi",
        "insert mass": "50 gr", "balance from the nock": "42 cm",
    }  # fmt: skip
    assert "makers" in said


def test_the_same_name_again_changes_only_what_is_given(say, store) -> None:
    say("gear", "head", "Kite 100", "--kind", "fixed-blade", "--blades", "2", "--mass", "100gr")
    said = say("gear", "head", "kite 100", "--cut", "1.125in", "--mass", "")
    assert "mass              not said, was 100 gr" in said
    (row,) = list_heads(store).to_dict("records")
    entry = get_head(store, row["id"])
    assert (entry.name, entry.kind, entry.blades) == ("Kite 100", "fixed-blade", 2)
    assert entry.cut_mm == pytest.approx(28.575)
    assert entry.mass_g is None
    assert "as it was" in say("gear", "head", "Kite 100", "--blades", "2")


def test_a_coach_is_a_shooter_by_name(say, store) -> None:
    say("gear", "shooter", "Jory Pell")
    say("gear", "shooter", "Tamsin Orrell", "--coach", "jory pell", "--goals", "steady at 40")
    rows = {row["name"]: row for row in list_shooters(store).to_dict("records")}
    assert rows["Tamsin Orrell"]["coach"] == "Jory Pell"
    say("gear", "shooter", "Tamsin Orrell", "--coach", "")
    assert get_shooter(store, rows["Tamsin Orrell"]["id"]).coach_id is None
    with pytest.raises(GroupscanError, match="no shooter 'Nobody': there is Jory Pell"):
        invoke("gear", "shooter", "Tamsin Orrell", "--coach", "Nobody")


def test_a_change_of_the_rig_is_a_new_setup_that_keeps_the_rest(say, store, bench) -> None:
    said = say("gear", "setup", "heron", "--since", "2026-05-03", "--changed", "rest 1 mm left")
    assert "as in the setup of 2026-04-01" in said
    first, second = list_setups(store).to_dict("records")
    assert first["changed"] == ""
    now = get_setup(store, second["id"])
    assert now.draw_weight_n == pytest.approx(60 * 4.4482216152605)
    assert (round(now.draw_length_mm, 9), now.rest, now.changed) == (
        736.6,
        "drop-away",
        "rest 1 mm left",
    )
    assert now.build_id == first["build_id"]
    # One that is told late begins from what held then, not from what holds today.
    say("gear", "setup", "Heron", "--since", "2026-04-20", "--draw-weight", "62lb")
    say("gear", "setup", "Heron", "--since", "2026-04-10", "--rest", "blade")
    late = list_setups(store).to_dict("records")[1]
    assert (late["rest"], round(late["draw_weight_n"] / 4.4482216152605)) == ("blade", 60)
    with pytest.raises(GroupscanError, match="nothing is said of the setup"):
        invoke("gear", "setup", "Heron")


def test_sessions_keep_their_setup_and_can_be_given_one_told_late(say, store, bench) -> None:
    (key,) = save_outings(
        store, [outing(date(2026, 5, 10), shooter="Tamsin Orrell", rig="Heron")]
    )  # fmt: skip
    before = get_session(store, key).setup_id
    said = say("gear", "setup", "Heron", "--since", "2026-05-03", "--changed", "peep up")
    assert "sessions set ID --setup 2026-05-03" in said
    assert get_session(store, key).setup_id == before
    assert "was Heron/2026-04-01" in say("sessions", "set", key, "--setup", "2026-05-03")
    assert get_setup(store, get_session(store, key).setup_id).changed == "peep up"
    with pytest.raises(GroupscanError, match="has those since 2026-04-01, 2026-05-03"):
        invoke("sessions", "set", key, "--setup", "2026-05-04")


def test_a_name_of_two_shooters_asks_whose(say, store, bench) -> None:
    say("gear", "shooter", "Jory Pell")
    say("gear", "rig", "Heron", "--shooter", "Jory Pell", "--bow", "recurve")
    with pytest.raises(GroupscanError, match="say whose with --shooter"):
        invoke("gear", "rig", "Heron", "--hand", "left")
    say("gear", "rig", "Heron", "--shooter", "Jory Pell", "--hand", "left")
    bows = {
        row["shooter"]: (row["bow"], row["hand"]) for row in list_rigs(store).to_dict("records")
    }
    assert bows == {"Tamsin Orrell": ("compound", ""), "Jory Pell": ("recurve", "left")}


def test_a_rig_of_nobodys_becomes_the_shooters_own(say, store) -> None:
    say("gear", "shooter", "Jory Pell")
    say("gear", "rig", "Slate")
    said = say("gear", "rig", "Slate", "--shooter", "Jory Pell")
    assert "shooter  Jory Pell, was not said" in said
    (row,) = list_rigs(store).to_dict("records")
    assert get_rig(store, row["id"]).shooter_id is not None


def test_arrows_are_added_broken_replaced_and_built_anew(say, store, bench) -> None:
    say("gear", "arrow", "Reed 340", "1-4,9")
    broken = ("--state", "broken", "--why", "cracked", "--on", "2026-06-01")
    said = say("gear", "arrow", "Reed 340", "3", *broken)
    assert "cracked" in said
    say("gear", "arrow", "Reed 340", "3")  # its number is free for a new one
    say("gear", "build", "Reed 300", "--shooter", "Tamsin Orrell")
    say("gear", "rebuild", "1,2", "--from", "Reed 340", "--to", "Reed 300", "--on", "2026-06-02")
    rows = list_arrows(store).to_dict("records")
    states = sorted((r["build"], r["number"], r["state"]) for r in rows)
    assert states == [
        ("Reed 300", "1", "in use"), ("Reed 300", "2", "in use"),
        ("Reed 340", "1", "rebuilt"), ("Reed 340", "2", "rebuilt"), ("Reed 340", "3", "broken"),
        ("Reed 340", "3", "in use"), ("Reed 340", "4", "in use"), ("Reed 340", "9", "in use"),
    ]  # fmt: skip
    shafts = [row["shaft_id"] for row in rows if row["number"] == "1"]
    assert len(set(shafts)) == 1
    assert "rebuilt" in say("gear", "show", "arrow", "Reed 300/1")
    with pytest.raises(GroupscanError, match="no whole arrow 1, 7: it has 3, 4, 9"):
        invoke("gear", "rebuild", "1,7", "--from", "Reed 340", "--to", "Reed 300")
    with pytest.raises(GroupscanError, match="give --state as well"):
        invoke("gear", "arrow", "Reed 340", "4", "--why", "bent")


def test_several_arrows_are_built_anew_all_or_none(say, store, bench) -> None:
    say("gear", "arrow", "Reed 340", "1-3")
    say("gear", "build", "Reed 300", "--shooter", "Tamsin Orrell")
    say("gear", "arrow", "Reed 300", "3")
    with pytest.raises(GroupscanError, match="already"):
        invoke("gear", "rebuild", "1-3", "--from", "Reed 340", "--to", "Reed 300")
    assert list_arrows(store)["state"].tolist() == ["in use"] * 4


def test_several_arrows_are_changed_all_or_none(say, store, bench, monkeypatch) -> None:
    say("gear", "arrow", "Reed 340", "1-3")
    whole = gear.update_row

    def fail_at_the_third(connection, table, kept, *rest):
        if kept["number"] == "3":
            raise StoreError("somebody saved it")
        whole(connection, table, kept, *rest)

    monkeypatch.setattr(gear, "update_row", fail_at_the_third)
    with pytest.raises(StoreError, match="somebody"):
        invoke("gear", "arrow", "Reed 340", "1-3", "--state", "pulled")
    assert list_arrows(store)["state"].tolist() == ["in use"] * 3


def test_an_arrow_named_twice_is_one_arrow(say, store, bench) -> None:
    say("gear", "arrow", "Reed 340", "a2,A2")
    say("gear", "arrow", "Reed 340", "A2,a2", "--state", "pulled")
    (row,) = list_arrows(store).to_dict("records")
    assert (row["number"], row["state"]) == ("a2", "pulled")


def test_only_an_arrow_that_is_there_can_be_pulled_or_break(say, store, bench) -> None:
    say("gear", "arrow", "Reed 340", "1-3")
    say("gear", "build", "Reed 300", "--shooter", "Tamsin Orrell")
    say("gear", "build", "Reed 260", "--shooter", "Tamsin Orrell")
    say("gear", "rebuild", "3", "--from", "Reed 340", "--to", "Reed 300")
    say("gear", "rebuild", "3", "--from", "Reed 300", "--to", "Reed 260")
    before = list_arrows(store)
    for numbers, state, words in (
        ("2,22", "broken", "Reed 340 has no arrow 22: it has 1, 2"),
        ("2,22", "pulled", "Reed 340 has no arrow 22: it has 1, 2"),
        ("3", "broken", "arrow 3 of Reed 340 was built anew and is Reed 260/3 now"),
    ):
        with pytest.raises(GroupscanError, match=words):
            invoke("gear", "arrow", "Reed 340", numbers, "--state", state)
    assert list_arrows(store).equals(before)
    say("gear", "arrow", "Reed 260", "3", "--state", "broken")
    assert list_arrows(store)["state"].tolist()[-1] == "broken"


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ("", "no arrow is named"),
        (" , ", "no arrow is named"),
        ("6-1", "'6-1': give the lower number first"),
        ("200-1", "'200-1': give the lower number first"),
        ("1-145", "'1-145' are 145: give at most 144"),
        ("9" * 5000, "arrow '999999999999...' is too long"),
        ("1-" + "9" * 5000, "arrow '1-9999999999...' is too long"),
        ("9" * 5000 + "-1", "arrow '999999999999...' is too long"),
    ],
    ids=("none", "blank", "back", "far back", "many", "long", "long last", "long first"),
)
def test_numbers_that_name_no_arrow_are_refused(numbers, words, say, store, bench) -> None:
    with pytest.raises(GroupscanError) as caught:
        invoke("gear", "arrow", "Reed 340", numbers)
    assert words in str(caught.value)
    assert list_arrows(store).empty


def test_a_long_number_that_is_in_the_records_is_listed(say, store, bench) -> None:
    save_arrow(store, Arrow(number="9" * 5000))
    assert "999" in say("gear", "list")
    say("gear", "arrow", "Reed 340", "1-144")


def test_everything_can_be_renamed_deleted_and_brought_back(say, store, bench) -> None:
    say("gear", "arrow", "Reed 340", "1")
    say("gear", "head", "Kite")
    say("gear", "rename", "head", "kite", "Kite 100")
    kinds = {
        "shooter": "Tamsin Orrell", "rig": "Heron", "setup": "Heron/2026-04-01",
        "build": "Reed 340", "arrow": "Reed 340/1", "head": "Kite 100",
    }  # fmt: skip
    for kind, name in kinds.items():
        assert "restore" in say("gear", "delete", kind, name)
    assert "Heron" not in say("gear", "list")
    listed = say("gear", "list", "--deleted")
    assert all(name.split("/")[-1] in listed for name in kinds.values())
    for kind, name in reversed(kinds.items()):
        say("gear", "restore", kind, name)
    assert say("gear", "list", "--deleted").strip() == "Nothing is deleted."
    listed = say("gear")
    assert all(name.split("/")[-1] in listed for name in kinds.values())


def test_the_list_shows_the_setup_of_today(say, bench) -> None:
    later = date.today() + timedelta(days=30)
    say("gear", "setup", "Heron", "--since", later, "--draw-weight", "70lb")
    listed = say("gear", "list")
    assert "60 lb" in listed
    assert "70 lb" not in listed
    assert "70 lb" in say("gear", "show", "rig", "Heron")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("setup", "Heron", "--draw-weight", "60"), "has no unit"),
        (("setup", "Heron", "--draw-weight", "60mm"), "not a force"),
        (("setup", "Heron", "--since", "3/5/26", "--changed", "x"), "year-month-day"),
        (("build", "Reed 340", "--spine", "stiff"), "no number"),
        (("head", "Kite", "--blades", "2.5"), "whole number"),
        (("delete", "rig", "Hern"), "there is no rig 'Hern': there is Heron"),
        (("setup", "Slate", "--changed", "x"), "'groupscan gear rig' adds one"),
    ],
)
def test_what_cannot_be_kept_is_one_sentence(arguments, words, say, bench) -> None:
    with pytest.raises(GroupscanError) as caught:
        invoke("gear", *arguments)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# ------------------------------------------------------------------------- sessions, shots, log


def test_sessions_are_listed_by_whose_and_when(say, store) -> None:
    save_outings(
        store,
        [
            outing(date(2026, 5, 3), typed((1, 2)), shooter="Ada", rig="Heron", distance_m=18.288),
            outing(date(2026, 6, 3), shooter="Bea", rig="Slate"),
        ],
    )
    listed = say("sessions")
    assert "20 yd" in listed
    assert listed.index("2026-06-03") < listed.index("2026-05-03")
    assert "Bea" not in say("sessions", "--shooter", "ada")
    assert "Ada" not in say("sessions", "--since", "2026-06-01")
    assert "Bea" not in say("sessions", "--until", "2026-06-01", "--rig", "Heron")
    assert "typed" in say("sessions", "show", 1)


def test_a_session_is_put_right_in_any_unit(say, store) -> None:
    (key,) = save_outings(store, [outing(date(2026, 5, 3), typed((1, 2)))])
    said = say(
        *("sessions", "set", key, "--purpose", "tuning", "--weather", "gusts"),
        *("--temperature", "54F", "--wind", "7mph", "--distance", "20yd", "--humidity", "60%"),
    )
    session = get_session(store, key)
    assert session.temperature_c == pytest.approx(12.2222222)
    assert session.wind_m_s == pytest.approx(3.12928)  # mile per hour 0.44704 m/s, NIST SP 811
    assert (session.distance_m, session.humidity) == (pytest.approx(18.288), pytest.approx(0.6))
    assert (session.purpose, session.weather) == ("tuning", "gusts")
    assert "54 °F, was not said" in said
    assert "20 yd, was not said" in said


def test_a_change_is_told_once_and_a_new_name_as_new(say, store) -> None:
    (key,) = save_outings(
        store, [outing(date(2026, 5, 3), typed((1, 2)), shooter="Ada", rig="Heron")]
    )
    said = say("sessions", "set", key, "--shooter", "Adda")
    assert said.count("Adda, was Ada") == 1
    assert said.splitlines()[-2:] == ["New shooter: Adda", "New rig: Heron"]
    said = say("sessions", "set", key, "--shooter", "ada", "--rig", "Slate")
    assert said.splitlines()[-1] == "New rig: Slate"
    assert "New shooter" not in said
    assert said.count("Slate, was Heron") == 1
    assert "New" not in say("sessions", "set", key, "--rig", "Heron", "--place", "Alder")


def test_a_deleted_session_comes_back(say, store) -> None:
    (key,) = save_outings(store, [outing(date(2026, 5, 3), typed((1, 2)), place="Alder")])
    say("sessions", "delete", key)
    assert "Alder" not in say("sessions")
    assert "Alder" in say("sessions", "--deleted")
    say("sessions", "restore", key)
    assert "Alder" in say("sessions")


def test_a_shot_is_told_what_no_photo_shows(say, store) -> None:
    save_outings(store, [outing(date(2026, 5, 3), typed((1, 2), (30, 4), aim_mm=(1.0, 0.0)))])
    say(
        "shots", "set", 1, 2, "--flyer", "let go early", "--order", 1, "--arrow", "4", "--head", "x"
    )
    shot = load_scan(store, 1).shots[1]
    assert (shot.flyer, shot.flyer_why) == (True, "let go early")
    assert (shot.order, shot.arrow, shot.head) == (1, "4", "x")
    listed = say("shots", 1)
    assert "29.0" in listed
    assert "let go early" in listed
    say("shots", "set", 1, 2, "--no-flyer", "--order", "")
    shot = load_scan(store, 1).shots[1]
    assert (shot.flyer, shot.flyer_why, shot.order) == (False, "", None)
    other = load_scan(store, 1).shots[0]
    assert other == replace(typed((1, 2)).shots[0], id=other.id)
    for arguments, words in (
        ((1, 9, "--no-flyer"), "has no shot 9: it has 1, 2"),
        ((1, 1, "--order", "0"), "whole number from 1"),
        ((1, 1, "--flyer", "x", "--no-flyer"), "not both"),
        ((1, 1, "--flyer", ""), "--no-flyer takes the mark away"),
        ((1, 1, "--flyer", " "), "--no-flyer takes the mark away"),
    ):
        with pytest.raises(GroupscanError, match=words):
            invoke("shots", "set", *arguments)


def test_the_log_tells_changes_in_words(say, store, bench) -> None:
    (key,) = save_outings(
        store, [outing(date(2026, 5, 3), typed((1, 2)), shooter="Tamsin Orrell", rig="Heron")]
    )
    say("gear", "rig", "Heron", "--bow", "recurve")
    say("gear", "shooter", "Jory Pell")
    say("gear", "shooter", "Tamsin Orrell", "--coach", "Jory Pell")
    say("gear", "build", "Reed 340", "--mass", "400gr")
    say("gear", "setup", "Heron", "--since", "2026-05-03", "--changed", "peep up")
    say("sessions", "set", key, "--setup", "2026-05-03")
    say("shots", "set", 1, 1, "--flyer", "wind")
    say("sessions", "delete", key)
    told = [" ".join(line.split()) for line in say("log").splitlines()]
    wanted = (
        "session 1 of 2026-05-03 deleted",
        "shot 1 of end 1, 2026-05-03 flyer: no → yes; flyer why: not said → wind",
        "session 1 of 2026-05-03 setup: Heron 2026-04-01 → Heron 2026-05-03: peep up",
        "build Reed 340 mass: not said → 400 gr",
        "shooter Tamsin Orrell coach: not said → Jory Pell",
        "rig Heron bow: compound → recurve",
    )
    text = " ".join(told)
    places = [text.find(words.split(" ", 1)[1].split(" → ")[0]) for words in wanted]
    assert -1 not in places, (wanted[places.index(-1)], told)
    assert places == sorted(places)
    assert len(say("log", "--last", 1).splitlines()) < len(told)


def test_without_a_command_each_application_lists(say) -> None:
    assert "No gear is kept yet" in say("gear")
    assert "There are none" in say("sessions")
    assert say("log").strip() == "Nothing was corrected yet."
    assert invoke("gear", "riig").exit_code == 2
    assert "rebuild" in say("gear", "--help")


def test_another_folder_can_be_named(tmp_path, say) -> None:
    other = tmp_path / "other"
    say("gear", "rig", "Slate", "--home", other)
    assert "Slate" in say("gear", "--home", other)
    assert "Slate" not in say("gear")
    assert Path(other, "groupscan.db").exists()


def test_a_place_of_thousands_of_digits_is_refused_in_words(say, bench) -> None:
    with pytest.raises(GroupscanError, match="is no place: give a whole number from 1"):
        invoke("shots", "set", "1", "1", "--order", "9" * 5000)
    with pytest.raises(GroupscanError, match="9999"):
        invoke("gear", "show", "rig", "9" * 5000)


# ------------------------------------------------------------------ readings, pins, built anew


def test_readings_and_pins_are_kept_listed_deleted_and_brought_back(say, store, bench) -> None:
    said = say(
        *("gear", "reading", "Heron", "280, 281fps", "--mass", "412gr", "--at", "1yd"),
        *("--on", "2026-05-03", "--source", "=club"),
    )
    assert "2 readings of Heron kept of 2026-05-03, at 412 gr" in said
    assert "groupscan gear delete reading 1,2" in said
    rows = list_speeds(store)
    assert rows["speed_mps"].tolist() == pytest.approx([280 * 0.3048, 281 * 0.3048])
    assert rows["mass_g"].tolist() == pytest.approx(2 * [412 * 0.06479891])
    assert rows["distance_m"].tolist() == pytest.approx(2 * [0.9144])
    assert rows["setup_id"].tolist() == [1, 1]
    say("gear", "pins", "Heron", "20yd,39.5yd", "--below", "0,19mm", "--on", "2026-05-03")
    assert list_pins(store)["below_mm"].tolist() == [0.0, 19.0]
    shown = say("gear", "show", "rig", "Heron")
    assert "280 ft/s" in shown
    assert "20 yd" in shown
    say("gear", "delete", "reading", "1-2")
    assert list_speeds(store).empty
    assert "280 ft/s" in say("gear", "list", "--deleted")
    say("gear", "restore", "reading", "Heron/2026-05-03")
    assert len(list_speeds(store)) == 2
    say("gear", "delete", "pin", "Heron/2026-05-03")
    assert list_pins(store).empty
    assert "pin for 18.29 m, Heron 2026-05-03" in say("log")


def test_a_reading_takes_the_mass_of_the_build_that_is_shot(say, store, bench) -> None:
    say("gear", "build", "Reed 340", "--mass", "400gr")
    say("gear", "reading", "Heron", "85m/s", "--on", "2026-05-03")
    (row,) = list_speeds(store).to_dict("records")
    assert row["mass_g"] == pytest.approx(400 * 0.06479891)
    assert row["build"] == "Reed 340"


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("reading", "Heron", "280"), "no unit"), (("reading", "Heron", "280fps"), "mass"),
        (("reading", "Nobody", "280fps", "--mass", "400gr"), "there is no rig"),
        (("reading", "Heron", "280fps,95fps", "--mass", "400gr"), "one arrow"),
        (("reading", "Heron", "280fps", "--mass", "400gr", "--at", "40yd"), "distance"),
        (("pins", "Heron", "30yd,20yd"), "nearest first"), (("pins", "Heron", "20"), "no unit"),
        (("pins", "Heron", "20,40yd", "--below", "0,0mm"), "farther down"),
        (("delete", "reading", "7"), "no reading"), (("restore", "pin", "x/2026-01-01"), "no rig"),
    ],
)  # fmt: skip
def test_measurements_that_cannot_be_are_refused(say, store, bench, arguments, why) -> None:
    with pytest.raises(GroupscanError, match=why):
        say("gear", *arguments)
    assert list_speeds(store).empty
    assert list_pins(store).empty


def test_pins_of_one_day_are_kept_once(say, store, bench) -> None:
    say("gear", "pins", "Heron", "20yd", "--on", "2026-05-03")
    with pytest.raises(GroupscanError, match="already"):
        say("gear", "pins", "Heron", "20yd,40yd", "--on", "2026-05-03")
    assert len(list_pins(store)) == 1


def test_a_number_that_was_built_anew_is_its_arrow_of_today(say, store, bench) -> None:
    say("gear", "build", "Brass", "--shooter", "Tamsin Orrell")
    say("gear", "arrow", "Reed 340", "1-3")
    say("gear", "rebuild", "2", "--from", "Reed 340", "--to", "Brass")
    said = say("gear", "arrow", "Reed 340", "1-3", "--mass", "412gr")
    assert "Arrows 1, 3 of Reed 340 are changed." in said
    assert "Arrow 2 of Reed 340 was built anew and is Brass/2 now: that one is changed." in said
    arrows = list_arrows(store)
    assert len(arrows) == 4  # the three, and what 2 was
    of_today = arrows[arrows["state"] == "in use"].set_index("number")["mass_g"]
    assert of_today.tolist() == pytest.approx(3 * [412 * 0.06479891])
    assert "nothing is changed" in say("gear", "arrow", "Reed 340", "2")
    assert "Arrow 2 of Reed 340 is new." in say("gear", "arrow", "Reed 340", "2", "--new")
    assert len(list_arrows(store)) == 5
