"""The picture of a season for files and paper, by matplotlib."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from groupscan.report.palette import Palette, Theme, matplotlib_style, mix, palette
from groupscan.report.season.scene import Panel, SeasonScene

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_season", "fill_season_axes"]

_WRAP = 96
_CROWDED = 40
_LISTED = 12
_TICK = 0.94
# Points above the first panel that its flags take.
_OVER_FLAGS = 15


def draw_season(scene: SeasonScene, *, theme: Theme = "light", caption: str = "") -> Figure:
    """Draw sigma and centre over time, for a file or for paper.

    Parameters
    ----------
    scene : SeasonScene
    theme : {"light", "dark"}
    caption : str
        Plain text under the picture; the changes of gear stand before it, by their letters.

    Returns
    -------
    Figure
        `groupscan.report.figures.figure_bytes` turns it into a file.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    p = palette(theme)
    lines = [
        textwrap.shorten(f"{m.letter}  {m.day}: {m.what}. {m.notes}", 2 * _WRAP)
        for m in scene.marks[-_LISTED:]
    ]
    if earlier := scene.marks[:-_LISTED]:
        letters = "–".join(dict.fromkeys((earlier[0].letter, earlier[-1].letter)))
        lines.insert(0, f"{letters}  Earlier changes of gear")
    text = "\n".join(textwrap.fill(line, _WRAP) for line in (*lines, caption) if line)
    foot = 0.95 + 0.165 * (text.count("\n") + 1)
    tall = 6.6 + foot
    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(6.8, tall))
        bottom, top = (foot + 0.35) / tall, 1 - 0.68 / tall
        gap = 0.36 / tall
        height = (top - bottom - 2 * gap) / 3
        for place in range(len(scene.panels)):
            low = top - height - place * (height + gap)
            ax = figure.add_axes((0.115, low, 0.865, height))
            fill_season_axes(ax, scene, place, theme=theme)
        handles: dict[str, Artist] = {}
        for ax in figure.axes:
            for handle, label in zip(*ax.get_legend_handles_labels(), strict=True):
                handles.setdefault(label, handle)
        figure.legend(
            list(handles.values()), list(handles), loc="upper left", frameon=False, fontsize=8,
            ncols=2, bbox_to_anchor=(0.1, (foot - 0.06) / tall), borderaxespad=0,
        )  # fmt: skip
        figure.text(
            0.115, 1 - 0.12 / tall, scene.title, va="top", fontsize=11, color=p.ink,
            parse_math=False,
        )  # fmt: skip
        figure.text(
            0.115, 0.08 / tall, text, va="bottom", fontsize=8, color=p.quiet, linespacing=1.4,
            parse_math=False,
        )  # fmt: skip
    return figure


def fill_season_axes(ax: Axes, scene: SeasonScene, place: int, *, theme: Theme = "light") -> None:
    """Draw one panel into axes that a page or a figure gives it.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : SeasonScene
    place : int
        Which of its panels, from 0; the changes' letters stand over the first, dates under the
        last.
    theme : {"light", "dark"}
    """
    p = palette(theme)
    _draw_panel(ax, scene, scene.panels[place], p)
    _draw_marks(ax, scene, p, lettered=place == 0)
    if place < len(scene.panels) - 1:
        ax.tick_params(labelbottom=False)


def _draw_marks(ax: Axes, scene: SeasonScene, p: Palette, *, lettered: bool) -> None:
    """Draw the changes of gear, and over the first panel their flags."""
    label: str | None = "gear changed"
    for flag in scene.flags:
        # Where several share a flag, their lines would hide the sessions: ticks below the flag.
        alone = len(flag.marks) == 1
        for at in scene.shown([mark.at for mark in flag.marks]) if alone or lettered else ():
            ax.axvline(
                at, ymin=0 if alone else _TICK, color=p.aim, linewidth=1.2,
                linestyle="-." if alone else "-", zorder=1, label=label,
            )  # fmt: skip
            label = None
        if lettered:
            ax.annotate(
                flag.text, (scene.shown([flag.at])[0], 1), xycoords=("data", "axes fraction"),
                xytext=(0, 2.5), textcoords="offset points", ha="center", va="bottom",
                color=p.ground, fontweight="bold", fontsize=7.5,
                bbox={"facecolor": p.aim, "lw": 0, "pad": 1.5},
            )  # fmt: skip


def _draw_panel(ax: Axes, scene: SeasonScene, panel: Panel, p: Palette) -> None:
    import matplotlib.dates as mdates

    at = scene.shown(scene.at)
    ax.grid(linewidth=0.5)
    ax.set_axisbelow(True)
    for place, (first, last) in enumerate(panel.stretches):
        some = slice(first, last + 1)
        named = place == 0  # the key says it once
        if np.isfinite(panel.usual_low[some]).any():
            ax.fill_between(
                at[some], panel.usual_low[some], panel.usual_high[some], facecolor=p.outer,
                alpha=0.16, linewidth=0,
                label="limits of a usual session (19 of 20)" if named else None,
            )  # fmt: skip
        ax.plot(
            at[some], panel.usual[some], color=p.inner, linewidth=1.2, linestyle="--", zorder=3.5,
            label="usual level" if named else None,
        )  # fmt: skip
    for first, earliest, latest in panel.changes:
        if latest > earliest:
            before = max(0, earliest - 1)
            a, b = scene.shown(
                [
                    (scene.at[before] + scene.at[earliest]) / 2,
                    (scene.at[latest - 1] + scene.at[latest]) / 2,
                ]
            )
            ax.axvspan(a, b, facecolor=p.centre, alpha=0.16, linewidth=0)
        x = scene.shown([(scene.at[first - 1] + scene.at[first]) / 2])[0]
        ax.axvline(x, color=p.centre, linewidth=2)
        ax.plot(
            [x], [panel.window[1]], marker="D", markersize=6, color=p.centre, clip_on=False,
            linestyle="none", label="a lasting change begins with the next session",
        )  # fmt: skip
    known = np.isfinite(panel.low) & np.isfinite(panel.high)
    bars = np.where(known, [panel.value - panel.low, panel.high - panel.value], 0.0)
    crowded = len(at) > _CROWDED
    ax.errorbar(
        at, panel.value, yerr=bars, fmt="o" if crowded else "o-", linewidth=0.8, color=p.found,
        markersize=2.5 if crowded else 4.5, elinewidth=1, capsize=0 if crowded else 2,
        ecolor=mix(p.found, p.ground, 0.3) if crowded else p.found,
        label=f"session, {scene.level:.0%} interval", zorder=3,
    )  # fmt: skip
    if panel.alarm.any():
        ax.plot(
            at[panel.alarm], panel.value[panel.alarm], marker="s", markersize=10, linestyle="none",
            markerfacecolor="none", markeredgecolor=p.moved, markeredgewidth=1.6,
            label="alarm of a control chart: small steps add up", zorder=4,
        )  # fmt: skip
    ax.set(xlim=tuple(scene.shown(scene.window)), ylim=panel.window)
    ax.set_ylabel(scene.reading.where, fontsize=8)
    flagged = bool(scene.marks) and panel is scene.panels[0]
    ax.set_title(panel.title, loc="left", fontsize=9, pad=_OVER_FLAGS if flagged else 6)
    if scene.dated:
        locator = mdates.AutoDateLocator(minticks=3, maxticks=9)  # type: ignore[no-untyped-call]
        ax.xaxis.set_major_locator(locator)
        ax.xaxis.set_major_formatter(
            mdates.ConciseDateFormatter(locator)  # type: ignore[no-untyped-call]
        )
