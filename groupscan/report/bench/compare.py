"""Two rigs or builds: where their pins belong, by distance."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from groupscan.report.bench.scene import Chart, Curve, Dots, Mark, Role, Symbol

if TYPE_CHECKING:
    from groupscan.report.bench.reading import Reading

__all__ = ["compare_chart", "history_chart"]


def compare_chart(
    sides: Sequence[tuple[str, Sequence[float], Sequence[float]]],
    read: Reading,
    *,
    what: str,
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out one quantity of two sides against distance.

    Parameters
    ----------
    sides : sequence of (name, distance_m, value_mm)
        NaN where it is not known.
    read : Reading
    what : str
        What the values are, without the unit.
    title, caution : str
    """
    marks: list[Mark] = []
    looks: list[tuple[Role, Symbol]] = [("found", "circle"), ("moved", "diamond")]
    for (name, far, values), (role, symbol) in zip(sides, looks, strict=False):
        if not np.isfinite(np.asarray(values, float)).any():
            continue
        x, y = read.numbers("distance", far), read.numbers("length", values)
        words = [
            f"{name}, {read.words('distance', d)}: {read.words('length', v)}"
            for d, v in zip(far, values, strict=True)
        ]
        marks.append(Curve(x, y, role=role, dash="solid" if symbol == "circle" else "dash"))
        marks.append(Dots(x, y, name, role, symbol, 12, hover=words))
    return Chart(
        tuple(marks),
        x_title=f"distance ({read.unit('distance')})",
        y_title=f"{what} ({read.unit('length')})",
        title=title,
        caution=caution,
    )


def history_chart(
    setups: Sequence[tuple[date, float, str]], read: Reading, *, title: str = "", caution: str = ""
) -> Chart:
    """Lay out the draw weight of a rig over its setups: (day, N, what changed), oldest first."""
    days = [day for day, _, _ in setups]
    weights = [read.number("force", weight) for _, weight, _ in setups]
    x, y = [days[0]], [weights[0]]
    for day, weight in zip(days[1:], weights[1:], strict=True):
        x += [day, day]
        y += [y[-1], weight]
    room = max(2.0, 0.05 * max(weights))
    return Chart(
        (
            Curve(x, y, "peak draw weight", "found", "solid", 2.6),
            Dots(
                days, weights, "a change of the setup", "moved", "diamond", 13,
                hover=[
                    f"{read.preferences.day_text(day)}: {changed or 'first setup'}"
                    for day, _, changed in setups
                ],
            ),
        ),
        x_title="day",
        y_title=f"draw weight ({read.unit('force')})",
        y_range=(min(weights) - room, max(weights) + room),
        title=title,
        caution=caution,
    )  # fmt: skip
