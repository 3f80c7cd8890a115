"""Measure time and memory of a scan against merely decoding the photo.

``python -m benchmarks.speed [PHOTO or FOLDER...] [--sheet ID]`` prints a line for each photo, in
ratios, since seconds say little on another machine:

- time: decoding by OpenCV and the whole scan (reading, plane, holes) in turn, several times in one
  process, so that a busy moment hits both; the least of each, and the ratios of the least and of
  the medians. ``--cpu`` counts what the processor spent instead of what the clock showed: for a
  machine that is busy with other things.
- memory: each in a fresh process, after imports and a warm-up on a tiny copy; the highest resident
  size above the resident size at that point, as a ratio to the decoded picture (width x height x 3
  bytes).

Everything runs on one thread, OpenCV and the libraries under numpy alike. Then the median and the
worst of all photos, and of each difficulty and sheet where truth files (JSON) beside the photos
tell them. Photos that a scan refuses are timed, too. Without arguments, one sample photo of each
kind of sheet is enlarged to 12 megapixels.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.metadata
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.accuracy import PHOTO_TYPES
from benchmarks.truths import sheet_id_of

__all__ = ["Row", "main", "peak_above_baseline_mib", "summary"]

SAMPLES = Path(__file__).parents[1] / "sample_targets"
MEGAPIXELS = 12.0
TINY_PX = 480
#: Heeded by OpenCV's own pool of threads, and by the libraries under numpy.
THREADS = ("OPENCV_FOR_THREADS_NUM", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
PACKAGES = ("numpy", "scipy", "opencv-python-headless", "pillow", "scikit-image")


def decode(path: Path, sheet: str | None = None) -> NDArray[Any]:
    """Decode the photo by OpenCV: the yardstick."""
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        raise SystemExit(f"OpenCV cannot decode {path}: give a JPEG, PNG, WebP or TIFF photo")
    return picture


def scan(path: Path, sheet: str | None = None) -> str:
    """Scan the photo as the product does; return what came of it."""
    from groupscan.errors import GroupscanError
    from groupscan.photo.reading import read_photo
    from groupscan.photo.scan import scan_photo

    try:
        found = scan_photo(read_photo(path), sheet=sheet)
    except GroupscanError as err:
        return type(err).__name__
    return f"{len(found.holes)} holes"


TASKS: dict[str, Callable[..., Any]] = {"decode": decode, "scan": scan}


def time_in_turn(
    path: Path,
    sheet: str | None,
    repeats: int,
    clock: Callable[[], float] = time.perf_counter,
) -> dict[str, list[float]]:
    """Return seconds of each task, run in turn after one unmeasured round."""
    seconds: dict[str, list[float]] = {name: [] for name in TASKS}
    for round_number in range(repeats + 1):
        for name, task in TASKS.items():
            start = clock()
            task(path, sheet)
            if round_number:
                seconds[name].append(clock() - start)
    return seconds


def peak_above_baseline_mib(task: Callable[[], object]) -> float:
    """Run a task and return how far the resident size rose above that before it, MiB."""
    before = _resident_mib("VmRSS")
    # Linux forgets the old peak when asked; where it does not, an older peak only raises the result
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    task()
    return max(0.0, _resident_mib("VmHWM") - before)


def _resident_mib(field: str) -> float:
    try:
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    except OSError as problem:
        raise SystemExit("memory is measured on Linux only: --no-memory leaves it out") from problem
    return next(int(line.split()[1]) for line in lines if line.startswith(field)) / 1024.0


def measure_memory(name: str, path: Path, sheet: str | None) -> float:
    """Return the memory of one task in a fresh process, MiB."""
    command = [sys.executable, "-m", "benchmarks.speed", str(path), "--memory-of", name]
    if sheet:
        command += ["--sheet", sheet]
    child = subprocess.run(
        command, cwd=Path(__file__).parents[1], capture_output=True, text=True, check=False
    )
    if child.returncode:
        raise SystemExit(f"the process that measures memory of {name} failed:\n{child.stderr}")
    return float(child.stdout.split()[-1])


def _memory_child(name: str, path: Path, sheet: str | None) -> float:
    with tempfile.TemporaryDirectory() as folder:
        tiny = Path(folder) / "tiny.jpg"
        # Reduced in decoding, so that the warm-up itself does not take the memory that is measured.
        reduced = cv2.imread(str(path), cv2.IMREAD_REDUCED_COLOR_8)
        if reduced is None:
            raise SystemExit(f"OpenCV cannot decode {path}")
        shrink = TINY_PX / max(reduced.shape[:2])
        cv2.imwrite(str(tiny), cv2.resize(reduced, None, fx=shrink, fy=shrink))
        # Too small a picture may well be refused: the imports and pools are warm all the same.
        with contextlib.suppress(Exception):
            TASKS[name](tiny, sheet)
    return peak_above_baseline_mib(lambda: TASKS[name](path, sheet))


def enlarged_samples(folder: Path) -> Iterator[Path]:
    """Write the first sample photo of each kind of sheet, enlarged to 12 megapixels."""
    kinds: dict[str, Path] = {}
    for path in sorted(SAMPLES.glob("*.jpg")):
        kinds.setdefault(_told(path)[1], path)
    if not kinds:
        raise SystemExit(f"no sample photo in {SAMPLES}: give a photo")
    for path in kinds.values():
        picture = decode(path)
        scale = (MEGAPIXELS * 1e6 / (picture.shape[0] * picture.shape[1])) ** 0.5
        if scale > 1.0:
            picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)
            # Enlarging takes the sensor's noise out of the fine detail; a real 12-megapixel photo
            # has it, and decoding it costs time. Without it the yardstick would be too short.
            noise = np.random.default_rng(12).normal(0.0, 2.5, picture.shape)
            picture = np.clip(picture + noise, 0, 255).astype(np.uint8)
        large = folder / path.name
        cv2.imwrite(str(large), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
        truth = path.with_suffix(".json")
        large.with_suffix(".json").write_bytes(truth.read_bytes())
        yield large


def _told(path: Path) -> tuple[str, str]:
    """Difficulty and sheet, where a truth file tells them."""
    truth = path.with_suffix(".json")
    if not truth.is_file():
        return "", ""
    document = json.loads(truth.read_text(encoding="utf-8"))
    return str(document.get("difficulty") or ""), sheet_id_of(document)


@dataclass(frozen=True)
class Row:
    """What was measured on one photo; memory is NaN where it was not asked for."""

    difficulty: str
    sheet: str
    least: float
    median: float
    memory: float


def measure(path: Path, options: argparse.Namespace) -> Row:
    """Measure one photo and print its line."""
    height, width, _ = decode(path).shape
    clock = time.process_time if options.cpu else time.perf_counter
    seconds = time_in_turn(path, options.sheet, options.repeats, clock)
    least, median = (
        kind(seconds["scan"]) / kind(seconds["decode"]) for kind in (min, statistics.median)
    )
    memory = float("nan")
    if not options.no_memory:
        decoded_mib = height * width * 3 / 2**20
        memory = measure_memory("scan", path, options.sheet) / decoded_mib
    print(
        f"{path.name:<36} {width * height / 1e6:5.1f} {1e3 * min(seconds['decode']):8.0f} "
        f"{1e3 * min(seconds['scan']):7.0f} {least:6.2f} {median:7.2f} {memory:7.2f}  "
        f"{scan(path, options.sheet)}",
        flush=True,
    )
    return Row(*_told(path), least, median, memory)


def summary(rows: Sequence[Row]) -> list[str]:
    """Return lines: median and worst of all, of each difficulty and of each sheet."""
    lines = [f"{'':<24} photos  least: median   worst   memory: worst"]
    groups: dict[str, list[Row]] = {"all": list(rows)}
    told = [(row.difficulty, row) for row in rows] + [(row.sheet, row) for row in rows]
    for name, row in told:
        if name:
            groups.setdefault(name, []).append(row)
    for name, group in groups.items():
        least = [row.least for row in group]
        lines.append(
            f"{name:<24} {len(group):6d} {statistics.median(least):14.2f} {max(least):7.2f} "
            f"{max(row.memory for row in group):15.2f}"
        )
    return lines


def _photos(paths: Sequence[Path], folder: Path) -> Iterator[Path]:
    for path in paths:
        if path.is_dir():
            yield from sorted(p for p in path.iterdir() if p.suffix.lower() in PHOTO_TYPES)
        else:
            yield path
    if not paths:
        yield from enlarged_samples(folder)


def report(options: argparse.Namespace) -> None:
    """Measure all photos and print."""
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in PACKAGES)
    print(f"python {platform.python_version()}, {versions}")
    print(f"{platform.machine()}, {os.cpu_count()} cores, one thread, {options.repeats} rounds")
    print(f"\n{'':<36}    Mp decode ms scan ms  least  median  memory")
    with tempfile.TemporaryDirectory() as folder:
        rows = [measure(path, options) for path in _photos(options.photos, Path(folder))]
    if len(rows) > 1:
        print("", *summary(rows), sep="\n")


def _on_one_thread(arguments: Sequence[str]) -> int | None:
    """Run anew on one thread, unless this process is: the libraries ask only when they load."""
    if all(os.environ.get(name) == "1" for name in THREADS):
        return None
    environment = {**os.environ, **dict.fromkeys(THREADS, "1")}
    command = [sys.executable, "-m", "benchmarks.speed", *arguments]
    return subprocess.run(command, env=environment, check=False).returncode


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    parser = argparse.ArgumentParser(prog="python -m benchmarks.speed", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("photos", nargs="*", type=Path, metavar="PHOTO or FOLDER")
    parser.add_argument("--sheet", help="sheet on the photos; left out: recognise it")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--cpu", action="store_true", help="count the processor's time")
    parser.add_argument("--no-memory", action="store_true", help="measure time only")
    parser.add_argument("--memory-of", choices=sorted(TASKS), help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    again = _on_one_thread(arguments)
    if again is not None:
        return again
    options.photos = [path.resolve() for path in options.photos]
    if options.memory_of:
        print(_memory_child(options.memory_of, options.photos[0], options.sheet))
    else:
        report(options)
    return 0


if __name__ == "__main__":
    sys.exit(main())
