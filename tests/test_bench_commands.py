"""The rig bench on the command line: what it is told, what it answers, what it refuses."""

from __future__ import annotations

import json
import math
import re
from contextlib import closing
from datetime import date, timedelta

import numpy as np
import pytest
from typer.testing import CliRunner

from groupscan import cli
from groupscan.errors import GroupscanError
from groupscan.records.store import (
    Build,
    Outing,
    Pin,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    Speed,
    add_pins,
    add_setup,
    add_speeds,
    open_store,
    save_build,
    save_outings,
    save_rig,
    save_shooter,
)
from groupscan.rigs.flight import fly, sight_angle

ARROW = (
    *("--gpi", "8gpi", "--length", "29in", "--insert-mass", "50gr", "--point-mass", "100gr"),
    *("--fletching-mass", "18gr", "--nock-mass", "9gr"),
)
RIG = (
    *("--mass", "412gr", "--diameter", "6mm", "--sight-radius", "34in", "--peep-height", "4in"),
    *("--speed", "280fps"),
)


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("GROUPSCAN_HOME", str(tmp_path / "records"))
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL", raising=False)
    monkeypatch.chdir(tmp_path)
    return tmp_path / "records"


def invoke(*arguments: object):
    return CliRunner().invoke(
        cli.app,
        ["bench", *(str(argument) for argument in arguments)],
        env={"COLUMNS": "80"},
        catch_exceptions=False,
    )


def say(*arguments: object) -> str:
    result = invoke(*arguments)
    assert result.exit_code == 0, result.output
    return result.output


def told(*arguments: object) -> dict:
    return json.loads(say(*arguments, "--json"))


def refused(*arguments: object) -> str:
    """Return the sentence with which a command refuses."""
    with pytest.raises(GroupscanError) as caught:
        invoke(*arguments)
    return str(caught.value)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def club(home):
    """Two rigs with a build each and shots: Heron's all with one pin, Slate's sighted in."""
    rng = np.random.default_rng(8)
    with closing(open_store(home)) as store:
        shooter = save_shooter(store, Shooter(name="Tamsin Orrell"))
        for name, mass in (("Heron", 26.7), ("Slate", 23.0)):
            build = save_build(
                store,
                Build(name=f"{name} shafts", shooter_id=shooter, length_mm=730.0, mass_g=mass,
                      shaft_mm=6.0, balance_mm=450.0),
            )  # fmt: skip
            rig = save_rig(store, Rig(name=name, shooter_id=shooter))
            add_setup(
                store,
                Setup(rig_id=rig, since=date(2026, 4, 1), draw_weight_n=275.0, build_id=build,
                      sight_radius_mm=838.0, peep_height_mm=110.0),
            )  # fmt: skip
        outings = []
        k, peep = 1.2e-3, 0.110
        angle = float(sight_angle(82.0, k, 20.0, peep_m=peep))
        for rig, day in (("Heron", date(2026, 5, 1)), ("Slate", date(2026, 5, 20))):
            for step, far in enumerate((15.0, 25.0, 35.0, 45.0, 55.0)):
                high = 1000 * float(fly(82.0, angle, k, far, peep_m=peep).height_m)
                at = (0.0, high if rig == "Heron" else 0.0)
                places = rng.normal(at, 0.9 * far, (12, 2))
                shots = tuple(
                    ShotRecord(number=i, x_mm=float(x), y_mm=float(y), head="field point")
                    for i, (x, y) in enumerate(places, 1)
                )
                session = Session(held_on=day + timedelta(days=step), shooter="Tamsin Orrell",
                                  rig=rig, distance_m=far)  # fmt: skip
                outings.append(Outing(session, [ScanRecord(session_id=0, shots=shots)]))
        save_outings(store, outings)


# Build


