"""The picture of reach for the screen, by Plotly, and its key."""

from __future__ import annotations

import math
from typing import Any

from groupscan.report.axes import axis_style, flat_layout, key_row, rgba
from groupscan.report.decisions.reach import percent, rests_on
from groupscan.report.palette import Theme, mix, palette
from groupscan.report.reach.scene import ReachScene
from groupscan.report.reach.words import share_words, whole

__all__ = ["plot_reach", "reach_key"]

_BAND = 0.22
_SHADE = 0.16


def plot_reach(scene: ReachScene, *, theme: Theme = "light", height_px: int = 460) -> Any:
    """Draw the chance to land inside against distance, for the screen.

    Parameters
    ----------
    scene : ReachScene
    theme : {"light", "dark"}
    height_px : int
        Height of the picture; its key is `reach_key`.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import plotly.graph_objects as go

    p = palette(theme)
    figure = go.Figure()
    reach = scene.reach
    left, right = (scene.shown(at) for at in scene.window_m)
    for a, b in scene.shaded_m:
        x0, x1 = scene.shown(a), scene.shown(b)
        figure.add_shape(
            type="rect", x0=x0, x1=x1, y0=0, y1=1, yref="paper", layer="below",
            fillcolor=mix(p.outer, p.ground, _SHADE), line={"width": 0},
        )  # fmt: skip
        # On a phone a short stretch is narrower than the word: it is written upwards.
        figure.add_annotation(
            x=(x0 + x1) / 2, y=0.03, yref="paper", yanchor="bottom", text="extrapolated",
            textangle=-90, showarrow=False, font={"color": p.ink, "size": 13},
        )  # fmt: skip
    points = scene.drawn
    at = [scene.shown(point.distance_m) for point in points]
    chance = [point.probability for point in points]
    bounds = {"mode": "lines", "hoverinfo": "skip", "line": {"width": 0}, "connectgaps": False}
    figure.add_scatter(x=at, y=[100 * c.high for c in chance], **bounds)
    figure.add_scatter(
        x=at, y=[100 * c.low for c in chance], fill="tonexty", fillcolor=rgba(p.found, _BAND),
        **bounds,
    )  # fmt: skip
    figure.add_scatter(
        x=at, y=[100 * c.value for c in chance], mode="lines", name="chance",
        line={"color": p.found, "width": 2.6}, connectgaps=False,
        hovertext=[
            f"{x:.3g} {scene.unit}: {percent(point.probability)} % inside<br>"
            + rests_on(point.distance_m, point.basis, reach.measured_m)
            for x, point in zip(at, points, strict=True)
        ],
        hovertemplate="%{hovertext}<extra></extra>",
    )  # fmt: skip
    figure.add_scatter(
        x=[left, right], y=[100 * reach.standard] * 2, mode="lines", hoverinfo="skip",
        name="standard", line={"color": p.moved, "width": 2, "dash": "dash"},
    )  # fmt: skip
    figure.add_scatter(
        x=[scene.shown(distance) for distance, _ in scene.shots], y=[0] * len(scene.shots),
        mode="markers", name="measured", cliponaxis=False,
        hovertext=[
            f"{count} arrows from {scene.shown(distance):.4g} {scene.unit}"
            for distance, count in scene.shots
        ],
        hovertemplate="%{hovertext}<extra></extra>",
        marker={"symbol": "triangle-up", "size": 13, "color": p.inner},
    )  # fmt: skip
    if math.isfinite(reach.reach_m.low):
        x = scene.shown(reach.reach_m.low)
        figure.add_scatter(
            x=[x, x], y=[0, 100 * reach.standard], mode="lines+markers", name="rely on",
            hoverinfo="skip", line={"color": p.centre, "width": 2.6},
            marker={"symbol": "diamond", "size": [0, 12], "color": p.centre},
        )  # fmt: skip
        on_right = x > (left + right) / 2
        figure.add_annotation(
            x=x, y=18, text=f"<b>rely on {whole(scene, reach.reach_m.low)}</b>", showarrow=False,
            xanchor="right" if on_right else "left", xshift=-7 if on_right else 7,
            font={"color": p.centre, "size": 15}, bgcolor=p.ground, borderpad=2,
        )  # fmt: skip
    figure.update_xaxes(
        **axis_style(p, range=[left, right]),
        title={"text": f"distance ({scene.unit})", "standoff": 4},
    )
    figure.update_yaxes(
        **axis_style(p, range=[0, 101], dtick=20), title={"text": "inside (%)", "standoff": 2}
    )
    flat_layout(figure, p, height_px=height_px)
    return figure


def reach_key(scene: ReachScene, *, theme: Theme = "light") -> str:
    """Return the key of `plot_reach` as HTML; it holds no user's text.

    Parameters
    ----------
    scene : ReachScene
    theme : {"light", "dark"}
    """
    p = palette(theme)
    level = f"{scene.reach.confidence:.0%}"
    band = f"width:18px;height:10px;background:{rgba(p.found, _BAND)}"
    rows = [
        (f"width:18px;border-top:3px solid {p.found}", "", "chance that the next arrow is inside"),
        (band, "", f"share of arrows in the long run ({level} interval)"),
        (
            f"width:18px;border-top:2px dashed {p.moved}", "",
            f"your standard, {share_words(scene.reach.standard)}",
        ),
        (
            "width:12px;height:10px;clip-path:polygon(50% 0,100% 100%,0 100%);"
            f"background:{p.inner}",
            "", "distances shot from",
        ),
    ]  # fmt: skip
    if math.isfinite(scene.reach.reach_m.low):
        mark = f"width:9px;height:9px;transform:rotate(45deg);background:{p.centre}"
        rows.append((mark, "", "distance to rely on"))
    if scene.shaded_m:
        shade = f"width:18px;height:12px;background:{mix(p.outer, p.ground, 2 * _SHADE)}"
        rows.append((shade, "", "extrapolated: nobody shot there"))
    return key_row(p, rows)
