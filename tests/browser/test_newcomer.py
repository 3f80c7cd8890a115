"""From a cold start to a saved group, and on to the next end; strokes in the editor."""

import re
from contextlib import closing

import pytest

from groupscan.records.store import get_session, list_scans, load_scan, open_store
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import (
    PHOTO,
    SECOND_PHOTO,
    editor_ready,
    hurried,
    next_end,
    settled,
    walk,
)

HOSTILE = "<img src=x onerror=document.title='gotcha'>"


def no_sideways_scroll(page):
    main = page.get_by_test_id("stMain")
    assert main.evaluate("(e) => e.scrollWidth <= e.clientWidth")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_newcomer_gets_to_a_saved_group_in_a_few_taps(app, open_page, size):
    page = open_page(**size)
    seen = []

    def show(name):
        no_sideways_scroll(page)
        seen.append(name)

    assert walk(page, show) <= 6
    assert seen == ["newcomer-start", "photo-desk", "newcomer-saved", "group-sheet"]
    with closing(open_store(app.home)) as store:
        assert len(list_scans(store)) == 1


def test_a_tap_on_save_while_the_distance_is_still_typed_saves_it(app, open_page):
    page = open_page(**PHONE)
    page.get_by_text("Start with a photo").wait_for()
    page.locator("input[type=file]").set_input_files(PHOTO)
    page.get_by_role("button", name="Scan", exact=True).click()
    editor_ready(page)
    settled(page)
    hurried(page)
    far = page.get_by_label("Distance").last
    far.tap()
    far.press_sequentially("20 yd")  # and no Enter
    page.get_by_role("button", name="Save to the records").tap()
    page.get_by_text("is in the records").wait_for()
    with closing(open_store(app.home)) as store:
        scan = load_scan(store, int(list_scans(store)["id"].iloc[-1]))
        assert get_session(store, scan.session_id).distance_m == 18.288


def test_strokes_reach_the_record_and_the_next_end_is_two_taps_away(app, open_page):
    from playwright.sync_api import expect

    page = open_page(**PHONE)
    page.get_by_text("Start with a photo").wait_for()
    page.locator("input[type=file]").set_input_files(PHOTO)
    page.get_by_role("button", name="Scan", exact=True).click()
    editor_ready(page)
    settled(page)

    def centre(place):
        settled(page)  # marks are drawn anew with what was told of them
        return (
            page.locator(".pt")
            .nth(place)
            .evaluate(
                """(mark) => { const box = mark.querySelector('.line').getBoundingClientRect();
              return [box.x + box.width / 2, box.y + box.height / 2]; }"""
            )
        )

    assert page.locator(".marks .sheet").count() == 1  # where the sheet was seen
    page.get_by_role("button", name="Flyer").tap()
    page.get_by_label("Why it is a flyer").fill(HOSTILE)
    page.touchscreen.tap(*centre(0))
    page.locator(".pennant").wait_for()
    page.get_by_role("button", name="Label", exact=True).tap()
    page.get_by_label("Head", exact=True).fill("field point")
    page.get_by_label("Arrow", exact=True).fill("7")
    page.get_by_role("button", name="All holes").tap()
    page.touchscreen.tap(*centre(0))
    page.get_by_role("button", name="Label", exact=True).tap()
    page.get_by_role("status").get_by_text("a flyer").wait_for()

    # A fresh start takes the flyer's neighbours nothing away, and what it took comes back.
    page.get_by_role("button", name="Remove").tap()
    page.get_by_role("status").get_by_text("1 removed").wait_for()
    page.get_by_role("button", name="Start over").click()
    page.get_by_role("button", name="Drop all corrections").click()
    page.get_by_role("status").get_by_text("removed").wait_for(state="hidden")
    page.get_by_role("button", name="Undo", exact=True).tap()
    page.get_by_role("status").get_by_text("1 removed").wait_for()
    page.get_by_role("button", name="Redo", exact=True).tap()
    page.get_by_role("status").get_by_text("removed").wait_for(state="hidden")
    settled(page)
    page.get_by_text("1 hole is marked as a flyer and counts here").wait_for()

    assert next_end(page) == 2
    with closing(open_store(app.home)) as store:
        record = load_scan(store, int(list_scans(store)["id"].iloc[-1]))
    (flyer,) = [shot for shot in record.shots if shot.flyer]
    assert flyer.flyer_why == HOSTILE
    assert flyer.arrow == "7"
    assert {shot.head for shot in record.shots} == {"field point"}

    page.locator("input[type=file]").set_input_files(SECOND_PHOTO)
    editor_ready(page)  # scanned without a further tap
    page.get_by_role("button", name="Label", exact=True).tap()
    expect(page.get_by_label("Head", exact=True)).to_have_value("field point", timeout=60_000)
    expect(page.get_by_label("Arrow", exact=True)).to_have_value("7")
    assert page.locator("img[src=x]").count() == 0
    assert page.title() != "gotcha"


def test_a_scan_of_several_photos_can_be_stopped(app, open_page):
    page = open_page(**DESK)
    hurried(page)
    page.get_by_text("Start with a photo").wait_for()
    photos = sorted(PHOTO.parent.glob("*.jpg"))[:5]  # enough that the stop comes before their end
    page.locator("input[type=file]").set_input_files(photos)
    page.get_by_role("button", name="Scan", exact=True, disabled=False).wait_for()
    settled(page)
    page.get_by_role("button", name="Scan", exact=True).click()
    page.get_by_text(re.compile(r"^Photo \d of 5")).first.wait_for()
    page.get_by_role("button", name="Stop").click()
    page.get_by_text("not scanned. Choose them again").wait_for()
    settled(page)
    assert page.get_by_text("Photo on the desk").count() == 0  # never both
