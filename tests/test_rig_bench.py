"""Questions of the rig bench: records, rigs and statistics together."""

from __future__ import annotations

import math
from contextlib import closing
from datetime import date

import numpy as np
import pytest

from groupscan.decisions.rig_bench import (
    KnownRig,
    air_of,
    best_pins_of,
    drag_of,
    fit_of,
    flight_table,
    given_scatter,
    heights_of,
    known_build,
    known_rig,
    launch_of,
    measured_of,
    pin_chances,
    pins_of,
    rig_of_store,
    scatter_mrad_of,
    side_by_side,
    side_of,
    speed_by_mass,
    with_parts,
)
from groupscan.decisions.shot_table import read_shot_csv
from groupscan.errors import RigError, TableError
from groupscan.records.store import (
    Build,
    Rig,
    Setup,
    add_setup,
    open_store,
    save_build,
    save_rig,
)
from groupscan.rigs.flight import fly, sight_angle
from groupscan.rigs.parts import ArrowParts
from groupscan.rigs.sight import Sight

YARD = 0.9144
PARTS = ArrowParts(
    shaft_g_per_m=20.0, cut_mm=730.0, insert_g=1.2, point_g=6.48, fletching_g=1.2, nock_g=0.6,
    mass_g=24.3, balance_mm=455.0,
)  # fmt: skip
HERON = KnownRig(
    name="Heron", parts=PARTS, shaft_mm=6.2, draw_weight_n=275.0, radius_mm=838.0, peep_mm=110.0
)


def shots(tmp_path, rows, columns="session,date,distance_m,right_mm,high_mm,rig,head"):
    path = tmp_path / "shots.csv"
    lines = [",".join(str(cell) for cell in row) for row in rows]
    path.write_text("\n".join([columns, *lines]), encoding="utf-8")
    return read_shot_csv([path])


def season(tmp_path, *, sigma_mrad, distances=(18.0, 27.0, 36.0), each=30, heights=None, seed=5):
    """Draw sessions whose centres stray, one at each distance twice."""
    rng = np.random.default_rng(seed)
    rows = []
    for session, distance in enumerate([*distances, *distances]):
        spread = sigma_mrad(distance) if callable(sigma_mrad) else sigma_mrad
        centre = rng.normal(0, 3.0, 2) * distance / 18 if heights is None else (0, 0)
        high = 0.0 if heights is None else heights[distance]
        for x, y in rng.normal(0, spread * distance, (each, 2)):
            rows.append(
                (session, f"2026-05-{session + 1:02}", distance, x + centre[0],
                 y + centre[1] + high, "Heron", "field point")
            )  # fmt: skip
    return shots(tmp_path, rows)


# What is known


def test_a_rig_of_the_records_is_as_it_was_set_up_that_day(tmp_path):
    with closing(open_store(tmp_path)) as store:
        old = save_build(store, Build(name="old", length_mm=730.0, mass_g=24.0, shaft_mm=6.2))
        new = save_build(store, Build(name="new", length_mm=720.0, mass_g=27.0, balance_mm=450.0))
        rig = save_rig(store, Rig(name="Heron"))
        for day, weight, build in ((date(2026, 4, 1), 270.0, old), (date(2026, 6, 1), 290.0, new)):
            add_setup(
                store,
                Setup(rig_id=rig, since=day, draw_weight_n=weight, build_id=build,
                      sight_radius_mm=838.0, peep_height_mm=110.0),
            )  # fmt: skip
        may = rig_of_store(store, rig, on=date(2026, 5, 1))
        assert (may.draw_weight_n, may.build, may.shaft_mm) == (270.0, "old", 6.2)
        assert may.parts.cut_mm == 730.0
        june = rig_of_store(store, rig, on=date(2026, 6, 1))
        assert (june.draw_weight_n, june.build, june.parts.balance_mm) == (290.0, "new", 450.0)
        assert rig_of_store(store, rig, on=date(2026, 6, 1), build_id=old).build == "old"
        before = rig_of_store(store, rig, on=date(2026, 1, 1))
        assert before.draw_weight_n is None
        assert "no setup" in before.notes[0]


