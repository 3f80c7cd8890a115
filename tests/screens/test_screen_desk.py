import json
from dataclasses import replace
from datetime import date

import pytest

from groupscan.records.drafts import list_drafts, read_draft
from groupscan.records.entries import Session
from groupscan.records.photos import add_photo
from groupscan.records.store import list_scans, load_scan, save_session
from groupscan.screens.corrections import editor_points, fresh_ids, take_edit
from groupscan.screens.desk import Ask, Desk, Item, last_sheet, remembered
from groupscan.screens.hole_editor import Edit, EditedPoint
from tests.screens.screen_records import px, scan_record

PLACES = [(10.0, 20.0), (-30.0, 5.0), (0.0, -12.5)]


@pytest.fixture
def item(store):
    sha256 = add_photo(store, b"bytes of a photo", name="end.jpg", size_px=(1000, 800))
    record = scan_record(*PLACES, photo_sha256=sha256)
    session = Session(held_on=date(2026, 5, 2), place="Alder Flats", distance_m=18.0)
    return Item(
        sha256=sha256, name="end.jpg", size_px=(1000, 800), ask=Ask(None, 5.0, 3, 18.0),
        session=session, begun="2026-05-02T10:00:00", record=record, ids=fresh_ids(record),
    )  # fmt: skip


def corrected(item):
    """Hole 1 moved, hole 2 removed, one added."""
    found = editor_points(item.record, item.ids)
    points = (
        EditedPoint(found[0].id, *px(12.0, 20.0)),
        EditedPoint(found[1].id, found[1].x, found[1].y, removed=True),
        EditedPoint(found[2].id, found[2].x, found[2].y),
        EditedPoint("u1", *px(50.0, 50.0), head="fixed"),
    )
    record, ids = take_edit(item.record, item.ids, Edit(item.key, 0, points, None))
    return replace(item, record=record, ids=ids)


def test_an_item_comes_back_from_its_draft_as_it_was(item):
    for some in (item, corrected(item), replace(item, record=None, ids=(), marks_px=((1.5, 2.0),))):
        assert Item.from_json(json.loads(json.dumps(some.to_json()))) == some


def test_every_correction_is_on_disk_before_anything_else_happens(store, item):
    desk = Desk()
    desk.put(store, item)
    after = desk.put(store, corrected(item))
    assert Item.from_json(read_draft(store, item.sha256)) == after


def test_saving_moves_the_work_from_the_draft_into_the_records(store, item):
    desk = Desk()
    desk.put(store, corrected(item))
    kept = desk.save(store, corrected(item), item.session)
    assert list_drafts(store) == {}
    assert kept.saved
    record = load_scan(store, kept.record.id)
    live = {(round(s.x_mm, 6), round(s.y_mm, 6)) for s in record.shots if not s.removed}
    assert live == {(12.0, 20.0), (0.0, -12.5), (50.0, 50.0)}
    assert {(s.auto_x_mm, s.auto_y_mm) for s in record.shots} == {*PLACES, (None, None)}


def test_a_saved_scan_goes_on_being_saved_at_every_correction(store, item):
    desk = Desk()
    kept = desk.save(store, item, item.session)
    rev = desk.revs[item.sha256]
    first = desk.put(store, corrected(kept))
    second = desk.put(store, corrected(replace(first, ids=first.ids)))
    assert second.record.revision > first.record.revision > kept.record.revision
    assert desk.revs[item.sha256] == rev  # the page keeps its own points and its undo
    assert len(list_scans(store)) == 1
    assert sum(not s.removed for s in load_scan(store, kept.record.id).shots) == 3


def test_an_added_hole_that_is_taken_out_again_stays_out(store, item):
    desk = Desk()
    kept = desk.save(store, corrected(item), item.session)
    points = [
        EditedPoint(p.id, p.x, p.y, removed=p.removed)
        for p in editor_points(kept.record, kept.ids)
        if p.auto is not None
    ]
    record, ids = take_edit(kept.record, kept.ids, Edit(kept.key, 0, tuple(points), None))
    desk.put(store, replace(kept, record=record, ids=ids))
    opened = Desk().open_scan(store, kept.record.id)
    assert sum(not s.removed for s in opened.record.shots) == 2


def test_two_ends_of_one_session(store, item):
    desk = Desk()
    session_id = save_session(store, item.session)
    desk.save(store, item, replace(item.session, id=session_id))
    sha256 = add_photo(store, b"another photo", name="b.jpg")
    other = replace(item, sha256=sha256, record=replace(item.record, photo_sha256=sha256))
    desk.save(store, other, replace(item.session, id=session_id))
    assert list_scans(store)["session_id"].tolist() == [session_id, session_id]


def test_a_photo_put_aside_keeps_what_was_saved_and_forgets_the_rest(store, item):
    desk = Desk()
    desk.put(store, item)
    desk.put_aside(store, item)
    assert (desk.items, list_drafts(store)) == ({}, {})
    kept = desk.save(store, item, item.session)
    desk.put_aside(store, kept)
    assert len(list_scans(store)) == 1


def test_the_last_session_is_remembered_but_not_its_day_and_notes(store, item):
    session = replace(item.session, rig="Rig A", shooter="B. Rowan", notes="windy")
    Desk().save(store, item, session)
    last, shaft_mm = remembered(store)
    assert (last.place, last.rig, last.shooter) == ("Alder Flats", "Rig A", "B. Rowan")
    assert (last.held_on, last.notes, last.id) == (date.today(), "", None)
    assert (last.distance_m, shaft_mm) == (18.0, 5.0)


def test_the_last_sheet_is_that_of_another_photo(store, item):
    assert last_sheet(store) is None
    Desk().save(store, item, item.session)
    assert last_sheet(store) == "ring-40"
    assert last_sheet(store, but=item.sha256) is None
