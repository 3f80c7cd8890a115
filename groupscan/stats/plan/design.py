"""Planning: how many arrows a question takes, and in which order to shoot them.

A comparison is worth what its plan is worth. Three things spoil it: too few arrows, heads that
always sit on the same (perhaps odd) arrow, and heads shot one after the other while the shooter
warms up, tires or moves the sight. Here:

- `plan_arrows` says how many arrows each build needs;
- `rotate_heads` passes screw-in heads around the arrows, so that every arrow carries every head
  equally often (rows and columns of a Latin square: arrow and end);
- `alternate_builds` mixes builds that cannot be taken apart within each end.

Orders are random, as a fair comparison needs, but the same for the same seed. The analysis that
fits an order, and the chance that it shows something, are in `groupscan.stats.plan.analysis`.
"""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import comb
from typing import TYPE_CHECKING, Any

import numpy as np

from groupscan.errors import StatisticsError
from groupscan.stats.plain import json_safe
from groupscan.stats.power import (
    arrows_for_equivalence,
    arrows_for_offset,
    arrows_for_sigma_ratio,
)

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "CAUTION",
    "ArrowsNeeded",
    "PlannedShot",
    "ShootingOrder",
    "alternate_builds",
    "plan_arrows",
    "rotate_heads",
]

CAUTION = (
    "Broadheads cut: change them with a wrench made for it. Check every arrow for damage before "
    "each end and never shoot a cracked one; shoot at a checked backstop with nobody near."
)

FEWEST_BUILDS, MOST_BUILDS = 2, 4
# Nobody shoots more to settle one question, and paper ends.
MOST_SHOTS = 5_000
# Letters across a sheet of paper in a fixed-width type of 10 points.
PAPER_COLUMNS = 90


@dataclass(frozen=True)
class ArrowsNeeded:
    """How many arrows each build needs; None for what was not asked.

    Attributes
    ----------
    offset, together, ratio : int or None
        To see the offset, to be called together within the tolerance (centres being one), and to
        see the ratio of sigmas.
    each : int
        The largest of them.
    builds : int
        Number of builds compared.
    power, level : float
        Chance of each, and the rate of false verdicts of all comparisons together.
    """

    offset: int | None
    together: int | None
    ratio: int | None
    each: int
    builds: int
    power: float
    level: float

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        plain: dict[str, Any] = json_safe(self)
        return plain


def plan_arrows(
    sigma_mm: float | None = None,
    *,
    offset_mm: float | None = None,
    tolerance_mm: float | None = None,
    ratio: float | None = None,
    builds: int = 2,
    power: float = 0.8,
    level: float = 0.05,
) -> ArrowsNeeded:
    """Return how many arrows each build needs.

    Parameters
    ----------
    sigma_mm : float, mm
        Per-axis scatter expected, from an earlier group; not needed for a ratio.
    offset_mm : float, optional
        Offset to be seen.
    tolerance_mm : float, optional
        Tolerance within which to be called together.
    ratio : float, optional
        Ratio of sigmas to be seen.
    builds : int, default 2
        2 to 4. Centres are compared with one reference, sigmas each with each, and the level is
        shared out among the comparisons.
    power : float, default 0.8
        Chance wanted of each.
    level : float, default 0.05
        Rate of any false verdict.

    Returns
    -------
    ArrowsNeeded

    Raises
    ------
    StatisticsError
        If nothing was asked, or a number is not sensible.

    Examples
    --------
    >>> plan = plan_arrows(20.0, offset_mm=20.0, ratio=1.5)
    >>> plan.offset, plan.ratio, plan.each
    (21, 26, 26)
    """
    if not FEWEST_BUILDS <= builds <= MOST_BUILDS:
        raise StatisticsError(f"{builds} builds: plan for 2 to 4")
    lengths = offset_mm is not None or tolerance_mm is not None
    if not lengths and ratio is None:
        raise StatisticsError("nothing to plan for: give an offset, a tolerance or a ratio")
    if lengths and sigma_mm is None:
        raise StatisticsError("give the scatter expected, sigma_mm, from an earlier group")
    sigma = sigma_mm or 0.0
    offset = together = wider = None
    one, pair = level / (builds - 1), level / comb(builds, 2)
    if offset_mm is not None:
        offset = arrows_for_offset(offset_mm, sigma, power=power, level=one)
    if tolerance_mm is not None:
        together = arrows_for_equivalence(0.0, tolerance_mm, sigma, power=power, level=one)
    if ratio is not None:
        wider = arrows_for_sigma_ratio(ratio, power=power, level=pair)
    most = max(n for n in (offset, together, wider) if n is not None)
    return ArrowsNeeded(offset, together, wider, most, builds, power, level)


