"""The picture of a group: matplotlib for files and paper, Plotly for the screen.

Both draw the same `Scene` in the same palette, true to scale on equal axes: the sheet, the holes
with their numbers, the group's centre with its confidence region, R50, R90 and the aim.
"""

from __future__ import annotations

import html
import io
import textwrap
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from groupscan.report.palette import SYMBOLS, Palette, Theme, matplotlib_style, mix, palette
from groupscan.report.scene import Scene, circle, ellipse_outline
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_group", "figure_bytes", "plot_group"]

LengthUnit = Literal["mm", "inch"]

_ORIGINS: Final = {"found": "found", "moved": "moved by hand", "added": "added by hand"}
_SHEET_SHARE: Final = {"light": 0.22, "dark": 0.15}  # of its own colour: the sheet stays behind
_ARTWORK_PX: Final = 900


def _artwork(
    scene: Scene, theme: Theme
) -> tuple[NDArray[np.uint8], tuple[float, float, float, float]] | None:
    """Return the sheet as a pale picture and its extent (left, right, bottom, top), mm."""
    from groupscan.sheets.artwork import draw_artwork

    sheet = scene.sheet
    if sheet is None or sheet.rings or sheet.width_mm <= 0:
        return None
    picture = draw_artwork(sheet, px_per_mm=_ARTWORK_PX / max(sheet.width_mm, sheet.height_mm))
    p = palette(theme)
    ground = np.array([int(p.ground[i : i + 2], 16) for i in (1, 3, 5)])
    pale = (
        (ground + _SHEET_SHARE[theme] * (picture.astype(float) - ground)).round().astype(np.uint8)
    )
    (left, top), (right, bottom) = (sheet.corners_mm[i] - scene.sheet_aim_mm for i in (0, 2))
    return pale, (float(left), float(right), float(bottom), float(top))


def _rings(scene: Scene, theme: Theme) -> list[tuple[float, str, str]]:
    """Return radius (mm), fill and line colour of each ring to draw, outermost first."""
    if scene.sheet is None:
        return []
    ground, share = palette(theme).ground, _SHEET_SHARE[theme]
    return [
        (
            ring.radius_mm,
            mix(ring.fill, ground, share),
            mix(ring.line or ring.fill, ground, 2 * share),
        )
        for ring in scene.sheet.rings
    ]


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
        _draw_sheet(ax, scene, theme)
        _draw_statistics(ax, scene, p)
        _draw_holes(ax, scene, p)
        per_unit = 1.0 if unit == "mm" else MM_PER_INCH
        left, right, bottom, top = scene.window_mm
        ax.set(xlim=(left, right), ylim=(bottom, top), aspect="equal")
        for axis in (ax.xaxis, ax.yaxis):
            axis.set_major_locator(mpl.ticker.MaxNLocator(7, steps=[1, 2, 5, 10]))
        if unit == "inch":
            _inch_ticks(ax, per_unit)
        ax.set_xlabel(f"right of the aim ({unit})")
        ax.set_ylabel(f"above the aim ({unit})")
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


def _inch_ticks(ax: Axes, per_unit: float) -> None:
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    low, high = ax.get_xlim()
    rough = (high - low) / per_unit / 6
    step = next(s for s in (0.25, 0.5, 1, 2, 5, 10, 20, 50, 100, 1e4) if s >= rough)
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_locator(MultipleLocator(step * per_unit))
        axis.set_major_formatter(FuncFormatter(lambda mm, _: f"{mm / per_unit + 0.0:g}"))


def _draw_sheet(ax: Axes, scene: Scene, theme: Theme) -> None:
    from matplotlib.patches import Circle

    x, y = -scene.sheet_aim_mm[0], -scene.sheet_aim_mm[1]
    for radius, fill, line in _rings(scene, theme):
        ax.add_patch(Circle((x, y), radius, facecolor=fill, edgecolor=line, linewidth=0.7))
    artwork = _artwork(scene, theme)
    if artwork is not None:
        picture, extent = artwork
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
    region = ellipse_outline(group)
    if region is not None:
        label = f"centre, {group.confidence:.0%} region"
        ax.fill(*region.T, facecolor=p.centre, alpha=0.16, linewidth=0)
        ax.plot(*region.T, color=p.centre, linewidth=1.2, label=label)
    ax.plot(
        *centre, marker="+", markersize=14, markeredgewidth=2.4, color=p.centre,
        linestyle="none", label="group centre", zorder=6,
    )  # fmt: skip
    ax.plot(
        0, 0, marker="x", markersize=10, markeredgewidth=2.2, color=p.aim,
        linestyle="none", label="aim", zorder=5,
    )  # fmt: skip


