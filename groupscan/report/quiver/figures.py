"""The picture of numbered arrows for files and paper, by matplotlib."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING, Any, Final

from groupscan.report.palette import SYMBOLS, Palette, Theme, matplotlib_style, palette
from groupscan.report.quiver.scene import KINDS, QuiverScene
from groupscan.report.scene import LengthUnit, circle
from groupscan.report.words import SHORT
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_quiver", "fill_quiver_axes"]

# Longer names run into their neighbours; tables have them whole.
_LONGEST_NAME: Final = 10


def draw_quiver(
    scene: QuiverScene, *, theme: Theme = "light", unit: LengthUnit = "mm", caption: str = ""
) -> Figure:
    """Draw numbered arrows for a file or for paper, true to scale.

    Parameters
    ----------
    scene : QuiverScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
        Unit of the axes.
    caption : str
        Plain text under the picture.

    Returns
    -------
    Figure
        `groupscan.report.figures.figure_bytes` turns it into a file.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    p = palette(theme)
    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(6.4, 7.7))
        ax = figure.add_axes((0.12, 0.245, 0.84, 0.84 * 6.4 / 7.7))
        fill_quiver_axes(ax, scene, theme=theme, unit=unit)
        # A "$" in a user's text must stay a "$".
        ax.set_title(scene.title, parse_math=False, loc="left", pad=10)
        figure.legend(
            loc="upper left", bbox_to_anchor=(0.1, 0.19), ncols=2, frameon=False, fontsize=8.5
        )
        figure.text(
            0.12, 0.015, textwrap.fill(caption, 84), va="bottom", fontsize=8.5, color=p.quiet,
            linespacing=1.4, parse_math=False,
        )  # fmt: skip
    return figure


def fill_quiver_axes(
    ax: Axes,
    scene: QuiverScene,
    *,
    theme: Theme = "light",
    unit: LengthUnit = "mm",
    points: float = 10.0,
    printable: Callable[[str], str] = str,
) -> None:
    """Draw numbered arrows into axes that a page or a figure gives them.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : QuiverScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
    points : float
        Size of the arrows' names.
    printable : callable
        What makes of a name something that can be drawn.
    """
    from matplotlib.ticker import MaxNLocator

    p = palette(theme)
    per_unit = 1.0 if unit == "mm" else MM_PER_INCH
    ax.grid(linewidth=0.6)
    ax.set_axisbelow(True)
    if math.isfinite(scene.worth_mm):
        ax.plot(
            *(circle(0, 0, scene.worth_mm) / per_unit).T, color=p.outer, linewidth=1.4,
            linestyle=(0, (2, 2)), label="the offset that matters",
        )  # fmt: skip
    ax.plot(
        0, 0, marker="+", markersize=14, markeredgewidth=2.4, color=p.inner,
        linestyle="none", label="centre of those that fly together",
    )  # fmt: skip
    _draw_marks(ax, scene, p, per_unit)
    _draw_names(ax, scene, p, per_unit, points, printable)
    left, right, bottom, top = (side / per_unit for side in scene.window_mm)
    ax.set(xlim=(left, right), ylim=(bottom, top), aspect="equal")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MaxNLocator(7, steps=[1, 2, 2.5, 5, 10]))
    ax.set_xlabel(f"right of the others ({SHORT[unit]})")
    ax.set_ylabel(f"above the others ({SHORT[unit]})")


def _draw_marks(ax: Axes, scene: QuiverScene, p: Palette, per_unit: float) -> None:
    halo: dict[str, Any] = {"markeredgecolor": p.ground, "markeredgewidth": 1.0}
    for place, (kind, words) in enumerate(KINDS.items()):
        marks = [mark for mark in scene.of_kind(kind) if math.isfinite(mark.away_mm)]
        for mark in marks:
            for one, other, level in ((mark.x, mark.y, True), (mark.y, mark.x, False)):
                if not math.isfinite(one.low):
                    continue
                ends, at = [one.low / per_unit, one.high / per_unit], [other.value / per_unit] * 2
                ax.plot(
                    *((ends, at) if level else (at, ends)), color=p.series[place],
                    linewidth=1.3, zorder=3, marker="|" if level else "_", markersize=5,
                )  # fmt: skip
        if marks:
            ax.plot(
                [mark.x.value / per_unit for mark in marks],
                [mark.y.value / per_unit for mark in marks],
                marker=SYMBOLS[place][0], markersize=8.5 - (place == 1), color=p.series[place],
                linestyle="none", label=words, zorder=4, **halo,
            )  # fmt: skip
    known = [mark for mark in scene.marks if math.isfinite(mark.away_mm)]
    gone = [mark for mark in known if mark.out_of_use]
    if gone:
        ax.plot(
            [mark.x.value / per_unit for mark in gone],
            [mark.y.value / per_unit for mark in gone],
            marker="x", markersize=13, markeredgewidth=1.8, color=p.ink, linestyle="none",
            label="pulled or broken", zorder=5,
        )  # fmt: skip


def _draw_names(
    ax: Axes,
    scene: QuiverScene,
    p: Palette,
    per_unit: float,
    points: float,
    printable: Callable[[str], str],
) -> None:
    for mark in scene.marks:
        if not math.isfinite(mark.away_mm):
            continue
        across, up = mark.beside
        name = printable(mark.name)
        if len(name) > _LONGEST_NAME:
            name = name[: _LONGEST_NAME - 1] + "…"
        text = ax.annotate(
            name, (mark.x.value / per_unit, mark.y.value / per_unit),
            xytext=(7 * across, 6 * up), textcoords="offset points", fontsize=points, color=p.ink,
            ha=("center", "left", "right")[across], va=("center", "bottom", "top")[up],
            zorder=7, annotation_clip=True,
        )  # fmt: skip
        text.set_parse_math(False)