def test_a_build_by_its_parts_beside_the_scale():
    found = told("build", *ARROW, "--mass", "412gr", "--balance", "17in", "--draw-weight", "65lb",
                 "--speed", "280fps")  # fmt: skip
    value = {row["what"]: row["value"] for row in found["figures"]}
    grain = 0.06479891
    assert value["mass from the parts"] == pytest.approx((8 * 29 + 50 + 100 + 18 + 9) * grain)
    assert value["mass on the scale"] == pytest.approx(412 * grain)
    assert value["mass per pound of draw weight"] == pytest.approx(412 / 65)
    assert value["kinetic energy"] == pytest.approx(412 * grain / 1000 * 85.344**2 / 2)
    length = 29 * 25.4 + 6.35
    assert value["front of centre"] == pytest.approx(100 * (17 * 25.4 - length / 2) / length)
    assert found["caution"].startswith("The limits that the makers")
    shown = say("build", *ARROW, "--mass", "412gr")
    assert "412.0" in shown
    assert "makers" in shown


def test_a_light_arrow_is_warned_about_first():
    shown = say("build", "--mass", "300gr", "--draw-weight", "70lb")
    assert shown.startswith("Very light for this bow")
    assert "Very light" in told("build", "--mass", "300gr", "--draw-weight", "70lb")["warnings"][0]


def test_what_other_inserts_and_points_would_do():
    found = told("build", *ARROW, "--speed", "280fps", "--virtual-mass", "60gr",
                 "--draw-weight", "65lb",
                 "--try-insert", "25gr,50gr", "--try-point", "100gr,125gr")["what_if"]  # fmt: skip
    assert len(found) == 4
    speeds = [row["speed_mps"] for row in sorted(found, key=lambda row: row["mass_g"])]
    assert speeds == sorted(speeds, reverse=True)
    same = next(row for row in found if abs(row["mass_g"] - 409 * 0.06479891) < 1e-9)
    assert same["speed_mps"] == pytest.approx(85.344)
    assert all(row["foc_pct"] > 0 and row["grains_per_pound"] > 5 for row in found)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("build",), "not given"),
        (("build", "--mass", "412"), "no unit"),
        (("build", "--mass", "412in"), "not a mass"),
        (("build", "--mass", "-3g"), "zero or more"),
        (("build", "--mass", "412g"), "mass_g is 412 g"),
        (("build", "--mass", "412gr", "--length", "29in", "--balance", "31in"), "balance_mm"),
        (("build", "--mass", "412gr", "--speed", "0fps"), "speed_mps"),
        (("build", "--mass", "412gr", "--draw-weight", "65N", "--speed", "900fps"), "speed_mps"),
        (("build", *ARROW, "--try-point", "125gr", "--virtual-mass", "60gr"), "needs --speed"),
        (("launch",), "no readings"),
        (("launch", "--arrow", "412gr 280fps"), "write it like"),
        (("launch", "--arrow", "400gr:280fps", "--arrow", "500gr:290fps"), "does not fall"),
        (("flight", "--mass", "412gr", "--diameter", "6mm"), "no launch speed"),
        (("flight", "--mass", "412gr", "--speed", "280fps"), "shaft_mm"),
        (("flight", *RIG, "--from", "60yd", "--to", "10yd"), "must be nearer"),
        (("flight", *RIG, "--step", "1mm"), "longer step"),
        (("flight", *RIG, "--headwind", "3m/s", "--tailwind", "3m/s"), "in the face or"),
        (("flight", *RIG, "--slope", "95"), "--slope 95"),
        (("flight", *RIG, "--drag", "smooth"), "no number"),
        (("flight", *RIG, "--humidity", "140%"), "humidity"),
        (("pins", "--pins", "20yd", *RIG[:4], "--speed", "280fps"), "peep_mm is not known"),
        (("pins", "--pins", "40yd,20yd", *RIG), "each farther"),
        (("pins", "--pins", "20yd", "--sigma", "2", *RIG), "no angle"),
        (("pins", "--pins", "20yd,30yd", "--hold", "first", *RIG), "pin 1 is 1"),
        (("pins", "--pins", "20yd,30yd", "--hold", "0.5", *RIG), "hold must lie"),
        (("best-pins", "--counts", "two", *RIG), "numbers of pins"),
        (("scale", "--to", "290m", "--sight-radius", "70in", *RIG[:4], *RIG[6:]), "has room"),
        (("compare", "Heron", "Slate"), "there is no rig 'Heron'"),
        (("flight", "--rig", "Nobody"), "there is no rig 'Nobody'"),
        (("fit",), "hold no shot"),
    ],
)
def test_what_cannot_be_is_refused_by_name(arguments, said):
    assert said in refused(*arguments)


