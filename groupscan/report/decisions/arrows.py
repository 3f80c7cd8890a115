"""Numbered arrows, as a person reads them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from groupscan.report.decisions.layout import Part, Shown, line, notes_part, table, titled
from groupscan.stats.arrows.quiver import Quiver
from groupscan.units import format_estimate

__all__ = ["arrow_parts"]


def arrow_parts(quiver: Quiver, notes: Sequence[str] = (), *, shown: Shown) -> list[Part]:
    """Lay out what is known of each arrow: those flagged, the table, the notes.

    Parameters
    ----------
    quiver : Quiver
    notes : sequence of str
        What was pooled or left out.
    shown : Shown
    """
    said = (shown.told(note) for note in (*notes, *quiver.notes))
    return [*_flags(quiver, shown), *_table(quiver, shown), *notes_part(said)]


def _flags(quiver: Quiver, shown: Shown) -> Iterator[Part]:
    ends = f"{quiver.ends} ends" if quiver.ends > 1 else "one end"
    yield titled(f"{len(quiver.arrows)} arrows, {quiver.n} shots, {ends}")
    flagged = [arrow for arrow in quiver.arrows if arrow.action != "none"]
    for arrow in flagged:
        yield line(shown.told(arrow.reason))
    if not flagged:
        yield line("No arrow is flagged: none is known to fly apart or to scatter more.")
    share = quiver.share.scaled(100)
    if share.value == share.value:
        said = format_estimate(share.value, share.low, share.high, "%")
        yield line(f"Of the variance of a shot the differences between arrows make {said}.")


def _table(quiver: Quiver, shown: Shown) -> Iterator[Part]:
    rows = [
        (
            arrow.name,
            arrow.verdict,
            str(arrow.shots),
            shown.bare(arrow.seen_x),
            shown.bare(arrow.seen_y),
            "" if arrow.more_ends is None else str(arrow.more_ends),
        )
        for arrow in quiver.arrows
    ]
    home = "the others"
    if len(quiver.home) < len(quiver.arrows):
        home = f"those that fly together ({', '.join(quiver.home)})"
    yield table(
        f"Where each lands from {home}, {shown.short}; in brackets the 95% interval",
        ("arrow", "verdict", "shots", "right +", "high +", "more ends"),
        rows,
        words=2,
    )
    if math.isfinite(quiver.worth_mm):
        yield line(
            f"Together: the whole offset lies within {shown.size(quiver.worth_mm)}. More ends: "
            "until an offset as large would be seen four times in five.",
            "dim",
        )
