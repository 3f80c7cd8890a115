"""What the picture of several kinds about one aim shows, before either plotting library draws it.

Positions are mm from the point of aim, x right and y up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from groupscan.report.scene import circle, region_outline
from groupscan.stats.intervals import Ellipse, Estimate

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.stats.offset.comparison import Comparisons
    from groupscan.stats.offset.verdict import ArrowsWanted, Verdict
    from groupscan.stats.plan.analysis import Analysis

__all__ = ["MOST_KINDS", "MatchKind", "MatchOffset", "MatchScene", "match_scene", "offsets_of"]

#: As many as there are symbols to tell them apart by.
MOST_KINDS: Final = 4
_SMALLEST_HALF_MM: Final = 20.0
_MARGIN: Final = 1.12
# More dots than this run into one blot and slow the page; every n-th is drawn then.
_MOST_DRAWN: Final = 600


@dataclass(frozen=True)
class MatchKind:
    """One kind of arrow: its shots and its centre.

    Attributes
    ----------
    name : str
        May come from a user.
    shots_mm : (n, 2) array
        Those that are drawn.
    called : tuple of str
        What each is called.
    centre : Ellipse
        Centre of all its shots, with its confidence region.
    count : int
        Shots compared.
    """

    name: str
    shots_mm: NDArray[np.float64]
    called: tuple[str, ...]
    centre: Ellipse
    count: int


@dataclass(frozen=True)
class MatchOffset:
    """Where one kind hits from the reference; lengths in mm.

    Attributes
    ----------
    name : str
    verdict : {'together', 'apart', 'not enough arrows'}
    x, y, distance : Estimate
    ellipse : Ellipse
        Joint confidence region of the offset, about (0, 0) = the reference.
    more : ArrowsWanted or None
        How many more would probably settle it; None where nobody can say, or nothing is wanting.
    """

    name: str
    verdict: Verdict
    x: Estimate
    y: Estimate
    distance: Estimate
    ellipse: Ellipse
    more: ArrowsWanted | None


@dataclass(frozen=True)
class MatchScene:
    """The contents of one picture of kinds about one aim.

    Attributes
    ----------
    kinds : tuple of MatchKind
        The reference first.
    offsets : tuple of MatchOffset
        Of the others.
    tolerance_mm : float or None
        Radius of the circle about the reference's centre.
    window_mm : tuple of float
        Left, right, bottom and top of the square that is shown.
    confidence : float
    title : str
        Plain text over the picture; it may come from a user.
    """

    kinds: tuple[MatchKind, ...]
    offsets: tuple[MatchOffset, ...]
    tolerance_mm: float | None
    window_mm: tuple[float, float, float, float]
    confidence: float
    title: str

    @property
    def reference(self) -> MatchKind:
        """The kind that the others are held against."""
        return self.kinds[0]

    @property
    def origin_mm(self) -> tuple[float, float]:
        """Centre of the reference, from which the offsets are drawn."""
        return self.reference.centre.x_mm, self.reference.centre.y_mm

    def tip_mm(self, offset: MatchOffset) -> tuple[float, float]:
        """Return where the arrow of an offset ends."""
        return self.origin_mm[0] + offset.x.value, self.origin_mm[1] + offset.y.value

    def region_mm(self, offset: MatchOffset) -> NDArray[np.float64] | None:
        """Return the outline of an offset's region about the arrow's end; None if unbounded."""
        outline = region_outline(offset.ellipse)
        return None if outline is None else outline + self.origin_mm

    def strays(self) -> tuple[str, ...]:
        """Return the kinds whose arrow does not end in the region of their centre.

        Offsets are taken within ends, centres over all shots: the two differ where the ends held
        unlike numbers of the kinds, and the reader should know which one counts.
        """
        kinds = {kind.name: kind.centre for kind in self.kinds}
        return tuple(
            one.name for one in self.offsets if not _holds(kinds[one.name], self.tip_mm(one))
        )


def _holds(ellipse: Ellipse, at_mm: tuple[float, float]) -> bool:
    if not (ellipse.semi_major_mm > 0 and ellipse.semi_minor_mm > 0):
        return True
    dx, dy = at_mm[0] - ellipse.x_mm, at_mm[1] - ellipse.y_mm
    cos, sin = math.cos(ellipse.angle_rad), math.sin(ellipse.angle_rad)
    u, v = dx * cos + dy * sin, dy * cos - dx * sin
    return (u / ellipse.semi_major_mm) ** 2 + (v / ellipse.semi_minor_mm) ** 2 <= 1


def offsets_of(centres: Comparisons | None, planned: Analysis | None) -> tuple[MatchOffset, ...]:
    """Return the offsets of a comparison, whichever fit it was made by.

    Parameters
    ----------
    centres : Comparisons or None
    planned : Analysis or None
        One of the two.
    """
    if centres is not None:
        return tuple(
            MatchOffset(
                name, one.verdict, one.x, one.y, one.distance, one.ellipse,
                one.more if one.verdict == "not enough arrows" else None,
            )
            for name, one in centres.against.items()
        )  # fmt: skip
    return tuple(
        MatchOffset(one.build, one.verdict, one.x, one.y, one.distance, one.ellipse, None)
        for one in (planned.offsets if planned is not None else ())
    )


def match_scene(
    shots: pd.DataFrame,
    centres: Mapping[str, Ellipse],
    offsets: tuple[MatchOffset, ...],
    *,
    tolerance_mm: float | None,
    confidence: float = 0.95,
    close_up: bool = False,
    title: str = "",
) -> MatchScene:
    """Lay out the picture of several kinds.

    Parameters
    ----------
    shots : DataFrame
        One row a shot: ``kind``, ``right_mm``, ``high_mm``, ``called``.
    centres : mapping of str to Ellipse
        Centre of each kind with its region; the reference first.
    offsets : tuple of MatchOffset
        From `offsets_of`.
    tolerance_mm : float or None
    confidence : float
    close_up : bool
        Show the centres alone as large as they go; shots beyond the picture's edge are cut off.
    title : str
        Plain text.
    """
    kinds = tuple(
        _kind(name, ellipse, shots[shots["kind"] == name]) for name, ellipse in centres.items()
    )
    scene = MatchScene(kinds, offsets, tolerance_mm, (0, 0, 0, 0), confidence, title)
    corners = [[kind.centre.x_mm, kind.centre.y_mm] for kind in kinds]
    corners += [list(scene.tip_mm(one)) for one in offsets]
    for outline in (
        *(region_outline(kind.centre) for kind in kinds),
        *(scene.region_mm(one) for one in offsets),
    ):
        # With a few shots a region can be metres wide: it must not shrink the rest to dots.
        if outline is not None and len(shots) > 3 * len(kinds):
            corners += outline.tolist()
    if tolerance_mm is not None:
        corners += circle(*scene.origin_mm, tolerance_mm).tolist()
    if not close_up:
        corners += [[0.0, 0.0], *(place for kind in kinds for place in kind.shots_mm.tolist())]
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    x, y = (low + high) / 2
    half = max(_SMALLEST_HALF_MM, _MARGIN * float((high - low).max()) / 2)
    window = (float(x - half), float(x + half), float(y - half), float(y + half))
    return MatchScene(kinds, offsets, tolerance_mm, window, confidence, title)


def _kind(name: str, centre: Ellipse, shots: pd.DataFrame) -> MatchKind:
    drawn = shots.iloc[:: max(1, math.ceil(len(shots) / _MOST_DRAWN))]
    return MatchKind(
        name=name,
        shots_mm=drawn[["right_mm", "high_mm"]].to_numpy(float),
        called=tuple(map(str, drawn["called"])),
        centre=centre,
        count=len(shots),
    )