# Launch


def test_launch_speeds_of_other_arrows():
    found = told("launch", "--arrow", "412gr:280fps,281fps,279.5fps",
                 "--arrow", "535gr:248fps,248.5fps,247.6fps", "--predict", "470gr",
                 "--draw-weight", "65lb")  # fmt: skip
    assert [row["readings"] for row in found["readings"]] == [3, 3]
    (one,) = found["predicted"]
    assert one["low_mps"] < one["speed_mps"] < one["high_mps"]
    assert 248 * 0.3048 < one["speed_mps"] < 280 * 0.3048
    assert one["grains_per_pound"] == pytest.approx(470 / 65)
    assert {row["what"] for row in found["bow"]} == {"energy", "virtual mass"}


def test_ratings_are_told_with_their_sources():
    shown = flat(say("launch", "--ratings"))
    assert "from memory" in shown
    assert "70.0" in shown
    assert len(told("launch", "--ratings")["ratings"]) == 3


def test_what_the_air_took_before_the_chronograph_is_put_back():
    near = told("launch", *RIG)["readings"][0]["speed_mps"]
    far = told("launch", *RIG, "--speed-at", "3m", "--drag", "0.002/m")["readings"][0]["speed_mps"]
    assert far == pytest.approx(near * math.exp(0.006))


# Flight


def test_flight_in_units_of_either_kind():
    found = told("flight", *RIG, "--at", "20yd,40yd", "--crosswind", "3m/s")["flight"]
    assert found[0]["height_mm"] == pytest.approx(0.0, abs=0.01)  # the wind brakes a little
    assert found[1]["drift_mm"] > 0
    assert found[1]["shoot_as_m"] == pytest.approx(36.576)
    archery = say("flight", *RIG, "--at", "20yd,40yd")
    si = say("flight", *RIG, "--at", "20yd,40yd", "--units", "si")
    assert f"{found[1]['height_mm'] / 25.4:.1f}" in archery
    assert f"{found[1]['height_mm']:.0f}" in si
    assert "drift" not in archery  # no wind, no drift
    assert "licence" in archery


def test_thin_air_and_slopes_show():
    usual = told("flight", *RIG, "--at", "60yd")["flight"][0]
    thin = told("flight", *RIG, "--at", "60yd", "--altitude", "2500m", "--temperature", "30C")
    assert thin["flight"][0]["speed_mps"] > usual["speed_mps"]
    assert thin["air"]["density"] < 0.95
    steep = told("flight", *RIG, "--at", "60yd", "--slope", "-30")["flight"][0]
    assert steep["level_m"] == pytest.approx(54.864 * math.cos(math.radians(30)))
    assert steep["height_mm"] > usual["height_mm"]
    assert "shoot" in say("flight", *RIG, "--at", "60yd", "--slope", "-30")
    same = told("flight", *RIG, "--at", "60yd", "--altitude", "0m")["flight"][0]
    assert same["speed_mps"] == pytest.approx(usual["speed_mps"])
    below = told("flight", *RIG, "--at", "60yd", "--altitude", "-400m")
    assert below["air"]["density"] > 1.225


# Pins


def test_pins_with_a_scatter_and_what_is_left_uncovered():
    found = told("pins", "--pins", "20yd,30yd", "--circle", "100mm", "--sigma", "1.5mrad", *RIG)
    assert [row["pin"] for row in found["pins"]] == [1, 2]
    assert found["uncovered_m"][-1][1] == pytest.approx(60 * 0.9144)
    chance = [row["probability"] for row in found["chances"]]
    assert chance[0] > 0.9 > chance[-1]
    shown = say("pins", "--pins", "20yd,30yd", "--circle", "100mm", *RIG)
    assert shown.startswith("No hold covers")
    assert "No scatter is known" in flat(shown)
    one = told("pins", "--pins", "20yd,30yd", "--hold", "1.5", *RIG)
    assert {row["held"] for row in one["bands"]} == {"half-way between pins 1 and 2"}


