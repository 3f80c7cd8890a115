"""A shooter at the desk and one with a phone: scan, correct, save, come back, find it."""

import json
import math
import re
from contextlib import closing
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from groupscan.records.store import list_scans, load_scan, open_store
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import editor_ready, settled

SAMPLE = Path(__file__).parents[2] / "sample_targets" / "07_one_aim_square_on.jpg"
HOLES = len(json.loads(SAMPLE.with_suffix(".json").read_text(encoding="utf-8"))["holes"])


def scan(page):
    page.get_by_text("Start with a photo").wait_for()
    page.locator("input[type=file]").set_input_files(SAMPLE)
    page.get_by_role("button", name="Scan", exact=True).click()
    editor_ready(page, HOLES)


def zoom_of(page):
    """Screen pixels for each pixel of the full photo."""
    return page.locator(".photo").evaluate(
        """(image) => { const editor = image.closest('.he').editor;
          return image.getBoundingClientRect().width / editor.photoWidth(); }"""
    )


def centres(page):
    """Where every mark stands on the screen, by its id; the aim is ``aim``."""
    settled(page)
    return page.locator(".marks").evaluate(
        """(svg) => Object.fromEntries([...svg.querySelectorAll('.pt, .aim')].map((group) => {
          const box = group.querySelector('.line').getBoundingClientRect();
          return [group.dataset.id ?? 'aim', [box.x + box.width / 2, box.y + box.height / 2]];
        }))"""
    )


def kind_of(page, name):
    return page.locator(f'.pt[data-id="{name}"]').get_attribute("class")


def label_of(page, name):
    return page.locator(f'.pt[data-id="{name}"] text').text_content()


def lonely(page):
    """Return the id of the hole with the most room around it."""
    points = centres(page)

    def room(name):
        return min(math.dist(points[name], points[other]) for other in points if other != name)

    return max((name for name in points if name != "aim"), key=room)


def empty_spot(page):
    """Return a place on the stage that is far from every mark and every button."""
    box = page.locator(".stage").bounding_box()
    marks = centres(page).values()
    spots = [
        (box["x"] + box["width"] * i / 12, box["y"] + box["height"] * j / 12)
        for i in range(2, 9)
        for j in range(2, 11)
    ]
    return max(spots, key=lambda spot: min(math.dist(spot, mark) for mark in marks))


def saved_record(app):
    with closing(open_store(app.home)) as store:
        return load_scan(store, int(list_scans(store)["id"].iloc[-1]))


def no_sideways_scroll(page):
    assert page.evaluate(
        "document.scrollingElement.scrollWidth <= document.scrollingElement.clientWidth"
    )
    main = page.get_by_test_id("stMain")
    assert main.evaluate("(e) => e.scrollWidth <= e.clientWidth")


def save_and_come_back(page, holes):
    page.get_by_role("button", name="Save to the records").click()
    page.get_by_text("is in the records").wait_for()
    page.reload()
    editor_ready(page, holes)
    page.get_by_text("is in the records").wait_for()
    assert page.locator(".pt.moved").count() == 1
    assert page.locator(".pt.added").count() == 1


@pytest.fixture
def desk(open_page):
    page = open_page(**DESK)
    scan(page)
    return page