def _draw_holes(ax: Axes, scene: Scene, p: Palette) -> None:
    halo: dict[str, Any] = {"markeredgecolor": p.ground, "markeredgewidth": 1.0}
    for i, (origin, words) in enumerate(_ORIGINS.items()):
        some = scene.shots[scene.shots["origin"] == origin]
        if len(some):
            ax.plot(
                some["right_mm"], some["high_mm"], marker=SYMBOLS[i][0], markersize=8 - (i == 1),
                color=p.series[i], linestyle="none", label=f"holes {words}", zorder=4, **halo,
            )  # fmt: skip
    for x, y, label in zip(
        scene.shots["right_mm"], scene.shots["high_mm"], scene.shots["label"], strict=True
    ):
        text = ax.annotate(
            str(label), (x, y), xytext=(6, 5), textcoords="offset points", fontsize=8.5,
            color=p.ink, zorder=7, annotation_clip=True,
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


def plot_group(scene: Scene, *, theme: Theme = "light", unit: LengthUnit = "mm") -> Any:
    """Draw the group for the screen.

    Parameters
    ----------
    scene : Scene
        What to show.
    theme : {"light", "dark"}
        Palette.
    unit : {"mm", "inch"}
        Unit of the axes and of the hover text.

    Returns
    -------
    plotly.graph_objects.Figure
        Text from users is escaped: Plotly reads a subset of HTML.
    """
    import plotly.graph_objects as go

    p = palette(theme)
    per_unit = 1.0 if unit == "mm" else MM_PER_INCH
    group = scene.group
    centre = (group.centre.x.value, group.centre.y.value)
    figure = go.Figure()

    x, y = (-scene.sheet_aim_mm[0] / per_unit, -scene.sheet_aim_mm[1] / per_unit)
    for radius_mm, fill, line in _rings(scene, theme):
        r = radius_mm / per_unit
        figure.add_shape(
            type="circle", x0=x - r, y0=y - r, x1=x + r, y1=y + r, layer="below",
            fillcolor=fill, line={"color": line, "width": 0.8},
        )  # fmt: skip
    artwork = _artwork(scene, theme)
    if artwork is not None:
        picture, extent = artwork
        left, right, bottom, top = (side / per_unit for side in extent)
        figure.add_layout_image(
            source=_png_uri(picture), xref="x", yref="y", x=left, y=top, layer="below",
            sizex=right - left, sizey=top - bottom, sizing="stretch", xanchor="left", yanchor="top",
        )  # fmt: skip

    def outline(xy_mm: NDArray[np.float64], name: str, colour: str, dash: str, **more: Any) -> None:
        u, v = (xy_mm / per_unit).T
        figure.add_scatter(
            x=u, y=v, name=name, mode="lines", hoverinfo="skip",
            line={"color": colour, "width": 1.8, "dash": dash}, **more,
        )  # fmt: skip

    def spot(at_mm: tuple[float, float], name: str, colour: str, symbol: str, size: int) -> None:
        figure.add_scatter(
            x=[at_mm[0] / per_unit], y=[at_mm[1] / per_unit], name=name, mode="markers",
            hovertemplate=name + "<extra></extra>",
            marker={
                "symbol": symbol, "size": size, "color": colour,
                "line": {"color": colour, "width": 2.4},
            },
        )  # fmt: skip

    for name, radius_mm, colour, dash in (
        ("R50", group.r50.value, p.inner, "dash"),
        ("R90", group.r90.value, p.outer, "dot"),
    ):
        if np.isfinite(radius_mm) and radius_mm > 0:
            outline(circle(*centre, radius_mm), name, colour, dash)
    region = ellipse_outline(group)
    if region is not None:
        r, g, b = (int(p.centre[i : i + 2], 16) for i in (1, 3, 5))
        outline(
            region, f"centre, {group.confidence:.0%}", p.centre, "solid",
            fill="toself", fillcolor=f"rgba({r},{g},{b},0.16)",
        )  # fmt: skip
    spot((0.0, 0.0), "aim", p.aim, "x-thin", 11)
    _plot_holes(figure, scene, p, per_unit, unit)
    spot(centre, "group centre", p.centre, "cross-thin", 15)
    _lay_out(figure, scene, p, per_unit, unit)
    return figure


def _plot_holes(figure: Any, scene: Scene, p: Palette, per_unit: float, unit: str) -> None:
    for i, (origin, words) in enumerate(_ORIGINS.items()):
        some = scene.shots[scene.shots["origin"] == origin]
        if some.empty:
            continue
        labels = [html.escape(str(label)) for label in some["label"]]
        hover = [
            f"hole {label}, {words}"
            + "".join(f"<br>{what} {html.escape(str(v))}" for what, v in named if v)
            for label, *named in (
                (label, ("head", head), ("arrow", arrow))
                for label, head, arrow in zip(labels, some["head"], some["arrow"], strict=True)
            )
        ]
        figure.add_scatter(
            x=some["right_mm"] / per_unit, y=some["high_mm"] / per_unit, name=f"holes {words}",
            mode="markers+text", text=labels, textposition="top right", hovertext=hover,
            hovertemplate="%{hovertext}<br>%{x:.1f} right, %{y:.1f} high " + unit
            + "<extra></extra>",
            textfont={"color": p.ink, "size": 12},
            marker={
                "symbol": SYMBOLS[i][1], "size": 11, "color": p.series[i],
                "line": {"color": p.ground, "width": 1.5},
            },
        )  # fmt: skip


def _lay_out(figure: Any, scene: Scene, p: Palette, per_unit: float, unit: str) -> None:
    left, right, bottom, top = (side / per_unit for side in scene.window_mm)
    axis = {
        "constrain": "domain", "gridcolor": p.hairline, "zeroline": False, "color": p.quiet,
        "showgrid": scene.sheet is None, "linecolor": p.hairline, "ticks": "outside",
        "tickcolor": p.hairline, "mirror": True, "showline": True,
    }  # fmt: skip
    figure.update_xaxes(range=[left, right], title=f"right of the aim ({unit})", **axis)
    figure.update_yaxes(
        range=[bottom, top], title=f"above the aim ({unit})", scaleanchor="x", scaleratio=1, **axis
    )
    figure.update_layout(
        paper_bgcolor=p.ground, plot_bgcolor=p.ground, font={"color": p.ink, "size": 13},
        margin={"l": 8, "r": 8, "t": 8, "b": 8}, dragmode="pan", height=560,
        legend={"orientation": "h", "y": -0.14, "yanchor": "top", "x": 0, "font": {"size": 12}},
        hoverlabel={"bgcolor": p.panel, "font": {"color": p.ink}},
    )  # fmt: skip


def _png_uri(picture: NDArray[np.uint8]) -> str:
    import base64

    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "PNG")
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
