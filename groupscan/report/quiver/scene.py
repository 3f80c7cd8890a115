"""What the picture of numbered arrows shows, before either plotting library draws it.

Positions are mm from the centre of the arrows that fly together, x right and y up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from groupscan.stats.arrows import Arrow, Quiver
from groupscan.stats.intervals import Estimate

__all__ = [
    "KINDS",
    "OUT_OF_USE",
    "ArrowMark",
    "Kind",
    "QuiverScene",
    "history_scene",
    "kind_of",
    "quiver_scene",
]

Kind = Literal["together", "apart", "scatters", "open"]

#: What is known of an arrow, and the words for it; the order is that of the palette's series.
KINDS: Final[dict[Kind, str]] = {
    "together": "flies with the others",
    "apart": "flies apart",
    "scatters": "scatters more",
    "open": "not enough shots to tell",
}
#: States in which an arrow is not shot any more.
OUT_OF_USE: Final = ("pulled", "broken")

_MARGIN: Final = 1.12
_SMALLEST_HALF_MM: Final = 20.0
# An interval of three shots can be metres wide: beyond this many times the picture's own size its
# bar leaves the picture rather than shrinking it to a dot.
_LONGEST_BAR: Final = 3.0
# A name stands about this share of the picture's width from the middle of its mark.
_NAME_SHARE: Final = 0.035
_SIDES: Final = tuple((x, y) for x in (1, -1, 0) for y in (1, -1, 0) if y or x)


@dataclass(frozen=True)
class ArrowMark:
    """One arrow of the picture.

    Attributes
    ----------
    name : str
        What stands on it; it may come from a user.
    x, y : Estimate
        Where it lands from the others, with its interval, mm.
    kind : {'together', 'apart', 'scatters', 'open'}
    shots : int
    state : str
        ``"in use"``, ``"pulled"``, ``"broken"`` or ``"rebuilt"``; empty where not known.
    beside : tuple of int
        On which side of the mark its name is written: -1, 0 or 1 along x and y.
    """

    name: str
    x: Estimate
    y: Estimate
    kind: Kind
    shots: int
    state: str = ""
    beside: tuple[int, int] = (1, 1)

    @property
    def away_mm(self) -> float:
        """How far it lands from the others, mm."""
        return math.hypot(self.x.value, self.y.value)

    @property
    def out_of_use(self) -> bool:
        """Whether it is pulled or broken."""
        return self.state in OUT_OF_USE


@dataclass(frozen=True)
class QuiverScene:
    """The contents of one picture of numbered arrows.

    Attributes
    ----------
    marks : tuple of ArrowMark
        Those flagged first, then the farthest first.
    worth_mm : float
        The offset that matters; NaN where not known.
    confidence : float
        Level of the intervals.
    window_mm : tuple of float
        Left, right, bottom and top of the square that is shown.
    title : str
        Plain text over the picture; it may come from a user.
    one_arrow : bool
        Whether the marks are chapters of one arrow's history, in their order.
    """

    marks: tuple[ArrowMark, ...]
    worth_mm: float
    confidence: float
    window_mm: tuple[float, float, float, float]
    title: str = ""
    one_arrow: bool = False

    def of_kind(self, kind: Kind) -> tuple[ArrowMark, ...]:
        """Return the arrows of one kind."""
        return tuple(mark for mark in self.marks if mark.kind == kind)


def quiver_scene(
    quiver: Quiver, *, states: Mapping[str, str] | None = None, title: str = ""
) -> QuiverScene:
    """Lay out the picture of numbered arrows.

    Parameters
    ----------
    quiver : Quiver
    states : mapping, optional
        State of each arrow in the records, by its name.
    title : str
        Plain text.

    Examples
    --------
    >>> from groupscan.stats.arrows import measure_arrows
    >>> shots = [(0, 0), (40, 1), (2, 1), (43, 0), (1, 3), (41, 3)]
    >>> scene = quiver_scene(measure_arrows(shots, list("121212"), ends=[1, 1, 2, 2, 3, 3]))
    >>> [mark.name for mark in scene.marks]
    ['1', '2']
    """
    states = states or {}
    marks = [_mark(arrow, states.get(arrow.name, "")) for arrow in quiver.arrows]
    order = {kind: place for place, kind in enumerate(("scatters", "apart"))}
    # An arrow that could not be compared has no place; it stands last.
    marks.sort(
        key=lambda mark: (
            math.isnan(mark.away_mm),
            order.get(mark.kind, 2),
            -mark.away_mm if math.isfinite(mark.away_mm) else 0.0,
        )
    )
    window = _window(marks, quiver.worth_mm)
    return QuiverScene(_with_room(marks, window), quiver.worth_mm, 0.95, window, title)


def history_scene(
    chapters: Sequence[tuple[Arrow, float]], *, at_m: float | None = None, title: str = ""
) -> QuiverScene:
    """Lay out where one arrow landed from the others, chapter by chapter.

    Parameters
    ----------
    chapters : sequence of (Arrow, float)
        What is known of it, and the distance that it was shot from, m; NaN where not known.
    at_m : float, optional
        The distance at which the picture is true to scale: offsets from elsewhere are drawn at the
        same angle.
    title : str
        Plain text.

    Returns
    -------
    QuiverScene
        Marks named 1, 2, ... in the order given.
    """
    marks = []
    for number, (arrow, distance_m) in enumerate(chapters, 1):
        factor = at_m / distance_m if at_m is not None and distance_m > 0 else 1.0
        x, y = arrow.seen_x.scaled(factor), arrow.seen_y.scaled(factor)
        marks.append(ArrowMark(str(number), x, y, kind_of(arrow), arrow.shots))
    window = _window(marks, math.nan)
    return QuiverScene(_with_room(marks, window), math.nan, 0.95, window, title, one_arrow=True)


def kind_of(arrow: Arrow) -> Kind:
    """Return what is known of an arrow."""
    if arrow.action == "pull":
        return "scatters"
    if arrow.verdict == "not enough arrows":
        return "open"
    return "apart" if arrow.verdict == "apart" else "together"


def _mark(arrow: Arrow, state: str) -> ArrowMark:
    return ArrowMark(arrow.name, arrow.seen_x, arrow.seen_y, kind_of(arrow), arrow.shots, state)


def _with_room(
    marks: Sequence[ArrowMark], window_mm: tuple[float, float, float, float]
) -> tuple[ArrowMark, ...]:
    """Choose a side for each name: away from the middle, and off other marks and their names."""
    step = _NAME_SHARE * (window_mm[1] - window_mm[0])
    places = [(mark.x.value, mark.y.value) for mark in marks if math.isfinite(mark.away_mm)]
    taken: list[tuple[float, float]] = []
    chosen = []
    for mark in marks:
        if not math.isfinite(mark.away_mm):
            chosen.append(mark)
            continue
        x, y = mark.x.value, mark.y.value
        others = [*taken, *(place for place in places if place != (x, y))]

        def room(
            side: tuple[int, int], x: float = x, y: float = y,
            others: list[tuple[float, float]] = others,
        ) -> float:  # fmt: skip
            at = (x + step * side[0], y + step * side[1])
            free = min((math.dist(at, other) for other in others), default=math.inf)
            outward = (x * side[0] + y * side[1]) / (math.hypot(x, y) or 1.0)
            return min(free / step, 1.0) + 0.2 * outward

        side = max(_SIDES, key=room)
        taken.append((x + step * side[0], y + step * side[1]))
        chosen.append(replace(mark, beside=side))
    return tuple(chosen)


def _window(marks: list[ArrowMark], worth_mm: float) -> tuple[float, float, float, float]:
    values = [abs(e.value) for mark in marks for e in (mark.x, mark.y)]
    size = max([v for v in values if math.isfinite(v)] + [_SMALLEST_HALF_MM])
    if math.isfinite(worth_mm):
        size = max(size, min(worth_mm, _LONGEST_BAR * size))
    ends = [abs(limit) for mark in marks for e in (mark.x, mark.y) for limit in (e.low, e.high)]
    reach = [end for end in ends if math.isfinite(end)]
    half = _MARGIN * max(size, min(max(reach, default=0.0), _LONGEST_BAR * size))
    return -half, half, -half, half