def test_at_the_desk_corrections_are_saved_and_found_again(app, desk):
    page = desk
    no_sideways_scroll(page)
    name, zoom = lonely(page), zoom_of(page)
    x, y = centres(page)[name]
    page.mouse.move(x + 3, y - 2)
    page.mouse.down()
    page.mouse.move(x + 33, y - 22, steps=6)
    page.mouse.up()
    page.get_by_role("status").get_by_text("moved by you").wait_for()
    assert "moved" in kind_of(page, name)

    page.get_by_role("button", name="Add", exact=True).click()
    page.mouse.click(*empty_spot(page))
    page.get_by_role("columnheader", name=f"{HOLES + 1} holes").wait_for()
    page.keyboard.press("Control+z")
    page.get_by_role("columnheader", name=f"{HOLES} holes").wait_for()
    page.keyboard.press("Control+Shift+z")
    page.get_by_role("columnheader", name=f"{HOLES + 1} holes").wait_for()

    page.reload()  # nothing is saved yet, and nothing is lost
    editor_ready(page, HOLES + 1)
    assert page.locator(".pt.moved").count() == 1
    assert page.locator(".pt.added").count() == 1

    page.get_by_label("Place").fill("Alder Flats")
    page.get_by_label("Place").press("Enter")
    save_and_come_back(page, HOLES + 1)
    record = saved_record(app)
    (moved,) = [s for s in record.shots if s.auto_x_mm is not None and s.auto_x_mm != s.x_mm]
    from groupscan.screens.corrections import plane_of

    ((found_x, found_y),) = plane_of(record).to_px([(moved.auto_x_mm, moved.auto_y_mm)])
    assert (moved.x_px - found_x, moved.y_px - found_y) == pytest.approx(
        (30 / zoom, -20 / zoom), abs=1.5
    )
    assert sum(shot.auto_x_mm is None for shot in record.shots) == 1

    page.get_by_role("link", name="Group sheet").click()
    page.get_by_role("columnheader", name=f"{HOLES + 1} holes").wait_for()
    page.locator(".js-plotly-plot .scatterlayer").wait_for()
    no_sideways_scroll(page)
    for button, start in (("Picture as PNG", b"\x89PNG"), ("Picture as SVG", b"<?xml")):
        with page.expect_download() as download:
            page.get_by_role("button", name=button).click()
        assert Path(download.value.path()).read_bytes().startswith(start)
    with page.expect_download() as download:
        page.get_by_role("button", name="Holes as CSV").click()
    table = Path(download.value.path()).read_text(encoding="utf-8-sig")
    assert len(table.splitlines()) == HOLES + 2
    assert "Alder Flats" in table

    page.get_by_role("button", name="Correct an end").click()
    page.get_by_role("button", name="Open it").click()
    editor_ready(page, HOLES + 1)


def test_holes_are_numbered_labelled_and_removed_in_quick_strokes(app, desk):
    page = desk
    places = centres(page)
    x, y = places.pop("aim")
    first, second = sorted(places, key=lambda name: places[name])[:2]

    page.get_by_role("button", name="Number").click()
    for name in (first, second):
        page.mouse.click(*places[name])
    page.keyboard.press("Escape")
    assert label_of(page, first) == "1"
    assert label_of(page, second) == "2"

    page.get_by_role("button", name="Label").click()
    page.get_by_label("Head", exact=True).fill("fixed <b>")
    page.get_by_label("Arrow", exact=True).fill("A9")
    for name in (first, second):
        page.mouse.click(*places[name])
    page.get_by_role("button", name="Label").click()
    assert label_of(page, second) == "2 A10"

    page.mouse.click(*places[second])
    page.keyboard.press("Delete")
    page.get_by_role("columnheader", name=f"{HOLES - 1} holes").wait_for()
    assert page.locator(".pt.removed").count() == 1

    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y + 45, steps=5)
    page.mouse.up()
    page.get_by_role("button", name="Save to the records").click()
    page.get_by_text("is in the records").wait_for()
    record = saved_record(app)
    labels = {shot.number: (shot.head, shot.arrow) for shot in record.shots if not shot.removed}
    assert labels[1] == ("fixed <b>", "A9")
    (removed,) = [shot for shot in record.shots if shot.removed]
    assert (removed.head, removed.arrow) == ("fixed <b>", "A10")
    assert record.aim_mm[0] > 0 > record.aim_mm[1]


