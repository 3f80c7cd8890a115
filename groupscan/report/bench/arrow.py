"""An arrow from the side: what each part weighs and where, and where the whole balances."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from groupscan.report.bench.scene import Chart, Curve, Dots, Label, Mark, Outline

if TYPE_CHECKING:
    from groupscan.report.bench.reading import Reading
    from groupscan.rigs.build import ArrowFigures
    from groupscan.rigs.parts import Part

__all__ = ["arrow_chart", "arrow_rows", "arrow_sentence"]

# Of the picture's height: a shaft true to scale would be a hair.
_SHAFT: Final = 0.05
_DOT: Final = (9.0, 26.0)
_KINDS: Final = {
    "g": "mass", "mm": "length", "%": "share", "gr/lb": "ratio", "J": "energy",
    "kg m/s": "momentum",
}  # fmt: skip


def arrow_chart(
    figures: ArrowFigures, parts: Sequence[Part], read: Reading, *, title: str = ""
) -> Chart:
    """Lay out an arrow from the side; the size of a dot goes with the mass of its part.

    Parameters
    ----------
    figures : ArrowFigures
        With a length.
    parts : sequence of Part
        From `groupscan.rigs.parts.place_parts`; empty where they are not all known.
    read : Reading
    title : str
        Plain text.
    """
    length = read.number("length", figures.length_mm)
    vanes = [0.02 * length, 0.05 * length, 0.11 * length, 0.12 * length]
    marks: list[Mark] = [
        Outline([0, length, length, 0], [-_SHAFT, -_SHAFT, _SHAFT, _SHAFT], role="inner"),
        Outline(vanes, [_SHAFT, 0.24, 0.24, _SHAFT], role="outer"),
        Outline(vanes, [-_SHAFT, -0.24, -0.24, -_SHAFT], role="outer"),
        Outline([length, 1.035 * length, length], [-0.07, 0, 0.07], role="inner"),
    ]
    if parts:
        most = max(part.mass_g for part in parts)
        for part in sorted(parts, key=lambda one: -one.mass_g):
            if part.mass_g <= 0:
                continue
            size = _DOT[0] + (_DOT[1] - _DOT[0]) * math.sqrt(part.mass_g / most)
            at = read.number("length", part.at_mm)
            words = f"{part.what}: {read.words('mass', part.mass_g)} at {at:.3g}"
            marks.append(
                Dots([at], [0], "a part: the larger, the heavier", "found", size=size,
                     hover=[f"{words} {read.unit('length')} from the nock"])
            )  # fmt: skip
    middle = length / 2
    marks.append(Curve([middle] * 2, [-0.5, 0.5], "middle of the arrow", "outer", "dash", 2))
    measured = not math.isnan(figures.balance_mm)
    balance = figures.balance_mm if measured else figures.parts_balance_mm
    foc = figures.foc_pct if measured else figures.parts_foc_pct
    if not math.isnan(balance):
        at = read.number("length", balance)
        name = "balance point, measured" if measured else "balance point, from the parts"
        marks.append(Dots([at], [-0.16], name, "centre", "triangle-up", 16, hover=[name]))
        marks.append(Curve([middle, at], [-0.42, -0.42], "front of centre", "centre", "solid", 3))
        marks.append(Label(at, -0.42, f"{foc:.1f} % front of centre", "centre", "left"))
    return Chart(
        tuple(marks),
        x_title=f"from the throat of the nock ({read.unit('length')})",
        x_range=(-0.04 * length, 1.08 * length),
        y_range=(-0.62, 0.62),
        title=title,
        caution=figures.caution,
    )


def arrow_sentence(figures: ArrowFigures, read: Reading, *, name: str) -> str:
    """Say in one sentence what an arrow comes to."""
    measured = not math.isnan(figures.scale_g)
    said = f"{name} weighs {read.words('mass', figures.mass_g)} "
    said += "on the scale" if measured else "from its parts"
    if measured and not math.isnan(figures.difference_g):
        apart = read.words("mass", abs(figures.difference_g))
        more = "more" if figures.difference_g >= 0 else "less"
        said += f" ({apart} {more} than the sum of its parts)"
    foc = figures.parts_foc_pct if math.isnan(figures.foc_pct) else figures.foc_pct
    if not math.isnan(foc):
        said += f", balances {foc:.1f} % front of centre"
    if not math.isnan(figures.energy_j):
        said += f", and leaves the bow with {read.words('energy', figures.energy_j)}"
    if not math.isnan(figures.grains_per_pound):
        said += f"; {figures.grains_per_pound:.1f} grains for each pound of draw weight"
    return said + "."


def arrow_rows(figures: ArrowFigures, read: Reading) -> list[tuple[str, str]]:
    """Return the rows of the table: what, and the value in the reader's unit."""
    rows = []
    for what, value, unit in figures.to_frame().itertuples(index=False):
        if math.isnan(value):
            continue
        kind = _KINDS.get(unit)
        rows.append((what, read.words(kind, value) if kind else f"{value:.3g} {unit}"))
    return rows
