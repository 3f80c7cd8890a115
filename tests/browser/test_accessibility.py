"""Every screen under axe-core, on a desk and on a phone, light and dark."""

import re
from contextlib import closing
from pathlib import Path

import pytest

from groupscan.demo.keeping import keep_club, keep_season
from groupscan.records.store import open_store
from tests.browser.conftest import DESK, PHONE, ROOT
from tests.browser.newcomer import PHOTO, editor_ready, settled

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
