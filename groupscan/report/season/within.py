"""How a session goes, before either plotting library draws it: sigma by end, the first arrow."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groupscan.report.scene import region_outline
from groupscan.report.season.reading import Reading
from groupscan.stats.constants import radius_constant
from groupscan.stats.trend import Trend

__all__ = ["ColdScene", "EndsScene", "cold_scene", "ends_scene"]

Array = NDArray[np.float64]

# An interval many times its value, from two or three arrows, must not flatten the rest.
_LONGEST = 2.2


@dataclass(frozen=True)
class EndsScene:
    """Sigma by the number of the end within a session, in the reader's unit.

    Attributes
    ----------
    title : str
        Plain text; it may come from a user.
    reading : Reading
    number, sessions : tuple of int
        Number of each end, and how many sessions have it.
    value, low, high : (k,) arrays
        Sigma with its interval; NaN where it has none.
    line : (k,) array or None
        The steady change from end to end at the height of these sigmas; None unless it is clear.
    top : float
        The highest that is shown.
    level : float
        Of the intervals.
    """

    title: str
    reading: Reading
    number: tuple[int, ...]
    sessions: tuple[int, ...]
    value: Array
    low: Array
    high: Array
    line: Array | None
    top: float
    level: float

    @property
    def bars(self) -> Array:
        """How far the interval reaches down and up from each sigma, (2, k); 0 where it has none."""
        known = np.isfinite(self.low) & np.isfinite(self.high)
        return np.where(known, [self.value - self.low, self.high - self.value], 0.0)


@dataclass(frozen=True)
class ColdScene:
    """Where the first arrow of a session lands from the centre of the rest, in the reader's unit.

    Attributes
    ----------
    title : str
        Plain text; it may come from a user.
    reading : Reading
    sessions : int
        How many tell it.
    x, y : float
        Right and high of the others' centre.
    outline : (n, 2) array or None
        The confidence region; None where it is not known.
    half : float
        Radius of the ring that holds half of all arrows; NaN where sigma is not known.
    reach : float
        Half of the picture's side.
    level : float
        Of the region.
    """

    title: str
    reading: Reading
    sessions: int
    x: float
    y: float
    outline: Array | None
    half: float
    reach: float
    level: float


def ends_scene(trend: Trend, reading: Reading, *, title: str = "") -> EndsScene | None:
    """Lay out sigma by the number of the end; None where no end tells it.

    Parameters
    ----------
    trend : Trend
    reading : Reading
    title : str
        Plain text.
    """
    tired = trend.fatigue
    told = [end for end in tired.by_end if math.isfinite(end.sigma.value) and end.sigma.value > 0]
    if not told:
        return None
    value, low, high = (
        reading.factor * np.array([(e.sigma.value, e.sigma.low, e.sigma.high) for e in told]).T
    )
    number = np.array([end.number for end in told])
    line = None
    if tired.log_sigma.low > 0 or tired.log_sigma.high < 0:
        ends = np.array([end.ends for end in told], float)
        rise = tired.log_sigma.value * (number - np.average(number, weights=ends))
        line = np.exp(np.average(np.log(value), weights=ends) + rise)
    highest = float(value.max())
    longest = high[np.isfinite(high)].clip(max=_LONGEST * highest)
    return EndsScene(
        title=title,
        reading=reading,
        number=tuple(number.tolist()),
        sessions=tuple(end.ends for end in told),
        value=value,
        low=low,
        high=high,
        line=line,
        top=1.06 * max([highest, *longest.tolist()]),
        level=trend.sessions.confidence,
    )


def cold_scene(trend: Trend, reading: Reading, *, title: str = "") -> ColdScene | None:
    """Lay out where the first arrow lands; None where no session tells it.

    Parameters
    ----------
    trend : Trend
        Of a season whose first arrows are known.
    reading : Reading
    title : str
        Plain text.
    """
    cold = trend.cold_arrow
    if cold.sessions == 0:
        return None
    k = reading.factor
    x, y = k * cold.x.value, k * cold.y.value
    outline = region_outline(cold.ellipse)
    half = k * trend.baseline.sigma.value * radius_constant(0.5)
    # The first arrow and the ring are in the picture; a region that few sessions tell may leave it.
    size = max(math.hypot(x, y), half if math.isfinite(half) else 0.0, 1e-9)
    widest = 0.0 if outline is None else k * float(np.abs(outline).max())
    return ColdScene(
        title=title,
        reading=reading,
        sessions=cold.sessions,
        x=x,
        y=y,
        outline=None if outline is None else k * outline,
        half=half,
        reach=1.12 * max(size, min(widest, 2 * size)),
        level=trend.sessions.confidence,
    )