def test_pins_with_the_rigs_own_scatter(club):
    found = told("pins", "--rig", "Slate", "--speed", "270fps", "--pins", "20yd,40yd")
    assert found["scatter"]["shots"] == 60
    sigma = found["scatter"]["sigma_mrad"]
    assert sigma["low"] < 0.9 < sigma["high"]
    row = found["chances"][2]
    assert row["low"] < row["probability"] < row["high"] <= 1
    other = told("pins", "--rig", "Slate", "--build", "Heron shafts", "--speed", "270fps",
                 "--pins", "20yd")  # fmt: skip
    assert other["scatter"] is None
    assert any("No chances" in note for note in other["notes"])
    assert "probability" in say("pins", "--rig", "Slate", "--speed", "270fps", "--pins", "20yd")


def test_half_way_between_20_and_39_5_yd_is_right_for_30():
    # A practitioner's report, common practice with no source: within 25 mm above 280 ft/s.
    for speed in ("285fps", "300fps", "320fps", "340fps"):
        found = told("pins", "--pins", "20yd,39.5yd", "--from", "30yd", "--to", "31yd", "--step",
                     "1yd", "--hold", "1.5", "--sigma", "1mrad", *RIG[:-1], speed)  # fmt: skip
        assert found["chances"][0]["miss_mm"] < 25


def test_best_pins():
    gaps = told("best-pins", "--from", "15yd", "--to", "60yd", *RIG)["plans"]
    only = told("best-pins", "--from", "15yd", "--to", "60yd", "--held", "pins", *RIG)["plans"]
    assert [row["pins"] for row in gaps] == [2, 3, 4, 5]
    assert all(a["miss_mm"] < b["miss_mm"] for a, b in zip(gaps, only, strict=True))
    assert gaps[0]["pin3_m"] is None


# Pages


def test_pages_are_written(tmp_path):
    assert "100 mm bar" in say("scale", *RIG, "--out", "scale.pdf", "--step", "10yd")
    assert (tmp_path / "scale.pdf").read_bytes().startswith(b"%PDF-")
    marks = told("scale", *RIG, "--out", "scale.pdf", "--from", "10yd", "--paper", "letter")
    assert any("goes down again" in note for note in marks["notes"])
    assert "Wrote card.pdf" in say("card", *RIG, "--out", "card.pdf", "--slope", "10")
    assert told("card", *RIG, "--out", "card.pdf")["card"][0]["pin_mm"] > 0
    assert "cannot be written" in refused("card", *RIG, "--out", "nowhere/card.pdf")
    hostile = '=HYPERLINK("x")<b>\n[bold]'
    with closing(open_store(tmp_path / "records")) as store:
        rig = save_rig(store, Rig(name=hostile.replace("\n", " ")))
        add_setup(store, Setup(rig_id=rig, since=date(2026, 4, 1), draw_weight_n=275.0))
    say("card", "--rig", hostile.replace("\n", " "), *RIG, "--out", "card.pdf")


# What was shot


def test_the_fit_finds_the_speed_of_one_pins_groups(club):
    found = told("fit", "--rig", "Heron", "--peep-se", "2mm", "--pins", "20m,40m")
    speed = next(row for row in found["fit"] if row["what"] == "launch speed")
    assert speed["low"] < 82 < speed["high"]
    assert len(found["groups"]) == 5
    assert [row["distance_m"] for row in found["pins"]] == [20, 40]
    assert found["published_drag_per_m"][0] < 1.2e-3 < found["published_drag_per_m"][1]
    narrow = told("fit", "--rig", "Heron", "--peep-se", "2mm", "--speed", "82m/s",
                  "--speed-se", "0.3m/s")  # fmt: skip
    sharper = next(row for row in narrow["fit"] if row["what"] == "launch speed")
    assert sharper["high"] - sharper["low"] < speed["high"] - speed["low"]
    assert "one pin" in flat(say("fit", "--rig", "Heron", "--pool", "distance"))
    assert "own" in refused("fit", "--rig", "Slate")
    assert "--speed-se" in refused("fit", "--rig", "Heron", "--speed", "82m/s")
    assert "choose one with --rig" in refused("fit")


