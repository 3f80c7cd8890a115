"""The picture of numbered arrows for the screen, by Plotly, and its key."""

from __future__ import annotations

import html
import math
from typing import Any, Final

from groupscan.report.axes import axis_style, flat_layout, key_row
from groupscan.report.palette import SYMBOLS, Theme, palette
from groupscan.report.quiver.scene import KINDS, ArrowMark, QuiverScene
from groupscan.report.scene import LengthUnit, circle
from groupscan.report.words import SHORT, SIDES, express_sides
from groupscan.stats.intervals import Estimate
from groupscan.units import MM_PER_INCH

__all__ = ["plot_quiver", "quiver_key"]

# The samples of the key, in the order of `KINDS`.
_SAMPLES: Final = (
    "width:10px;height:10px;border-radius:50%;background:{}",
    "width:9px;height:9px;transform:rotate(45deg);background:{}",
    "width:9px;height:9px;background:{}",
    "width:10px;height:9px;clip-path:polygon(50% 0,100% 100%,0 100%);background:{}",
)


def plot_quiver(scene: QuiverScene, *, theme: Theme = "light", unit: LengthUnit = "mm") -> Any:
    """Draw numbered arrows for the screen, true to scale.

    Parameters
    ----------
    scene : QuiverScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
        Unit of the axes and of the hover text.

    Returns
    -------
    plotly.graph_objects.Figure
        As high as its place on the page; its key is `quiver_key`. Text from users is
        escaped: Plotly reads a subset of HTML.
    """
    import plotly.graph_objects as go

    p = palette(theme)
    per_unit = 1.0 if unit == "mm" else MM_PER_INCH
    figure = go.Figure()
    if math.isfinite(scene.worth_mm):
        u, v = (circle(0, 0, scene.worth_mm) / per_unit).T
        figure.add_scatter(
            x=u, y=v, mode="lines", hoverinfo="skip", name="what matters",
            line={"color": p.outer, "width": 1.8, "dash": "dot"},
        )  # fmt: skip
    figure.add_scatter(
        x=[0], y=[0], mode="markers", name="the others' centre",
        hovertemplate="centre of the arrows that fly together<extra></extra>",
        marker={"symbol": "cross-thin", "size": 15, "line": {"color": p.inner, "width": 2.4}},
    )  # fmt: skip
    if scene.one_arrow:
        path = [mark for mark in scene.marks if math.isfinite(mark.away_mm)]
        figure.add_scatter(
            x=[mark.x.value / per_unit for mark in path],
            y=[mark.y.value / per_unit for mark in path],
            mode="lines", hoverinfo="skip", name="from one to the next",
            line={"color": p.outer, "width": 1.6, "dash": "dot"},
        )  # fmt: skip
    for place, (kind, words) in enumerate(KINDS.items()):
        marks = [mark for mark in scene.of_kind(kind) if math.isfinite(mark.away_mm)]
        if not marks:
            continue
        colour = p.series[place]
        figure.add_scatter(
            x=[mark.x.value / per_unit for mark in marks],
            y=[mark.y.value / per_unit for mark in marks],
            error_x=_bars([mark.x for mark in marks], per_unit, colour),
            error_y=_bars([mark.y for mark in marks], per_unit, colour),
            mode="markers+text", name=words, textposition=[_beside(mark) for mark in marks],
            text=[html.escape(mark.name) for mark in marks],
            hovertext=[_hover(mark, words, unit, scene.one_arrow) for mark in marks],
            hovertemplate="%{hovertext}<extra></extra>", textfont={"color": p.ink, "size": 14},
            marker={
                "symbol": SYMBOLS[place][1], "size": 12, "color": colour,
                "line": {"color": p.ground, "width": 1.5},
            },
        )  # fmt: skip
    gone = [mark for mark in scene.marks if mark.out_of_use and math.isfinite(mark.away_mm)]
    if gone:
        figure.add_scatter(
            x=[mark.x.value / per_unit for mark in gone],
            y=[mark.y.value / per_unit for mark in gone],
            mode="markers", name="out of use", hoverinfo="skip",
            marker={"symbol": "x-thin", "size": 19, "line": {"color": p.ink, "width": 2}},
        )  # fmt: skip
    left, right, bottom, top = (side / per_unit for side in scene.window_mm)
    figure.update_xaxes(
        **axis_style(p, constrain="domain", range=[left, right]),
        title={"text": f"right of the others ({SHORT[unit]})", "standoff": 4},
    )
    figure.update_yaxes(
        **axis_style(p, constrain="domain", range=[bottom, top], scaleanchor="x", scaleratio=1),
        title={"text": f"above the others ({SHORT[unit]})", "standoff": 2},
    )
    flat_layout(figure, p)
    return figure


def _bars(estimates: list[Estimate], per_unit: float, colour: str) -> dict[str, Any]:
    def known(value: float) -> float:
        return value / per_unit if math.isfinite(value) else 0.0

    return {
        "type": "data", "symmetric": False, "color": colour, "thickness": 1.6, "width": 5,
        "array": [known(e.high - e.value) for e in estimates],
        "arrayminus": [known(e.value - e.low) for e in estimates],
    }  # fmt: skip


def _beside(mark: ArrowMark) -> str:
    across, up = mark.beside
    return f"{('middle', 'top', 'bottom')[up]} {('center', 'right', 'left')[across]}"


def _hover(mark: ArrowMark, words: str, unit: LengthUnit, one_arrow: bool) -> str:
    called = "line" if one_arrow else "arrow"
    state = f", {mark.state}" if mark.out_of_use else ""
    where = [
        express_sides(one, unit, sides)
        for one, sides in zip((mark.x, mark.y), SIDES.values(), strict=True)
    ]
    lines = [f"{called} {mark.name}: {words}{state}", *where, f"{mark.shots} shots"]
    return "<br>".join(html.escape(line) for line in lines)


def quiver_key(scene: QuiverScene, *, theme: Theme = "light") -> str:
    """Return the key of `plot_quiver` as HTML; it holds no user's text.

    Parameters
    ----------
    scene : QuiverScene
        Only what the picture shows is named.
    theme : {"light", "dark"}
    """
    p = palette(theme)
    rows = [
        (sample.format(colour), "", words)
        for sample, colour, (kind, words) in zip(_SAMPLES, p.series, KINDS.items(), strict=True)
        if scene.of_kind(kind)
    ]
    if any(mark.out_of_use for mark in scene.marks):
        rows.append((f"color:{p.ink};font-weight:700", "×", "pulled or broken"))
    rows += [
        (f"color:{p.inner};font-weight:700", "+", "centre of those that fly together"),
        (f"width:18px;border-top:2px solid {p.quiet}", "", f"{scene.confidence:.0%} interval"),
    ]
    if math.isfinite(scene.worth_mm):
        ring = f"width:12px;height:12px;border-radius:50%;border:2px dotted {p.outer}"
        rows.append((ring, "", "the offset that matters"))
    return key_row(p, rows)
