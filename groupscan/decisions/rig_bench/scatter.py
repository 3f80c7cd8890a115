"""The scatter that was measured of a rig, as an angle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from groupscan.decisions.pooling import distances_of, pooling_notes, xy_of
from groupscan.errors import TableError
from groupscan.stats.intervals import Estimate, sd_limits
from groupscan.stats.scatter import reduced, scatter_about

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

__all__ = ["RigScatter", "given_scatter", "scatter_mrad_of"]

_CONFIDENCE: Final = 0.95
_FEW: Final = 10


@dataclass(frozen=True)
class RigScatter:
    """Scatter of one shot about the centre of its session, a head by itself.

    Attributes
    ----------
    sigma_mrad : Estimate
        Per axis, mrad.
    df : float
        Its degrees of freedom; infinite where it was said and not measured.
    shots, groups : int
        What it rests on; 0 where it was said.
    by_distance : tuple of (float, Estimate, int)
        Distance, m, sigma there, mrad, and shots.
    notes : tuple of str
    dfs : tuple of int
        Degrees of freedom of each of `by_distance`.
    differs : bool
        Whether the angle differs from distance to distance by more than the intervals.
    """

    sigma_mrad: Estimate
    df: float
    shots: int
    groups: int
    by_distance: tuple[tuple[float, Estimate, int], ...]
    notes: tuple[str, ...]
    dfs: tuple[int, ...] = ()
    differs: bool = False

    def at(self, distance_m: ArrayLike) -> tuple[Estimate, NDArray[np.float64], float]:
        """Return the pooled sigma, what the angle at each distance is of it, and the df to use.

        Where the angle differs from distance to distance it is interpolated between those that were
        measured, and beyond them taken as at the nearest.

        Parameters
        ----------
        distance_m : (d,) array_like

        Returns
        -------
        Estimate
            Of relative width as wide as the widest used.
        (d,) array
            Factor at each distance.
        float
            Degrees of freedom.
        """
        distance = np.asarray(distance_m, float)
        if not self.differs:
            return self.sigma_mrad, np.ones(distance.shape), self.df
        known = [
            (at, one, df)
            for (at, one, _), df in zip(self.by_distance, self.dfs, strict=True)
            if df > 0
        ]
        place = np.log([at for at, _, _ in known])
        factor = np.array([one.value for _, one, _ in known]) / self.sigma_mrad.value
        least = min(known, key=lambda row: row[2])
        width = Estimate(
            self.sigma_mrad.value,
            self.sigma_mrad.value * least[1].low / least[1].value,
            self.sigma_mrad.value * least[1].high / least[1].value,
        )
        return width, np.interp(np.log(distance), place, factor), float(least[2])

    def to_frame(self) -> pd.DataFrame:
        """Return one row a distance: distance_m, shots, sigma_mrad, low_mrad, high_mrad."""
        import pandas as pd

        rows = [(d, n, one.value, one.low, one.high) for d, one, n in self.by_distance]
        names = ["distance_m", "shots", "sigma_mrad", "low_mrad", "high_mrad"]
        return pd.DataFrame(rows, columns=names)


def given_scatter(sigma_mrad: float) -> RigScatter:
    """Return a scatter as somebody says it: no interval."""
    if not 0 < sigma_mrad < 100:
        raise TableError(f"a scatter of {sigma_mrad:g} mrad cannot be: a rig has about 1 to 5")
    note = "The scatter is as given, not measured."
    return RigScatter(Estimate(sigma_mrad), math.inf, 0, 0, (), (note,))


def scatter_mrad_of(table: pd.DataFrame) -> RigScatter:
    """Return the scatter of a rig's shots, pooled over sessions, heads, builds and distances.

    Each session's group has a centre of its own, so that neither the sight's setting nor what a
    head does to it counts as scatter.

    Raises
    ------
    TableError
        If shots have no distance, none repeats, or they cannot be pooled.
    """
    notes = pooling_notes(table)
    distance = distances_of(table)
    if distance is None:
        raise TableError("the shots have no distance: fill it in, or give the scatter as an angle")
    keys = [table[name].to_numpy(object) for name in ("session", "head", "build") if name in table]
    labels = list(zip(*keys, distance.round(2).tolist(), strict=True))
    place = {key: i for i, key in enumerate(dict.fromkeys(labels))}
    blocks = np.array([place[one] for one in labels])
    angle = xy_of(table) / distance[:, np.newaxis]  # mm over m: mrad
    pooled, df = _sigma(angle, blocks)
    if not df:
        raise TableError("no two shots of one session and head: a scatter takes two or more")
    nearby = distance.round(1)
    by, dfs = [], []
    for one in sorted(set(nearby.tolist())):
        here = nearby == one
        sigma, own = _sigma(angle[here], blocks[here])
        by.append((float(distance[here].mean()), sigma, here.sum()))
        dfs.append(own)
    if len(table) < _FEW:
        notes += (f"Only {len(table)} shots: the scatter is hardly known.",)
    low = min((one.high for _, one, _ in by if math.isfinite(one.high)), default=math.inf)
    high = max((one.low for _, one, _ in by if math.isfinite(one.low)), default=0.0)
    if high > low:
        notes += (
            "The angle of scatter differs from distance to distance: chances take it between those"
            " that were measured, and beyond them as at the nearest.",
        )
    return RigScatter(
        pooled,
        df,
        len(table),
        len(set(blocks.tolist())),
        tuple((d, one, int(n)) for d, one, n in by),
        notes,
        tuple(dfs),
        high > low,
    )


def _sigma(angle: NDArray[np.float64], blocks: NDArray[np.intp]) -> tuple[Estimate, int]:
    """Return sigma per axis with its interval, and its degrees of freedom."""
    scatter, own = scatter_about(angle, blocks)
    if own < 1:
        return Estimate(math.nan), 0
    square, df = reduced(scatter, own, "circular")
    sigma = math.sqrt(float(square) / df)
    return Estimate(sigma, *sd_limits(float(square), df, _CONFIDENCE)), df