def test_a_table_of_shots_can_be_fitted_too(tmp_path):
    angle = float(sight_angle(82.0, 1.2e-3, 20.0, peep_m=0.11))
    rng = np.random.default_rng(2)
    rows = ["date,distance_m,right_mm,high_mm"]
    for day, far in enumerate((15.0, 25.0, 35.0, 45.0, 55.0), 1):
        high = 1000 * float(fly(82.0, angle, 1.2e-3, far, peep_m=0.11).height_m)
        rows += [f"2026-05-{day:02},{far},{x},{high + y}"
                 for x, y in rng.normal(0, 0.9 * far, (10, 2))]  # fmt: skip
    (tmp_path / "shots.csv").write_text("\n".join(rows))
    found = told("fit", "shots.csv", "--peep-height", "110mm", "--peep-se", "2mm")
    speed = next(row for row in found["fit"] if row["what"] == "launch speed")
    assert speed["low"] < 82 < speed["high"]
    assert found["pins"] == []
    assert any("No sight radius" in note for note in found["notes"])


def test_two_rigs_and_two_builds_side_by_side(club):
    found = told("compare", "Heron", "Slate", "--speed", "270fps", "--second-speed", "285fps",
                 "--circle", "200mm", "--pins", "20m,40m")  # fmt: skip
    row = {one["what"]: one for one in found["computed"]}
    assert row["mass"]["difference"] == pytest.approx(23.0 - 26.7)
    assert row["launch speed"]["second"] == pytest.approx(285 * 0.3048)
    assert row["pin for 40 m"]["difference"] < 0
    measured = {one["what"]: one for one in found["measured"]}
    assert measured["scatter per axis"]["second_low"] < 0.9
    assert measured["reach"]["second_low"] > 0
    shown = say("compare", "Heron", "Slate", "--speed", "270fps")
    assert "Heron" in shown
    assert "Slate" in shown
    builds = told("compare", "Heron shafts", "Slate shafts", "--by", "build", "--rig", "Heron",
                  "--speed", "270fps", "--virtual-mass", "60gr")  # fmt: skip
    speeds = next(one for one in builds["computed"] if one["what"] == "launch speed")
    assert speeds["second"] > speeds["first"]
    assert builds["second_name"] == "Slate shafts"
    assert "--by build" in refused("compare", "Heron", "Slate", "--rig", "Heron")


def test_the_names_of_two_rigs_are_words_and_no_columns(club, home):
    with closing(open_store(home)) as store:
        for name in ("unit", "difference", "first_low"):
            rig = save_rig(store, Rig(name=name))
            build = save_build(store, Build(name=f"of {name}", mass_g=20.0))
            add_setup(store, Setup(rig_id=rig, since=date(2026, 4, 1), build_id=build))
    for name in ("unit", "difference", "first_low"):
        shown = say("compare", name, "Heron", "--units", "si")
        (row,) = (line for line in shown.splitlines() if line.strip().startswith("mass  "))
        assert row.split()[1:4] == ["20.00", "26.70", "6.70"]
        assert name in shown.split("mass  ")[0].split("computed")[1]


def test_compare_refuses_what_it_does_not_use(club):
    for option in ("--draw-weight", "--mass", "--diameter", "--sight-radius", "--build", "--setup"):
        assert invoke("compare", "Heron", "Slate", option, "85lb").exit_code == 2


def test_compare_puts_back_what_the_air_took_of_the_firsts_own_arrow(club):
    near, far = (
        told("compare", "Heron", "Slate", "--speed", "270fps", "--speed-at", at)["computed"][3]
        for at in ("0.01m", "10m")
    )
    assert far["first"] > near["first"] + 0.3


