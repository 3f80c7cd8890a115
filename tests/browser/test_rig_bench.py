"""Readings typed, pins set, a scale printed: the bench's main act, on a desk and on a phone."""

import re
from contextlib import closing

import pytest

from groupscan.records.store import list_pins, list_speeds, open_store
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import settled
from tests.browser.test_accessibility import findings, go_to
from tests.screens.bench_records import keep_gear, keep_groups

HOSTILE = "<img src=x onerror=document.title='gotcha'>"


def choose(page, section):
    page.get_by_role("radio", name=section, exact=True).click()
    page.wait_for_function(
        "(name) => new URL(location).searchParams.get('section') === name", arg=section.lower()
    )
    settled(page)


def whole(page, section):
    main = page.get_by_test_id("stMain")
    assert main.evaluate("(e) => e.scrollWidth <= e.clientWidth"), section
    assert findings(page) == [], section


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_from_the_chronograph_to_a_printed_scale(app, open_page, size):
    with closing(open_store(app.home)) as store:
        keep_gear(store, name=HOSTILE)
        keep_groups(store, rig=HOSTILE)
    page = open_page(**size)
    page.set_default_timeout(90_000)  # seven sections, each under axe-core
    page.get_by_text("Start with a photo").wait_for()
    go_to(page, "Rig bench")
    page.get_by_text("new string").first.wait_for()
    whole(page, "Gear")

    choose(page, "Launch")
    for mass, speeds in (("26 g", "88.1, 87.9, 88.0 m/s"), ("29 g", "84.4, 84.2 m/s")):
        if not page.get_by_role("button", name="Keep these readings").is_visible():
            page.get_by_text("Add readings of an arrow").click()
        page.get_by_role("textbox", name="Mass of the arrow").fill(mass)
        page.get_by_role("textbox", name="Speeds", exact=True).fill(speeds)
        page.get_by_role("button", name="Keep these readings").click()
        page.get_by_text("readings are kept.").first.wait_for()
        settled(page)
    page.get_by_text(re.compile("401 gr leaves at 28")).first.wait_for()
    whole(page, "Launch")

    choose(page, "Pins")
    page.get_by_text(re.compile("These 3 pins")).wait_for()
    page.get_by_role("button", name="Use these 4").wait_for()
    across, up = page.locator(".js-plotly-plot").first.evaluate(
        """(plot) => [plot._fullLayout.xaxis, plot._fullLayout.yaxis].map(
            (axis) => axis._length / (axis.range[1] - axis.range[0]))"""
    )
    assert across == pytest.approx(up, rel=0.005)  # true to scale
    whole(page, "Pins")
    with page.expect_download() as download:
        page.get_by_role("button", name="Sight scale (PDF)").click()
    assert download.value.path().read_bytes().startswith(b"%PDF-")
    page.get_by_role("button", name="Use these 4").click()
    page.get_by_text(re.compile("These 4 pins")).wait_for()
    page.get_by_text("Keep these pins with the rig").click()
    page.get_by_role("button", name="Keep these pins").click()
    page.get_by_text("The pins are kept.").first.wait_for()
    page.get_by_text(re.compile("These are the pins kept since")).wait_for()

    for section in ("Build", "Flight", "Fit", "Compare"):
        choose(page, section)
        page.locator(".js-plotly-plot").first.wait_for()
        settled(page)
        whole(page, section)
    assert page.title() != "gotcha"
    with closing(open_store(app.home)) as store:
        assert list_speeds(store)["mass_g"].tolist() == 3 * [26.0] + 2 * [29.0]
        assert len(list_pins(store)) == 4
