"""How many arrows, and in which order, as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill

from groupscan.report.decisions.layout import Part, Shown, line, table, titled
from groupscan.stats.intervals import Estimate
from groupscan.stats.plan import ArrowsNeeded, ShootingOrder

__all__ = ["needed_parts", "order_parts"]

# The narrowest usual terminal.
WIDTH = 80


def needed_parts(
    needed: ArrowsNeeded,
    *,
    sigma: Estimate | None,
    if_wider: ArrowsNeeded | None,
    offset_mm: float | None,
    tolerance_mm: float | None,
    ratio: float | None,
    shown: Shown,
) -> list[Part]:
    """Say how many arrows each build needs.

    Parameters
    ----------
    needed : ArrowsNeeded
    sigma : Estimate or None
        The scatter planned with.
    if_wider : ArrowsNeeded or None
        The same at the upper limit of the scatter.
    offset_mm, tolerance_mm, ratio : float, optional
        What was asked.
    shown : Shown
    """
    offset, tolerance = (shown.size(mm or 0.0) for mm in (offset_mm, tolerance_mm))
    asked = (
        (needed.offset, f"see an offset of {offset}"),
        (needed.together, f"call them together within {tolerance}, if they are one"),
        (needed.ratio, f"see that one scatters {ratio or 0:g} times as widely as another"),
    )
    wider = (if_wider.offset, if_wider.together, if_wider.ratio) if if_wider else (None,) * 3
    rows = [
        (f"to {words}", str(n), "" if more is None else str(more))
        for (n, words), more in zip(asked, wider, strict=True)
        if n is not None
    ]
    parts: list[Part] = [
        titled(f"Arrows of each of {needed.builds} builds or heads: {needed.each}")
    ]
    if sigma is not None:
        parts.append(line(f"Scatter planned with, per axis: {shown.text(sigma)}."))
    heads = (
        ("", "arrows each", "if it is as wide as it may be") if if_wider else ("", "arrows each")
    )
    parts.append(table("", heads, [row[: len(heads)] for row in rows]))
    parts.append(
        line(
            f"The chance of each is {needed.power:.0%}, if things are as planned; of 100 such "
            f"comparisons at most {100 * needed.level:.0f} end in a false verdict. An arrow shot "
            "in three ends counts as three.",
            "dim",
        )
    )
    return parts


def order_parts(order: ShootingOrder) -> list[Part]:
    """Lay a shooting order out: one row an end, with what to check before.

    Parameters
    ----------
    order : ShootingOrder
    """
    return list(_order(order))


def _order(order: ShootingOrder) -> Iterator[Part]:
    yield titled(
        f"Shooting order: {', '.join(order.builds)}; {len(order.arrows)} arrows, {order.ends} "
        f"ends (seed {order.seed})"
    )
    yield line("Each entry is an arrow and what it carries. Shoot from left to right.")
    for end in range(1, order.ends + 1):
        cells = [f"{s.arrow}\u00a0{_unbroken(s.build)}" for s in order.shots if s.end == end]
        words = f"End {end:>2}:  " + ",  ".join(cells)
        yield line(fill(words, WIDTH, subsequent_indent=" " * 9, break_on_hyphens=False))
    yield line("")
    for note in order.notes:
        yield line(f"- {note}")
    yield line(f"! {order.caution}", "yellow")


def _unbroken(words: str) -> str:
    """Return a name that no line end parts."""
    return words.replace(" ", "\u00a0")
