"""A picture of the bench for the screen, by Plotly, and its key."""

from __future__ import annotations

from html import escape
from typing import Any, Final

from groupscan.report.axes import axis_style, flat_layout, key_row, rgba
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
from groupscan.report.palette import Palette, Theme, mix, palette

__all__ = ["chart_key", "plot_chart"]

_BAND: Final = 0.22
_SHADE: Final = 0.16
_SIGNS: Final = {
    "circle": "●", "diamond": "◆", "square": "■", "triangle-up": "▲", "triangle-down": "▼",
    "x": "✕", "line": "━",
}  # fmt: skip


def plot_chart(chart: Chart, *, theme: Theme = "light", height_px: int = 420) -> Any:
    """Draw a picture of the bench for the screen.

    Parameters
    ----------
    chart : Chart
    theme : {"light", "dark"}
    height_px : int
        Height of the picture; its key is `chart_key`.

    Returns
    -------
    plotly.graph_objects.Figure
        Text from users is escaped: Plotly reads a subset of HTML.
    """
    import plotly.graph_objects as go

    p = palette(theme)
    figure = go.Figure()
    for mark in chart.marks:
        _add(figure, mark, p)
    for axis, title, span in (
        (figure.update_xaxes, chart.x_title, chart.x_range),
        (figure.update_yaxes, chart.y_title, chart.y_range),
    ):
        if title:
            axis(**axis_style(p), title={"text": escape(title), "standoff": 4})
        else:
            axis(visible=False, fixedrange=True)
        if span:
            axis(range=list(span))
    flat_layout(figure, p, height_px=height_px)
    if not chart.y_title:
        figure.update_layout(margin={"l": 10})
    if chart.equal:
        figure.update_yaxes(scaleanchor="x", scaleratio=1)
    return figure


def chart_key(chart: Chart, *, theme: Theme = "light") -> str:
    """Return the key of a picture as HTML; what users called things is escaped.

    Parameters
    ----------
    chart : Chart
    theme : {"light", "dark"}
    """
    p = palette(theme)
    rows: dict[str, tuple[str, str]] = {}
    for mark in chart.marks:
        if not isinstance(mark, Label) and mark.name:
            rows.setdefault(mark.name, _sample(mark, p))
    return key_row(p, [(*sample, escape(name)) for name, sample in rows.items()])


def _sample(mark: Curve | Dots | Ribbon | Stretch | Outline, p: Palette) -> tuple[str, str]:
    colour: str = getattr(p, mark.role)
    if isinstance(mark, Curve):
        line = {"solid": "solid", "dash": "dashed", "dot": "dotted"}[mark.dash]
        return f"width:22px;border-top:3px {line} {colour}", ""
    if isinstance(mark, Dots):
        return f"color:{colour};font-size:1.05rem", _SIGNS[mark.symbol]
    share = _BAND if isinstance(mark, Ribbon) else 2 * _SHADE
    return f"width:18px;height:11px;background:{mix(colour, p.ground, share)}", ""


def _add(figure: Any, mark: Mark, p: Palette) -> None:
    colour: str = getattr(p, mark.role)
    if isinstance(mark, Stretch):
        figure.add_shape(
            type="rect", x0=mark.start, x1=mark.end, y0=0, y1=1, yref="paper", layer="below",
            fillcolor=mix(colour, p.ground, _SHADE), line={"width": 0},
        )  # fmt: skip
    elif isinstance(mark, Label):
        shift = {"left": 7, "center": 0, "right": -7}[mark.anchor]
        yanchor = {True: "bottom", False: "top", None: "middle"}[mark.above]
        figure.add_annotation(
            x=mark.x, y=mark.y, text=escape(mark.text), showarrow=False, xanchor=mark.anchor,
            xshift=shift, yanchor=yanchor, yshift={True: 6, False: -6, None: 0}[mark.above],
            font={"color": colour, "size": 13}, bgcolor=rgba(p.ground, 0.75), borderpad=1,
        )  # fmt: skip
    elif isinstance(mark, Ribbon):
        edge: dict[str, Any] = {"mode": "lines", "hoverinfo": "skip", "line": {"width": 0}}
        figure.add_scatter(x=list(mark.x), y=list(mark.high), **edge)
        figure.add_scatter(
            x=list(mark.x), y=list(mark.low), fill="tonexty", fillcolor=rgba(colour, _BAND), **edge
        )
    elif isinstance(mark, Outline):
        figure.add_scatter(
            x=list(mark.x), y=list(mark.y), mode="lines", fill="toself", name=escape(mark.name),
            fillcolor=mix(colour, p.ground, 0.55), line={"color": colour, "width": 1},
            hoveron="fills", text=escape(mark.hover), hoverinfo="text" if mark.hover else "skip",
        )  # fmt: skip
    elif isinstance(mark, Curve):
        figure.add_scatter(
            x=list(mark.x), y=list(mark.y), mode="lines", name=escape(mark.name),
            line={"color": colour, "width": mark.wide, "dash": mark.dash}, **_hover(mark.hover),
        )  # fmt: skip
    else:
        symbol = "line-ew-open" if mark.symbol == "line" else mark.symbol
        bars = None
        if len(mark.low):
            bars = {
                "type": "data", "symmetric": False, "color": colour, "thickness": 1.8, "width": 5,
                "array": [h - y for h, y in zip(mark.high, mark.y, strict=True)],
                "arrayminus": [y - lo for lo, y in zip(mark.low, mark.y, strict=True)],
            }  # fmt: skip
        figure.add_scatter(
            x=list(mark.x), y=list(mark.y), mode="markers", name=escape(mark.name),
            cliponaxis=False, error_y=bars,
            marker={
                "symbol": symbol, "size": mark.size, "color": colour,
                "line": {"color": colour if mark.symbol == "line" else p.ground, "width": 1.2},
            },
            **_hover(mark.hover),
        )  # fmt: skip


def _hover(words: Any) -> dict[str, Any]:
    if not len(words):
        return {"hoverinfo": "skip"}
    return {
        "hovertext": [escape(one) for one in words],
        "hovertemplate": "%{hovertext}<extra></extra>",
    }
