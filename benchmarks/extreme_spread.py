"""Derive the constant of the extreme spread: ``python -m benchmarks.extreme_spread``.

The expected extreme spread of n circular normal shots has a closed form for n = 2 and 3 only.
For the rest, groups are simulated; the mean is sharpened with control variates whose own means
are known exactly (pooled sigma, mean radius and figure of merit), and the ratio of the mean to
the normal range constant d2(n) is fitted by a polynomial in 1/d2(n) that tends to 1 for endless
groups. The coefficients stand in ``groupscan/stats/constants.py``.

The shape ratio, extreme spread over the root of the summed squared radii, is independent of the
latter; its variation and skewness are fitted by polynomials in 1/d2(n) too, for the spread's
distribution in ``groupscan/stats/spread.py`` (``--only shape`` takes half a minute).
"""

import argparse

import numpy as np
from numpy.typing import NDArray

from groupscan.stats.constants import c4, mean_radius_constant, range_constant

SIZES = (*range(4, 21), 22, 25, 30, 36, 40, 50, 60, 80, 100, 150, 200, 300, 500, 1000, 2000, 5000)
DEGREE = 7
SHAPE_SIZES = (3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50, 80, 150, 300, 1000, 5000)
SHAPE_DEGREE = 5

Array = NDArray[np.float64]


def _pairs_max(z: NDArray[np.complex128]) -> Array:
    """Return the largest distance between two columns of z, for each row."""
    best = np.zeros(len(z))
    for lag in range(1, z.shape[1]):
        gap = z[:, lag:] - z[:, :-lag]
        np.maximum(best, (gap.real**2 + gap.imag**2).max(axis=1), out=best)
    return np.sqrt(best)


def extreme_spreads(z: NDArray[np.complex128], *, keep: int = 48) -> Array:
    """Return the extreme spread of each row; exact, though only outer shots are paired.

    A pair further apart than L has both shots at least L - r_max from the centre, so that the
    outermost `keep` shots suffice where the next one is nearer than that; other rows are done
    in full.
    """
    if z.shape[1] <= keep + 1:
        return _pairs_max(z)
    radius = np.abs(z - z.mean(axis=1, keepdims=True))
    order = np.argpartition(radius, z.shape[1] - keep - 1, axis=1)
    outer = order[:, -keep:]
    spread = _pairs_max(np.take_along_axis(z, outer, axis=1))
    next_radius = np.take_along_axis(radius, order[:, [-keep - 1]], axis=1)[:, 0]
    open_rows = np.flatnonzero(next_radius + radius.max(axis=1) > spread)
    if open_rows.size:
        spread[open_rows] = extreme_spreads(z[open_rows], keep=4 * keep)
    return spread


