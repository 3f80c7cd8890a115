"""How a session goes, in pictures: sigma from end to end, and where the first arrow lands."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from groupscan.report.axes import axis_style, flat_layout, rgba
from groupscan.report.palette import Theme, palette
from groupscan.report.scene import circle, region_outline
from groupscan.report.season.reading import Reading
from groupscan.stats.intervals import Ellipse
from groupscan.stats.trend import ColdArrow, Fatigue

__all__ = ["plot_cold", "plot_ends"]


def plot_ends(
    fatigue: Fatigue, reading: Reading, *, theme: Theme = "light", height_px: int = 300
) -> Any:
    """Draw sigma by the number of the end within a session, for the screen.

    Parameters
    ----------
    fatigue : Fatigue
    reading : Reading
    theme : {"light", "dark"}
    height_px : int

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import plotly.graph_objects as go

    p = palette(theme)
    told = [end for end in fatigue.by_end if math.isfinite(end.sigma.value)]
    sigma = [end.sigma.scaled(reading.factor) for end in told]
    up, down = (
        [side if math.isfinite(side) else 0.0 for side in sides]
        for sides in ([e.high - e.value for e in sigma], [e.value - e.low for e in sigma])
    )
    figure = go.Figure()
    figure.add_scatter(
        x=[end.number for end in told], y=[e.value for e in sigma], mode="lines+markers",
        line={"width": 1, "color": rgba(p.found, 0.55)},
        marker={"size": 10, "color": p.found, "symbol": "circle"},
        error_y={
            "type": "data", "symmetric": False, "array": up, "arrayminus": down,
            "color": rgba(p.found, 0.85), "thickness": 1.5, "width": 3,
        },
        hovertext=[f"end {end.number}, {end.ends} sessions" for end in told],
        hovertemplate="%{hovertext}<br>%{y:.3g} " + reading.where + "<extra></extra>",
    )  # fmt: skip
    highest = max((e.value for e in sigma), default=1.0)
    top = max((min(e.high, 2.2 * highest) for e in sigma if math.isfinite(e.high)), default=highest)
    figure.update_xaxes(**axis_style(p, dtick=1 if len(told) < 13 else None), title="end")
    figure.update_yaxes(
        **axis_style(p, range=[0, 1.06 * max(top, highest)], nticks=5),
        title={"text": f"sigma ({reading.where})", "standoff": 2},
    )
    flat_layout(figure, p, height_px=height_px)
    return figure


def plot_cold(
    cold: ColdArrow, reading: Reading, *, theme: Theme = "light", height_px: int = 300
) -> Any:
    """Draw where the first arrow lands from the rest, with its confidence region, to scale.

    Parameters
    ----------
    cold : ColdArrow
    reading : Reading
    theme : {"light", "dark"}
    height_px : int

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import plotly.graph_objects as go

    p = palette(theme)
    k = reading.factor
    x, y = k * cold.x.value, k * cold.y.value
    e = cold.ellipse
    scaled = Ellipse(k * e.x_mm, k * e.y_mm, k * e.semi_major_mm, k * e.semi_minor_mm, e.angle_rad)
    outline = region_outline(scaled)
    figure = go.Figure()
    reach = 1.3 * max(math.hypot(x, y), 1e-9)
    if outline is not None:
        figure.add_scatter(
            x=outline[:, 0], y=outline[:, 1], mode="lines", fill="toself", hoverinfo="skip",
            line={"color": p.centre, "width": 1.8}, fillcolor=rgba(p.centre, 0.16),
        )  # fmt: skip
        reach = max(reach, 1.1 * float(np.abs(outline).max()))
    reach = min(reach, 4 * max(math.hypot(x, y), 1e-9)) if outline is not None else reach
    ring = circle(0, 0, reach / 2)
    figure.add_scatter(
        x=ring[:, 0], y=ring[:, 1], mode="lines", hoverinfo="skip",
        line={"color": p.hairline, "width": 1},
    )  # fmt: skip
    for at, name, symbol, colour in (
        ((0.0, 0.0), "the rest of the session", "cross-thin", p.aim),
        ((x, y), "first arrow", "diamond", p.centre),
    ):
        figure.add_scatter(
            x=[at[0]], y=[at[1]], mode="markers+text", text=[name], textposition="bottom center",
            textfont={"color": p.ink, "size": 13}, cliponaxis=False,
            hovertemplate=name + "<br>%{x:.3g} right, %{y:.3g} high " + reading.where
            + "<extra></extra>",
            marker={
                "symbol": symbol, "size": 13, "color": colour,
                "line": {"color": colour, "width": 2.4},
            },
        )  # fmt: skip
    axis = axis_style(p, range=[-reach, reach], constrain="domain", nticks=5)
    figure.update_xaxes(**axis, title={"text": f"right ({reading.where})", "standoff": 4})
    figure.update_yaxes(**axis, title={"text": "high", "standoff": 2}, scaleanchor="x")
    flat_layout(figure, p, height_px=height_px)
    return figure
