"""Simulated coverage of every interval of a group: ``python -m benchmarks.coverage group``.

Circular normal groups of a rig with sigma 1 are measured, and each interval is asked whether it
holds the truth. Truths that are expected values (extreme spread, mean radius, figure of merit)
are the averages over the run itself, not the constants that the intervals use. Intervals that
are sigma's times a constant hold or miss together; they are listed all the same, since a wrong
constant would show.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from benchmarks.coverage.rows import SIZES, Row
from groupscan.stats.group import Group, measure_group

AWAY = (0.0, 0.5, 1.0, 2.0, 3.0, 6.0)
PHOTO_SE = 0.3

Array = NDArray[np.float64]


def _ellipse_holds(group: Group, x: float, y: float) -> bool:
    ellipse = group.centre_ellipse
    turned = complex(x - ellipse.x_mm, y - ellipse.y_mm) * np.exp(-1j * ellipse.angle_rad)
    along, across = turned.real / ellipse.semi_major_mm, turned.imag / ellipse.semi_minor_mm
    return bool(along**2 + across**2 <= 1)


def _one_group(n: int, shots: Array, blurred: Array) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Yield (name, (truth, low, high, value)); a NaN truth is the average value of the run."""
    group = measure_group(shots)
    mean_of_run = math.nan
    for name, estimate, truth in (
        ("centre x", group.centre.x, 0.0),
        ("sigma", group.sigma, 1.0),
        ("sigma x", group.sigma_x, 1.0),
        ("extreme spread", group.extreme_spread, mean_of_run),
        ("mean radius", group.mean_radius, mean_of_run),
        ("figure of merit", group.figure_of_merit, mean_of_run),
        ("R50", group.r50, math.sqrt(chdtri(2, 0.5))),
        ("R90", group.r90, math.sqrt(chdtri(2, 0.1))),
        (f"sigma, photo se {PHOTO_SE}", measure_group(blurred, se_mm=PHOTO_SE).sigma, 1.0),
    ):
        yield name, (truth, estimate.low, estimate.high, estimate.value)
    inside = float(_ellipse_holds(group, 0.0, 0.0))
    yield "centre ellipse", (0.5, 1.0 - inside, inside, math.nan)
    for away in AWAY:
        # `away` counts standard errors of the centre, so that every n meets the hard region.
        truth = away / math.sqrt(n)
        offset = measure_group(shots, aim_mm=(truth, 0.0)).offset
        yield f"offset {away:g} se away", (truth, offset.low, offset.high, offset.value)


def coverage(n: int, groups: int, *, seed: int) -> dict[str, float]:
    """Return the share of groups whose interval holds the truth, by statistic.

    Parameters
    ----------
    n : int
        Shots a group, at least 3.
    groups : int
        Number of simulated groups.
    seed : int
        Seed; the same seed gives the same shares.
    """
    rng = np.random.default_rng(seed)
    rows: dict[str, list[tuple[float, ...]]] = {}
    for _ in range(groups):
        shots = rng.standard_normal((n, 2))
        blurred = shots + PHOTO_SE * rng.standard_normal((n, 2))
        for name, row in _one_group(n, shots, blurred):
            rows.setdefault(name, []).append(row)
    shares = {}
    for name, found in rows.items():
        truth, low, high, value = np.array(found).T
        truth = np.where(np.isnan(truth), value.mean(), truth)
        shares[name] = float(((low <= truth) & (truth <= high)).mean())
    return shares


def rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of each interval of a group, by number of shots."""
    columns = {n: coverage(n, groups, seed=seed + n) for n in SIZES}
    kinds = {name: "approximate" if " se" in name else "exact" for name in columns[SIZES[0]]}
    return [
        Row(name, kind, 0.95, {n: columns[n][name] for n in SIZES}) for name, kind in kinds.items()
    ]