def simulate(n: int, groups: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return the mean extreme spread of n shots, sigma 1, and its standard error."""
    means = np.array([c4(2 * n - 2), mean_radius_constant(n), range_constant(n)])
    batch = max(1, min(groups, 200_000 // n))
    moments, done = np.zeros((5, 5)), 0
    while done < groups:
        size = min(batch, groups - done)
        z = rng.standard_normal((size, n, 2)).view(np.complex128)[..., 0]
        dev = z - z.mean(axis=1, keepdims=True)
        square = dev.real**2 + dev.imag**2
        controls = np.stack(
            [
                np.sqrt(square.sum(axis=1) / (2 * n - 2)),
                np.sqrt(square).mean(axis=1),
                (np.ptp(z.real, axis=1) + np.ptp(z.imag, axis=1)) / 2,
            ]
        )
        rows = np.vstack([np.ones(size), controls - means[:, None], extreme_spreads(z)])
        moments += rows @ rows.T
        done += size
    left, right = moments[:4, :4], moments[:4, 4]
    solution = np.linalg.solve(left, right)
    variance = (moments[4, 4] - solution @ right) / done
    return float(solution[0]), float(np.sqrt(variance * np.linalg.inv(left)[0, 0]))


def fit(table: list[tuple[int, float, float]]) -> Array:
    """Return the coefficients c1, c2, ... of ratio = 1 + c1 u + c2 u^2 + ..., u = 1/d2(n)."""
    rows = [(2, float(np.sqrt(np.pi)), 1e-7), (3, 2.408801240328, 1e-7), *table]
    d2 = np.array([range_constant(n) for n, _, _ in rows])
    mean, error = np.array([row[1:] for row in rows]).T
    powers = (1 / d2)[:, None] ** np.arange(1, DEGREE + 1)
    weight = d2 / error
    solution, *_ = np.linalg.lstsq(powers * weight[:, None], (mean / d2 - 1) * weight, rcond=None)
    residual = (powers @ solution + 1) * d2 - mean
    for (n, *_), seen, se, miss in zip(rows, mean, error, residual, strict=True):
        print(f"{n:6d} {seen:10.6f} {se:9.1e} {miss / se:7.2f} {miss / seen:10.1e}")
    return solution


def shape_moments(n: int, groups: int, rng: np.random.Generator) -> tuple[float, float]:
    """Return the squared coefficient of variation and the skewness of the shape ratio."""
    parts = []
    for size in np.diff([*range(0, groups, max(1, 200_000 // n)), groups]):
        z = rng.standard_normal((size, n, 2)).view(np.complex128)[..., 0]
        away = z - z.mean(axis=1, keepdims=True)
        root = np.sqrt((away.real**2 + away.imag**2).sum(axis=1))
        parts.append(extreme_spreads(z) / root)
    ratio = np.concatenate(parts)
    third = ((ratio - ratio.mean()) ** 3).mean()
    return float(ratio.var() / ratio.mean() ** 2), float(third / ratio.std() ** 3)


def fit_shape(effort: float, rng: np.random.Generator) -> None:
    """Simulate the shape ratio, print both fits with their misses."""
    groups = [int(max(1000, min(2e6, 1.5e7 / n) * effort)) for n in SHAPE_SIZES]
    rows = [shape_moments(n, count, rng) for n, count in zip(SHAPE_SIZES, groups, strict=True)]
    square, skew = np.array(rows).T
    u = np.array([1 / range_constant(n) for n in SHAPE_SIZES])[:, None]
    weight = np.sqrt(groups)
    # The variation tends to 0 for endless groups, the skewness to that of an extreme value.
    powers = u ** np.arange(1, SHAPE_DEGREE + 2)
    scaled = powers * (weight / square)[:, None]
    variation, *_ = np.linalg.lstsq(scaled, weight, rcond=None)
    skew_powers = u ** np.arange(SHAPE_DEGREE + 1)
    skewness, *_ = np.linalg.lstsq(skew_powers * weight[:, None], skew * weight, rcond=None)
    print("\n     n  variation^2     miss  skewness     miss")
    misses = zip(powers @ variation / square - 1, skew_powers @ skewness - skew, strict=True)
    for n, one, two, (miss, skew_miss) in zip(SHAPE_SIZES, square, skew, misses, strict=True):
        print(f"{n:6d} {one:12.7f} {miss:8.1%} {two:9.4f} {skew_miss:8.4f}")
    print("squared variation:", ", ".join(f"{value:.8f}" for value in variation))
    print("skewness:", ", ".join(f"{value:.8f}" for value in skewness))


def main() -> None:
    """Simulate every size, print the table with the fit's misses, then the coefficients."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--effort", type=float, default=1.0, help="share of the full run")
    parser.add_argument("--only", choices=["mean", "shape"], help="one of the two fits")
    options = parser.parse_args()
    if options.only != "mean":
        fit_shape(options.effort, np.random.default_rng(6))
    if options.only == "shape":
        return
    rng = np.random.default_rng(20_261_103)
    table = []
    for n in SIZES:
        cost = n * min(n, 48) / 2 + 30 * n
        groups = int(np.clip(options.effort * 1e9 / cost, 1000, 2e7))
        table.append((n, *simulate(n, groups, rng)))
        print(n, groups, table[-1][1:], flush=True)
    print("\n     n       E[ES]        SE  miss/SE   miss/mean")
    print("coefficients:", ", ".join(f"{value:.8f}" for value in fit(table)))


if __name__ == "__main__":
    main()
