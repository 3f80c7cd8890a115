import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groupscan.records.entries import ShotRecord
from groupscan.screens.corrections import (
    aims_px,
    editor_points,
    fresh_ids,
    group_of_record,
    hole_radius_px,
    is_ordered,
    outlines_px,
    take_edit,
    without_corrections,
)
from groupscan.screens.hole_editor import Edit, EditedPoint
from tests.screens.screen_records import px, scan_record

PLACES = [(10.0, 20.0), (-30.0, 5.0), (0.0, -12.5)]
coordinates = st.floats(-150, 150).map(lambda v: round(v, 2))


def page_of(record, ids, **changes):
    """What the page reports if only `changes` (by id) were made; None leaves a point out."""
    points = []
    for point in editor_points(record, ids):
        change = changes.get(point.id, {})
        if change is None:
            continue
        x, y = change.get("at", (point.x, point.y))
        points.append(
            EditedPoint(
                point.id, x, y,
                head=change.get("head", point.head),
                arrow=change.get("arrow", point.arrow),
                flyer=change.get("flyer", point.flyer),
                why=change.get("why", point.why),
                removed=change.get("removed", point.removed),
            )
        )  # fmt: skip
    return Edit("p", 0, tuple(points), aims_px(record)[0])


@pytest.fixture
def record():
    return scan_record(*PLACES)


@pytest.fixture
def ids(record):
    return fresh_ids(record)


def test_the_page_shows_the_holes_where_the_photo_has_them(record, ids):
    shown = [(point.x, point.y) for point in editor_points(record, ids)]
    assert shown == [px(*place) for place in PLACES]
    assert [point.auto for point in editor_points(record, ids)] == shown
    assert hole_radius_px(record) == 5.0  # a 5 mm shaft at 2 px a mm
    assert [point.r for point in editor_points(record, ids)] == [5.0] * 3


def test_an_edit_that_changes_nothing_changes_nothing(record, ids):
    assert take_edit(record, ids, page_of(record, ids)) == (record, ids)


@given(x=coordinates, y=coordinates)
def test_a_moved_hole_lands_where_it_was_put_and_keeps_where_it_was_found(x, y):
    record = scan_record(*PLACES)
    ids = fresh_ids(record)
    moved, _ = take_edit(record, ids, page_of(record, ids, a2={"at": px(x, y)}))
    shot = moved.shots[1]
    assert (shot.x_mm, shot.y_mm) == pytest.approx((x, y), abs=0.04)
    assert (shot.auto_x_mm, shot.auto_y_mm) == PLACES[1]
    assert (moved.shots[0], moved.shots[2]) == (record.shots[0], record.shots[2])


def test_a_hole_put_back_is_as_it_was_found(record, ids):
    moved, names = take_edit(record, ids, page_of(record, ids, a1={"at": (700.0, 300.0)}))
    back, _ = take_edit(moved, names, page_of(moved, names, a1={"at": px(*PLACES[0])}))
    assert (back.shots[0].x_mm, back.shots[0].y_mm) == PLACES[0]
    assert moved.shots[0].se_mm > record.shots[0].se_mm  # a hand is less sure than the scan
    assert back.shots[0].se_mm == record.shots[0].se_mm
    assert [point.x for point in editor_points(back, ids)] == [520.0, 440.0, 500.0]


def test_an_added_hole_says_that_no_scan_found_it(record, ids):
    page = page_of(record, ids)
    page = replace(page, points=(*page.points, EditedPoint("u1", *px(7.0, 8.0), arrow="A4")))
    added, names = take_edit(record, ids, page)
    shot = added.shots[3]
    assert (shot.x_mm, shot.y_mm) == pytest.approx((7.0, 8.0))
    assert (shot.auto_x_mm, shot.auto_y_mm, shot.confidence) == (None, None, None)
    assert (shot.number, shot.arrow, names[3]) == (4, "A4", "u1")
    assert shot.se_mm is not None
    assert editor_points(added, names)[3].auto is None


def test_a_removed_hole_stays_on_record_and_leaves_the_group(record, ids):
    page = page_of(record, ids, a1={"removed": True})
    after, names = take_edit(record, ids, page)
    assert [shot.removed for shot in after.shots] == [False, False, True]
    assert [shot.number for shot in after.shots] == [1, 2, 3]
    assert names == ("a2", "a3", "a1")
    assert group_of_record(after, None).n == 2


def test_a_hole_that_the_page_forgot_is_removed_and_never_dropped(record, ids):
    after, _ = take_edit(record, ids, page_of(record, ids, a2=None))
    assert len(after.shots) == 3
    assert [shot.auto_x_mm for shot in after.shots if shot.removed] == [PLACES[1][0]]


def test_order_in_the_page_is_the_order_of_shooting(record, ids):
    page = page_of(record, ids)
    after, names = take_edit(record, ids, replace(page, points=page.points[::-1]))
    assert [shot.number for shot in after.shots] == [1, 2, 3]
    assert [(shot.x_mm, shot.y_mm) for shot in after.shots] == PLACES[::-1]
    assert names == ids[::-1]


