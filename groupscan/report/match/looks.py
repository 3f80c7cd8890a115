"""How a comparison stood after each end: distance with its interval, for screen and files."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from groupscan.report.axes import axis_style, flat_layout
from groupscan.report.palette import SYMBOLS, Theme, matplotlib_style, palette
from groupscan.report.scene import LengthUnit
from groupscan.report.words import SHORT
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from groupscan.stats.offset import Look

__all__ = [
    "LooksScene",
    "draw_looks",
    "fill_looks_axes",
    "looks_scene",
    "looks_sentence",
    "plot_looks",
]

_MARKS: Final = {"together": 0, "apart": 1, "not enough arrows": 2}


@dataclass(frozen=True)
class LooksScene:
    """One comparison as it stood after each end.

    Attributes
    ----------
    name, reference : str
        May come from a user.
    ends : tuple of int
        After which ends it was looked at.
    shots : tuple of int
        Arrows of both after each of them.
    distance_mm, low_mm, high_mm : tuple of float
        Distance of the centres with its limits, NaN or infinite where nothing bounds it.
    verdict : tuple of str
    tolerance_mm : float or None
    """

    name: str
    reference: str
    ends: tuple[int, ...]
    shots: tuple[int, ...]
    distance_mm: tuple[float, ...]
    low_mm: tuple[float, ...]
    high_mm: tuple[float, ...]
    verdict: tuple[str, ...]
    tolerance_mm: float | None

    @property
    def top_mm(self) -> float:
        """Return the upper edge of the picture: early limits may be kilometres away."""
        known = [high for high in self.high_mm if math.isfinite(high)]
        return 1.15 * max(*self.distance_mm, self.tolerance_mm or 1.0, min(known, default=1.0))


def looks_scene(
    name: str, reference: str, looks: Sequence[Look], tolerance_mm: float | None
) -> LooksScene:
    """Lay out one comparison as it stood after each end.

    Parameters
    ----------
    name, reference : str
    looks : sequence of Look
        After each end, in the order shot; at least one.
    tolerance_mm : float or None
    """
    return LooksScene(
        name=name,
        reference=reference,
        ends=tuple(one.end for one in looks),
        shots=tuple(one.first_n + one.second_n for one in looks),
        distance_mm=tuple(one.distance.value for one in looks),
        low_mm=tuple(one.distance.low for one in looks),
        high_mm=tuple(one.distance.high for one in looks),
        verdict=tuple(one.verdict for one in looks),
        tolerance_mm=tolerance_mm,
    )


def looks_sentence(scene: LooksScene) -> str:
    """Say after which end it was settled, if it was.

    Examples
    --------
    >>> limits = (1.0, 2.0), (0.0, 1.0), (9.0, 4.0)
    >>> said = "not enough arrows", "apart"
    >>> looks_sentence(LooksScene("b", "a", (1, 2), (4, 8), *limits, said, None))
    'b against a was settled after end 2, with 8 arrows: apart.'
    """
    for end, shots, verdict in zip(scene.ends, scene.shots, scene.verdict, strict=True):
        if verdict in ("together", "apart"):
            return (
                f"{scene.name} against {scene.reference} was settled after end {end}, with "
                f"{shots} arrows: {verdict}."
            )
    return f"{scene.name} against {scene.reference} is not settled after {scene.ends[-1]} ends."


def plot_looks(
    scene: LooksScene, *, theme: Theme = "light", unit: LengthUnit = "mm", height_px: int = 300
) -> Any:
    """Draw the looks for the screen; names are escaped.

    Parameters
    ----------
    scene : LooksScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
    height_px : int

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import plotly.graph_objects as go

    p, k = palette(theme), 1.0 if unit == "mm" else MM_PER_INCH
    figure = go.Figure()
    top = scene.top_mm
    for end, low, high in zip(scene.ends, scene.low_mm, scene.high_mm, strict=True):
        if not math.isnan(low):
            figure.add_scatter(
                x=[end, end], y=[low / k, min(high, 2 * top) / k], mode="lines", hoverinfo="skip",
                line={"color": p.quiet, "width": 2},
            )  # fmt: skip
    for verdict, place in _MARKS.items():
        seen = [i for i, said in enumerate(scene.verdict) if said == verdict]
        if not seen:
            continue
        figure.add_scatter(
            x=[scene.ends[i] for i in seen], y=[scene.distance_mm[i] / k for i in seen],
            mode="markers",
            hovertext=[
                f"{html.escape(scene.name)}, after end {scene.ends[i]} ({scene.shots[i]} arrows)"
                f"<br>{verdict}"
                for i in seen
            ],
            hovertemplate=f"%{{hovertext}}<br>%{{y:.{0 if unit == 'mm' else 1}f}} "
            f"{SHORT[unit]} apart<extra></extra>",
            marker={
                "symbol": SYMBOLS[place][1], "size": 11, "color": p.series[place],
                "line": {"color": p.ground, "width": 1},
            },
        )  # fmt: skip
    if scene.tolerance_mm is not None:
        figure.add_hline(
            y=scene.tolerance_mm / k, line={"color": p.accent, "width": 2, "dash": "dash"},
            annotation={
                "text": "tolerance", "font": {"color": p.ink, "size": 12}, "bgcolor": p.ground,
            },
        )  # fmt: skip
    count = scene.ends[-1]
    few = {"dtick": 1} if count <= 12 else {}
    figure.update_xaxes(
        title={"text": "after end", "standoff": 4}, range=[0.4, count + 0.6],
        **axis_style(p, showgrid=False, **few),
    )  # fmt: skip
    figure.update_yaxes(
        title={"text": f"between centres ({SHORT[unit]})", "standoff": 2}, range=[0, top / k],
        **axis_style(p),
    )  # fmt: skip
    flat_layout(figure, p, height_px=height_px)
    return figure