def test_a_part_that_is_exchanged_moves_the_scale_and_drops_the_balance():
    heavy = with_parts(HERON, point_g=8.1)
    assert heavy.parts.mass_g == pytest.approx(24.3 + 8.1 - 6.48)
    assert heavy.parts.balance_mm is None
    assert "balance point" in heavy.notes[-1]
    collared = with_parts(HERON, collar_g=1.0)  # nobody knows what was there before
    assert collared.parts.mass_g is None
    assert collared.mass_g() == pytest.approx(20.0 * 0.73 + 1.2 + 6.48 + 1.2 + 0.6 + 1.0)
    assert with_parts(HERON, point_g=8.1, mass_g=25.5, balance_mm=470.0).parts.balance_mm == 470.0
    assert with_parts(HERON, point_g=6.48) == HERON


def test_what_is_missing_is_named():
    with pytest.raises(RigError, match="peep_mm is not known"):
        KnownRig(parts=PARTS, radius_mm=838.0).sight(80.0, 0.001)
    with pytest.raises(RigError, match="radius_mm is not known"):
        KnownRig(parts=PARTS, peep_mm=110.0).sight(80.0, 0.001)
    with pytest.raises(RigError, match="shaft_mm is not known"):
        drag_of(known_build(Build(name="x", mass_g=24.0)), air_of())
    with pytest.raises(RigError, match="not given"):
        known_rig("Heron", None, None).mass_g()


# Air and drag


def test_air_is_the_standard_atmospheres_or_as_it_is_said():
    # ISO 2533: 1.225 kg/m3 at sea level, 1.1117 at 1000 m (geopotential heights).
    assert air_of().density == 1.225
    assert air_of().assumed
    assert air_of(altitude_m=1000.0).density == pytest.approx(1.1117, abs=2e-4)
    # CIPM-2007 worked value: 20 degrees, 101325 Pa, 50 %.
    wet = air_of(temperature_c=20.0, pressure_pa=101_325.0, humidity=0.5)
    assert wet.density == pytest.approx(1.199314, abs=1e-6)
    assert not wet.assumed
    # A forecast's pressure belongs to sea level: at a height the place has less.
    reduced = air_of(temperature_c=20.0, pressure_pa=101_325.0, altitude_m=1500.0)
    assert reduced.pressure_pa == pytest.approx(84_560, abs=30)


def test_drag_lies_between_the_published_or_is_what_was_said():
    free = drag_of(HERON, air_of(), speed_mps=85.0)
    # Published: Cd 1.3 laminar, 2.6 turbulent (T. Miyazaki, grant report 18K03943, abstract).
    assert free.high_per_m == pytest.approx(2 * free.low_per_m)
    assert free.per_m == pytest.approx(math.sqrt(free.low_per_m * free.high_per_m))
    assert "Reynolds" in free.notes[0]
    assert drag_of(HERON, air_of(), cd="laminar").per_m == free.low_per_m
    assert drag_of(HERON, air_of(), cd=2.6).per_m == free.high_per_m
    assert drag_of(KnownRig(), air_of(), per_m=0.0011).per_m == 0.0011
    wide = drag_of(HERON, air_of(), cd=2.6, head_area_mm2=40.0)
    assert wide.per_m > free.high_per_m
    assert "no published value" in wide.notes[0]
    with pytest.raises(RigError, match="per_m is 11"):
        drag_of(HERON, air_of(), per_m=11.0)
    with pytest.raises(RigError, match="'smooth'"):
        drag_of(HERON, air_of(), cd="smooth")  # type: ignore[arg-type]


# Launch


def test_readings_are_put_together_by_mass_and_none_is_lost():
    told = launch_of([27.0, 27.04, 27.08, 35.0], [95.0, 95.2, 95.1, 84.7], predict_g=[31.0])
    frame = told.readings_frame()
    assert frame["readings"].tolist() == [3, 1]
    assert frame["mass_g"].tolist() == pytest.approx([27.04, 35.0])
    assert told.launch is not None
    assert told.predicted_frame()["grains_per_pound"].isna().all()
    assert told.bow_frame()["what"].tolist() == ["energy", "virtual mass"]
    one = launch_of([27.0, 27.0], [95.0, 95.2])
    assert one.launch is None
    assert one.bow_frame().empty
    assert one.predicted_frame().empty
    assert any("second, heavier" in note for note in one.notes)
    with pytest.raises(RigError, match="one mass and one speed"):
        launch_of([27.0], [])


def test_a_heavier_arrow_takes_up_more_of_the_energy():
    speed = speed_by_mass(27.0, 95.0, 4.0)(np.array([27.0, 40.0]))
    energy = np.array([27.0, 40.0]) * speed**2
    assert speed[0] == pytest.approx(95.0)
    assert energy[1] > energy[0]


