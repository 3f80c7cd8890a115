"""Whether groups at several distances were shot with one pin at one setting of the sight."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from groupscan.decisions.rig_bench import KnownRig, air_of, fit_of, heights_of
from groupscan.decisions.rig_bench.one_sight import moved_warnings, seems_sighted
from groupscan.errors import RigError
from groupscan.rigs.flight import fly, sight_angle
from groupscan.telling import retold

SPEED, DRAG, PEEP_M, SIGMA = 88.0, 0.0013, 0.11, 0.8
FAR = (15.0, 20.0, 30.0, 40.0, 50.0, 60.0)
KNOWN = KnownRig(name="Wren", radius_mm=860.0, peep_mm=110.0)


def table(moved_mrad=(0.0,) * 6, *, seed=3, shots=12, setups=("",) * 6, far=FAR) -> pd.DataFrame:
    """Return sessions shot with the pin for 20 m, the sight turned before each by an angle."""
    angle = float(sight_angle(SPEED, DRAG, 20.0, peep_m=PEEP_M))
    high = 1000 * fly(SPEED, angle, DRAG, far, peep_m=PEEP_M).height_m
    rng = np.random.default_rng(seed)
    groups = enumerate(zip(far, high, moved_mrad, setups, strict=True))
    rows = [
        {"session": f"s{i}", "distance_m": at, "high_mm": y, "setup": setup, "flyer": False}
        for i, (at, mid, turned, setup) in groups
        for y in mid + turned * at + rng.normal(0, SIGMA * at, shots)
    ]
    words = {"rig": "Wren", "shooter": "", "head": "", "build": "", "right_mm": 0.0}
    return pd.DataFrame(rows).assign(day=pd.Timestamp(date(2026, 5, 3)), **words)


def test_one_sight_is_not_accused() -> None:
    accused = [fit_of(table(seed=seed), KNOWN, air_of()).warnings for seed in range(20)]
    assert sum(map(bool, accused)) <= 1  # at a level of 1 %


def test_a_sight_that_was_moved_in_between_is_said_first() -> None:
    told = fit_of(table((0.0, 0.0, 3.0, 3.0, 0.0, 0.0)), KNOWN, air_of())
    assert any("the sight was moved between distances" in text for text in told.warnings)


def test_groups_with_a_pin_each_are_refused() -> None:
    angle = float(sight_angle(SPEED, DRAG, 20.0, peep_m=PEEP_M))
    high = fly(SPEED, angle, DRAG, FAR, peep_m=PEEP_M).height_m
    with pytest.raises(RigError, match="pin or setting of its own"):
        fit_of(table(tuple(-1000 * high / FAR)), KNOWN, air_of())


def test_sessions_of_one_distance_that_differ_name_the_distance() -> None:
    far = (15.0, 20.0, 20.0, 30.0, 40.0, 60.0)
    moved = moved_warnings(t := table((0, 0, 2.5, 0, 0, 0), far=far), heights_of(t))
    assert any("(20 m)" in retold(text, {}) for text in moved)
    same = table(far=far)
    assert moved_warnings(same, heights_of(same)) == ()


def test_several_setups_are_named() -> None:
    told = fit_of(table(setups=("March", "March", "March", "May", "May", "May")), KNOWN, air_of())
    assert "2 setups (March, May)" in told.warnings[0]


def test_two_distances_with_a_pin_each_are_refused_where_the_peep_is_known() -> None:
    far = (20.0, 30.0)
    angle = float(sight_angle(SPEED, DRAG, 20.0, peep_m=PEEP_M))
    high = 1000 * fly(SPEED, angle, DRAG, far, peep_m=PEEP_M).height_m
    sighted = table(tuple(-high / far), far=far, setups=("", ""), shots=30)
    with pytest.raises(RigError, match="setting of its own"):
        fit_of(sighted, KNOWN, air_of())
    one_pin = [
        table((0.0, 0.0), far=far, setups=("", ""), shots=30, seed=seed) for seed in range(20)
    ]
    for shots in one_pin:  # told how to go on, and not that the sight moved
        with pytest.raises(RigError, match="more distances"):
            fit_of(shots, KNOWN, air_of())


def test_pins_so_near_that_a_farther_one_has_them_are_left_out() -> None:
    told = fit_of(table(far=(8.0, 20.0, 30.0, 40.0, 50.0, 60.0)), KNOWN, air_of())
    assert told.pins_frame()["distance_m"].min() == 20.0
    assert (told.pins_frame()["gap_mm"].iloc[:-1] > 0).all()


def test_many_sessions_of_two_distances_tell_as_much_as_they_are() -> None:
    far = (18.3,) * 6 + (27.4,) * 6
    angle = float(sight_angle(SPEED, DRAG, 20.0, peep_m=PEEP_M))
    high = 1000 * fly(SPEED, angle, DRAG, far, peep_m=PEEP_M).height_m
    rng = np.random.default_rng(11)
    apart = rng.normal(0, 0.2, len(far))  # mrad, from session to session
    sighted = table(tuple(apart - high / far), far=far, setups=("",) * 12)
    one_pin = table(tuple(apart), far=far, setups=("",) * 12)
    known = KNOWN.peep_mm
    assert seems_sighted(heights_of(sighted), known)
    assert not seems_sighted(heights_of(one_pin), known)


def test_a_chronograph_tells_pins_of_their_own_where_the_groups_alone_may_be_of_a_quicker_bow() -> (
    None
):
    far = (18.288, 18.288, 18.288, 27.432)
    angle = float(sight_angle(SPEED, DRAG, 20.0, peep_m=PEEP_M))
    high = 1000 * fly(SPEED, angle, DRAG, far, peep_m=PEEP_M).height_m
    own = tuple(-high / far)
    sighted = table(own, far=far, setups=("",) * 4, shots=18)
    with pytest.raises(RigError, match="setting of its own"):
        fit_of(sighted, KNOWN, air_of(), speed_mps=(SPEED, 0.1))
    for seed in range(20):  # one pin's groups are fitted as before
        one_pin = table((0.0,) * 4, far=far, setups=("",) * 4, shots=18, seed=seed)
        told = fit_of(one_pin, KNOWN, air_of(), speed_mps=(SPEED, 0.1))
        assert told.fit.peep_mm.low < 115
        assert told.warnings == ()


def test_a_peep_height_that_the_groups_contradict_is_said() -> None:
    shots = table()
    assert fit_of(shots, KNOWN, air_of()).warnings == ()
    other = replace(KNOWN, peep_mm=200.0)
    (said,) = fit_of(shots, other, air_of()).warnings
    assert "the setup keeps 200 mm" in retold(said, {})
    assert fit_of(shots, replace(KNOWN, peep_mm=None), air_of()).warnings == ()