@dataclass(frozen=True)
class PlannedShot:
    """One shot: its number, its end and place in it (from 1), its arrow and what it carries."""

    number: int
    end: int
    place: int
    arrow: str
    build: str


@dataclass(frozen=True)
class ShootingOrder:
    """Which arrow to shoot when, and with what.

    Attributes
    ----------
    builds, arrows : tuple of str
        What is compared, and the arrows' numbers.
    ends : int
    rotated : bool
        Whether the builds are heads that change arrows.
    seed : int
        Gives the same order again.
    shots : tuple of PlannedShot
        In the order to shoot.
    notes : tuple of str
        What is not balanced, and what is needed.
    caution : str
        To be shown beside the order.
    """

    builds: tuple[str, ...]
    arrows: tuple[str, ...]
    ends: int
    rotated: bool
    seed: int
    shots: tuple[PlannedShot, ...]
    notes: tuple[str, ...]
    caution: str = CAUTION

    def to_frame(self) -> "pd.DataFrame":
        """Return one row a shot: number, end, place, arrow, build."""
        import pandas as pd

        return pd.DataFrame([vars(shot) for shot in self.shots])

    def to_text(self) -> str:
        """Return the order for paper: one line an end, arrow and build in the order to shoot.

        Examples
        --------
        >>> print(rotate_heads(["field", "broad"], 4, 2, seed=3).to_text().splitlines()[0])
        Shooting order: field, broad; 4 arrows, 2 ends (seed 3)
        """
        cells = [f"{shot.arrow} {shot.build}" for shot in self.shots]
        width = max(len(cell) for cell in cells)
        lines = [
            f"Shooting order: {', '.join(self.builds)}; {len(self.arrows)} arrows, "
            f"{self.ends} ends (seed {self.seed})",
            "Each entry: arrow and what it carries. Shoot from left to right.",
            "",
        ]
        across = max((PAPER_COLUMNS - len("End 10")) // (width + 3), 1)
        for end in range(1, self.ends + 1):
            row = [c for c, shot in zip(cells, self.shots, strict=True) if shot.end == end]
            for first in range(0, len(row), across):
                head = f"End {end:>2}" if first == 0 else " " * 6
                line = "   ".join(f"{cell:<{width}}" for cell in row[first : first + across])
                lines.append(f"{head}   {line}".rstrip())
        return "\n".join([*lines, "", *self.notes, self.caution])

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        plain: dict[str, Any] = json_safe(self)
        return plain


def rotate_heads(
    heads: Sequence[str], arrows: int | Sequence[Hashable], ends: int, *, seed: int = 1
) -> ShootingOrder:
    """Plan a comparison of 2 to 4 screw-in heads that pass around the arrows at hand.

    Parameters
    ----------
    heads : sequence of str
        Their names, the reference (such as the field point) first.
    arrows : int or sequence
        Number of arrows (numbered from 1) or their numbers; at least one for each head.
    ends : int
        Ends to shoot; best a multiple of the number of heads.
    seed : int, default 1
        Of the random order.

    Returns
    -------
    ShootingOrder

    Raises
    ------
    StatisticsError
        If there are too few or too many heads, arrows or ends, or names repeat.

    Notes
    -----
    Within each run of as many ends as there are heads, every arrow carries every head once, and
    every end has every head equally often, to within one: a cyclic Latin square whose rows
    (arrows), columns (ends) and letters (heads) are drawn at random. Within an end every run of as
    many shots as there are heads has each head once, so that the first arrows of an end and the
    last ones do not favour any.

    References
    ----------
    R. A. Fisher and F. Yates, "Statistical Tables for Biological, Agricultural and Medical
    Research", introduction to the table of Latin squares, on drawing one at random. W. G. Cochran
    and G. M. Cox, "Experimental Designs", 2nd edition (1957), chapter 4.

    Examples
    --------
    >>> order = rotate_heads(["field", "broad"], 6, 4)
    >>> table = order.to_frame()
    >>> set(table.groupby(["arrow", "build"]).size())
    {2}
    """
    names, labels = _names(heads, "head"), _labels(arrows)
    count = len(names)
    if len(labels) < count:
        raise StatisticsError(f"{len(labels)} arrows for {count} heads: one arrow for each head")
    _check_size(len(labels), ends)
    rng = np.random.default_rng(seed)
    row = rng.permutation(len(labels)) % count
    letters = rng.permutation(count)
    shots: list[PlannedShot] = []
    shifts = np.concatenate([rng.permutation(count) for _ in range(-(-ends // count))])[:ends]
    for end, shift in enumerate(shifts.tolist(), start=1):
        carried = letters[(row + shift) % count]
        shots += _mixed(end, len(shots), labels, carried, names, rng)
    notes = [f"Each end takes up to {-(-len(labels) // count)} of each head."]
    if ends % count:
        notes.append(
            f"{ends} ends are not a multiple of {count}: some arrows carry a head once more than "
            "another. The analysis allows for it."
        )
    return ShootingOrder(names, labels, ends, True, seed, tuple(shots), tuple(notes))


def alternate_builds(
    arrows: Mapping[str, Sequence[Hashable]], ends: int, *, seed: int = 1
) -> ShootingOrder:
    """Plan a comparison of 2 to 4 builds whose arrows cannot be taken apart.

    Parameters
    ----------
    arrows : mapping of str to sequence
        The arrows' numbers by build, the reference first; at least two each, since the arrows of
        one build differ, too, and their own scatter is what the builds' offset is measured with.
    ends : int
        Ends to shoot; every arrow is shot once in each.
    seed : int, default 1
        Of the random order.

    Returns
    -------
    ShootingOrder

    Raises
    ------
    StatisticsError
        If there are too few or too many builds, arrows or ends, or names repeat.

    Examples
    --------
    >>> order = alternate_builds({"old": [1, 2, 3], "new": [4, 5, 6]}, 3)
    >>> len(order.shots), [shot.place for shot in order.shots[:3]]
    (18, [1, 2, 3])
    """
    names = _names(list(arrows), "build")
    by_build = [_labels(list(arrows[name])) for name in arrows]
    if min(len(numbers) for numbers in by_build) < 2:
        raise StatisticsError("a build has fewer than two arrows: two at least, better six")
    labels = tuple(label for numbers in by_build for label in numbers)
    if len(set(labels)) < len(labels):
        raise StatisticsError("an arrow number is given twice; an arrow belongs to one build")
    _check_size(len(labels), ends)
    rng = np.random.default_rng(seed)
    carried = np.repeat(np.arange(len(names)), [len(numbers) for numbers in by_build])
    shots: list[PlannedShot] = []
    for end in range(1, ends + 1):
        shots += _mixed(end, len(shots), labels, carried, names, rng)
    notes = (
        "Each arrow stays with its build: more ends place its centre better, but only more arrows "
        "tell the build from its arrows.",
    )
    return ShootingOrder(names, labels, ends, False, seed, tuple(shots), notes)


def _mixed(
    end: int,
    before: int,
    labels: tuple[str, ...],
    carried: "np.ndarray[Any, np.dtype[np.intp]]",
    names: tuple[str, ...],
    rng: np.random.Generator,
) -> Iterator[PlannedShot]:
    """Yield the shots of one end: runs that hold each build once, each run in random order."""
    waiting = [rng.permutation(np.flatnonzero(carried == build)) for build in range(len(names))]
    runs = max(len(line) for line in waiting)
    place = 0
    for run in range(runs):
        for arrow in rng.permutation([int(line[run]) for line in waiting if run < len(line)]):
            place += 1
            yield PlannedShot(before + place, end, place, labels[arrow], names[int(carried[arrow])])


def _names(given: Sequence[str], what: str) -> tuple[str, ...]:
    names = tuple(str(name).strip() for name in given)
    if not FEWEST_BUILDS <= len(names) <= MOST_BUILDS:
        raise StatisticsError(f"{len(names)} {what}s: compare 2 to 4 at a time")
    if len(set(names)) < len(names) or not all(names):
        raise StatisticsError(f"{what} names must differ and not be empty: {', '.join(names)}")
    return names


def _labels(arrows: int | Sequence[Hashable]) -> tuple[str, ...]:
    if isinstance(arrows, int):
        _check_size(arrows, 1)
        arrows = range(1, arrows + 1)
    labels = tuple(str(one) for one in arrows)
    if len(set(labels)) < len(labels):
        raise StatisticsError("an arrow number is given twice; number each arrow")
    return labels


def _check_size(arrows: int, ends: int) -> None:
    if not 1 <= ends * arrows <= MOST_SHOTS:
        raise StatisticsError(
            f"{arrows} arrows in {ends} ends: plan one end at least, and at most {MOST_SHOTS} shots"
        )