def test_with_a_thumb_on_a_phone(app, open_page):
    page = open_page(**PHONE)
    scan(page)
    no_sideways_scroll(page)
    touch = page.context.new_cdp_session(page)

    def fingers(kind, *points):
        touch.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": [{"x": x, "y": y, "id": i}
                                           for i, (x, y) in enumerate(points)]},
        )  # fmt: skip

    for button in page.locator(".bar button:visible, .zoom button").all():
        box = button.bounding_box()
        assert min(box["width"], box["height"]) >= 44
    stage = page.locator(".stage").bounding_box()
    assert stage["x"] >= 0
    assert stage["x"] + stage["width"] <= 390
    assert stage["height"] < 844 * 0.7  # the page keeps a grip for scrolling

    # A swipe over the photo as it was framed scrolls the page, and the photo stays in its frame.
    main, photo = page.get_by_test_id("stMain"), page.locator(".photo")
    framed = photo.evaluate("(image) => image.style.transform")

    def swipe(dy):
        x, y = empty_spot(page)
        fingers("touchStart", (x, y))
        for step in range(1, 9):
            fingers("touchMove", (x, y + dy * step / 8))
        fingers("touchEnd")
        settled(page)

    swipe(-160)
    assert main.evaluate("(e) => e.scrollTop") > 50
    assert photo.evaluate("(image) => image.style.transform") == framed
    main.evaluate("(e) => e.scrollTo(0, 0)")
    assert page.locator(".doubt-key").is_visible() == (page.locator(".pt.doubt").count() > 0)

    # Pinch out about the hole with the most room, until it is easy to grasp.
    name, before = lonely(page), zoom_of(page)
    x, y = centres(page)[name]
    fingers("touchStart", (x - 30, y), (x + 30, y))
    for half in (40, 50, 60):
        fingers("touchMove", (x - half, y), (x + half, y))
    fingers("touchEnd")
    page.wait_for_function(
        "([host, k]) => host.editor.zoom() > 1.8 * k",
        arg=[page.locator(".he").element_handle(), before],
    )
    assert zoom_of(page) == pytest.approx(2 * before, rel=0.05)
    assert centres(page)[name] == pytest.approx((x, y), abs=2)
    assert page.evaluate("visualViewport.scale") == 1

    # Drag it with one finger that lies a little off: the magnifier shows what the finger hides.
    fingers("touchStart", (x + 12, y + 8))
    for step in (8, 16, 24):
        fingers("touchMove", (x + 12 + step, y + 8 - step))
    page.locator(".loupe").wait_for(state="visible")
    fingers("touchEnd")
    page.get_by_role("status").get_by_text("moved by you").wait_for()
    assert centres(page)[name] == pytest.approx((x + 24, y - 24), abs=2)
    page.locator(".loupe").wait_for(state="hidden")

    # Zoomed, the same swipe moves the photo, never farther than to its edge.
    for _ in range(12):
        main.evaluate("(e) => e.scrollTo(0, 0)")
        swipe(250)
    assert main.evaluate("(e) => e.scrollTop") == 0
    stage, seen = page.locator(".stage").bounding_box(), photo.bounding_box()
    assert seen["y"] == pytest.approx(stage["y"], abs=1)

    page.get_by_role("button", name="Fit", exact=False).tap()
    page.get_by_role("button", name="Add", exact=True).tap()
    page.touchscreen.tap(*empty_spot(page))
    page.get_by_role("status").get_by_text("Tap where an arrow went in").wait_for()
    page.get_by_role("button", name="Add", exact=True).tap()
    page.get_by_role("columnheader", name=f"{HOLES + 1} holes").wait_for()
    no_sideways_scroll(page)
    save_and_come_back(page, HOLES + 1)
    no_sideways_scroll(page)


def middle_of_a_blank_sheet(folder):
    """A photo that shows no edge of its paper, and where a rectangle on it is: its size, px."""
    plain = SAMPLE.with_name("06_letter_plain.jpg")
    truth = json.loads(plain.with_suffix(".json").read_text(encoding="utf-8"))
    matrix = np.array(truth["mm_to_px"]["homography"])
    size = (100.0, 120.0)
    corners = np.array([[-50.0, 60.0], [50.0, 60.0], [50.0, -60.0], [-50.0, -60.0]])
    px = cv2.perspectiveTransform(corners[None], matrix)[0]
    low = np.floor(px.min(axis=0)).astype(int) - 60
    high = np.ceil(px.max(axis=0)).astype(int) + 60
    path = folder / "middle.png"
    Image.open(plain).crop((*low.tolist(), *high.tolist())).save(path)
    return path, size, px - low


def test_a_photo_without_a_scale_is_marked_by_hand(app, open_page, tmp_path):
    path, (width, height), corners = middle_of_a_blank_sheet(tmp_path)
    page = open_page(**DESK)
    page.get_by_text("Start with a photo").wait_for()
    page.locator("input[type=file]").set_input_files(path)
    page.get_by_role("button", name="Scan", exact=True).click()
    page.get_by_text("Four corners of a rectangle").click()
    page.get_by_label("Its width and height").fill(f"{width} x {height} mm")
    page.get_by_label("Its width and height").press("Enter")
    page.get_by_role("status").get_by_text("Tap the top left corner").wait_for()
    page.wait_for_function(  # until the other kind's editor has gone
        """() => [...document.querySelectorAll('*')].filter(
            (e) => e.shadowRoot?.querySelector('.he')).length === 1"""
    )
    page.locator(".stage").scroll_into_view_if_needed()
    box, zoom = page.locator(".photo").bounding_box(), zoom_of(page)
    for i, (x, y) in enumerate(corners):
        page.mouse.click(box["x"] + zoom * (x + 0.5), box["y"] + zoom * (y + 0.5))
        page.locator(".pt.mark").nth(i).wait_for()
    page.get_by_role("status").get_by_text("All marks set").wait_for()
    page.get_by_role("button", name="Scan with these marks").click()
    page.get_by_text("from the four corners").wait_for()
    page.get_by_role("status").get_by_text(re.compile(r"hole")).wait_for()
