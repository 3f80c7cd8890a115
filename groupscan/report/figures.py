"""The picture of a group for files and paper, by matplotlib.

Here and on the screen (`groupscan.report.onscreen`) the same `Scene` is drawn in the same palette,
true to scale on equal axes: the sheet, the holes with their numbers, the group's centre with its
confidence region, R50, R90 and the aim.
"""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from groupscan.report.backdrop import pale_artwork, pale_rings
from groupscan.report.labels import gap_of, label_places
from groupscan.report.palette import SYMBOLS, Palette, Theme, matplotlib_style, palette
from groupscan.report.scene import (
    ORIGINS,
    LengthUnit,
    Scene,
    circle,
    flagged_place,
    marked_places,
    shown_region,
)
from groupscan.report.words import SHORT
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "draw_group",
    "figure_bytes",
    "fill_group_axes",
    "fit_axes",
    "inch_ticks",
]

_POINTS: Final = 72  # an inch


def draw_group(
    scene: Scene, *, theme: Theme = "light", unit: LengthUnit = "mm", caption: str = ""
) -> Figure:
    """Draw the group for a file or for paper.

    Parameters
    ----------
    scene : Scene
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
        A matplotlib figure that no window holds; `figure_bytes` turns it into a file.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    p = palette(theme)
    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(6.4, 7.7))
        ax = figure.add_axes((0.12, 0.245, 0.84, 0.84 * 6.4 / 7.7))
        fill_group_axes(ax, scene, theme=theme, unit=unit)
        # A "$" in a user's text must stay a "$".
        ax.set_title(scene.title, parse_math=False, loc="left", pad=10)
        figure.legend(
            loc="upper left", bbox_to_anchor=(0.1, 0.19), ncols=3, frameon=False, fontsize=8.5
        )
        figure.text(
            0.12, 0.02, textwrap.fill(caption, 84), va="bottom", fontsize=8.5, color=p.quiet,
            linespacing=1.4, parse_math=False,
        )  # fmt: skip
    return figure


def fill_group_axes(
    ax: Axes,
    scene: Scene,
    *,
    theme: Theme = "light",
    unit: LengthUnit = "mm",
    artwork: bool = True,
    points: float = 8.5,
) -> None:
    """Draw the group into axes that a page or a figure gives it.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : Scene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
    artwork : bool
        Whether to draw a sheet that is no rings; a page that takes no pictures inside of pictures
        lays it under the axes itself.
    points : float
        Size of the holes' numbers; the holes' signs go with it.
    """
    p = palette(theme)
    _draw_sheet(ax, scene, theme, artwork=artwork)
    _draw_statistics(ax, scene, p)
    _draw_holes(ax, scene, p, points)
    fit_axes(ax, scene.window_mm, unit)


def fit_axes(
    ax: Axes, window_mm: tuple[float, float, float, float], unit: LengthUnit = "mm"
) -> None:
    """Give axes in mm from the aim their window, equal scales, ticks and names."""
    import matplotlib as mpl

    left, right, bottom, top = window_mm
    ax.set(xlim=(left, right), ylim=(bottom, top), aspect="equal")
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(mpl.ticker.MaxNLocator(7, steps=[1, 2, 5, 10]))
    if unit == "inch":
        inch_ticks(ax, MM_PER_INCH)
    ax.set_xlabel(f"right of the aim ({SHORT[unit]})")
    ax.set_ylabel(f"above the aim ({SHORT[unit]})")


def inch_ticks(ax: Axes, per_unit: float) -> None:
    """Mark both axes, which are in mm, at round inches."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    low, high = ax.get_xlim()
    rough = (high - low) / per_unit / 6
    step = next(s for s in (0.25, 0.5, 1, 2, 5, 10, 20, 50, 100, 1e4) if s >= rough)
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MultipleLocator(step * per_unit))
        axis.set_major_formatter(FuncFormatter(lambda mm, _: f"{mm / per_unit + 0.0:g}"))


def _draw_sheet(ax: Axes, scene: Scene, theme: Theme, *, artwork: bool) -> None:
    from matplotlib.patches import Circle

    x, y = -scene.sheet_aim_mm[0], -scene.sheet_aim_mm[1]
    for radius, fill, line in pale_rings(scene, theme):
        ax.add_patch(Circle((x, y), radius, facecolor=fill, edgecolor=line, linewidth=0.7))
    pale = pale_artwork(scene, theme) if artwork else None
    if pale is not None:
        picture, extent = pale
        ax.imshow(picture, extent=extent, zorder=0.5, interpolation="antialiased")
    if not scene.sheet:
        ax.grid(linewidth=0.6)
        ax.set_axisbelow(True)


