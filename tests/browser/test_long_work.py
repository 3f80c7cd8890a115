"""Long work in the Data screen is stopped by a tap, and leaves everything as it was."""

import re
from contextlib import closing
from pathlib import Path

import pytest

from groupscan.records.store import add_photo, list_sessions, open_store
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import settled
from tests.browser.test_data_screen import WORK_MS, looks_right, part, visit

HEADS = "date,shooter,x_mm,y_mm"
ROWS = [f"2026-05-{day:02},Ada,{day},{-day}" for day in range(1, 29)]
#: Makes each step of the app's long work take a while for as long as a file lies there, so that
#: the tap comes in the middle on any machine.
SLOW = """
import importlib.abc, importlib.util, os, sys, time

class Slow(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name != "groupscan.screens.jobs":
            return None
        sys.meta_path.remove(self)
        spec = importlib.util.find_spec(name)
        execute = spec.loader.exec_module

        def run(module):
            execute(module)
            step = module.Job.step

            def waiting(job, done, total):
                if os.path.exists({file!r}) and not job.stopping.is_set():
                    job.stopping.wait(0.4)
                step(job, done, total)

            module.Job.step = waiting

        spec.loader.exec_module = run
        return spec

sys.meta_path.insert(0, Slow())
"""


@pytest.fixture
def slow(tmp_path, monkeypatch):
    """Return the file that slows the app's work down while it lies there."""
    file, folder = tmp_path / "slow", tmp_path / "customize"
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(SLOW.replace("{file!r}", repr(str(file))))
    monkeypatch.setenv("PYTHONPATH", str(folder), prepend=":")
    return file


def stopped(page, slow: Path, button: str, said: str) -> None:
    """Begin work by a button and cancel it in the middle."""
    slow.touch()
    page.get_by_role("button", name=button, exact=True).click()
    cancelled(page, said)
    slow.unlink()
    settled(page)
    assert page.get_by_role("button", name="Cancel").count() == 0


def cancelled(page, said: str) -> None:
    """Cancel what is going on, and read what is said of it."""
    from playwright.sync_api import TimeoutError

    cancel = page.get_by_role("button", name="Cancel")
    cancel.wait_for(timeout=WORK_MS)
    page.get_by_role("progressbar").wait_for()
    assert cancel.bounding_box()["height"] >= 44
    heard = page.get_by_text(re.compile(f"^(Stopping …|{re.escape(said)})$"))
    for _ in range(5):
        if cancel.is_visible():
            cancel.click()
        try:
            heard.first.wait_for(timeout=5_000)
            break
        except TimeoutError:  # tapped in the moment in which the page was drawn anew: once more
            continue
    page.get_by_text(said).wait_for(timeout=WORK_MS)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_long_work_is_stopped_by_a_tap(slow, app, open_page, size, tmp_path):
    table = tmp_path / "may.csv"
    table.write_text("\n".join([HEADS, *ROWS]) + "\n")
    with closing(open_store(app.home)) as store:
        for number in range(8):
            add_photo(store, f"photo {number}".encode(), name="end.jpg")
    page = open_page(**size)
    visit(page)

    def kept() -> int:
        with closing(open_store(app.home)) as store:
            return len(list_sessions(store))

    part(page, "Import")
    page.locator("input[type=file]").set_input_files(table)
    page.get_by_text("may.csv: 28 rows").wait_for()
    stopped(page, slow, "See what would happen", "Stopped. Nothing was stored.")
    page.get_by_role("button", name="See what would happen").click()
    page.get_by_role("button", name="Import 28 shots").wait_for(timeout=WORK_MS)
    stopped(page, slow, "Import 28 shots", "Stopped. Nothing was stored.")
    assert kept() == 0
    page.get_by_role("button", name="Import 28 shots").click()
    page.get_by_text("Stored: 28 shots in 28 ends of 28 sessions.").wait_for(timeout=WORK_MS)
    settled(page)
    looks_right(page, "imported")
    page.get_by_role("button", name="Undo this import").click()
    page.get_by_text("Undone: 28 sessions, 28 ends, 28 shots are taken away.").wait_for()
    assert kept() == 0
    page.get_by_role("button", name="Bring it back").click()
    page.get_by_text("It is back").wait_for()
    assert kept() == 28

    part(page, "Export")
    stopped(page, slow, "Make the file", "Stopped. No file was made.")
    archive = tmp_path / "all.zip"
    page.get_by_role("button", name="Make the file").click()
    with page.expect_download(timeout=WORK_MS) as download:
        page.get_by_role("button", name="Download groupscan-").click(timeout=WORK_MS)
    download.value.save_as(archive)

    part(page, "Backup")
    stopped(page, slow, "Back up now", "Stopped. No backup was made.")
    assert list((app.home / "backups").glob("*")) == []

    part(page, "Check")
    stopped(page, slow, "Check the records", "Stopped. Nothing was changed.")

    part(page, "Deleted and corrected")
    page.get_by_role("button", name="Undo this import").click()
    page.get_by_text("are taken away").wait_for()
    looks_right(page, "imports")
    assert kept() == 0

    part(page, "Import")
    slow.touch()
    page.locator("input[type=file]").set_input_files(archive)
    cancelled(page, "Stopped. Nothing was stored.")
    slow.unlink()
    page.get_by_role("button", name="Look through it again").click()
    page.get_by_role("button", name="Import", exact=True).wait_for(timeout=WORK_MS)
    stopped(page, slow, "Import", "Stopped. No entry was stored.")
    assert kept() == 0
    page.get_by_role("button", name="Import", exact=True).click()
    page.get_by_text("Stored: 28 sessions").wait_for(timeout=WORK_MS)
    assert kept() == 28
