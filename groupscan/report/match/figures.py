"""The picture of several kinds about one aim for files and paper, by matplotlib."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from groupscan.report.figures import fit_axes
from groupscan.report.match.scene import MatchScene
from groupscan.report.palette import SYMBOLS, Palette, Theme, matplotlib_style, palette
from groupscan.report.scene import LengthUnit, circle, region_outline

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_match", "fill_match_axes"]

# Longer names would run into the next column of the key.
_NAME_WIDTH = 34


def draw_match(
    scene: MatchScene, *, theme: Theme = "light", unit: LengthUnit = "mm", caption: str = ""
) -> Figure:
    """Draw several kinds about one aim for a file or for paper.

    Parameters
    ----------
    scene : MatchScene
        What to show.
    theme : {"light", "dark"}
        Palette.
    unit : {"mm", "inch"}
        Unit of the axes.
    caption : str
        Plain text under the picture.

    Returns
    -------
    Figure
        A matplotlib figure that no window holds; `groupscan.report.figures.figure_bytes` turns it
        into a file.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    p = palette(theme)
    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(6.4, 8.0))
        ax = figure.add_axes((0.12, 0.285, 0.84, 0.84 * 6.4 / 8.0))
        fill_match_axes(ax, scene, theme=theme, unit=unit)
        ax.set_title(_short(scene.title, 66), parse_math=False, loc="left", pad=10)
        key = figure.legend(
            loc="upper left", bbox_to_anchor=(0.1, 0.225), ncols=2, frameon=False, fontsize=8.5,
        )  # fmt: skip
        for text in key.get_texts():
            text.set_parse_math(False)  # a "$" in a user's text must stay a "$"
        figure.text(
            0.12, 0.02, textwrap.fill(caption, 84), va="bottom", fontsize=8.5, color=p.quiet,
            linespacing=1.4, parse_math=False,
        )  # fmt: skip
    return figure


def fill_match_axes(
    ax: Axes, scene: MatchScene, *, theme: Theme = "light", unit: LengthUnit = "mm"
) -> None:
    """Draw the kinds into axes that a page or a figure gives them.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : MatchScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
    """
    p = palette(theme)
    ax.grid(linewidth=0.6)
    ax.set_axisbelow(True)
    _draw_kinds(ax, scene, p)
    _draw_offsets(ax, scene, p)
    fit_axes(ax, scene.window_mm, unit)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _draw_kinds(ax: Axes, scene: MatchScene, p: Palette) -> None:
    for i, kind in enumerate(scene.kinds):
        ax.plot(
            *kind.shots_mm.T, marker=SYMBOLS[i][0], markersize=6.5 - (i == 1), color=p.series[i],
            linestyle="none", alpha=0.8, markeredgecolor=p.ground, markeredgewidth=0.7, zorder=3,
            label=f"{_short(kind.name, _NAME_WIDTH)} ({kind.count})",
        )  # fmt: skip
    for i, kind in enumerate(scene.kinds):
        region = region_outline(kind.centre)
        if region is not None:
            ax.fill(*region.T, facecolor=p.series[i], alpha=0.14, linewidth=0, zorder=4)
            ax.plot(*region.T, color=p.series[i], linewidth=1.3, zorder=4)
        ax.plot(
            kind.centre.x_mm, kind.centre.y_mm, marker=SYMBOLS[i][0], markersize=12 - (i == 1),
            markerfacecolor=p.ground, markeredgecolor=p.series[i], markeredgewidth=2.4, zorder=6,
        )  # fmt: skip
    ax.plot(
        [], [], marker="o", markersize=9, markerfacecolor=p.ground, markeredgecolor=p.quiet,
        markeredgewidth=2.2, linestyle="none",
        label=f"centre of a kind, {scene.confidence:.0%} region",
    )  # fmt: skip


def _draw_offsets(ax: Axes, scene: MatchScene, p: Palette) -> None:
    if scene.tolerance_mm is not None:
        ring = circle(*scene.origin_mm, scene.tolerance_mm)
        ax.fill(*ring.T, facecolor=p.accent, alpha=0.07, linewidth=0, zorder=1)
        ax.plot(*ring.T, color=p.accent, linewidth=1.4, label="tolerance", zorder=2)
    named = f"offset, {scene.confidence:.0%} region"
    for one in scene.offsets:
        region = scene.region_mm(one)
        if region is not None:
            ax.plot(*region.T, color=p.ink, linewidth=1.4, linestyle=":", zorder=5, label=named)
            named = ""
        ax.annotate(
            "", xy=scene.tip_mm(one), xytext=scene.origin_mm, zorder=7, annotation_clip=False,
            arrowprops={
                "arrowstyle": "-|>", "color": p.ink, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0,
            },
        )  # fmt: skip
    ax.plot(
        0, 0, marker="x", markersize=9, markeredgewidth=2.0, color=p.aim, linestyle="none",
        label="aim", zorder=2,
    )  # fmt: skip
