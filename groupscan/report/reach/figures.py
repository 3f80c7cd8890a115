"""The picture of reach for files and paper, by matplotlib."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from groupscan.report.palette import Theme, matplotlib_style, mix, palette
from groupscan.report.reach.scene import ReachScene
from groupscan.report.reach.words import share_words, whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_reach", "fill_reach_axes"]


def draw_reach(scene: ReachScene, *, theme: Theme = "light", caption: str = "") -> Figure:
    """Draw the chance to land inside against distance, for a file or for paper.

    The caution stands under the picture, so that no print goes without it.

    Parameters
    ----------
    scene : ReachScene
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

    p, reach = palette(theme), scene.reach
    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(6.4, 5.8))
        ax = figure.add_axes((0.11, 0.36, 0.85, 0.56))
        fill_reach_axes(ax, scene, theme=theme)
        ax.set_title(scene.title, parse_math=False, loc="left", pad=10)
        figure.legend(
            loc="upper left", bbox_to_anchor=(0.09, 0.285), ncols=2, frameon=False, fontsize=8.5
        )
        words = "\n".join(textwrap.fill(part, 86) for part in (caption, reach.caution) if part)
        figure.text(
            0.11, 0.015, words, va="bottom", fontsize=8.5, color=p.quiet, linespacing=1.4,
            parse_math=False,
        )  # fmt: skip
    return figure


def fill_reach_axes(ax: Axes, scene: ReachScene, *, theme: Theme = "light") -> None:
    """Draw the chance to land inside against distance into axes that a page or a figure gives.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : ReachScene
    theme : {"light", "dark"}
    """
    p = palette(theme)
    reach, points = scene.reach, scene.drawn
    ax.grid(linewidth=0.6)
    ax.set_axisbelow(True)
    left, right = (scene.shown(at) for at in scene.window_m)
    for place, (a, b) in enumerate(scene.shaded_m):
        x0, x1 = scene.shown(a), scene.shown(b)
        ax.axvspan(
            x0, x1, facecolor=mix(p.outer, p.ground, 0.16), linewidth=0, zorder=0.4,
            label="extrapolated: nobody shot there" if place == 0 else None,
        )  # fmt: skip
        ax.text((x0 + x1) / 2, 4, "extrapolated", rotation=90, ha="center", va="bottom")
    at = [scene.shown(point.distance_m) for point in points]
    chance = [point.probability for point in points]
    ax.fill_between(
        at, [100 * c.low for c in chance], [100 * c.high for c in chance],
        facecolor=p.found, alpha=0.22, linewidth=0,
        label=f"share in the long run, {reach.confidence:.0%} interval",
    )  # fmt: skip
    ax.plot(
        at, [100 * c.value for c in chance], color=p.found, linewidth=2,
        label="chance that the next arrow is inside",
    )  # fmt: skip
    ax.axhline(
        100 * reach.standard, color=p.moved, linewidth=1.5, linestyle=(0, (6, 2)),
        label=f"your standard, {share_words(reach.standard)}",
    )  # fmt: skip
    ax.plot(
        [scene.shown(distance) for distance, _ in scene.shots], [0] * len(scene.shots),
        marker="^", markersize=9, linestyle="none", color=p.inner, clip_on=False, zorder=5,
        label="distances shot from",
    )  # fmt: skip
    if math.isfinite(reach.reach_m.low):
        x = scene.shown(reach.reach_m.low)
        ax.plot([x, x], [0, 100 * reach.standard], color=p.centre, linewidth=2, zorder=4)
        ax.plot(
            x, 100 * reach.standard, marker="D", markersize=8, color=p.centre, zorder=6,
            linestyle="none", label=f"rely on {whole(scene, reach.reach_m.low)}",
        )  # fmt: skip
    ax.set(xlim=(left, right), ylim=(0, 101))
    ax.set_xlabel(f"distance ({scene.unit})")
    ax.set_ylabel("inside (%)")