def test_notes_name_only_options_that_the_command_has(club, home):
    with closing(open_store(home)) as store:
        shots = tuple(
            ShotRecord(number=i, x_mm=20.0 * i, y_mm=0.0, head="broadhead", flyer=i == 3)
            for i in (1, 2, 3)
        )
        for day in (3, 30):  # before and after the setup begins
            session = Session(held_on=date(2026, day % 4 + 1, day), shooter="Tamsin Orrell",
                              rig="Slate", distance_m=25.0)  # fmt: skip
            save_outings(store, [Outing(session, [ScanRecord(session_id=0, shots=shots)])])
    asked = {
        "compare": ("compare", "Heron", "Slate"),
        "pins": ("pins", "--rig", "Slate", "--speed", "270fps", "--pins", "20yd"),
    }
    for command, arguments in asked.items():
        notes = " ".join(told(*arguments)["notes"])
        help_text = flat(invoke(command, "--help").output)
        assert "--head chooses one" in notes
        assert "--without-flyers leaves them out" in notes
        for option in re.findall(r"(--[a-z-]+) (?:chooses|leaves)", notes):
            assert option in help_text
        assert ("--setup chooses one" in notes) == (command == "pins")
        chosen = " ".join(told(*arguments, "--head", "field point", "--without-flyers")["notes"])
        assert "heads are pooled" not in chosen
        assert "flyers" not in chosen
        left = " ".join(told(*arguments, "--without-flyers")["notes"])
        assert "2 shots that are marked as flyers are left out" in left
    none = told("compare", "Heron", "Slate", "--head", "nothing")["notes"]
    assert any("no shot has the head 'nothing'" in note for note in none)


def test_a_scatter_that_was_said_has_no_interval():
    asked = ("pins", "--pins", "20yd", "--sigma", "2mrad", *RIG)
    assert {(row["low"], row["high"]) for row in told(*asked)["chances"]} == {(None, None)}
    assert " to 87." not in say(*asked, "--from", "20yd", "--to", "21yd", "--step", "1yd")
    assert "over 99.9" in say(*asked, "--circle", "500mm", "--to", "25yd")


def test_every_command_is_answered_in_json_with_a_caution(club, tmp_path):
    for arguments in (
        ("build", "--rig", "Heron"),
        ("launch", "--rig", "Heron", "--speed", "270fps,271fps"),
        ("flight", "--rig", "Heron", "--speed", "270fps"),
        ("pins", "--rig", "Heron", "--speed", "270fps", "--pins", "20yd"),
        ("best-pins", "--rig", "Heron", "--speed", "270fps"),
        ("fit", "--rig", "Heron"),
        ("compare", "Heron", "Slate"),
        ("card", "--rig", "Heron", "--speed", "270fps"),
        ("scale", "--rig", "Heron", "--speed", "270fps"),
    ):
        found = told(*arguments)
        assert "limits" in found["caution"], arguments
        assert isinstance(found["notes"], list)


# ------------------------------------------------------------- what the records keep of a rig


@pytest.fixture
def measured(home):
    """Return a home with a rig whose readings and pins are kept."""
    with closing(open_store(home)) as store:
        build = save_build(store, Build(name="Reed", shaft_mm=6.0, length_mm=720.0, mass_g=26.0))
        rig = save_rig(store, Rig(name="Wren"))
        setup = {"rig_id": rig, "build_id": build, "sight_radius_mm": 860.0}
        add_setup(
            store,
            Setup(since=date(2026, 1, 1), draw_weight_n=270.0, peep_height_mm=105.0, **setup),
        )
        days = {"rig_id": rig, "taken_on": date(2026, 5, 3), "source": "club"}
        shot = ((26.0, 88.0), (26.0, 88.4), (29.0, 84.4))
        add_speeds(store, [Speed(mass_g=mass, speed_mps=one, **days) for mass, one in shot])
        places = ((18.288, 0.0), (36.119, 19.0))
        add_pins(
            store,
            [Pin(rig_id=rig, set_on=date(2026, 5, 3), distance_m=far, below_mm=low)
             for far, low in places],
        )  # fmt: skip
    return home


def test_kept_readings_tell_the_launch(measured):
    told = json.loads(invoke("launch", "--rig", "Wren", "--predict", "31g", "--json").stdout)
    assert [one["readings"] for one in told["readings"]] == [2, 1]
    assert told["readings"][0]["speed_mps"] == pytest.approx(88.2)
    assert len(told["predicted"]) == 1


