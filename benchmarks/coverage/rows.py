"""A line of the coverage table: what was simulated, what it should be, and how to judge it."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["SIZES", "Row", "share_held", "table"]

SIZES = (3, 5, 6, 10, 20)

# How far simulated coverage may lie from the stated level: an exact method has only the
# simulation's own noise to excuse it, an approximate one its approximation.
HALF_BAND = {"exact": 0.005, "approximate": 0.02}
RATE_SLACK_SE = 2.0


@dataclass(frozen=True)
class Row:
    """One simulated coverage or error rate.

    Attributes
    ----------
    what : str
        The interval, or the wrong decision.
    kind : {'exact', 'approximate', 'rate'}
        Coverage of an exact interval (stated level +- 0.005), of an approximate one (+- 0.02), or
        an error rate (at most what is stated, and two standard errors of the simulation).
    stated : float
        The level or rate that the product claims.
    by_size : dict
        Simulated share by group size (or by the name of another setting); NaN is not judged.
    fewer : int or None
        Simulated groups behind each share, where the method is too slow for as many as asked.

    Examples
    --------
    >>> row = Row("sigma", "exact", 0.95, {3: 0.951, 20: 0.93})
    >>> row.outside(100_000)
    [20]
    """

    what: str
    kind: Literal["exact", "approximate", "rate"]
    stated: float
    by_size: dict[int | str, float]
    fewer: int | None = None

    def outside(self, groups: int, *, slack_se: float | None = None) -> list[int | str]:
        """Return the sizes whose share leaves its band.

        Parameters
        ----------
        groups : int
            Simulated groups behind each share.
        slack_se : float, optional
            Standard errors of the simulation by which a share may leave the band: by default
            none for coverage and two for rates. A test with few groups gives 4.
        """
        se = math.sqrt(self.stated * (1 - self.stated) / (self.fewer or groups))
        if self.kind == "rate":
            slack = RATE_SLACK_SE if slack_se is None else slack_se
            low, high = 0.0, self.stated + slack * se
        else:
            half = HALF_BAND[self.kind] + (slack_se or 0.0) * se
            low, high = self.stated - half, self.stated + half
        return [size for size, share in self.by_size.items() if share < low or share > high]


def share_held(truth: ArrayLike, low: ArrayLike, high: ArrayLike) -> float:
    """Return the share of intervals that hold the truth.

    Examples
    --------
    >>> share_held(1.0, [0.5, 1.2], [2.0, 3.0])
    0.5
    """
    return float(np.mean((np.asarray(low) <= truth) & (truth <= np.asarray(high))))


def table(rows: Iterable[Row], groups: int) -> str:
    """Return the rows as text, shares in per cent, with ``*`` at each that leaves its band."""
    lines, header = [], ""
    for row in rows:
        outside = row.outside(groups)
        heads = [f"n = {size}" if isinstance(size, int) else size for size in row.by_size]
        widths = [max(9, len(head) + 2) for head in heads]
        top = f"{'':44s}{'kind':12s}{'stated':>7s}"
        top += "".join(f"{head:>{width}s}" for head, width in zip(heads, widths, strict=True))
        if top != header:
            lines.append(top)
            header = top
        line = f"{row.what:44s}{row.kind:12s}{100 * row.stated:7.2f}"
        for (size, share), width in zip(row.by_size.items(), widths, strict=True):
            mark = "*" if size in outside else " "
            line += f"{100 * share:{width - 1}.2f}{mark}" if share == share else f"{'-':>{width}s}"
        lines.append(line.rstrip() + (f"  ({row.fewer} groups)" if row.fewer else ""))
    se = 100 * math.sqrt(0.95 * 0.05 / groups)
    lines.append(f"{groups} groups a share; standard error {se:.2f} at 95 %; * leaves its band")
    return "\n".join(lines)
