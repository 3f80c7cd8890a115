"""The Data screen on a desk and a phone: a table in, a session put right, a way back."""

import json
import re
from contextlib import closing
from datetime import date

import pytest

from groupscan.records.store import (
    Outing,
    ScanRecord,
    Session,
    ShotRecord,
    list_sessions,
    open_store,
    save_outings,
)
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import brought_up, settled
from tests.browser.test_accessibility import findings, go_to

HOSTILE = "<img src=x onerror=document.title='gotcha'>"
# The first work of an app also loads what it needs: seconds, and more beside other programs.
WORK_MS = 90_000
TABLE = f'date,end,x_in,y_in,archer\n2026-05-03,1,1,-2,"{HOSTILE}"\n2026-05-03,1,0,1,"{HOSTILE}"\n'


def part(page, name):
    page.get_by_role("radio", name=name, exact=True).click()
    settled(page)


def looks_right(page, name):
    """Nothing grave for axe-core, nothing beside the page, and every button wide enough to hit."""
    assert findings(page) == [], name
    main = page.get_by_test_id("stMain")
    assert main.evaluate("(e) => e.scrollWidth <= e.clientWidth"), name
    for button in main.get_by_role("button").or_(main.get_by_role("radio")).all():
        # The question mark beside a label only repeats what the label's own text says.
        if button.is_visible() and button.get_attribute("aria-label") != "Help for this field":
            box = button.bounding_box()
            small = (name, button.text_content(), box["height"])
            assert box["height"] >= 44 or not button.text_content(), small


def visit(page):
    page.get_by_text("Start with a photo").wait_for(timeout=60_000)
    go_to(page, "Data")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_table_comes_in_and_its_session_is_put_right(app, open_page, size, tmp_path):
    table = tmp_path / "range day.csv"
    table.write_text(TABLE, encoding="utf-8")
    page = open_page(**size)
    visit(page)
    page.get_by_text("No session is kept yet").wait_for()
    part(page, "Import")
    page.locator("input[type=file]").set_input_files(table)
    page.get_by_text("range day.csv: 2 rows").wait_for()
    page.get_by_role("cell", name=HOSTILE).nth(1).wait_for()
    page.get_by_role("button", name="See what would happen").click()
    page.get_by_role("button", name="Import 2 shots").wait_for(timeout=WORK_MS)
    settled(page)
    looks_right(page, "import")
    page.get_by_role("button", name="Import 2 shots").click()
    page.get_by_text("Stored: 2 shots in 1 end of 1 session.").wait_for(timeout=WORK_MS)

    part(page, "Sessions")
    page.get_by_role("button", name=HOSTILE).click()
    page.get_by_role("textbox", name="Place").fill("the wood")
    page.get_by_role("textbox", name="Place").press("Tab")
    settled(page)
    looks_right(page, "a session")
    page.get_by_role("button", name="Save these particulars").click()
    page.get_by_text("The particulars are saved.").wait_for()
    page.get_by_role("heading", name="2026-05-03 · the wood").wait_for()
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("heading", name="2026-05-03", exact=True).wait_for()
    sure = page.get_by_role("button", name="Delete it")
    brought_up(page, page.get_by_role("button", name="Delete this session").click, sure)
    sure.click()
    page.get_by_text("is deleted.").wait_for()
    part(page, "Deleted and corrected")
    page.get_by_role("button", name="Bring back").wait_for()
    looks_right(page, "log")
    page.get_by_role("button", name="Bring back").click()
    page.get_by_text("is back.").wait_for()
    with closing(open_store(app.home)) as store:
        assert len(list_sessions(store)) == 1

    part(page, "Units and dates")
    page.get_by_role("radio", name="3 May 2026").click()
    page.get_by_text("Like this: 3 May 2026").wait_for()
    looks_right(page, "units")
    page.goto(app.url)  # as after a restart
    visit(page)
    page.get_by_role("button", name="3 May 2026").wait_for()
    assert page.title() != "gotcha"
    kept = json.loads((app.home / "preferences.json").read_text(encoding="utf-8"))
    assert kept["date_style"] == "3 May 2026"


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_backup_is_put_back_after_a_clear_yes(app, open_page, size):
    shots = (ShotRecord(number=1, x_mm=3.0, y_mm=-2.0),)
    one = Outing(Session(held_on=date(2026, 5, 3)), [ScanRecord(session_id=0, shots=shots)])
    with closing(open_store(app.home)) as store:
        save_outings(store, [one])
    page = open_page(**size)
    visit(page)
    part(page, "Export")
    page.get_by_role("button", name="Make the file").click()
    with page.expect_download(timeout=WORK_MS) as download:
        page.get_by_role("button", name="Download groupscan-").click(timeout=WORK_MS)
    assert download.value.path().read_bytes()[:2] == b"PK"
    looks_right(page, "export")

    part(page, "Backup")
    page.get_by_role("button", name="Back up now").click()
    page.get_by_text("is written and sound").wait_for(timeout=WORK_MS)
    page.get_by_role("button", name="ready to download").click()
    with page.expect_download() as download:
        page.get_by_role("button", name=re.compile(r"Download \S+\.zip")).click()
    assert download.value.path().read_bytes()[:2] == b"PK"
    with closing(open_store(app.home)) as store:
        save_outings(store, [one])
    page.get_by_text("Yes: take away what is in the records now").click()
    page.get_by_role("button", name="Restore", disabled=False).wait_for()
    looks_right(page, "backup")
    page.get_by_role("button", name="Restore").click()
    page.get_by_text("The records are those of").wait_for(timeout=WORK_MS)
    with closing(open_store(app.home)) as store:
        assert len(list_sessions(store)) == 1

    part(page, "Check")
    page.get_by_role("button", name="Check the records").click()
    page.get_by_text("The records are sound.").wait_for(timeout=WORK_MS)
    looks_right(page, "check")
