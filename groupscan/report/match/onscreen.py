"""The picture of several kinds about one aim for the screen, by Plotly, and its key."""

from __future__ import annotations

import html
from typing import Any

import numpy as np
from numpy.typing import NDArray

from groupscan.report.axes import axis_style, flat_layout, key_row, rgba
from groupscan.report.match.scene import MatchKind, MatchScene
from groupscan.report.palette import SYMBOLS, Palette, Theme, palette
from groupscan.report.scene import LengthUnit, circle, region_outline
from groupscan.report.words import SHORT
from groupscan.units import MM_PER_INCH

__all__ = ["match_key_html", "plot_match"]

# CSS of the symbols of `groupscan.report.palette.SYMBOLS`, in their order.
_SHAPES = (
    "width:11px;height:11px;border-radius:50%;background:{}",
    "width:9px;height:9px;transform:rotate(45deg);background:{}",
    "width:10px;height:10px;background:{}",
    "width:12px;height:11px;clip-path:polygon(50% 0,100% 100%,0 100%);background:{}",
)


def plot_match(scene: MatchScene, *, theme: Theme = "light", unit: LengthUnit = "mm") -> Any:
    """Draw several kinds about one aim for the screen.

    Parameters
    ----------
    scene : MatchScene
        What to show.
    theme : {"light", "dark"}
        Palette.
    unit : {"mm", "inch"}
        Unit of the axes and of the hover text.

    Returns
    -------
    plotly.graph_objects.Figure
        As high as its place on the page; the key is `match_key_html`. Text from users is
        escaped: Plotly reads a subset of HTML.
    """
    import plotly.graph_objects as go

    p = palette(theme)
    k = 1.0 if unit == "mm" else MM_PER_INCH
    figure = go.Figure()

    def outline(xy_mm: NDArray[np.float64], colour: str, dash: str, fill: float) -> None:
        u, v = (xy_mm / k).T
        figure.add_scatter(
            x=u, y=v, mode="lines", hoverinfo="skip", fill="toself",
            fillcolor=rgba(colour, fill),
            line={"color": colour, "width": 1.8, "dash": dash},
        )  # fmt: skip

    if scene.tolerance_mm is not None:
        outline(circle(*scene.origin_mm, scene.tolerance_mm), p.accent, "solid", 0.07)
    figure.add_scatter(
        x=[0.0], y=[0.0], mode="markers", hovertemplate="aim<extra></extra>",
        marker={
            "symbol": "x-thin", "size": 11, "color": p.aim, "line": {"color": p.aim, "width": 2.4},
        },
    )  # fmt: skip
    for i, kind in enumerate(scene.kinds):
        _plot_shots(figure, kind, i, p, k, unit)
    for i, kind in enumerate(scene.kinds):
        region = region_outline(kind.centre)
        if region is not None:
            outline(region, p.series[i], "solid", 0.14)
    for offset in scene.offsets:
        offset_region = scene.region_mm(offset)
        if offset_region is not None:
            outline(offset_region, p.ink, "dot", 0.0)
    for i, kind in enumerate(scene.kinds):
        name = html.escape(kind.name)
        figure.add_scatter(
            x=[kind.centre.x_mm / k], y=[kind.centre.y_mm / k], mode="markers",
            hovertemplate=f"centre of {name}, {kind.count} shots<br>%{{x:.1f}} right, "
            f"%{{y:.1f}} high {SHORT[unit]}<extra></extra>",
            marker={
                "symbol": SYMBOLS[i][1], "size": 17, "color": p.ground,
                "line": {"color": p.series[i], "width": 3.5},
            },
        )  # fmt: skip
    for offset in scene.offsets:
        (x, y), (ax, ay) = scene.tip_mm(offset), scene.origin_mm
        figure.add_annotation(
            x=x / k, y=y / k, ax=ax / k, ay=ay / k, xref="x", yref="y", axref="x", ayref="y",
            showarrow=True, arrowhead=2, arrowsize=1.1, arrowwidth=2.2, arrowcolor=p.ink, text="",
        )  # fmt: skip
    _lay_out(figure, scene, p, k, unit)
    flat_layout(figure, p)
    return figure


def _plot_shots(
    figure: Any, kind: MatchKind, i: int, p: Palette, k: float, unit: LengthUnit
) -> None:
    x, y = (kind.shots_mm / k).T
    figure.add_scatter(
        x=x, y=y, mode="markers", opacity=0.8,
        hovertext=[f"{html.escape(kind.name)}<br>{html.escape(name)}" for name in kind.called],
        hovertemplate="%{hovertext}<br>%{x:.1f} right, %{y:.1f} high "
        f"{SHORT[unit]}<extra></extra>",
        marker={
            "symbol": SYMBOLS[i][1], "size": 9 if len(x) < 150 else 7, "color": p.series[i],
            "line": {"color": p.ground, "width": 1},
        },
    )  # fmt: skip


def _lay_out(figure: Any, scene: MatchScene, p: Palette, k: float, unit: LengthUnit) -> None:
    left, right, bottom, top = (side / k for side in scene.window_mm)
    across = {"text": f"right ({SHORT[unit]})", "standoff": 4}
    upward = {"text": f"high ({SHORT[unit]})", "standoff": 2}
    axis = axis_style(p, constrain="domain")
    figure.update_xaxes(range=[left, right], title=across, **axis)
    figure.update_yaxes(range=[bottom, top], title=upward, scaleanchor="x", scaleratio=1, **axis)


def match_key_html(scene: MatchScene, *, theme: Theme = "light", tolerance: str = "") -> str:
    """Return the key of `plot_match` as HTML that wraps with the page; names are escaped.

    Parameters
    ----------
    scene : MatchScene
        Only what the picture shows is named.
    theme : {"light", "dark"}
        Palette.
    tolerance : str
        The tolerance in the reader's unit.
    """
    p = palette(theme)
    rows = [
        (_SHAPES[i].format(p.series[i]), "", f"{html.escape(kind.name)} ({kind.count})")
        for i, kind in enumerate(scene.kinds)
    ]
    open_ring = "width:9px;height:9px;border-radius:50%;border:3px solid {}"
    rows.append((open_ring.format(p.quiet), "", "open symbol: centre of a kind"))
    if any(region_outline(kind.centre) is not None for kind in scene.kinds):
        region = f"width:16px;height:9px;border-radius:50%;border:1.5px solid {p.quiet}"
        rows.append((region, "", f"where a true centre lies ({scene.confidence:.0%})"))
    rows.append((f"color:{p.ink};font-weight:700", "→", "offset from the reference"))
    if any(scene.region_mm(one) is not None for one in scene.offsets):
        region = f"width:16px;height:9px;border-radius:50%;border:2px dotted {p.ink}"
        rows.append((region, "", f"where the true offset ends ({scene.confidence:.0%})"))
    if scene.tolerance_mm is not None:
        ring = f"width:14px;height:14px;border-radius:50%;border:1.8px solid {p.accent}"
        rows.append((ring, "", f"your tolerance, {html.escape(tolerance)}".rstrip(", ")))
    rows.append((f"color:{p.aim};font-weight:700", "×", "aim"))
    return key_row(p, rows)
