"""The Group sheet in a real browser: its picture fills its place, true to scale, at any width."""

from contextlib import closing
from datetime import date

import numpy as np
import pytest
from playwright.sync_api import expect

from groupscan.records.store import (
    Outing,
    ScanRecord,
    Session,
    ShotRecord,
    open_store,
    save_outings,
)
from tests.browser.conftest import DESK, PHONE
from tests.browser.test_accessibility import go_to

NARROW = {"viewport": {"width": 800, "height": 900}}
# How much of its place the square of the axes may leave empty, px: the names of the axes.
_AXES_PX = 90

MEASURE = """(plot) => {
  const place = plot.closest('[class*="st-key-square_"]').getBoundingClientRect();
  const {xaxis, yaxis} = plot._fullLayout;
  return {
    place: [place.width, place.height], axes: [xaxis._length, yaxis._length],
    scale: [xaxis, yaxis].map((axis) => axis._length / (axis.range[1] - axis.range[0])),
    names: [...plot.querySelectorAll('.textpoint text')].map((e) => {
      const box = e.getBoundingClientRect();
      return [box.left, box.top, box.right, box.bottom, e.textContent];
    }),
  };
}"""


def fill(home, ends=2, shots=6):
    """Keep a session of typed ends that cluster, so that names have to make way."""
    rng = np.random.default_rng(7)
    scans = [
        ScanRecord(
            session_id=0, sheet="ring-40", aims_mm=((0.0, 0.0),),
            shots=tuple(
                ShotRecord(number=i, x_mm=float(x), y_mm=float(y))
                for i, (x, y) in enumerate(rng.normal((28, -18), 9, (shots, 2)), 1)
            ),
        )
        for _ in range(ends)
    ]  # fmt: skip
    held = Session(held_on=date(2026, 5, 2), shooter="Ada", rig="Wren", distance_m=18.0)
    with closing(open_store(home)) as store:
        save_outings(store, [Outing(held, scans)])


@pytest.mark.parametrize("size", [DESK, NARROW, PHONE], ids=["desk", "narrow", "phone"])
def test_the_picture_fills_its_place_true_to_scale_and_its_names_are_read(app, open_page, size):
    fill(app.home)
    page = open_page(**size)
    page.get_by_role("heading", name="Photo desk", exact=True).wait_for()
    go_to(page, "Group sheet")
    plot = page.locator(".js-plotly-plot").first
    plot.locator(".scatterlayer .point").first.wait_for(state="attached", timeout=60_000)
    expect(page.get_by_text("so a sight correction is worth making")).to_be_visible()
    seen = plot.evaluate(MEASURE)
    (wide, tall), (across, up) = seen["place"], seen["axes"]
    assert wide == pytest.approx(tall, abs=1)
    assert wide - across < _AXES_PX
    assert tall - up < _AXES_PX
    assert seen["scale"][0] == pytest.approx(seen["scale"][1], rel=0.005)
    names = [box for box in seen["names"] if box[4]]
    assert names
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            # A line of type is taller than its digits.
            apart = a[2] <= b[0] + 1 or b[2] <= a[0] + 1 or a[3] <= b[1] + 5 or b[3] <= a[1] + 5
            assert apart, (a, b)
    assert page.get_by_test_id("stMain").evaluate("(e) => e.scrollWidth <= e.clientWidth")
    if size is PHONE:
        page.get_by_text("3 more rows").first.click()
        expect(page.get_by_role("cell", name="Mean radius")).to_be_visible()
