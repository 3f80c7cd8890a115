"""Every screen under axe-core, on a desk and on a phone, light and dark."""

import re
from contextlib import closing
from pathlib import Path

import pytest

from groupscan.demo.keeping import keep_club, keep_season
from groupscan.records.store import open_store
from tests.browser.conftest import DESK, PHONE, ROOT
from tests.browser.newcomer import PHOTO, brought_up, editor_ready, settled

SCREENS = re.findall(r'\(\w+, "([^"]+)", "\w+"\),\n', (ROOT / "app.py").read_text(encoding="utf-8"))
GRAVE = ("serious", "critical")


def findings(page):
    """What axe-core holds against the page, the grave ones: its rule, its words and where."""
    from axe_playwright_python.sync_playwright import Axe

    result = Axe().run(page).response
    assert result["passes"], "axe-core has seen nothing"
    return [
        (rule["id"], rule["help"], [node["html"][:200] for node in rule["nodes"][:3]])
        for rule in result["violations"]
        if rule["impact"] in GRAVE
    ]


def go_to(page, name):
    drawer = page.get_by_test_id("stExpandSidebarButton")
    if drawer.is_visible():
        drawer.click()
    page.get_by_role("link", name=name, exact=True).click()
    page.get_by_role("heading", name=name, exact=True).wait_for()
    settled(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_no_screen_has_a_grave_finding(app, open_page, size, scheme):
    assert len(SCREENS) > 1
    with closing(open_store(app.home)) as store:
        keep_club(store)
        keep_season(store)
    page = open_page(**size, color_scheme=scheme)
    page.set_default_timeout(60_000)  # the first page imports much, on a busy machine for long
    page.get_by_text("Start with a photo").wait_for()
    settled(page)
    found = {"Photo desk, empty": findings(page)}
    page.locator("input[type=file]").set_input_files(Path(PHOTO))
    page.get_by_role("button", name="Scan", exact=True).click()
    editor_ready(page)
    settled(page)
    found["Photo desk"] = findings(page)
    for name in SCREENS[1:]:
        go_to(page, name)
        found[name] = findings(page)
        main = page.get_by_test_id("stMain")
        assert main.evaluate("(e) => e.scrollWidth <= e.clientWidth"), name
    assert {name: grave for name, grave in found.items() if grave} == {}


def opened_over(page):
    """Open what lies closed over a screen, one after the other, by its name."""
    for popover in page.get_by_test_id("stPopover").locator("visible=true").all():
        button = popover.get_by_role("button").first
        brought_up(page, button.click, page.get_by_test_id("stPopoverBody"))
        yield " ".join(popover.inner_text().split())
        page.keyboard.press("Escape")
        page.get_by_test_id("stPopoverBody").wait_for(state="detached")
    field = page.get_by_test_id("stSelectbox").locator("visible=true").first
    if field.count():
        box = field.get_by_role("combobox")
        brought_up(page, lambda: box.press("ArrowDown"), page.get_by_role("listbox"))
        yield "listbox"
        page.keyboard.press("Escape")
        page.get_by_role("listbox").wait_for(state="detached")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_what_opens_over_a_screen_has_no_grave_finding(app, open_page, size):
    with closing(open_store(app.home)) as store:
        keep_club(store)
        keep_season(store)
    # Dark on a desk, light on a phone: each look is seen once, in half of the time.
    page = open_page(**size, color_scheme="dark" if size is DESK else "light")
    page.get_by_text("Start with a photo").wait_for()
    found, seen = {}, []
    for name in SCREENS[1:]:
        go_to(page, name)
        page.evaluate(
            "document.querySelectorAll('details:not([open]) > summary').forEach((e) => e.click())"
        )
        settled(page)
        found[name] = findings(page)
        for what in opened_over(page):
            settled(page)
            seen.append(what)
            found[f"{name}, {what}"] = findings(page)
    assert sum("Report" in what for what in seen) >= 4
    assert seen.count("listbox") >= 4
    assert {name: grave for name, grave in found.items() if grave} == {}


def test_no_part_of_bench_and_data_has_a_grave_finding_in_the_dark(app, open_page):
    with closing(open_store(app.home)) as store:
        keep_club(store)
        keep_season(store)
    page = open_page(**DESK, color_scheme="dark")
    page.get_by_text("Start with a photo").wait_for()
    found = {}
    for screen in ("Rig bench", "Data"):
        go_to(page, screen)
        parts = page.get_by_test_id("stButtonGroup").first
        names = [part.inner_text().strip() for part in parts.locator("button, [role=radio]").all()]
        assert len(names) >= 7
        for name in names:
            parts.get_by_text(name, exact=True).click()
            settled(page)
            found[f"{screen}, {name}"] = findings(page)
    assert {name: grave for name, grave in found.items() if grave} == {}
