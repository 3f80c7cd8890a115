"""The picture of a season for the screen, by Plotly, and its key."""

from __future__ import annotations

import html
from typing import Any, Final

import numpy as np

from groupscan.report.axes import axis_style, flat_layout, key_row, rgba
from groupscan.report.palette import Palette, Theme, palette
from groupscan.report.season.scene import Panel, SeasonScene

__all__ = ["plot_season", "season_key"]

_BAND: Final = 0.13
_SPAN: Final = 0.16
# On a phone, dots of as many sessions run into one another.
_CROWDED: Final = 40
_NAMED: Final = 6
_GAP: Final = 0.085
_TOP: Final = 0.955
_TICK: Final = 0.982


def plot_season(scene: SeasonScene, *, theme: Theme = "light", height_px: int = 720) -> Any:
    """Draw sigma and centre over time, for the screen.

    Parameters
    ----------
    scene : SeasonScene
    theme : {"light", "dark"}
    height_px : int
        Height of the picture; its key is `season_key`.

    Returns
    -------
    plotly.graph_objects.Figure
        Text from users is escaped: Plotly reads a subset of HTML.
    """
    import plotly.graph_objects as go

    p = palette(theme)
    figure = go.Figure()
    shapes, flags = _marks(scene, p)
    titles, diamonds = [], []
    height = (_TOP - 2 * _GAP) / 3
    for place, panel in enumerate(scene.panels):
        top = _TOP - place * (height + _GAP)
        number = "" if place == 0 else str(place + 1)
        _plot_panel(figure, scene, panel, number, p)
        for change in panel.changes:
            more_shapes, diamond = _change(scene, number, change, p)
            shapes += more_shapes
            diamonds.append(diamond)
        figure.update_layout({
            f"yaxis{number}": {
                **axis_style(p, nticks=5), "domain": [max(0.0, top - height), top],
                "range": list(panel.window), "anchor": f"x{number}",
                "title": {"text": scene.reading.where, "standoff": 2, "font": {"size": 12}},
            },
            f"xaxis{number}": {
                **axis_style(p, nticks=5), "anchor": f"y{number}",
                "range": scene.shown(scene.window).astype(str).tolist(),
                "showticklabels": place == 2, "matches": None if place == 0 else "x",
            },
        })  # fmt: skip
        titles.append({
            "x": 0, "xref": "paper", "y": top, "yref": "paper", "yanchor": "bottom",
            "xanchor": "left", "text": f"<b>{panel.title}</b>", "showarrow": False,
            "font": {"color": p.ink, "size": 13}, "bgcolor": p.ground, "borderpad": 1,
        })  # fmt: skip
    flat_layout(figure, p, height_px=height_px, hovermode="closest")
    # All at once: Plotly copies every shape that is there for each one that is added.
    figure.update_layout(
        margin={"l": 58, "r": 8, "t": 26, "b": 34},
        shapes=shapes,
        annotations=[*titles, *diamonds, *flags],
    )
    return figure


def _plot_panel(
    figure: Any, scene: SeasonScene, panel: Panel, number: str, p: Palette
) -> None:  # fmt: skip
    axes = {"xaxis": f"x{number}", "yaxis": f"y{number}"}
    at = scene.shown(scene.at)
    quiet = {"mode": "lines", "hoverinfo": "skip", **axes}
    for first, last in panel.stretches:
        some = slice(first, last + 1)
        here, low, high = at[some], panel.usual_low[some], panel.usual_high[some]
        edge = {"width": 1, "color": p.outer, "dash": "dot"}
        figure.add_scatter(x=here, y=high, line=edge, **quiet)
        figure.add_scatter(
            x=here, y=low, line=edge, fill="tonexty", fillcolor=rgba(p.outer, _BAND), **quiet
        )
        figure.add_scatter(
            x=here, y=panel.usual[some], line={"width": 1.6, "color": p.inner, "dash": "dash"},
            **quiet,
        )  # fmt: skip
    crowded = len(scene.names) > _CROWDED
    known = np.isfinite(panel.low) & np.isfinite(panel.high)
    figure.add_scatter(
        x=at, y=panel.value, mode="markers" if crowded else "lines+markers",
        name=panel.title, **axes,
        line={"width": 1, "color": rgba(p.found, 0.55)},
        marker={"size": 6 if crowded else 9, "color": p.found, "symbol": "circle"},
        error_y={
            "type": "data", "symmetric": False, "color": rgba(p.found, 0.45 if crowded else 0.85),
            "thickness": 1 if crowded else 1.5, "width": 0 if crowded else 3,
            "array": np.where(known, panel.high - panel.value, 0),
            "arrayminus": np.where(known, panel.value - panel.low, 0),
        },
        hovertext=[
            f"{html.escape(name)}, {shots} shots"
            + ("<br>alarm of a control chart: small steps add up" if alarm else "")
            for name, shots, alarm in zip(scene.names, scene.shots, panel.alarm, strict=True)
        ],
        hovertemplate="%{hovertext}<br>%{y:.3g} " + scene.reading.where + "<extra></extra>",
    )  # fmt: skip
    if panel.alarm.any():
        figure.add_scatter(
            x=at[panel.alarm], y=panel.value[panel.alarm], mode="markers", hoverinfo="skip",
            marker={
                "size": 19, "symbol": "square-open", "color": p.moved,
                "line": {"width": 2.4, "color": p.moved},
            },
            **axes,
        )  # fmt: skip


