"""Measure time and memory of a scan against merely decoding the photo.

``python -m benchmarks.speed [PHOTO] [--sheet ID]`` prints ratios, since seconds say little on
another machine:

- time: decoding by OpenCV and the whole scan (reading, plane, holes) in turn, several times in one
  process, so that a busy moment hits both; the least and the median of each, and their ratios.
- memory: each in a fresh process, after imports and a warm-up on a tiny copy; the highest resident
  size above the resident size at that point, as a ratio to the decoded picture (width x height x 3
  bytes).

Without PHOTO, a sample photo is enlarged to 12 megapixels.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.metadata
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["main", "peak_above_baseline_mib"]

SAMPLES = Path(__file__).parents[1] / "sample_targets"
MEGAPIXELS = 12.0
TINY_PX = 480
PACKAGES = ("numpy", "scipy", "opencv-python-headless", "pillow", "scikit-image")


def decode(path: Path, sheet: str | None = None) -> NDArray[Any]:
    """Decode the photo by OpenCV: the yardstick."""
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if picture is None:
        raise SystemExit(f"OpenCV cannot decode {path}: give a JPEG, PNG, WebP or TIFF photo")
    return picture


def scan(path: Path, sheet: str | None = None) -> int:
    """Scan the photo as the product does; return the number of holes."""
    from groupscan.photo.reading import read_photo
    from groupscan.photo.scan import scan_photo

    return len(scan_photo(read_photo(path), sheet=sheet).holes)


TASKS: dict[str, Callable[..., Any]] = {"decode": decode, "scan": scan}


def time_in_turn(path: Path, sheet: str | None, repeats: int) -> dict[str, list[float]]:
    """Return seconds of each task, run in turn after one unmeasured round."""
    seconds: dict[str, list[float]] = {name: [] for name in TASKS}
    for round_number in range(repeats + 1):
        for name, task in TASKS.items():
            start = time.perf_counter()
            task(path, sheet)
            if round_number:
                seconds[name].append(time.perf_counter() - start)
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


def enlarged_sample(folder: Path) -> Path:
    """Write the first sample photo, enlarged to 12 megapixels, and return where it is."""
    samples = sorted(SAMPLES.glob("*.jpg"))
    if not samples:
        raise SystemExit(f"no sample photo in {SAMPLES}: give a photo")
    picture = decode(samples[0])
    scale = (MEGAPIXELS * 1e6 / (picture.shape[0] * picture.shape[1])) ** 0.5
    if scale > 1.0:
        picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)
        # Enlarging takes the sensor's noise out of the fine detail; a real 12-megapixel photo
        # has it, and decoding it costs time. Without it the yardstick would be too short.
        noise = np.random.default_rng(12).normal(0.0, 2.5, picture.shape)
        picture = np.clip(picture + noise, 0, 255).astype(np.uint8)
    path = folder / samples[0].name
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


def report(path: Path, options: argparse.Namespace) -> None:
    """Measure and print."""
    height, width, _ = decode(path).shape
    decoded_mib = height * width * 3 / 2**20
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in PACKAGES)
    print(f"python {platform.python_version()}, {versions}")
    print(f"{platform.machine()}, {os.cpu_count()} cores, OpenCV on {cv2.getNumThreads()} threads")
    print(
        f"{path.name}: {width} x {height} = {width * height / 1e6:.1f} megapixels, "
        f"{path.stat().st_size / 1e6:.1f} MB, decoded {decoded_mib:.1f} MiB, "
        f"{scan(path, options.sheet)} holes found"
    )
    seconds = time_in_turn(path, options.sheet, options.repeats)
    print(f"\ntime, s ({options.repeats} rounds)    min   median")
    for name, values in seconds.items():
        print(f"  {name:<16} {min(values):9.3f} {statistics.median(values):8.3f}")
    ratios = [kind(seconds["scan"]) / kind(seconds["decode"]) for kind in (min, statistics.median)]
    print(f"  {'scan / decode':<16} {ratios[0]:9.2f} {ratios[1]:8.2f}")
    if options.no_memory:
        return
    print("\npeak memory         MiB   x decoded")
    for name in TASKS:
        peak = measure_memory(name, path, options.sheet)
        print(f"  {name:<12} {peak:9.1f} {peak / decoded_mib:11.2f}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.speed", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("photo", nargs="?", type=Path)
    parser.add_argument("--sheet", help="sheet on the photo; left out: recognise it")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--no-memory", action="store_true", help="measure time only")
    parser.add_argument("--memory-of", choices=sorted(TASKS), help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.memory_of:
        print(_memory_child(options.memory_of, options.photo.resolve(), options.sheet))
    elif options.photo is not None:
        report(options.photo.resolve(), options)
    else:
        with tempfile.TemporaryDirectory() as folder:
            report(enlarged_sample(Path(folder)), options)
    return 0


if __name__ == "__main__":
    sys.exit(main())
