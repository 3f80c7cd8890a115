"""The picture of a group for the screen, by Plotly, and its key."""

from __future__ import annotations

import html
import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from groupscan.report.axes import axis_style, flat_layout
from groupscan.report.backdrop import pale_artwork, pale_rings
from groupscan.report.labels import PLACES, label_places
from groupscan.report.palette import SYMBOLS, Palette, Theme, palette
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

__all__ = ["key_html", "plot_group"]

_MOST_NAMED = 24  # more names than these are no help; each hole tells its own when touched
_NARROWEST_PX = 310.0  # the picture on a phone 390 px wide, without its axes
_FONT_PX, _MARK_PX = 12, 11
_ACROSS, _UP = {-1: "left", 0: "center", 1: "right"}, {-1: "bottom", 0: "middle", 1: "top"}
_POSITIONS = {place: f"{_UP[place[1]]} {_ACROSS[place[0]]}" for place in PLACES}


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
        As high as its place on the page; the key is `key_html`. Text from users is escaped: Plotly
        reads a subset of HTML.
    """
    import plotly.graph_objects as go

    p = palette(theme)
    per_unit = 1.0 if unit == "mm" else MM_PER_INCH
    group = scene.group
    centre = (group.centre.x.value, group.centre.y.value)
    figure = go.Figure()

    x, y = (-scene.sheet_aim_mm[0] / per_unit, -scene.sheet_aim_mm[1] / per_unit)
    for radius_mm, fill, line in pale_rings(scene, theme):
        r = radius_mm / per_unit
        figure.add_shape(
            type="circle", x0=x - r, y0=y - r, x1=x + r, y1=y + r, layer="below",
            fillcolor=fill, line={"color": line, "width": 0.8},
        )  # fmt: skip
    artwork = pale_artwork(scene, theme)
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
    region = shown_region(scene)
    if region is not None:
        r, g, b = (int(p.centre[i : i + 2], 16) for i in (1, 3, 5))
        outline(
            region, f"centre, {group.confidence:.0%}", p.centre, "solid",
            fill="toself", fillcolor=f"rgba({r},{g},{b},0.16)",
        )  # fmt: skip
    spot((0.0, 0.0), "aim", p.aim, "x-thin", 11)
    flyer = flagged_place(scene)
    if flyer is not None:
        spot(flyer, "flagged as a flyer", p.aim, "circle-open", 20)
    marked = marked_places(scene) / per_unit
    if len(marked):
        figure.add_scatter(
            x=marked[:, 0], y=marked[:, 1], name="marked as a flyer", mode="markers",
            hoverinfo="skip",
            marker={
                "symbol": "hexagon2-open", "size": 22, "color": p.aim,
                "line": {"color": p.aim, "width": 2},
            },
        )  # fmt: skip
    _plot_holes(figure, scene, p, per_unit, unit)
    if group.n > 1:  # one hole is no group, and its centre would hide it
        spot(centre, "group centre", p.centre, "cross-thin", 15)
    _lay_out(figure, scene, p, per_unit, unit)
    return figure


def _plot_holes(figure: Any, scene: Scene, p: Palette, per_unit: float, unit: LengthUnit) -> None:
    places = np.full(len(scene.shots), None, dtype=object)
    if len(scene.shots) <= _MOST_NAMED:
        places[:] = label_places(scene, side=_NARROWEST_PX, font=_FONT_PX, mark=_MARK_PX)
    digits = 1 if unit == "mm" else 2
    for i, (origin, words) in enumerate(ORIGINS.items()):
        own = (scene.shots["origin"] == origin).to_numpy()
        some = scene.shots[own]
        if some.empty:
            continue
        labels = [html.escape(str(label)) for label in some["label"]]
        whys = [_flyer_words(row) for row in some.to_dict("records")]
        hover = [
            f"hole {label}, {words}"
            + "".join(f"<br>{what} {html.escape(str(v))}" for what, v in named if v)
            + (f"<br>{html.escape(why)}" if why else "")
            for label, why, *named in (
                (label, why, ("head", head), ("arrow", arrow))
                for label, why, head, arrow in zip(
                    labels, whys, some["head"], some["arrow"], strict=True
                )
            )
        ]
        figure.add_scatter(
            x=some["right_mm"] / per_unit, y=some["high_mm"] / per_unit, name=f"holes {words}",
            mode="markers+text",
            text=[
                "" if place is None else label
                for label, place in zip(labels, places[own], strict=True)
            ],
            textposition=[_POSITIONS.get(place, "top right") for place in places[own]],
            hovertext=hover,
            hovertemplate=f"%{{hovertext}}<br>%{{x:.{digits}f}} right, %{{y:.{digits}f}} high "
            f"{SHORT[unit]}<extra></extra>",
            textfont={"color": p.ink, "size": _FONT_PX},
            marker={
                "symbol": SYMBOLS[i][1], "size": _MARK_PX, "color": p.holes[i],
                "line": {"color": p.ground, "width": 1.5},
            },
        )  # fmt: skip


def _flyer_words(shot: dict[Any, Any]) -> str:
    """Say that a shot is marked as a flyer, and why; plain text."""
    if not shot.get("flyer"):
        return ""
    why = str(shot.get("flyer_why") or "")
    return f"marked as a flyer: {why}" if why else "marked as a flyer"


def _lay_out(figure: Any, scene: Scene, p: Palette, per_unit: float, unit: LengthUnit) -> None:
    left, right, bottom, top = (side / per_unit for side in scene.window_mm)
    axis = axis_style(p, constrain="domain", showgrid=scene.sheet is None)
    across = {"text": f"right ({SHORT[unit]})", "standoff": 4}
    upward = {"text": f"high ({SHORT[unit]})", "standoff": 2}
    figure.update_xaxes(range=[left, right], title=across, **axis)
    figure.update_yaxes(range=[bottom, top], title=upward, scaleanchor="x", scaleratio=1, **axis)
    flat_layout(figure, p)


def key_html(scene: Scene, *, theme: Theme = "light") -> str:
    """Return the key of `plot_group` as HTML that wraps with the page; it holds no user's text.

    Parameters
    ----------
    scene : Scene
        Only what the picture shows is named.
    theme : {"light", "dark"}
        Palette.
    """
    p = palette(theme)
    hole = {
        "found": "width:10px;height:10px;border-radius:50%;background:{}",
        "moved": "width:9px;height:9px;transform:rotate(45deg);background:{}",
        "added": "width:9px;height:9px;background:{}",
        "typed": "width:10px;height:9px;clip-path:polygon(50% 0,100% 100%,0 100%);background:{}",
    }
    rows = [
        (hole[origin].format(colour), "", f"hole {words}")
        for (origin, words), colour in zip(ORIGINS.items(), p.holes, strict=True)
        if scene.shots["origin"].eq(origin).any()
    ]
    rows.append((f"color:{p.aim};font-weight:700", "×", "aim"))
    if scene.group.n > 1:
        rows.append((f"color:{p.centre};font-weight:700", "+", "group centre"))
    if flagged_place(scene) is not None:
        ring = f"width:12px;height:12px;border-radius:50%;border:2px solid {p.aim}"
        rows.append((ring, "", "flagged as a flyer"))
    if len(marked_places(scene)):
        rows.append((f"color:{p.aim};font-weight:700", "&#x2B21;", "marked as a flyer"))
    if shown_region(scene) is not None:
        words = f"where the true centre lies ({scene.group.confidence:.0%})"
        region = f"width:15px;height:9px;border-radius:50%;border:1.5px solid {p.centre}"
        rows.append((region, "", words))
    if np.isfinite(scene.group.r50.value):
        rows += [
            (f"width:18px;border-top:2px dashed {p.inner}", "", "R50, half of the arrows"),
            (f"width:18px;border-top:2px dotted {p.outer}", "", "R90, nine in ten"),
        ]
    cells = "".join(
        '<span style="display:inline-flex;align-items:center;gap:.4rem;margin-right:1.1rem">'
        f'<span style="display:inline-block;{style}">{sign}</span>{words}</span>'
        for style, sign, words in rows
    )
    return f'<div style="font-size:.875rem;line-height:1.7;color:{p.ink}">{cells}</div>'


def _png_uri(picture: NDArray[np.uint8]) -> str:
    import base64

    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "PNG")
    return "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
