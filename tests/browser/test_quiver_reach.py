"""Which arrow to pull, and how far out: the main acts of both screens, on a desk and on a phone."""

import re
from contextlib import closing
from pathlib import Path

import pytest

from groupscan.records.store import get_arrow, list_arrows, open_store
from tests.browser.conftest import DESK, PHONE
from tests.screens.arrow_records import SIX, shoot

HOSTILE = "<img src=x onerror=document.title='gotcha'>"


def fill(home):
    with closing(open_store(home)) as store:
        shoot(store, {**SIX, HOSTILE: (1, -1)}, rig="Wren <b>")
        shoot(store, SIX, sigma=14, distance_m=27.432, seed=2, rig="Wren <b>")


def arrow_of(home, number):
    with closing(open_store(home)) as store:
        rows = list_arrows(store)
        return get_arrow(store, int(rows.loc[rows["number"] == number, "id"].iloc[-1]))


def go_to(page, name):
    """Open a screen by its tab, which a phone keeps in a drawer."""
    if page.viewport_size == PHONE["viewport"]:
        page.get_by_test_id("stExpandSidebarButton").click()
    page.get_by_role("link", name=name, exact=True).click()
    # The first screen of a fresh app loads all that the screens need.
    page.get_by_role("heading", name=name, exact=True).wait_for(timeout=60_000)


def picture_is_whole(page):
    plot = page.locator(".js-plotly-plot").first
    plot.locator(".scatterlayer .point").first.wait_for(state="attached")
    box = plot.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= page.viewport_size["width"]
    assert page.get_by_test_id("stMain").evaluate("(e) => e.scrollWidth <= e.clientWidth")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_odd_arrow_is_seen_pulled_and_taken_back(app, open_page, size):
    fill(app.home)
    page = open_page(**size)
    go_to(page, "Quiver")
    page.get_by_text("Turn the nock of arrow 4 to the next vane").wait_for()
    picture_is_whole(page)
    across, up = page.locator(".js-plotly-plot").first.evaluate(
        """(plot) => [plot._fullLayout.xaxis, plot._fullLayout.yaxis].map(
            (axis) => axis._length / (axis.range[1] - axis.range[0]))"""
    )
    assert across == pytest.approx(up, rel=0.005)  # true to scale

    for choice in page.get_by_test_id("stButtonGroup").get_by_role("radio").all():
        assert choice.bounding_box()["height"] >= 44
    page.get_by_role("radio", name="Pulled").or_(
        page.get_by_role("button", name="Pulled")
    ).first.click()
    page.get_by_role("textbox", name="Why").fill("lands right " + HOSTILE)
    page.get_by_role("button", name="Save the state").click()
    page.get_by_text("Arrow 4 is pulled since").wait_for()
    kept = arrow_of(app.home, "4")
    assert (kept.state, kept.state_why) == ("pulled", "lands right " + HOSTILE)
    page.get_by_text("Arrow 4 did not fly with the others and is out of use").wait_for()

    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Turn the nock of arrow 4 to the next vane").wait_for()
    assert arrow_of(app.home, "4").state == "in use"

    page.get_by_text("History: where it landed").click()
    page.get_by_role("columnheader", name="Shot as").wait_for()
    picture_is_whole(page)
    assert page.locator("img[src=x]").count() == 0
    assert page.title() != "gotcha"


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_distance_to_rely_on_follows_the_circle_and_is_kept(app, open_page, size):
    fill(app.home)
    page = open_page(**size)
    go_to(page, "Reach")
    page.get_by_text("not a licence for a shot at game").first.wait_for()
    said = page.get_by_text(re.compile(r"^Rely on \d+ m"))
    said.wait_for()
    picture_is_whole(page)
    first = int(re.search(r"\d+", said.inner_text()).group())

    circle = page.get_by_role("textbox", name="Circle about the aim, across")
    circle.fill("12 in")
    circle.press("Enter")
    page.get_by_text("inside a circle 305 mm across").wait_for()
    assert int(re.search(r"\d+", said.inner_text()).group()) > first
    page.locator(".js-plotly-plot").get_by_text("extrapolated").first.wait_for()
    # The page's own run must have ended: it makes the files behind the buttons anew.
    page.locator('[data-test-script-state="notRunning"]').wait_for()
    with page.expect_download() as download:
        page.get_by_role("button", name="Picture as SVG").click()
    assert Path(download.value.path()).read_bytes().startswith(b"<?xml")

    page.goto(app.url)  # another visit
    go_to(page, "Reach")
    page.get_by_text("inside a circle 305 mm across").wait_for()
