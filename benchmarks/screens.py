"""Time the screens in a real browser on a season of 20,000 shots: ``python -m benchmarks.screens``.

Two kinds of lines, each the median over several turns and the worst of them:

- edits on the Photo desk: from the finger's lift to the mark's next frame, and to the new numbers
  beside the photo, with the correction kept on the disk in between; the bar is 300 ms;
- screens: from the tap on a screen's tab to its script's end with everything drawn; the bar is
  1000 ms. The first visit of each is shown by itself: it reads the records.

Needs the test group's Playwright and a Chromium on the path. Close other programs: a busy machine
adds to all of it, and the head of the table says how much of a core was to be had.
"""

import argparse
import os
import platform
import re
import statistics
import tempfile
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import streamlit

from benchmarks.records import fill
from groupscan.records.store import open_store
from tests.browser.newcomer import PHOTO, editor_ready, settled
from tests.browser.running import ROOT, app_running, page_open

__all__ = ["busy_share", "edits", "main", "screens", "told"]

SHOTS = 20_000
EDIT_MS, SCREEN_MS = 300.0, 1000.0
_DRAG_PX = 90

_WATCH = """() => {
  const host = [...document.querySelectorAll('*')].find((e) => e.shadowRoot?.querySelector('.he'));
  const marks = host.shadowRoot.querySelector('.marks');
  const main = document.querySelector('[data-testid="stMain"]');
  const numbers = () => main.querySelector('table')?.innerText;
  const bench = (window.bench = { up: 0, mark: 0, told: 0 });
  let before = numbers();
  window.addEventListener('pointerup', () => {
    Object.assign(bench, { up: performance.now(), mark: 0, told: 0 });
    before = numbers();
  }, true);
  const frame = (name) => requestAnimationFrame(() => { bench[name] ||= performance.now(); });
  new MutationObserver(() => { if (bench.up && !bench.mark) frame('mark'); })
    .observe(marks, { childList: true });
  new MutationObserver(() => {
    if (bench.up && !bench.told && numbers() !== before) frame('told');
  }).observe(main, { subtree: true, childList: true, characterData: true });
}"""

_THERE = """(name) => document.querySelector('h1')?.innerText.trim() === name &&
  document.querySelector('[data-testid="stApp"]').dataset.testScriptState === 'notRunning'"""


def edits(page: Any, turns: int) -> dict[str, list[float]]:
    """Drag a hole to and fro; return ms to the mark's repaint and to the new numbers."""
    page.get_by_text("Start with a photo").wait_for()
    page.locator("input[type=file]").set_input_files(PHOTO)
    page.get_by_role("button", name="Scan", exact=True).click()
    editor_ready(page)
    settled(page)
    page.evaluate(_WATCH)
    took: dict[str, list[float]] = {"mark": [], "told": []}
    for turn in range(turns):
        box = page.locator(".pt").first.locator(".line").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + (_DRAG_PX if turn % 2 else -_DRAG_PX), y + 5, steps=4)
        page.mouse.up()
        page.wait_for_function("() => window.bench.mark && window.bench.told")
        seen = page.evaluate("() => window.bench")
        for name, values in took.items():
            values.append(seen[name] - seen["up"])
        settled(page)
    return {"edit: mark drawn": took["mark"], "edit: numbers drawn": took["told"]}


def screens(page: Any, names: Sequence[str], turns: int) -> dict[str, list[float]]:
    """Go round the screens; return ms from the tap to the end of each, the first visit first."""
    took: dict[str, list[float]] = {name: [] for name in names}
    for _ in range(turns + 1):
        for name in names:
            link = page.get_by_role("link", name=name, exact=True)
            begun = page.evaluate("() => performance.now()")
            link.click()
            page.wait_for_function(_THERE, arg=name, polling="raf")
            took[name].append(page.evaluate("() => performance.now()") - begun)
    return took


def told(name: str, values: Sequence[float], bar_ms: float, first: float | None = None) -> str:
    """Return one line of the table."""
    middle = statistics.median(values)
    verdict = "met" if middle <= bar_ms else "MISSED"
    visit = "" if first is None else f"{first:.0f}"
    return f"{name:24s}{middle:9.0f}{max(values):9.0f}{visit:>9s}{bar_ms:9.0f}  {verdict}"


def busy_share() -> float:
    """Return the share of a core that this process gets while it computes: below 1, others do."""
    wall, mine = time.perf_counter(), time.process_time()
    while time.process_time() - mine < 0.2:
        pass
    return 0.2 / (time.perf_counter() - wall)


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.screens", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--shots", type=int, default=SHOTS, help=f"how many shots ({SHOTS})")
    parser.add_argument("--turns", type=int, default=7, help="turns of each line (7)")
    options = parser.parse_args(argv)
    source = (ROOT / "app.py").read_text(encoding="utf-8")
    names = re.findall(r'\(\w+, "([^"]+)", "\w+"\),\n', source)
    print(
        f"python {platform.python_version()}, streamlit {streamlit.__version__}, "
        f"{os.cpu_count()} cores, of which a busy loop gets {busy_share():.0%} of one, "
        f"{options.shots} shots"
    )
    print(f"\n{'':24s}{'ms':>9s}{'worst':>9s}{'first':>9s}{'bar ms':>9s}")
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        with closing(open_store(home)) as store:
            fill(store, options.shots)
        desk = {"width": 1440, "height": 900}
        with app_running(home) as url, page_open(url, viewport=desk) as page:
            for name, values in edits(page, options.turns).items():
                print(told(name, values, EDIT_MS), flush=True)
            for name, (first, *rest) in screens(page, names, options.turns).items():
                print(told(name, rest, SCREEN_MS, first), flush=True)


if __name__ == "__main__":
    main()
