"""Take the documents' pictures again: ``python docs/make_pictures.py``.

Fills a demo club in a temporary folder, starts the app on it and photographs the screens in
Chromium. Needs the test group's Playwright and a Chromium on the path.
"""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "docs" / "pictures"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


def main() -> None:
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if chromium is None:
        sys.exit("no chromium on this machine (Debian: apt-get install chromium)")
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        groupscan = [sys.executable, "-m", "groupscan.cli"]
        subprocess.run([*groupscan, "demo", "--home", folder], cwd=ROOT, check=True)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        app = subprocess.Popen([*groupscan, "app", "--home", folder, "--port", str(port)], cwd=ROOT)
        try:
            url = f"http://127.0.0.1:{port}/"
            wait_for(url + "_stcore/health")
            take(url, chromium)
        finally:
            app.terminate()
            app.wait(timeout=20)


def wait_for(url: str) -> None:
    for _ in range(120):
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.5)
    sys.exit(f"{url} does not answer")


def take(url: str, chromium: str) -> None:
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as profile:
        browser = playwright.chromium.launch_persistent_context(
            profile,
            executable_path=chromium,
            headless=True,
            args=FLAGS,
            viewport={"width": 1440, "height": 900},
        )
        page = browser.pages[0]
        page.goto(url + "?scan=1")
        page.locator(".pt").first.wait_for(state="attached", timeout=60_000)
        page.wait_for_timeout(2500)  # the photo fades in
        page.screenshot(path=PICTURES / "photo-desk.png")
        page.get_by_role("link", name="Group sheet").click()
        page.locator(".js-plotly-plot").wait_for(timeout=60_000)
        page.wait_for_timeout(2000)
        page.screenshot(path=PICTURES / "group-sheet.png")
        browser.close()


if __name__ == "__main__":
    main()