# Flight


def test_flight_table_is_the_worked_trajectory():
    # Worked trajectory of the project's references, section 5: 280 ft/s, k 9.990955e-4 1/m, peep
    # 4 in, sighted in at 20 yd; -4.856 in at 30 yd and -14.396 in at 40 yd.
    known = KnownRig(name="x", parts=ArrowParts(mass_g=34.667), peep_mm=101.6)
    drag = drag_of(known, air_of(), per_m=9.990955e-4)
    told = flight_table(known, 85.344, drag, [20 * YARD, 30 * YARD, 40 * YARD], sighted_m=20 * YARD)
    frame = told.to_frame()
    assert (frame["height_mm"] / 25.4).round(3).tolist() == pytest.approx([0, -4.856, -14.396])
    # Below the line of departure it is the free fall, and a little more for the drag.
    fall = 1000 * 9.80665 * frame["time_s"] ** 2 / 2
    assert (frame["drop_mm"] < fall).all()
    assert (frame["drop_mm"] > 0.97 * fall).all()
    energy = 34.667e-3 * frame["speed_mps"] ** 2 / 2
    assert frame["energy_j"].tolist() == pytest.approx(energy.tolist())
    assert frame["lower_mm"].abs().max() < 1e-9  # the drag was said: no range
    assert "law" in told.caution


def test_on_a_slope_the_pin_of_a_nearer_distance_is_right():
    drag = drag_of(HERON, air_of())
    told = flight_table(
        HERON, 80.0, drag, [5.0, 30.0, 60.0], sighted_m=20.0, slope_rad=math.radians(-25.0)
    ).to_frame()
    assert math.isnan(told["shoot_as_m"][0])  # nearer than the highest pin
    assert told["level_m"][1] == pytest.approx(30 * math.cos(math.radians(25)))
    # Common practice shoots the level distance; with the speed gained downhill a little less or
    # more is right, but never the slant distance.
    assert (abs(told["shoot_as_m"][1:] - told["level_m"][1:]) < 1.5).all()
    level = flight_table(HERON, 80.0, drag, [30.0], sighted_m=20.0).to_frame()
    assert level["shoot_as_m"].tolist() == [30.0]
    assert told["height_mm"][1] > level["height_mm"][0]


def test_without_a_peep_height_it_is_said_and_the_far_numbers_still_hold():
    drag = drag_of(HERON, air_of())
    whole = flight_table(HERON, 80.0, drag, [40.0], sighted_m=20.0)
    bare = flight_table(KnownRig(parts=PARTS, shaft_mm=6.2), 80.0, drag, [40.0], sighted_m=20.0)
    assert any("No peep height" in note for note in bare.notes)
    assert bare.flight.time_s[0] == pytest.approx(whole.flight.time_s[0], rel=1e-3)
    assert any("turbulent layer" in note for note in whole.notes)


# Pins


SIGHT = Sight(85.344, 0.001, 101.6, 863.6)


def test_pins_cover_what_their_bands_say():
    told = pins_of(
        SIGHT, [18.0, 30.0, 42.0], circle_mm=160.0, nearest_m=5.0, farthest_m=60.0,
        distance_m=[10.0, 24.0, 36.0, 59.0],
    )  # fmt: skip
    pins = told.pins_frame()
    assert pins["gap_mm"][:2].tolist() == pytest.approx(np.diff(told.position_mm).tolist())
    assert math.isnan(pins["gap_mm"].iloc[-1])
    assert told.open_m[-1][1] == 60.0  # beyond the last pin nothing covers
    for one in told.bands_frame().to_dict("records"):
        middle = (one["near_m"] + one["far_m"]) / 2
        at = pins_of(
            SIGHT, [18.0, 30.0, 42.0], circle_mm=160.0, nearest_m=5.0, farthest_m=60.0,
            distance_m=[middle, one["far_m"]], hold=[one["hold"]],
        ).landing.height_mm  # fmt: skip
        assert abs(at[0, 0]) <= 80.0
        assert abs(at[0, 1]) <= 80.0 + 1e-6
    assert told.landing_frame().shape == (4, 6)
    with pytest.raises(RigError, match="circle_mm"):
        pins_of(SIGHT, [18.0], circle_mm=0.0, nearest_m=5.0, farthest_m=60.0)