def test_kept_readings_and_pins_stand_in_for_what_is_not_given(measured):
    told = json.loads(invoke("pins", "--rig", "Wren", "--sigma", "1mrad", "--json").stdout)
    assert [one["distance_m"] for one in told["pins"]] == pytest.approx([18.288, 36.119])
    assert any("gaps as measured: 19.0 mm" in note for note in told["notes"])
    assert any("measured by chronograph, 2 readings" in note for note in told["notes"])
    given = json.loads(
        invoke("pins", "--rig", "Wren", "--speed", "88.2m/s", "--pins", "20yd,39.5yd", "--sigma",
               "1mrad", "--json").stdout
    )  # fmt: skip
    assert told["pins"][1]["gap_mm"] is None
    assert told["pins"][0]["gap_mm"] == pytest.approx(given["pins"][0]["gap_mm"], rel=1e-3)
    other = json.loads(invoke("flight", "--rig", "Wren", "--mass", "28g", "--json").stdout)
    assert any("for this mass" in note for note in other["notes"])


def test_another_rig_of_the_records_is_compared_at_its_kept_speed(measured, home):
    with closing(open_store(home)) as store:
        save_rig(store, Rig(name="Lark"))
        build = save_build(store, Build(name="Oak", shaft_mm=6.0, mass_g=29.0))
        add_setup(store, Setup(rig_id=2, since=date(2026, 1, 1), build_id=build))
    told = json.loads(invoke("compare", "Wren", "Lark", "--json").stdout)
    speed = next(row for row in told["computed"] if row["what"] == "launch speed")
    assert (speed["first"], speed["second"]) == (pytest.approx(88.2), None)


def test_without_readings_or_pins_it_is_said_how_to_keep_them(home):
    with closing(open_store(home)) as store:
        save_rig(store, Rig(name="Wren"))
    for arguments, how in (
        (("flight", "--rig", "Wren"), "groupscan gear reading"),
        (("launch", "--rig", "Wren"), "gear reading"),
        (("pins", "--rig", "Wren", *RIG), "groupscan gear pins"),
    ):
        with pytest.raises(GroupscanError, match=how):
            invoke(*arguments)


def test_fit_and_pins_take_one_setups_shots(measured, home):
    with closing(open_store(home)) as store:
        add_setup(
            store,
            Setup(rig_id=1, since=date(2026, 6, 1), changed="sight turned", build_id=1,
                  draw_weight_n=270.0, sight_radius_mm=860.0, peep_height_mm=105.0),
        )  # fmt: skip
        rng = np.random.default_rng(5)
        angle = float(sight_angle(88.0, 0.0013, 20.0, peep_m=0.105))
        far = (15.0, 25.0, 35.0, 45.0, 60.0)
        high = 1000 * fly(88.0, angle, 0.0013, far, peep_m=0.105).height_m
        outings = []
        for month, turned in ((5, 0.0), (6, 4.0)):
            for day, (at, mid) in enumerate(zip(far, high, strict=True), 10):
                places = rng.normal((0, mid + turned * at), 0.8 * at, (10, 2))
                shots = [ShotRecord(number=n, x_mm=x, y_mm=y) for n, (x, y) in enumerate(places, 1)]
                session = Session(held_on=date(2026, month, day), rig="Wren", distance_m=at)
                outings.append(Outing(session, [ScanRecord(session_id=0, shots=tuple(shots))]))
        save_outings(store, outings)
    mixed = json.loads(invoke("fit", "--rig", "Wren", "--json").stdout)
    assert any("of 2 setups" in text for text in mixed["warnings"])
    assert any("same distance" in text for text in mixed["warnings"])
    for day in ("2026-05-20", "2026-06-20"):
        told = json.loads(invoke("fit", "--rig", "Wren", "--setup", day, "--json").stdout)
        assert told["warnings"] == []
        assert len(told["groups"]) == 5
        speed = next(row for row in told["fit"] if "speed" in row["what"])
        assert speed["low"] < 88.0 < speed["high"]
    told = json.loads(invoke("pins", "--rig", "Wren", "--setup", "2026-05-20", "--json").stdout)
    assert told["scatter"]["shots"] == 50
    with pytest.raises(GroupscanError, match="no setup of 2025"):
        invoke("fit", "--rig", "Wren", "--setup", "2025-01-01")
