"""A picture of the bench for files and paper, by matplotlib."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from groupscan.report.bench.scene import (
    Chart,
    Curve,
    Dots,
    Label,
    Mark,
    Outline,
    Ribbon,
    Stretch,
)
from groupscan.report.palette import Palette, Theme, matplotlib_style, mix, palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_chart"]

_SYMBOLS: Final = {
    "circle": "o", "diamond": "D", "square": "s", "triangle-up": "^", "triangle-down": "v",
    "x": "X", "line": "_",
}  # fmt: skip
_DASHES: Final[dict[str, Any]] = {"solid": "-", "dash": (0, (6, 2)), "dot": (0, (1.5, 1.5))}
_WIDE: Final = 88


def draw_chart(chart: Chart, *, theme: Theme = "light", caption: str = "") -> Figure:
    """Draw a picture of the bench for a file or for paper.

    The caution stands under the picture, so that no print goes without it.

    Parameters
    ----------
    chart : Chart
    theme : {"light", "dark"}
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
        figure = Figure(figsize=(6.4, 5.8))
        ax = figure.add_axes((0.12, 0.34, 0.84, 0.58))
        for mark in chart.marks:
            _add(ax, mark, p)
        if chart.x_title and chart.y_title:
            ax.grid(linewidth=0.6)
            ax.set_axisbelow(True)
        ax.set_xlabel(chart.x_title, parse_math=False)
        ax.set_ylabel(chart.y_title, parse_math=False)
        if not chart.x_title:
            ax.xaxis.set_visible(False)
        if not chart.y_title:
            ax.yaxis.set_visible(False)
        if chart.x_range:
            ax.set_xlim(*chart.x_range)
        if chart.y_range:
            ax.set_ylim(*chart.y_range)
        if chart.equal:
            ax.set_aspect("equal", adjustable="datalim")
        ax.set_title(chart.title, parse_math=False, loc="left", pad=10)
        _key(figure, ax)
        words = "\n".join(textwrap.fill(part, _WIDE) for part in (caption, chart.caution) if part)
        figure.text(
            0.12, 0.015, words, va="bottom", fontsize=8.5, color=p.quiet, linespacing=1.4,
            parse_math=False,
        )  # fmt: skip
    return figure


def _key(figure: Figure, ax: Axes) -> None:
    handles, labels = ax.get_legend_handles_labels()
    if not handles:
        return
    own = dict(zip(labels[::-1], handles[::-1], strict=True))
    order = list(dict.fromkeys(labels))
    legend = figure.legend(
        [own[name] for name in order], order, loc="upper left", bbox_to_anchor=(0.1, 0.26),
        ncols=2, frameon=False, fontsize=8.5,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_parse_math(False)


def _add(ax: Axes, mark: Mark, p: Palette) -> None:
    colour: str = getattr(p, mark.role)
    if isinstance(mark, Label):
        ax.annotate(
            mark.text, (mark.x, mark.y), color=colour, ha=mark.anchor, parse_math=False, zorder=6,
            va={True: "bottom", False: "top", None: "center"}[mark.above],
            textcoords="offset points",
            xytext=(
                {"left": 6, "center": 0, "right": -6}[mark.anchor],
                {True: 5, False: -5, None: 0}[mark.above],
            ),
        )  # fmt: skip
        return
    # matplotlib leaves out of the key what begins with an underscore, as names may.
    label = f"\u200b{mark.name}" if mark.name.startswith("_") else mark.name or None
    if isinstance(mark, Stretch):
        shade = mix(colour, p.ground, 0.16)
        ax.axvspan(mark.start, mark.end, facecolor=shade, linewidth=0, zorder=0.4, label=label)
    elif isinstance(mark, Ribbon):
        ax.fill_between(
            mark.x, mark.low, mark.high, facecolor=colour, alpha=0.22, linewidth=0, label=label
        )
    elif isinstance(mark, Outline):
        fill = mix(colour, p.ground, 0.55)
        ax.fill(mark.x, mark.y, facecolor=fill, edgecolor=colour, linewidth=1, label=label)
    elif isinstance(mark, Curve):
        ax.plot(
            mark.x, mark.y, color=colour, linewidth=0.8 * mark.wide, label=label,
            linestyle=_DASHES[mark.dash],
        )  # fmt: skip
    else:
        _dots(ax, mark, colour, label)


def _dots(ax: Axes, mark: Dots, colour: str, label: str | None) -> None:
    bars = None
    if len(mark.low):
        y = np.asarray(mark.y, float)
        bars = np.abs([y - np.asarray(mark.low, float), np.asarray(mark.high, float) - y])
    ax.errorbar(
        mark.x, mark.y, yerr=bars, linestyle="none", marker=_SYMBOLS[mark.symbol], color=colour,
        markersize=0.7 * mark.size, capsize=2.5, elinewidth=1.4, label=label, zorder=5,
    )  # fmt: skip
