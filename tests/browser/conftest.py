"""A real app with records of its own, and a real Chromium that watches for errors."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.browser.newcomer import unhurried

ROOT = Path(__file__).parents[2]
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 3,
    "is_mobile": True,
    "has_touch": True,
    "user_agent": (
        "Mozilla/5.0 (Linux; Android 16; K) AppleWebKit/537.36 (KHTML, like Gecko) "
        "Chrome/156.0.0.0 Mobile Safari/537.36"
    ),
}
DESK = {"viewport": {"width": 1440, "height": 900}}


def _chromium() -> str:
    """Return Chromium's path; without one skip, or fail where the browser test is demanded."""
    reason = ""
    path = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if path is None:
        reason = "no chromium on this machine (Debian: apt-get install chromium)"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        reason = "playwright is not installed (pip install --group test)"
    if reason and os.environ.get("GROUPSCAN_REQUIRE_BROWSER") == "1":
        pytest.fail(f"GROUPSCAN_REQUIRE_BROWSER=1, but {reason}")
    if reason:
        pytest.skip(reason)
    return path


@dataclass
class App:
    """The running app."""

    url: str
    home: Path


@pytest.fixture
def app(tmp_path) -> Iterator[App]:
    _chromium()
    home = tmp_path / "home"
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    log = tmp_path / "app.log"
    with log.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={port}"],
            cwd=ROOT,
            env={**os.environ, "GROUPSCAN_HOME": str(home)},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
        try:
            url = f"http://127.0.0.1:{port}/"
            _wait_for(url + "_stcore/health", process, log)
            yield App(url, home)
        finally:
            process.terminate()
            process.wait(timeout=20)
    assert "Traceback" not in log.read_text(), log.read_text()[-3000:]


def _wait_for(url: str, process: "subprocess.Popen[bytes]", log: Path) -> None:
    for _ in range(240):
        if process.poll() is not None:
            break
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.25)
    pytest.fail(f"the app did not start:\n{log.read_text()[-3000:]}")


@dataclass
class Watch:
    """What a page must not do."""

    errors: list[str] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)

    def follow(self, page, origin: str) -> None:
        page.on("console", lambda m: self.errors.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on(
            "request",
            lambda r: (
                None
                if r.url.startswith((origin, "data:", "blob:"))
                else self.strangers.append(r.url)
            ),
        )


@pytest.fixture
def open_page(app, tmp_path):
    """Open the app in a fresh browser; at the end no error and no request elsewhere may stand."""
    chromium = _chromium()
    from playwright.sync_api import sync_playwright

    watch = Watch()
    with sync_playwright() as playwright:
        contexts = []

        def opened(path="", **options):
            context = playwright.chromium.launch_persistent_context(
                tmp_path / f"profile-{len(contexts)}",
                executable_path=chromium,
                headless=True,
                args=FLAGS,
                **options,
            )
            contexts.append(context)
            context.set_default_timeout(60_000)
            page = context.pages[0]
            watch.follow(page, app.url)
            unhurried(page)
            page.goto(app.url + path)
            return page

        yield opened
        for context in contexts:
            context.close()
    assert watch.errors == []
    assert watch.strangers == []
