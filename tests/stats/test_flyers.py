"""Flyers: Wilks' test against Grubbs' published example, scipy and its own promises."""

import math

import numpy as np
import pytest
import scipy.stats

from groupscan.errors import StatisticsError
from groupscan.stats.group import measure_group
from groupscan.stats.group.flyers import find_flyer, flyer_p

ROUND = [(4, 1), (-3, 5), (0, -6), (-5, -2), (6, -3), (2, 4), (-1, 1)]


def test_one_coordinate_is_grubbs_test():
    # NIST/SEMATECH e-Handbook 1.3.5.17.1, data of Tietjen and Moore (1972): G = 2.468765; the
    # two-sided p from G by Student's t.
    data = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    p = flyer_p((data - data.mean())[:, None])
    assert p.argmin() == 7
    assert p[7] == pytest.approx(3.0026e-07, rel=1e-4)


def test_two_coordinates_are_hotellings_test_of_the_one_left_out():
    # Leaving one shot out, its distance from the others' centre is a T^2: F with 2 and n - 3.
    shots = np.array([*ROUND, (30.0, 8.0)])
    n = len(shots)
    others = shots[:-1]
    gap = shots[-1] - others.mean(axis=0)
    t_squared = gap @ np.linalg.solve(np.cov(others.T), gap) * (n - 1) / n
    f = t_squared * (n - 3) / (2 * (n - 2))
    expected = n * scipy.stats.f.sf(f, 2, n - 3)
    assert flyer_p(shots - shots.mean(axis=0))[-1] == pytest.approx(expected, rel=1e-8)


class TestGroup:
    def test_it_is_flagged_and_counted_all_the_same(self):
        shots = [*ROUND[:3], (60.0, 20.0), *ROUND[3:]]
        group = measure_group(shots, aim_mm=(1, 1), distance_m=18, se_mm=[0.3] * 8)
        assert group.flyer.shot == 4
        assert group.flyer.flagged
        assert group.n == 8
        assert group.centre == measure_group(shots).centre
        apart = measure_group(ROUND, aim_mm=(1, 1), distance_m=18, se_mm=0.3)
        assert group.without_flyer.estimates() == apart.estimates()
        assert any("Shot 4" in note and "counted all the same" in note for note in group.notes)
        told = group.to_dict()["flyer"]
        assert told["group_without_it"]["n"] == 7
        assert told["flagged"] is True

    def test_its_end_may_go_with_it(self):
        group = measure_group([*ROUND, (60.0, 20.0)], ends=[1] * 4 + [2] * 3 + [3])
        assert group.ends.shots == (4, 3, 1)
        assert group.without_flyer.ends.shots == (4, 3)

    def test_a_plain_group_has_none(self):
        group = measure_group(ROUND)
        assert not group.flyer.flagged
        assert group.without_flyer is None
        assert group.to_dict()["flyer"]["group_without_it"] is None

    @pytest.mark.parametrize(
        "shots", [ROUND[:1], ROUND[:3], [(2, 2)] * 6, [(0, 0), (1, 1), (2, 2), (30, 30)]]
    )
    def test_no_test_is_possible(self, shots):
        group = measure_group(shots)
        assert group.flyer is None
        assert group.to_dict()["flyer"] is None

    def test_a_shot_beside_others_on_a_line_is_not_infinitely_far_out(self):
        # Places in whole mm: three of four on one line is rounding, and Wilks' p would be 0.
        group = measure_group([(1, 2), (3, 2), (3, 9), (3, 4)])
        assert group.flyer is None

    def test_a_flyer_that_widens_nothing_is_said_to(self):
        far = [(0.0, 0.0), (40, 1), (-40, -1), (80, 2.5), (-80, -1.5), (60, 1), (-60, -2), (0, 12)]
        group = measure_group(far)
        assert group.flyer.flagged
        (said,) = [note for note in group.notes if "flyer" in note and "sigma" in note]
        assert "sigma would be no smaller" in said
        # 80 mm out along a group as long as that is nothing odd; 12 mm across it is.
        assert group.flyer.farther == group.to_dict()["flyer"]["farther"] == "5"
        assert said.startswith("Shot 8 does not fit the shape of this group of 8")
        assert "Shot 5 is farther from the centre" in said

    def test_the_order_decides_only_the_number(self):
        shots = np.array([*ROUND, (60.0, 20.0)])
        first, last = shots[::-1] - shots.mean(axis=0), shots - shots.mean(axis=0)
        assert find_flyer(first).shot == 1
        assert find_flyer(last).shot == 8
        assert find_flyer(first).p == pytest.approx(find_flyer(last).p)

    def test_it_is_called_by_its_name(self):
        names = [f"2.{i}" for i in range(1, 9)]
        group = measure_group([*ROUND, (60.0, 20.0)], names=names)
        assert group.flyer.name == group.to_dict()["flyer"]["name"] == "2.8"
        assert group.notes[0].startswith("Shot 2.8 lies farther out than any of 8 such shots")
        assert group.flyer.farther == ""
        with pytest.raises(StatisticsError, match="2 names for 7 shots"):
            measure_group(ROUND, names=names[:2])

    def test_a_shape_that_only_the_flyer_makes_is_not_explained(self):
        group = measure_group([*ROUND, (60.0, 20.0)])
        assert "Without the flyer that shape is not seen." in group.notes
        assert not any("common practice" in note for note in group.notes)

    def test_four_shots_may_be_tested(self):
        flyer = measure_group([(0, 0), (1, 0.2), (0.1, 1), (900, 500)]).flyer
        assert flyer.shot == 4
        assert math.isfinite(flyer.p)