def _change(
    scene: SeasonScene, number: str, places: tuple[int, int, int], p: Palette
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Shade where a lasting change may have begun; a line and a sign where it most likely did."""
    first, earliest, latest = places
    before = max(0, earliest - 1)
    x0, x1, x = scene.shown(
        [
            (scene.at[before] + scene.at[earliest]) / 2,
            (scene.at[latest - 1] + scene.at[latest]) / 2 if latest > earliest
            else scene.at[latest],
            (scene.at[first - 1] + scene.at[first]) / 2,
        ]
    ).astype(str)  # fmt: skip
    across = {"xref": f"x{number}", "yref": f"y{number} domain", "y0": 0, "y1": 1}
    shapes: list[dict[str, Any]] = []
    if latest > earliest:
        shapes.append({
            "type": "rect", "x0": x0, "x1": x1, "layer": "below", "line": {"width": 0},
            "fillcolor": rgba(p.centre, _SPAN), **across,
        })  # fmt: skip
    line = {"width": 2.6, "color": p.centre}
    shapes.append({"type": "line", "x0": x, "x1": x, "line": line, **across})
    return shapes, {
        "x": x, "xref": f"x{number}", "y": 1, "yref": f"y{number} domain", "text": "◆",
        "showarrow": False, "font": {"color": p.centre, "size": 14}, "yanchor": "middle",
    }  # fmt: skip


def _marks(
    scene: SeasonScene, p: Palette
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:  # fmt: skip
    """Return a line for each change of gear, through all panels where it has a flag of its own."""
    lines, flags = [], []
    for flag in scene.flags:
        # Where several share a flag, their lines would hide the sessions: ticks below the flag.
        foot = 0.0 if len(flag.marks) == 1 else _TICK
        places = scene.shown([mark.at for mark in flag.marks]).astype(str)
        lines.append({
            "type": "path", "xref": "x", "yref": "paper", "layer": "below",
            # The T of a date would be read as a command of the path.
            "path": "".join(f"M{x},{foot}L{x},1" for x in np.char.replace(places, "T", "_")),
            "line": {"color": p.aim, "width": 1.6, "dash": "solid" if foot else "dashdot"},
        })  # fmt: skip
        words = [f"{m.letter}, {m.day}: {m.what}" for m in flag.marks]
        if len(words) > _NAMED:
            words[_NAMED:] = [f"and {len(words) - _NAMED} more"]
        flags.append({
            "x": str(scene.shown([flag.at])[0]), "xref": "x", "y": 1, "yref": "paper",
            "yanchor": "bottom", "text": f"<b>{flag.text}</b>", "showarrow": False,
            "font": {"color": p.ground, "size": 13}, "bgcolor": p.aim, "borderpad": 3,
            "hovertext": "<br>".join(map(html.escape, words)),
        })  # fmt: skip
    return lines, flags


def season_key(scene: SeasonScene, *, theme: Theme = "light") -> str:
    """Return the key of `plot_season` as HTML; it holds no user's text.

    Parameters
    ----------
    scene : SeasonScene
        Only what the picture shows is named.
    theme : {"light", "dark"}
    """
    p = palette(theme)
    dot = f"width:10px;height:10px;border-radius:50%;background:{p.found}"
    rows = [
        (dot, "", f"a session, with its {scene.level:.0%} interval"),
        (f"width:18px;border-top:2px dashed {p.inner}", "", "usual level"),
    ]
    if any(np.isfinite(panel.usual_low).any() for panel in scene.panels):
        band = (
            f"width:18px;height:10px;background:{rgba(p.outer, 2 * _BAND)};"
            f"border-top:1px dotted {p.outer};border-bottom:1px dotted {p.outer}"
        )
        rows.append((band, "", "limits of a usual session (19 of 20)"))
    if any(panel.alarm.any() for panel in scene.panels):
        ring = f"width:13px;height:13px;border:2px solid {p.moved}"
        rows.append((ring, "", "alarm of a control chart: small steps add up"))
    if any(panel.changes for panel in scene.panels):
        rows.append(
            (
                f"color:{p.centre};font-weight:700",
                "◆",
                "a lasting change begins with the next session",
            )
        )
        if any(a < b for panel in scene.panels for _, a, b in panel.changes):
            shade = f"width:18px;height:12px;background:{rgba(p.centre, 2 * _SPAN)}"
            rows.append((shade, "", "where it may have begun"))
    if scene.marks:
        flag = f"padding:0 5px;background:{p.aim};color:{p.ground};font-weight:700"
        rows.append((flag, scene.marks[0].letter, "gear changed, see below"))
    return key_row(p, rows)