def test_the_chance_is_that_of_drawn_arrows():
    distance = np.array([18.0, 24.0, 33.0])
    told = pin_chances(
        SIGHT, [18.0, 30.0], given_scatter(2.0), circle_mm=150.0, distance_m=distance
    )
    rng = np.random.default_rng(3)
    for place, far in enumerate(distance):
        drawn = rng.normal(0, 2.0 * far, (400_000, 2)) + (0.0, told.miss_mm[place])
        share = (np.hypot(*drawn.T) <= 75.0).mean()
        assert told.probability[place] == pytest.approx(share, abs=0.003)
    assert told.to_frame()["held"].tolist()[0] == "pin 1"
    assert np.isnan([told.low, told.high]).all()  # said, not measured


def test_few_shots_make_the_chance_uncertain(tmp_path):
    few = scatter_mrad_of(season(tmp_path, sigma_mrad=2.0, distances=(18.0,), each=3))
    many = scatter_mrad_of(season(tmp_path, sigma_mrad=2.0, distances=(18.0,), each=60))
    widths = []
    for one in (few, many):
        told = pin_chances(SIGHT, [18.0], one, circle_mm=100.0, distance_m=[18.0])
        assert told.low[0] < told.probability[0] < told.high[0]
        widths.append(float(told.high[0] - told.low[0]))
    assert widths[0] > 2 * widths[1]
    assert any("Only 6 shots" in note for note in few.notes)


def test_best_pins_miss_less_with_more_pins():
    told = best_pins_of(SIGHT, nearest_m=15.0, farthest_m=60.0)
    frame = told.to_frame()
    assert frame["pins"].tolist() == [2, 3, 4, 5]
    assert frame["miss_mm"].is_monotonic_decreasing
    assert frame["pin5_m"].isna().tolist() == [True, True, True, False]


# Scatter


def test_scatter_leaves_out_what_moves_whole_sessions(tmp_path):
    found = scatter_mrad_of(season(tmp_path, sigma_mrad=1.5))
    assert found.groups == 6
    assert found.df == 2 * (180 - 6)
    assert found.sigma_mrad.low < 1.5 < found.sigma_mrad.high
    assert not found.differs
    assert [round(at) for at, _, _ in found.by_distance] == [18, 27, 36]
    frame = found.to_frame()
    assert frame["shots"].tolist() == [60, 60, 60]


def test_scatter_that_grows_faster_than_distance_is_taken_where_it_was_measured(tmp_path):
    found = scatter_mrad_of(season(tmp_path, sigma_mrad=lambda d: d / 18, each=60))
    assert found.differs
    assert any("differs from distance" in note for note in found.notes)
    told = pin_chances(SIGHT, [36.0], found, circle_mm=150.0, distance_m=[36.0])
    one = 1 - math.exp(-((75.0 / (2.0 * 36)) ** 2) / 2)
    assert told.low[0] < one < told.high[0]
    assert told.probability[0] == pytest.approx(one, abs=0.06)


def test_scatter_that_cannot_be_told_says_why(tmp_path):
    with pytest.raises(TableError, match="no two shots"):
        scatter_mrad_of(shots(tmp_path, [(1, "2026-05-01", 18, 1, 2, "Heron", "")]))
    with pytest.raises(TableError, match="no distance"):
        scatter_mrad_of(shots(tmp_path, [(1, "2026-05-01", 1, 2)], "session,date,right_mm,high_mm"))
    with pytest.raises(TableError, match="cannot be"):
        given_scatter(0.0)


# Fit


def one_pin(speed, k, distances, peep_m=0.11):
    angle = float(sight_angle(speed, k, 20.0, peep_m=peep_m))
    height = 1000 * fly(speed, angle, k, list(distances), peep_m=peep_m).height_m
    return dict(zip(distances, height.tolist(), strict=True))


@pytest.mark.parametrize("pool", ["session", "distance"])
def test_groups_of_the_records_give_back_the_speed(tmp_path, pool):
    distances = (15.0, 25.0, 35.0, 45.0, 55.0)
    drag = drag_of(HERON, air_of())
    table = season(
        tmp_path, sigma_mrad=0.8, distances=distances, each=12,
        heights=one_pin(82.0, drag.per_m, distances),
    )  # fmt: skip
    told = fit_of(table, HERON, air_of(), pool=pool, peep_se_mm=2.0)
    assert len(told.groups) == (10 if pool == "session" else 5)
    speed = told.fit.speed_mps
    assert speed.low < 82.0 < speed.high
    assert speed.high - speed.low < 6.0
    assert told.published_per_m == (drag.low_per_m, drag.high_per_m)
    pins = told.pins_frame()
    assert (pins["low_mm"] < pins["position_mm"]).all()
    assert any("one pin" in note for note in told.notes)


