"""Point match in a real browser: the result is read, the plan is printed and kept."""

import io
from contextlib import closing
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image
from playwright.sync_api import expect

from groupscan.decisions.planning import order_of
from groupscan.records.store import get_session, list_sessions, open_store
from tests.browser.conftest import DESK, PHONE
from tests.screens.match_records import keep_match

#: The tolerance circle on the glass, and how wide the axes are that hold it.
RING = """
  const line = document.querySelector('.js-plotly-plot .scatterlayer .trace .js-line');
  const axes = document.querySelector('.js-plotly-plot clipPath[id$="xyplot"] rect');
  if (!line || !axes) return false;
  const ring = line.getBoundingClientRect(), wide = Number(axes.getAttribute('width'));
"""
HOSTILE = "<img src=q onerror=alert(1)> **b**"


def fits(page):
    main = page.get_by_test_id("stMain")
    assert main.evaluate("(e) => e.scrollWidth <= e.clientWidth")
    assert page.evaluate(
        "document.scrollingElement.scrollWidth <= document.scrollingElement.clientWidth"
    )


def settled(page):
    """Wait until the page has run: what an earlier run left is gone then."""
    page.locator("[data-test-script-state='notRunning']").wait_for()


def opened(open_page, app, kind):
    with closing(open_store(app.home)) as store:
        keep_match(store, others={HOSTILE: (40.0, -25.0), "expandable": (1.0, 1.0)})
    page = open_page(**kind)
    page.get_by_text("Start with a photo").wait_for(timeout=60_000)  # the app starts cold
    if kind is PHONE:
        page.get_by_test_id("stExpandSidebarButton").tap()
    page.get_by_role("link", name="Point match").click()
    page.get_by_text("hits low right of field point: apart").wait_for()
    page.locator(".js-plotly-plot .scatterlayer").wait_for()
    return page


@pytest.mark.parametrize("kind", [DESK, PHONE], ids=["desk", "phone"])
def test_the_result_is_read_and_the_plan_made(app, open_page, kind):
    page = opened(open_page, app, kind)
    fits(page)
    assert page.locator("img[src='q']").count() == 0
    assert page.get_by_text(f"{HOSTILE} hits low right").is_visible()

    # A millimetre is as wide as it is high: the tolerance is a circle on the glass.
    page.wait_for_function(f"() => {{ {RING} return Math.abs(ring.width - ring.height) < 1.5; }}")
    share = page.evaluate(f"() => {{ {RING} return ring.width / wide; }}")
    page.get_by_text("Close-up of the centres").click()
    page.wait_for_function(
        f"(was) => {{ {RING} return ring.width / wide > 1.02 * was; }}", arg=share
    )

    tolerance = page.get_by_role("textbox", name="Tolerance")
    tolerance.fill("60 mm")
    tolerance.press("Enter")
    page.get_by_text("together with field point, within 60 mm").wait_for()
    tolerance.fill("30 mm")
    tolerance.press("Enter")
    page.get_by_text("hits low right of field point: apart").wait_for()
    settled(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Picture as PNG").click()
    with Image.open(io.BytesIO(Path(download.value.path()).read_bytes())) as picture:
        assert picture.format == "PNG"

    result, plan = (page.get_by_role("radio", name=name, exact=True) for name in ("Result", "Plan"))
    expect(result).to_be_checked()
    result.click()  # it is open already: nothing changes
    settled(page)
    expect(result).to_be_checked()
    page.get_by_role("button", name=f"Plan the next shoot of {HOSTILE}").click()
    page.get_by_text("Shoot from left to right").wait_for()
    expect(plan).to_be_checked()
    expect(plan).to_be_in_viewport()  # the button stands far down
    plan.click()
    settled(page)
    expect(plan).to_be_checked()
    page.get_by_text("Shoot from left to right").wait_for()
    settled(page)
    fits(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Plan to print").click()
    if kind is PHONE:  # what is done there later leaves the page where it is
        expect(plan).not_to_be_in_viewport()
        page.get_by_role("radio", name="Letter").click()
        settled(page)
        expect(plan).not_to_be_in_viewport()
        page.get_by_role("radio", name="A4").click()
        settled(page)
    document = pypdfium2.PdfDocument(Path(download.value.path()).read_bytes())
    assert "Shooting plan" in document[0].get_textpage().get_text_bounded()
    page.get_by_text("Keep the plan with a session").click()
    page.get_by_role("button", name="Keep the plan", exact=True).click()
    page.get_by_text("The plan is kept with the session").wait_for()
    fits(page)
    with closing(open_store(app.home)) as store:
        newest = get_session(store, int(list_sessions(store)["id"].iloc[0]))
    assert order_of(newest.plan) is not None