def _draw_statistics(ax: Axes, scene: Scene, p: Palette) -> None:
    group = scene.group
    centre = (group.centre.x.value, group.centre.y.value)
    for name, radius, colour, dash in (
        ("R50: half of the arrows", group.r50.value, p.inner, (0, (6, 2))),
        ("R90: nine in ten", group.r90.value, p.outer, (0, (2, 2))),
    ):
        if np.isfinite(radius) and radius > 0:
            outline = circle(*centre, radius)
            ax.plot(*outline.T, color=colour, linewidth=1.4, linestyle=dash, label=name)
    region = shown_region(scene)
    if region is not None:
        label = f"centre, {group.confidence:.0%} region"
        ax.fill(*region.T, facecolor=p.centre, alpha=0.16, linewidth=0)
        ax.plot(*region.T, color=p.centre, linewidth=1.2, label=label)
    if group.n > 1:  # one hole is no group, and its centre would hide it
        ax.plot(
            *centre, marker="+", markersize=14, markeredgewidth=2.4, color=p.centre,
            linestyle="none", label="group centre", zorder=6,
        )  # fmt: skip
    ax.plot(
        0, 0, marker="x", markersize=10, markeredgewidth=2.2, color=p.aim,
        linestyle="none", label="aim", zorder=5,
    )  # fmt: skip


def _draw_holes(ax: Axes, scene: Scene, p: Palette, points: float) -> None:
    size = points / 8.5
    halo: dict[str, Any] = {"markeredgecolor": p.ground, "markeredgewidth": 1.0}
    for i, (origin, words) in enumerate(ORIGINS.items()):
        some = scene.shots[scene.shots["origin"] == origin]
        if len(some):
            ax.plot(
                some["right_mm"], some["high_mm"], marker=SYMBOLS[i][0],
                markersize=size * (8 - (i == 1)),
                color=p.holes[i], linestyle="none", label=f"holes {words}", zorder=4, **halo,
            )  # fmt: skip
    marked = marked_places(scene)
    if len(marked):
        ax.plot(
            *marked.T, marker="h", markersize=17 * size, markerfacecolor="none",
            markeredgewidth=1.6, markeredgecolor=p.aim, linestyle="none", label="marked as a flyer",
            zorder=4,
        )  # fmt: skip
    flyer = flagged_place(scene)
    if flyer is not None:
        ax.plot(
            *flyer, marker="o", markersize=17 * size, markerfacecolor="none", markeredgewidth=1.6,
            markeredgecolor=p.aim, linestyle="none", label="flagged as a flyer", zorder=4,
        )  # fmt: skip
    figure = ax.get_figure(root=True)
    assert figure is not None
    wide = ax.get_position(original=True).width * figure.get_figwidth() * _POINTS
    places = label_places(scene, side=wide, font=points, mark=8 * size)
    gap = gap_of(8 * size)
    at = zip(scene.shots["right_mm"], scene.shots["high_mm"], strict=True)
    for xy, label, place in zip(at, scene.shots["label"], places, strict=True):
        if place is None:
            continue
        text = ax.annotate(
            str(label), xy, xytext=(gap * place[0], gap * place[1]), textcoords="offset points",
            ha=("right", "center", "left")[place[0] + 1],
            va=("top", "center_baseline", "bottom")[place[1] + 1],
            fontsize=points, color=p.ink, zorder=7, annotation_clip=True,
        )  # fmt: skip
        text.set_parse_math(False)


def figure_bytes(figure: Figure, kind: Literal["png", "svg"]) -> bytes:
    """Return a figure as a file's contents; the same figure gives the same bytes.

    Parameters
    ----------
    figure : Figure
        What `draw_group` returned.
    kind : {"png", "svg"}
        PNG at 200 dots an inch, or SVG.
    """
    import matplotlib as mpl

    buffer = io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
    with mpl.rc_context({"svg.hashsalt": "groupscan", "svg.fonttype": "path"}):
        figure.savefig(buffer, format=kind, dpi=200, metadata=metadata)
    return buffer.getvalue()
