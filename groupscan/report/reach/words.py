"""Reach in a coach's words: the sentence, the warning about few arrows, the rows of the table."""

from __future__ import annotations

import math

from groupscan.report.decisions.reach import nice_distances, percent, rests_on
from groupscan.report.reach.scene import FEW, ReachScene

__all__ = ["few_words", "reach_rows", "reach_sentence", "share_words", "whole"]


def whole(scene: ReachScene, distance_m: float) -> str:
    """Write a distance to rely on in whole metres or yards, never rounded up."""
    return f"{math.floor(scene.shown(distance_m) + 1e-6)} {scene.unit}"


def share_words(standard: float) -> str:
    """Say a standard as people do.

    Examples
    --------
    >>> share_words(0.9), share_words(0.95)
    ('9 arrows in 10', '95 arrows in 100')
    """
    tenths = round(10 * standard, 6)
    return (
        f"{tenths:g} arrows in 10" if tenths == int(tenths) else f"{100 * standard:g} arrows in 100"
    )


def reach_sentence(scene: ReachScene, circle: str) -> str:
    """Say in one or two sentences how far out the arrows can be trusted, and what to do.

    Parameters
    ----------
    scene : ReachScene
    circle : str
        Diameter of the circle, as its reader writes it: somebody set it, and it has no interval.
    """
    reach = scene.reach
    share = share_words(reach.standard)
    across = f"a circle {circle} across"
    low = reach.reach_m.low
    if math.isnan(low):
        return (
            f"No distance can be relied on yet: these {reach.n} arrows do not show {share} inside "
            f"{across}. Shoot more of them, from nearer, or tighten the group first."
        )
    told = f"Rely on {whole(scene, low)}: as far as that, these {reach.n} arrows show {share} or "
    told += f"more inside {across} about the aim."
    if reach.basis == "extrapolated":
        side = "nearer" if low < reach.measured_m[0] else "farther out"
        return f"{told} That is {side} than anything shot: shoot a group there to be sure."
    best = reach.reach_m.value
    if math.isfinite(best) and whole(scene, best) != whole(scene, low):
        told += (
            f" The best guess is {whole(scene, best)}; more arrows from there would show whether "
            "it holds."
        )
    return told


def few_words(scene: ReachScene) -> str:
    """Warn where there are few arrows; empty where there are enough."""
    if scene.reach.n < FEW:
        return (
            f"Only {scene.reach.n} arrows: too few to rely on any distance. Shoot at least {FEW} "
            "from each distance that matters, better 30, on more than one day."
        )
    few = [(at, count) for at, count in scene.shots if count < FEW]
    if not few:
        return ""
    at = ", ".join(f"{scene.shown(distance):.4g} {scene.unit} ({count})" for distance, count in few)
    return f"Few arrows from {at}: shoot at least {FEW} from each distance that matters."


def reach_rows(scene: ReachScene) -> list[tuple[str, ...]]:
    """Return the rows of the table: distance, chance inside with its interval, what it rests on."""
    measured = scene.reach.measured_m
    wanted = [*nice_distances(measured, scene.unit), *measured]
    counts = dict(scene.shots)
    rows: dict[str, tuple[str, ...]] = {}
    for point in scene.drawn:
        if point.distance_m not in wanted:
            continue
        at = f"{scene.shown(point.distance_m):.4g} {scene.unit}"
        basis = rests_on(point.distance_m, point.basis, measured)
        if count := counts.get(point.distance_m):
            basis = f"{count} arrow{'' if count == 1 else 's'} shot from there"
        elif at in rows:  # a round distance that was shot from, but for the last digit
            continue
        rows[at] = (at, percent(point.probability), basis)
    return list(rows.values())
