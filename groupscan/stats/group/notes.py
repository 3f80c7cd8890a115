"""What one group of shots cannot say, and what it shows beyond its numbers, in plain sentences."""

import math
from collections.abc import Iterator

from groupscan.stats.group.results import Group
from groupscan.stats.group.shape import PATTERN_CAUSES
from groupscan.stats.intervals import Estimate

__all__ = ["group_notes"]

NOTED_SHARE = 0.01

_SEEN_AS = {"vertical": "It is taller than wide", "horizontal": "It is wider than tall"}


def group_notes(group: Group) -> Iterator[str]:
    """Yield what the group's shots cannot say, and what they show, most important first.

    Parameters
    ----------
    group : Group
        The measured group; its own notes are not read.
    """
    n = group.n
    if n == 1:
        yield "One shot: its place is known, but neither the scatter nor the centre's error."
        return
    if group.extreme_spread.value == 0:
        yield (
            "All shots lie at one point: no scatter was seen, so that nothing bounds sigma "
            "or the centre's error."
        )
        return
    if n == 2:
        yield (
            "Two shots: no joint ellipse for the centre, no shape and no flyer can be told; the "
            "intervals are valid but very wide."
        )
    if n == 3:
        yield (
            "Three shots: the joint ellipse rests on one degree of freedom and is very wide; no "
            "pattern and no flyer can be told."
        )
    yield from _flyer_notes(group)
    yield from _shape_notes(group)
    yield from _end_notes(group)
    yield from _noise_notes(group)
    for name in ("extreme_spread", "mean_radius", "figure_of_merit"):
        seen: Estimate = getattr(group, name)
        if not seen.low <= seen.value <= seen.high:
            side = "larger" if seen.value > seen.high else "smaller"
            yield (
                f"The {name.replace('_', ' ')} is this group's own, and {side} than such groups of "
                f"{n} are expected to average; the interval beside it is of that average."
            )


def _flyer_notes(group: Group) -> Iterator[str]:
    flyer, without = group.flyer, group.without_flyer
    if flyer is None or without is None:
        return
    change = 1 - without.sigma.value / group.sigma.value if group.sigma.value > 0 else 0.0
    spared = f"{change:.0%} smaller" if change >= 0.005 else "no smaller"
    out = f"lies farther out than any of {group.n} such shots should"
    if flyer.farther:
        out = (
            f"does not fit the shape of this group of {group.n}: it lies where others seldom do. "
            f"Shot {flyer.farther} is farther from the centre, but the way the group is long. Shot "
            f"{flyer.name} is"
        )
    else:
        out += ":"
    yield (
        f"Shot {flyer.name} {out} flagged as a flyer, and counted all the same. Without it sigma "
        f"would be {spared}; leave it out only if you know what went wrong."
    )


def _shape_notes(group: Group) -> Iterator[str]:
    for size, name in ((group.width, "x"), (group.height, "y")):
        if size.value == 0:
            yield f"All shots have the same {name}: nothing bounds sigma_{name} or that error."
    circular = "sigma, the offset and the expected spreads assume a circular group"
    shape = group.shape
    if math.isinf(shape.length_ratio):
        yield f"All shots lie on one line: the ellipse has no width, and {circular}."
        return
    causes = PATTERN_CAUSES.get(shape.pattern)
    if causes is not None:
        yield (
            f"The group is {shape.length_ratio:.1f} times as long as wide, more than "
            f"chance explains; {circular}."
        )
        without = group.without_flyer
        if without is not None and without.shape.pattern != shape.pattern:
            yield "Without the flyer that shape is not seen."
        else:
            seen_as = _SEEN_AS.get(shape.pattern, "It is slanted")
            yield f"{seen_as}; look first at {causes} (common practice, not measured here)."
    if group.circles.model == "elliptical":
        yield (
            "R50, R90 and R95 are those of a group longer than wide: of a round one this shape "
            "would be rare."
        )


def _end_notes(group: Group) -> Iterator[str]:
    ends = group.ends
    if ends is None:
        return
    if max(ends.shots) == 1:
        yield "Ends of one shot each: scatter within ends and wander between them are one."
    elif math.isnan(ends.within.value):
        yield "The shots of each end lie at one point: no scatter was seen within ends."
    elif ends.wanders:
        yield (
            "The ends' centres wander more than the scatter within ends explains. One arrow has "
            "both; the centre's interval, which takes all shots for independent, is too narrow."
        )


def _noise_notes(group: Group) -> Iterator[str]:
    share = group.measurement_share
    if share is None or share < NOTED_SHARE:
        return
    if share >= 1:
        yield (
            "The scatter seen is no more than the photo's own error: sigma cannot be told from 0, "
            "and its upper limit is that of the scatter seen."
        )
        return
    yield (
        f"The photo's own error makes up {share:.0%} of the variance seen; it is taken out of "
        "sigma, R50, R90, R95 and the expected spreads, not out of the spreads seen."
    )
