"""Every page and picture is taken from the app and read, on a desk and on a phone."""

import io
import re
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image

from groupscan.records.entries import Shooter
from groupscan.records.store import open_store, save_shooter
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import hurried, settled
from tests.printed_pages import page_sizes_mm, words_of
from tests.screens.arrow_records import SIX, shoot

RIG = "Wren <b>"
SIZES = {"Letter": (215.9, 279.4), "A4": (210.0, 297.0)}  # mm: ANSI/ASME Y14.1 size A; ISO 216


def fill(home):
    with closing(open_store(home)) as store:
        coach = save_shooter(store, Shooter(name="Coach Fell"))
        save_shooter(store, Shooter(name="Ada Moss", coach_id=coach))
        for seed, head in ((1, "field point"), (2, "fixed <i>")):
            shoot(store, SIX, head=head, seed=seed, rig=RIG)


def go_to(page, name):
    drawer = page.get_by_test_id("stExpandSidebarButton")
    if drawer.is_visible():
        drawer.click()
    page.get_by_role("link", name=name, exact=True).click()
    page.get_by_role("heading", name=name, exact=True).wait_for()
    settled(page)


def taken(page, button):
    with page.expect_download() as download:
        button.click()
    return download.value.suggested_filename, Path(download.value.path()).read_bytes()


def printed(page, paper="A4"):
    """Press Report, choose a paper and take the page; it is one sheet of that paper."""
    page.get_by_role("button", name="Report", exact=True).first.click()
    popover = page.get_by_test_id("stPopoverBody")
    popover.get_by_role("radio", name=paper).click()
    settled(page)
    name, made = taken(page, popover.get_by_role("button", name="Page as PDF"))
    assert page_sizes_mm(made) == [pytest.approx(SIZES[paper], abs=0.1)]
    page.keyboard.press("Escape")
    return name, words_of(made)


def pictures(page, name):
    for kind in ("png", "svg"):
        file_name, made = taken(page, page.get_by_role("button", name=f"Picture as {kind.upper()}"))
        assert file_name == f"{name}.{kind}"
        if kind == "png":
            assert Image.open(io.BytesIO(made)).size[0] > 1000
        else:
            assert b"</svg>" in made


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_page_of_each_kind_is_printed_and_its_pictures_are_kept(app, open_page, size):
    fill(app.home)
    page = open_page(**size)
    page.get_by_role("heading", name="Photo desk").wait_for()

    go_to(page, "Group sheet")
    name, words = printed(page, "Letter")
    assert name.startswith("session-")
    assert f"Ada Moss · {RIG}" in words
    assert "Session of 2026-04-11" in words

    go_to(page, "Point match")
    name, words = printed(page, "Letter")  # the paper is remembered
    assert name == "match-head.pdf"
    assert "Heads: fixed <i> against field point" in words
    assert RIG in words
    pictures(page, "point-match")

    go_to(page, "Quiver")
    name, words = printed(page)
    assert name == "quiver.pdf"
    assert f"Quiver of {RIG}" in words
    assert "Turn the nock of arrow 4 to the next vane" in words
    pictures(page, "quiver")

    go_to(page, "Reach")
    name, words = printed(page)
    assert name == "reach.pdf"
    assert f"Reach of {RIG}" in words
    assert re.search(r"Rely on \d+ m|No distance can be relied on", words)
    assert "not a licence for a shot at game" in words
    pictures(page, "reach")

    go_to(page, "Roster")
    page.get_by_role("button", name="Ada Moss").click()
    page.get_by_role("heading", name="Ada Moss").wait_for()
    settled(page)
    name, words = printed(page)
    assert name.startswith("student-")
    assert "Ada Moss" in words
    assert "Coach Fell" in words


def test_a_file_is_taken_even_while_the_page_is_drawn_anew(app, open_page):
    fill(app.home)
    page = open_page(**DESK)
    go_to(page, "Quiver")
    worth = page.get_by_role("textbox", name="Offset that matters to you")
    picture = page.get_by_role("button", name="Picture as SVG")
    picture.wait_for()
    # As slow as a phone: what the server says is drawn long after it was said.
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 4})
    hurried(page)
    for wait_ms in (0, 200, 500, 900):
        worth.fill(f"{20 + wait_ms // 100} mm")
        worth.press("Enter")
        page.wait_for_timeout(wait_ms)
        with page.expect_download() as download:
            picture.evaluate("(button) => button.click()")
        assert b"</svg>" in Path(download.value.path()).read_bytes()
