"""How a session goes, for the screen, by Plotly: sigma from end to end, and the first arrow."""

from __future__ import annotations

from typing import Any

from groupscan.report.axes import axis_style, flat_layout, key_row, rgba
from groupscan.report.palette import Theme, palette
from groupscan.report.scene import circle
from groupscan.report.season.within import ColdScene, EndsScene

__all__ = ["cold_key", "ends_key", "plot_cold", "plot_ends"]

_FEW_ENDS = 13
_SHADE = 0.16


def plot_ends(scene: EndsScene, *, theme: Theme = "light", height_px: int = 300) -> Any:
    """Draw sigma by the number of the end within a session, for the screen.

    Parameters
    ----------
    scene : EndsScene
    theme : {"light", "dark"}
    height_px : int
        Height of the picture; its key is `ends_key`.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import plotly.graph_objects as go

    p = palette(theme)
    figure = go.Figure()
    if scene.line is not None:
        figure.add_scatter(
            x=scene.number, y=scene.line, mode="lines", hoverinfo="skip",
            line={"width": 2, "color": p.centre, "dash": "dash"},
        )  # fmt: skip
    down, up = scene.bars
    figure.add_scatter(
        x=scene.number, y=scene.value, mode="markers",
        marker={"size": 10, "color": p.found, "symbol": "circle"},
        error_y={
            "type": "data", "symmetric": False, "array": up, "arrayminus": down,
            "color": rgba(p.found, 0.85), "thickness": 1.5, "width": 3,
        },
        hovertext=[
            f"end {number}, {sessions} sessions"
            for number, sessions in zip(scene.number, scene.sessions, strict=True)
        ],
        hovertemplate="%{hovertext}<br>%{y:.3g} " + scene.reading.where + "<extra></extra>",
    )  # fmt: skip
    dtick = 1 if len(scene.number) < _FEW_ENDS else None
    figure.update_xaxes(**axis_style(p, dtick=dtick), title=_title("end", 4))
    figure.update_yaxes(
        **axis_style(p, range=[0, scene.top], nticks=5),
        title=_title(f"sigma, {scene.reading.where}", 2),
    )
    flat_layout(figure, p, height_px=height_px)
    return figure


def ends_key(scene: EndsScene, *, theme: Theme = "light") -> str:
    """Return the key of `plot_ends` as HTML; it holds no user's text."""
    p = palette(theme)
    dot = f"width:10px;height:10px;border-radius:50%;background:{p.found}"
    rows = [(dot, "", f"all ends of one number, with their {scene.level:.0%} interval")]
    if scene.line is not None:
        dash = f"width:18px;border-top:2px dashed {p.centre}"
        rows.append((dash, "", "the change from end to end"))
    return key_row(p, rows)


def plot_cold(scene: ColdScene, *, theme: Theme = "light", height_px: int = 300) -> Any:
    """Draw where the first arrow lands from the rest, with its confidence region, to scale.

    Parameters
    ----------
    scene : ColdScene
    theme : {"light", "dark"}
    height_px : int
        Height of the picture; its key is `cold_key`.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import plotly.graph_objects as go

    p = palette(theme)
    figure = go.Figure()
    if scene.half > 0:
        u, v = circle(0, 0, scene.half).T
        figure.add_scatter(
            x=u, y=v, mode="lines", hoverinfo="skip",
            line={"color": p.inner, "width": 1.8, "dash": "dot"},
        )  # fmt: skip
    if scene.outline is not None:
        figure.add_scatter(
            x=scene.outline[:, 0], y=scene.outline[:, 1], mode="lines", fill="toself",
            hoverinfo="skip", line={"color": p.centre, "width": 1.8},
            fillcolor=rgba(p.centre, _SHADE),
        )  # fmt: skip
    for x, y, name, symbol, colour in (
        (0.0, 0.0, "centre of the other arrows", "cross-thin", p.inner),
        (scene.x, scene.y, "first arrow", "diamond", p.centre),
    ):
        figure.add_scatter(
            x=[x], y=[y], mode="markers",
            hovertemplate=name + "<br>%{x:.3g} right, %{y:.3g} high " + scene.reading.where
            + "<extra></extra>",
            marker={
                "symbol": symbol, "size": 13, "color": colour,
                "line": {"color": colour, "width": 2.4},
            },
        )  # fmt: skip
    axis = axis_style(p, range=[-scene.reach, scene.reach], constrain="domain", nticks=5)
    figure.update_xaxes(**axis, title=_title(f"right, {scene.reading.where}", 4))
    figure.update_yaxes(**axis, title=_title("high", 2), scaleanchor="x")
    flat_layout(figure, p, height_px=height_px)
    return figure


def _title(words: str, standoff: int) -> dict[str, Any]:
    return {"text": words, "standoff": standoff, "font": {"size": 13}}


def cold_key(scene: ColdScene, *, theme: Theme = "light") -> str:
    """Return the key of `plot_cold` as HTML; it holds no user's text."""
    p = palette(theme)
    rows = [
        (f"color:{p.centre};font-weight:700", "◆", f"first arrow, mean of {scene.sessions}"),
        (f"color:{p.inner};font-weight:700", "+", "centre of the other arrows"),
    ]
    if scene.outline is not None:
        shade = f"width:14px;height:10px;border-radius:50%;border:2px solid {p.centre}"
        rows.append((shade, "", f"{scene.level:.0%} region of the first arrow"))
    if scene.half > 0:
        ring = f"width:12px;height:12px;border-radius:50%;border:2px dotted {p.inner}"
        rows.append((ring, "", "half of all arrows land within"))
    return key_row(p, rows)