def test_labels_reach_the_record(record, ids):
    after, _ = take_edit(record, ids, page_of(record, ids, a3={"head": "field", "arrow": "7"}))
    assert (after.shots[2].head, after.shots[2].arrow) == ("field", "7")


def test_the_aim_moves_in_millimetres_and_settles_on_a_printed_one():
    record = scan_record(*PLACES, aims_mm=((0.0, 0.0), (40.0, 30.0)))
    ids = fresh_ids(record)
    page = page_of(record, ids)
    assert take_edit(record, ids, replace(page, aim=px(5.0, -6.0)))[0].aim_mm == (5.0, -6.0)
    assert take_edit(record, ids, replace(page, aim=px(40.0, 30.0)))[0].aim_mm == (40.0, 30.0)
    assert take_edit(record, ids, replace(page, aim=None))[0].aim_mm == record.aim_mm


def test_starting_over_gives_the_scan_back(record, ids):
    page = page_of(record, ids, a1={"at": (600.0, 90.0)}, a2={"removed": True})
    page = replace(page, points=(*page.points, EditedPoint("u1", 400.0, 400.0)))
    after, _ = take_edit(record, ids, page)
    fresh = without_corrections(after)
    assert sorted((s.x_mm, s.y_mm) for s in fresh.shots) == sorted(PLACES)
    assert not any(s.removed for s in fresh.shots)
    assert {s.se_mm for s in fresh.shots} == {s.se_mm for s in record.shots}


def test_the_group_counts_from_the_aim_that_was_set():
    record = scan_record((1.0, 1.0), (3.0, 1.0), (2.0, 4.0), aim_mm=(2.0, 2.0))
    group = group_of_record(record, None)
    assert (group.offset.x.value, group.offset.y.value) == pytest.approx((0.0, 0.0))
    moved = group_of_record(replace(record, aim_mm=(0.0, 0.0), aims_mm=()), None)
    assert (moved.offset.x.value, moved.offset.y.value) == pytest.approx((2.0, 2.0))


def test_no_holes_no_group():
    assert group_of_record(scan_record(), 18.0) is None
    only = ShotRecord(number=1, x_mm=1.0, y_mm=1.0, removed=True)
    assert group_of_record(scan_record(shots=(only,)), 18.0) is None


def test_a_hole_the_scan_was_not_sure_of_asks_to_be_checked():
    """The scan keeps holes from a confidence of one half on, so doubt must begin above that."""
    record = scan_record(*PLACES)
    shots = tuple(
        replace(shot, confidence=confidence)
        for shot, confidence in zip(record.shots, (0.7, 0.95, None), strict=True)
    )
    record = replace(record, shots=shots)
    assert [p.doubt for p in editor_points(record, fresh_ids(record))] == [True, False, False]


def test_a_flyer_and_its_reason_reach_the_record_and_the_page(record, ids):
    edit = page_of(record, ids, a2={"flyer": True, "why": "let go early"})
    marked, names = take_edit(record, ids, edit)
    assert (marked.shots[1].flyer, marked.shots[1].flyer_why) == (True, "let go early")
    assert not marked.shots[0].flyer
    shown = editor_points(marked, names)[1]
    assert (shown.flyer, shown.why) == (True, "let go early")
    assert group_of_record(marked, None).n == 3  # a marked flyer still counts


def test_the_order_shot_is_kept_only_while_the_page_knows_it(record, ids):
    page = page_of(record, ids)
    turned = replace(page, points=page.points[::-1], ordered=True)
    told, names = take_edit(record, ids, turned)
    assert [(s.x_mm, s.order) for s in told.shots] == [(0.0, 1), (-30.0, 2), (10.0, 3)]
    assert is_ordered(told)
    labelled = replace(page_of(told, names, a1={"head": "x"}), ordered=True)
    assert take_edit(told, names, labelled)[0].shots[2].order == 3
    later = replace(labelled, ordered=False)  # as after a hole was added
    assert not is_ordered(take_edit(told, names, later)[0])


def test_an_order_that_was_typed_for_some_stays_untouched(record, ids):
    some = replace(record, shots=(replace(record.shots[0], order=7), *record.shots[1:]))
    assert take_edit(some, ids, page_of(some, ids))[0].shots[0].order == 7


def test_the_outline_is_where_the_plane_puts_paper_and_rings():
    record = scan_record(*PLACES)  # a 40 cm face at 2 px a mm
    rings = outlines_px(record)[-1]
    cx, cy = px(0, 0)
    assert [math.hypot(x - cx, y - cy) for x, y in rings] == pytest.approx(
        [400.0] * len(rings), abs=0.2
    )


@pytest.mark.parametrize("sheet", [None, "a sheet of my own"])
def test_a_sheet_that_nobody_knows_has_no_outline(sheet):
    assert outlines_px(scan_record(*PLACES, sheet=sheet)) == []
