import numpy as np
import pytest

from groupscan.aims import about_aim
from groupscan.report.shots import group_of_shots
from tests.report.report_tables import shots_table

XY = np.array([[3.0, 4.0], [-8.0, 1.0], [5.0, -6.0], [0.5, 2.0]])


def test_moving_sheet_and_aim_together_changes_nothing():
    here = group_of_shots(about_aim(shots_table(XY)))
    there = group_of_shots(about_aim(shots_table(XY + [60, 70], aim=(60, 70))))
    assert there.offset.value == pytest.approx(here.offset.value)
    assert there.r50.high == pytest.approx(here.r50.high)


def test_several_photos_are_several_ends_and_a_shot_is_called_by_its_label():
    xy = np.vstack([XY, XY + 1, [[90.0, 80.0]]])
    table = shots_table(xy, scan_id=[7] * 4 + [9] * 5)
    group = group_of_shots(about_aim(table))
    assert group.ends.shots == (4, 5)
    assert group.flyer.name == "9"
    labelled = about_aim(table).assign(label=[f"2.{i}" for i in range(9)])
    assert group_of_shots(labelled).flyer.name == "2.8"
    assert group_of_shots(about_aim(shots_table(XY, scan_id=7))).ends is None


def test_origin_says_who_placed_the_hole():
    table = shots_table(XY)
    table.loc[1, "auto_x_mm"] += 2
    table.loc[2, ["auto_x_mm", "auto_y_mm"]] = np.nan
    assert about_aim(table)["origin"].tolist() == ["found", "moved", "added", "found"]


def test_one_shot_without_standard_error_leaves_the_scatter_as_seen():
    table = shots_table(XY)
    table.loc[0, "se_mm"] = np.nan
    assert group_of_shots(about_aim(table)).measurement_share is None
