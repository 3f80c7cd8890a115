"""Measure how a batch of photos scales over processes.

``python -m benchmarks.batch [FOLDER...] [--photos N] [--workers N]`` scans a batch as the command
line does, each time in a fresh ``groupscan scan`` of its own, so that starting Python and the
workers is part of it: with one process, and with ``--workers N``, in turn, and prints the ratio of
the least times (the least is what the machine can do when nothing else is at work: run it so).

One process may use the threads of OpenCV, which is what a user would compare with; its ratio on one
thread a process, which tells how well the work itself is shared, is printed beside it. The outputs
must be the same, or the benchmark fails. The photos of the folders are taken in turn until there
are N of them.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from itertools import cycle, islice
from pathlib import Path

__all__ = ["main"]

ROOT = Path(__file__).parents[1]


def scan(photos: Sequence[Path], *, workers: int, one_thread: bool) -> tuple[float, str]:
    """Scan by the command line; return seconds and what it printed."""
    command = [sys.executable, "-m", "groupscan.cli", "scan", "--json", *map(str, photos)]
    environment = dict(os.environ)
    if one_thread:
        # Heeded by OpenCV's own pool of threads, and by the libraries under numpy.
        names = ("OPENCV_FOR_THREADS_NUM", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
        environment.update(dict.fromkeys(names, "1"))
    start = time.perf_counter()
    done = subprocess.run(
        [*command, "--workers", str(workers)],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    seconds = time.perf_counter() - start
    if done.returncode not in (0, 1):  # 1: a photo was refused, by every number of workers alike
        raise SystemExit(done.stderr)
    return seconds, done.stdout


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code is 1 where the outputs differ."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.batch", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("folders", nargs="*", type=Path, default=[ROOT / "sample_targets"])
    parser.add_argument("--photos", type=int, default=28, help="size of the batch")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args(argv)
    there = sorted(path.resolve() for folder in options.folders for path in folder.glob("*.jpg"))
    if not there:
        print("no photo in these folders", file=sys.stderr)
        return 2
    batch = list(islice(cycle(there), options.photos))
    ways = {
        "one process": (1, False),
        "one process, one thread": (1, True),
        f"{options.workers} workers": (options.workers, False),
    }
    seconds: dict[str, list[float]] = {name: [] for name in ways}
    said: set[str] = set()
    for _ in range(options.rounds):
        for name, (workers, one_thread) in ways.items():
            took, output = scan(batch, workers=workers, one_thread=one_thread)
            seconds[name].append(took)
            said.add(output)
    megapixels = f"{len(batch)} photos ({len(there)} files), {os.cpu_count()} cores"
    print(f"{megapixels}, {options.rounds} rounds, start-up included")
    best = min(seconds[f"{options.workers} workers"])
    for name, values in seconds.items():
        print(f"  {name:<26} {min(values):7.2f} s   {min(values) / best:5.2f} x")
    if len(said) > 1:
        print("the outputs differ", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
