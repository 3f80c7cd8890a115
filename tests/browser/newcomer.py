"""The way of somebody who opens the app for the first time: from a photo to a saved group.

The browser test walks it and `docs/make_pictures.py` photographs it, so that the documents show
what is tested.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

__all__ = [
    "PHOTO",
    "SECOND_PHOTO",
    "brought_up",
    "editor_ready",
    "hurried",
    "next_end",
    "settled",
    "unhurried",
    "walk",
]

_AT_WORK = '[data-testid="stApp"]:not([data-test-script-state="notRunning"])'
_STILL_MS = 250
SAMPLES = Path(__file__).parents[2] / "sample_targets"
PHOTO = SAMPLES / "07_one_aim_square_on.jpg"
SECOND_PHOTO = SAMPLES / "12_one_aim_dusk.jpg"


def walk(page: Any, show: Callable[[str], None]) -> int:
    """Go from the first page to the saved group; return how many taps and fields it took.

    Parameters
    ----------
    page : playwright Page
        The app, just opened on empty records.
    show : callable
        Called with a name at each station.
    """
    page.get_by_text("Start with a photo").wait_for()
    settled(page)
    show("newcomer-start")
    page.locator("input[type=file]").set_input_files(PHOTO)  # 1: the photo
    page.get_by_label("Distance").first.fill("20 yd")  # 2: how far
    page.get_by_label("Distance").first.press("Enter")
    page.get_by_role("button", name="Scan", exact=True).click()  # 3
    editor_ready(page)
    settled(page)
    show("photo-desk")
    page.get_by_role("button", name="Save to the records").click()  # 4
    page.get_by_text("The end is saved").wait_for()
    settled(page)
    show("newcomer-saved")
    page.get_by_role("link", name="See this group").click()  # 5, and there it is
    page.locator(".js-plotly-plot .scatterlayer .point").first.wait_for(state="attached")
    settled(page)
    show("group-sheet")
    return 5


def next_end(page: Any) -> int:
    """From a corrected end to a desk that scans the next photo by itself; return the taps."""
    page.get_by_role("button", name="Save to the records").click()
    page.get_by_role("button", name="Next end").click()
    page.get_by_text("Ready for the next end").wait_for()
    return 2


def editor_ready(page: Any, holes: str = r"\d+") -> None:
    """Wait until the hole editor has its photo and its holes."""
    page.get_by_role("status").get_by_text(re.compile(rf"^{holes} holes")).wait_for()
    page.wait_for_function(
        """() => { const host = [...document.querySelectorAll('*')].find(
            (e) => e.shadowRoot?.querySelector('.he'));
          const image = host?.shadowRoot.querySelector('.photo');
          return image?.naturalWidth > 0 && image.style.transform !== ''; }"""
    )


def unhurried(page: Any) -> None:
    """Let every click, tap and field wait until the page's script has run to its end.

    A reader looks before the next tap; a test does not, and what it opens while the page is still
    being drawn anew (a popover above all) may be closed again by the drawing.
    """
    page.add_locator_handler(page.locator(_AT_WORK), lambda: None)


def hurried(page: Any) -> None:
    """Take `unhurried` back: for what must be pressed while the page is at work."""
    page.remove_locator_handler(page.locator(_AT_WORK))


def settled(page: Any) -> None:
    """Wait until the page is at rest: its script has run to its end and its marks lie still.

    For a while, not for a moment: what a tap starts may begin a little after the tap.
    """
    page.evaluate("delete window.atRest")
    page.wait_for_function(
        """(still_ms) => {
          const host = [...document.querySelectorAll('*')].find(
            (e) => e.shadowRoot?.querySelector('.he'));
          const lines = [...(host?.shadowRoot.querySelectorAll('.pt .line') ?? [])];
          const now = JSON.stringify([
            document.querySelector('[data-testid="stApp"]')?.dataset.testScriptState,
            ...lines.map((line) => Object.values(line.getBoundingClientRect().toJSON()))]);
          if (window.atRest?.now !== now) window.atRest = { now, since: performance.now() };
          return now.startsWith('["notRunning"') &&
            performance.now() - window.atRest.since > still_ms; }""",
        arg=_STILL_MS,
    )


def brought_up(page: Any, act: Callable[[], None], what: Any) -> None:
    """Do what opens something over the page, again where the page closed it by drawing itself."""
    from playwright.sync_api import TimeoutError as NotThere

    for _ in range(3):
        settled(page)
        act()
        try:
            what.wait_for(timeout=10_000)
        except NotThere:
            continue
        return
    what.wait_for()
