"""The app and a browser for scripts that are no tests: pictures and benchmarks."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

__all__ = ["app_running", "page_open"]

ROOT = Path(__file__).parents[2]
_FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


@contextmanager
def app_running(home: Path) -> Iterator[str]:
    """Run the app on a folder of records; yield its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    app = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "app.py", f"--server.port={port}"],
        cwd=ROOT,
        env={**os.environ, "GROUPSCAN_HOME": str(home)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        url = f"http://127.0.0.1:{port}/"
        _wait_for(url + "_stcore/health")
        yield url
    finally:
        app.terminate()
        app.wait(timeout=20)


def _wait_for(url: str) -> None:
    for _ in range(240):
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.25)
    sys.exit(f"{url} does not answer")


@contextmanager
def page_open(url: str, **options: Any) -> Iterator[Any]:
    """Open an address in a fresh browser; yield the page."""
    from playwright.sync_api import sync_playwright

    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
    if chromium is None:
        sys.exit("no chromium on this machine (Debian: apt-get install chromium)")
    with sync_playwright() as playwright, tempfile.TemporaryDirectory() as profile:
        context = playwright.chromium.launch_persistent_context(
            profile, executable_path=chromium, headless=True, args=_FLAGS, **options
        )
        context.set_default_timeout(60_000)
        page = context.pages[0]
        page.goto(url)
        yield page
        context.close()
