import math

import numpy as np
import pytest

from groupscan.aims import about_aim
from groupscan.report.backdrop import pale_artwork
from groupscan.report.palette import LIGHT
from groupscan.report.scene import group_scene
from groupscan.report.shots import group_of_shots, sheet_under
from groupscan.sheets.catalogue import get_sheet
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


def on_four_aims(*places, sheet="four-aims-a4"):
    printed = get_sheet(sheet).aims_mm
    shots = shots_table([(x + printed[i][0], y + printed[i][1]) for i, x, y in places])
    shots = shots.assign(scan_id=1, aim_x_mm=printed[0][0], aim_y_mm=printed[0][1])
    return about_aim(shots, aims_mm={1: printed})


def test_shots_at_several_printed_aims_have_one_of_them_underneath():
    shots = on_four_aims((0, 4, 1), (1, -3, 2), (3, 0, -5))
    under = sheet_under(shots, {"four-aims-a4"})
    assert under.sheet.id == "four-aims-a4"
    # Its aims stand 72 mm apart sideways and 100 mm in height.
    assert under.reach_mm == pytest.approx(36)
    scene = group_scene(
        shots, group_of_shots(shots), sheet=under.sheet, sheet_aim_mm=under.aim_mm,
        sheet_reach_mm=under.reach_mm,
    )  # fmt: skip
    picture, (left, right, bottom, top) = pale_artwork(scene, "light")
    tall, wide = picture.shape[:2]
    x = left + (np.arange(wide) + 0.5) * (right - left) / wide
    y = top + (np.arange(tall) + 0.5) * (bottom - top) / tall
    away = np.hypot(x[None, :], y[:, None])
    ground = [int(LIGHT.ground[i : i + 2], 16) for i in (1, 3, 5)]
    assert (picture[away > 36.5] == ground).all()
    assert (picture[away < 30] != ground).any()


def test_aims_of_the_shooters_own_and_unlike_sheets_have_none_underneath():
    own = about_aim(shots_table([(0, 0), (50, 0)]).assign(scan_id=[1, 2], aim_x_mm=[0.0, 50.0]))
    assert sheet_under(own, {"ring-40"}).sheet is None
    one = about_aim(shots_table([(0, 0)]))
    assert sheet_under(one, {"ring-40", "ring-60"}).sheet is None
    assert sheet_under(one, {"my-own"}).sheet is None
    assert sheet_under(one, {"ring-40"}).sheet.id == "ring-40"
    assert math.isinf(sheet_under(one, {"ring-40"}).reach_mm)
