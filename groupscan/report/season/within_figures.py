"""How a session goes, for files and paper, by matplotlib: sigma by end, and the first arrow."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from groupscan.report.palette import Theme, matplotlib_style, palette
from groupscan.report.scene import circle
from groupscan.report.season.within import ColdScene, EndsScene

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_cold", "draw_ends", "fill_cold_axes", "fill_ends_axes"]

_WRAP = 78
_SHADE = 0.16
_LINE_IN = 0.16


def draw_ends(scene: EndsScene, *, theme: Theme = "light", caption: str = "") -> Figure:
    """Draw sigma by the number of the end, for a file or for paper.

    Parameters
    ----------
    scene : EndsScene
    theme : {"light", "dark"}
    caption : str
        Plain text under the picture.

    Returns
    -------
    Figure
        `groupscan.report.figures.figure_bytes` turns it into a file.
    """
    return _drawn(scene, (5.4, 3.4), theme, caption)


def draw_cold(scene: ColdScene, *, theme: Theme = "light", caption: str = "") -> Figure:
    """Draw where the first arrow lands from the rest, to scale, for a file or for paper.

    Parameters
    ----------
    scene : ColdScene
    theme : {"light", "dark"}
    caption : str
        Plain text under the picture.

    Returns
    -------
    Figure
        `groupscan.report.figures.figure_bytes` turns it into a file.
    """
    return _drawn(scene, (5.4, 4.6), theme, caption)


def _drawn(
    scene: EndsScene | ColdScene, axes_in: tuple[float, float], theme: Theme, caption: str
) -> Figure:
    import matplotlib as mpl
    from matplotlib.figure import Figure

    p = palette(theme)
    text = textwrap.fill(caption, _WRAP)
    keys = 2 if isinstance(scene, ColdScene) else 1
    foot = 0.3 + _LINE_IN * (text.count("\n") + 1) + 0.22 * keys
    wide, tall = axes_in[0] + 0.95, axes_in[1] + foot + 1.0
    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(wide, tall))
        ax = figure.add_axes(
            (0.75 / wide, (foot + 0.55) / tall, axes_in[0] / wide, axes_in[1] / tall)
        )
        if isinstance(scene, EndsScene):
            fill_ends_axes(ax, scene, theme=theme)
        else:
            fill_cold_axes(ax, scene, theme=theme)
        figure.legend(
            loc="upper left", bbox_to_anchor=(0.65 / wide, (foot + 0.05) / tall), ncols=2,
            frameon=False, fontsize=8, borderaxespad=0,
        )  # fmt: skip
        figure.text(
            0.75 / wide, 1 - 0.12 / tall, scene.title, va="top", fontsize=10, color=p.ink,
            parse_math=False,
        )  # fmt: skip
        figure.text(
            0.75 / wide, 0.1 / tall, text, va="bottom", fontsize=8, color=p.quiet,
            linespacing=1.4, parse_math=False,
        )  # fmt: skip
    return figure


def fill_ends_axes(ax: Axes, scene: EndsScene, *, theme: Theme = "light") -> None:
    """Draw sigma by the number of the end into axes that a page or a figure gives it.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : EndsScene
    theme : {"light", "dark"}
    """
    from matplotlib.ticker import MaxNLocator

    p = palette(theme)
    ax.grid(linewidth=0.5)
    ax.set_axisbelow(True)
    if scene.line is not None:
        ax.plot(
            scene.number, scene.line, color=p.centre, linewidth=1.6, linestyle="--",
            label="the change from end to end",
        )  # fmt: skip
    ax.errorbar(
        scene.number, scene.value, yerr=scene.bars, fmt="o", color=p.found, markersize=5.5,
        elinewidth=1.1, capsize=2, zorder=3,
        label=f"all ends of one number, {scene.level:.0%} interval",
    )  # fmt: skip
    ax.set(ylim=(0, scene.top), xlabel="end", ylabel=f"sigma, {scene.reading.where}")
    ax.margins(x=0.08)
    ax.xaxis.set_major_locator(MaxNLocator(13, integer=True))


def fill_cold_axes(ax: Axes, scene: ColdScene, *, theme: Theme = "light") -> None:
    """Draw where the first arrow lands into axes that a page or a figure gives it.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : ColdScene
    theme : {"light", "dark"}
    """
    from matplotlib.ticker import MaxNLocator

    p = palette(theme)
    ax.grid(linewidth=0.5)
    ax.set_axisbelow(True)
    if scene.half > 0:
        ax.plot(
            *circle(0, 0, scene.half).T, color=p.inner, linewidth=1.3, linestyle=(0, (1, 2)),
            label="half of all arrows land within",
        )  # fmt: skip
    if scene.outline is not None:
        ax.fill(*scene.outline.T, facecolor=p.centre, alpha=_SHADE, linewidth=0)
        ax.plot(
            *scene.outline.T, color=p.centre, linewidth=1.3,
            label=f"{scene.level:.0%} region of the first arrow",
        )  # fmt: skip
    ax.plot(
        0, 0, marker="+", markersize=13, markeredgewidth=2.2, color=p.inner, linestyle="none",
        label="centre of the other arrows",
    )  # fmt: skip
    ax.plot(
        scene.x, scene.y, marker="D", markersize=7, color=p.centre, linestyle="none",
        label=f"first arrow, mean of {scene.sessions}",
    )  # fmt: skip
    ends = (-scene.reach, scene.reach)
    ax.set(xlim=ends, ylim=ends, aspect="equal")
    ax.set(xlabel=f"right, {scene.reading.where}", ylabel="high")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