def test_groups_that_were_each_sighted_in_are_told_apart_from_one_pins(tmp_path):
    table = season(tmp_path, sigma_mrad=0.8, distances=(18.0, 27.0, 36.0, 45.0), each=12)
    with pytest.raises(RigError, match="pin or setting of its own"):
        fit_of(table, HERON, air_of())
    # Neither does a speed that was measured make them one pin's, nor one shot a distance tell.
    with pytest.raises(RigError, match="pin or setting of its own"):
        fit_of(table, HERON, air_of(), speed_mps=(82.0, 0.5), peep_se_mm=2.0)
    one = table.drop_duplicates("distance_m")
    assert fit_of(one, HERON, air_of(), speed_mps=(82.0, 0.5), peep_se_mm=2.0).fit.speed_mps


def test_few_shots_with_one_pin_are_not_taken_for_pins_of_their_own(tmp_path):
    distances = (10.0, 15.0, 20.0)
    angle = float(sight_angle(85.0, 1e-3, 15.0, peep_m=0.11))
    heights = {d: 1000 * float(fly(85.0, angle, 1e-3, d, peep_m=0.11).height_m) for d in distances}
    for seed in range(60):
        table = season(tmp_path, sigma_mrad=2.0, distances=distances, each=2, heights=heights,
                       seed=seed)  # fmt: skip
        fit_of(table, HERON, air_of(), speed_mps=(85.0, 0.5), peep_se_mm=2.0)


def test_heights_are_means_with_their_errors(tmp_path):
    rows = [(1, "2026-05-01", 18, 0, high, "Heron", "") for high in (1.0, 2.0, 6.0)]
    rows += [(2, "2026-05-02", 18, 0, 9.0, "Heron", "")]
    each = heights_of(shots(tmp_path, rows))
    assert each["height_mm"].tolist() == [3.0, 9.0]
    assert each["se_mm"].iloc[0] == pytest.approx(np.std([1, 2, 6], ddof=1) / math.sqrt(3))
    assert math.isnan(each["se_mm"].iloc[1])
    pooled = heights_of(shots(tmp_path, rows), pool="distance")
    assert pooled[["shots", "height_mm"]].to_numpy().tolist() == [[4, 4.5]]


# Side by side


def test_two_rigs_side_by_side(tmp_path):
    measured = measured_of(season(tmp_path, sigma_mrad=1.5), circle_mm=200.0)
    assert measured.scatter is not None
    assert measured.right_mrad.low < measured.right_mrad.value < measured.right_mrad.high
    assert measured.reach_m.low > 0
    drag = drag_of(HERON, air_of())
    first = side_of(HERON, speed_mps=82.0, drag=drag, distance_m=[20.0, 40.0], crosswind_mps=3.0,
                    measured=measured)  # fmt: skip
    heavy = with_parts(HERON, point_g=9.7)
    second = side_of(heavy, speed_mps=77.0, drag=drag_of(heavy, air_of()),
                     distance_m=[20.0, 40.0], crosswind_mps=3.0)  # fmt: skip
    told = side_by_side(first, second, crosswind_mps=3.0)
    frame = told.to_frame().set_index("what")
    assert frame.loc["mass", "difference"] == pytest.approx(9.7 - 6.48)
    assert frame.loc["pin for 40 m", "difference"] > 0  # slower: the pin lies lower
    assert frame.loc["drift at 40 m in 3 m/s across", "first"] > 0
    shown = told.measured_frame().set_index("what")
    assert shown.loc["scatter per axis", "first"] == measured.scatter.sigma_mrad.value
    assert shown["second"].isna().all()
    assert all(note.startswith("Heron: ") for note in told.notes())


def test_a_side_without_a_speed_still_compares_what_is_known():
    side = side_of(HERON, speed_mps=None, drag=None, distance_m=[20.0], crosswind_mps=3.0)
    assert math.isnan(side.position_mm[0])
    assert side.figures.mass_g == 24.3
    assert any("No launch speed" in note for note in side.notes)
