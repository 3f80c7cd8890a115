"""Time the statistics as ratios to a plain numpy pass: ``python -m benchmarks.statistics_speed``.

A plain pass is the mean and the covariance of the same shots. Each line states its bar, the time
that a person does not notice; the ratio is what to compare between machines.
"""

import argparse
import platform
import timeit
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from groupscan.stats.group import measure_group
from groupscan.stats.offset import compare_centres
from groupscan.stats.offset.permutation import permute_centres
from groupscan.stats.trend import measure_trend

__all__ = ["Task", "tasks"]

SHOTS = 60
SEASON_SHOTS = 20_000
SESSION_SHOTS, END_SHOTS = 60, 6


@dataclass(frozen=True)
class Task:
    """Something to time: `run` against its `bar_s`, with `plain` the numpy pass of its arrays."""

    what: str
    bar_s: float
    run: Callable[[], object]
    plain: Callable[[], object]


def best_of(run: Callable[[], object], *, seconds: float) -> float:
    """Return the shortest time of one call, in seconds, over about `seconds` of trying."""
    timer = timeit.Timer(run)
    once = max(timer.timeit(1), 1e-7)
    number = max(1, int(seconds / 5 / once))
    return min(timer.repeat(5, number)) / number


def tasks() -> list[Task]:
    """Return what is timed."""
    rng = np.random.default_rng(1)
    shots = rng.normal(0, 20, (SHOTS, 2))
    season = rng.normal(0, 20, (SEASON_SHOTS, 2))
    session = np.arange(SEASON_SHOTS) // SESSION_SHOTS
    end = np.arange(SEASON_SHOTS) % SESSION_SHOTS // END_SHOTS
    metres = np.where(session % 3, 18.0, 30.0)
    return [
        Task(
            f"a group's whole table, n = {SHOTS}",
            0.005,
            lambda: measure_group(shots, se_mm=0.3, distance_m=18.0).to_dict(),
            lambda: (shots.mean(axis=0), np.cov(shots.T)),
        ),
        Task(
            f"a season, {SEASON_SHOTS} shots",
            1.0,
            lambda: measure_trend(
                season, session, end=end, distance_m=metres, day=2 * session
            ).to_dict(),
            lambda: (season.mean(axis=0), np.cov(season.T)),
        ),
        Task(
            "2,000 permutations, 30 against 30",
            0.05,
            lambda: permute_centres(shots[:30], shots[30:], splits=2000),
            lambda: (shots.mean(axis=0), np.cov(shots.T)),
        ),
        Task(
            "two centres compared, 30 against 30",
            0.05,
            lambda: compare_centres(shots[:30], shots[30:], tolerance_mm=15.0).to_dict(),
            lambda: (shots.mean(axis=0), np.cov(shots.T)),
        ),
    ]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Time the statistics against plain numpy.")
    parser.add_argument("--seconds", type=float, default=1.0, help="time a line (1)")
    options = parser.parse_args()
    print(f"Python {platform.python_version()}, numpy {np.__version__}")
    print(f"{'':40s}{'ms':>9s}{'bar ms':>9s}{'times plain':>13s}")
    for task in tasks():
        took = best_of(task.run, seconds=options.seconds)
        plain = best_of(task.plain, seconds=options.seconds)
        mark = " over its bar" if took > task.bar_s else ""
        print(f"{task.what:40s}{took * 1e3:9.2f}{task.bar_s * 1e3:9.0f}{took / plain:13.1f}{mark}")


if __name__ == "__main__":
    main()
