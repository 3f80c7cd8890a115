"""Take the documents' pictures again: ``python docs/make_pictures.py``.

First the way of a newcomer, from empty records to a saved group, as the browser test walks it; then
the other screens on the demo club's records. Says how long the newcomer's way took. Needs the test
group's Playwright and a Chromium on the path.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.browser.newcomer import settled, walk  # noqa: E402
from tests.browser.running import app_running, page_open  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
DESK = {"width": 1440, "height": 900}
WALKED = ("Photo desk", "Group sheet")


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        newcomer(Path(folder))
    with tempfile.TemporaryDirectory() as folder:
        groupscan = [sys.executable, "-m", "groupscan.cli"]
        subprocess.run([*groupscan, "demo", "--home", folder], cwd=ROOT, check=True)
        others(Path(folder))


def take(page: Any, name: str) -> None:
    # Long enough for what no state of the page tells: pictures fade in, charts are laid out.
    page.wait_for_timeout(1500)
    page.screenshot(path=PICTURES / f"{name}.png")


def newcomer(home: Path) -> None:
    begun = time.monotonic()
    with app_running(home) as url, page_open(url, viewport=DESK) as page:
        taps = walk(page, lambda name: take(page, name))
    print(f"from a cold start to a saved group: {time.monotonic() - begun:.0f} s, {taps} acts")


def others(home: Path) -> None:
    source = (ROOT / "app.py").read_text(encoding="utf-8")
    names = re.findall(r'\(\w+, "([^"]+)", "\w+"\),\n', source)
    with app_running(home) as url, page_open(url, viewport=DESK) as page:
        settled(page)
        for name in names:
            if name in WALKED:
                continue
            page.get_by_role("link", name=name, exact=True).click()
            page.get_by_role("heading", name=name, exact=True).wait_for()
            settled(page)
            take(page, name.lower().replace(" ", "-"))


if __name__ == "__main__":
    main()