def draw_looks(scene: LooksScene, *, theme: Theme = "light", unit: LengthUnit = "mm") -> Figure:
    """Draw the looks for a file or for paper.

    Parameters
    ----------
    scene : LooksScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(matplotlib_style(theme)):
        figure = Figure(figsize=(6.4, 3.4), layout="constrained")
        ax = figure.add_subplot()
        fill_looks_axes(ax, scene, theme=theme, unit=unit)
        ax.set_title(f"{scene.name} against {scene.reference}"[:80], loc="left", parse_math=False)
        ax.legend(frameon=False, fontsize=8.5, ncols=2)
    return figure


def fill_looks_axes(
    ax: Axes, scene: LooksScene, *, theme: Theme = "light", unit: LengthUnit = "mm"
) -> None:
    """Draw the looks into axes that a page or a figure gives them.

    Parameters
    ----------
    ax : Axes
        Under `matplotlib_style` of the theme.
    scene : LooksScene
    theme : {"light", "dark"}
    unit : {"mm", "inch"}
    """
    from matplotlib.ticker import MaxNLocator

    p, k = palette(theme), 1.0 if unit == "mm" else MM_PER_INCH
    top = scene.top_mm
    for end, low, high in zip(scene.ends, scene.low_mm, scene.high_mm, strict=True):
        if not math.isnan(low):
            ax.plot([end, end], [low / k, min(high, 2 * top) / k], color=p.quiet, linewidth=1.6)
    for verdict, place in _MARKS.items():
        seen = [i for i, said in enumerate(scene.verdict) if said == verdict]
        if seen:
            ax.plot(
                [scene.ends[i] for i in seen], [scene.distance_mm[i] / k for i in seen],
                marker=SYMBOLS[place][0], color=p.series[place], linestyle="none",
                markersize=7, label=verdict, zorder=3,
            )  # fmt: skip
    if scene.tolerance_mm is not None:
        ax.axhline(scene.tolerance_mm / k, color=p.accent, linestyle="--", label="tolerance")
    ax.set(xlim=(0.4, scene.ends[-1] + 0.6), ylim=(0, top / k), xlabel="after end")
    ax.set_ylabel(f"between the centres ({SHORT[unit]})")
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
