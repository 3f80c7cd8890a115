"""Pictures of the target on a page, true to a scale that is stated and can be measured."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from groupscan.report.backdrop import pale_artwork
from groupscan.report.figures import fill_group_axes
from groupscan.report.match.figures import fill_match_axes
from groupscan.report.match.scene import MatchScene
from groupscan.report.pages.page import Page, paper_style
from groupscan.report.quiver import QuiverScene, fill_quiver_axes
from groupscan.report.scene import LengthUnit, Scene
from groupscan.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "PICTURE_EDGE",
    "Drawn",
    "draw_key",
    "group_picture",
    "match_picture",
    "paper_scale",
    "quiver_picture",
]

#: Room that the names and numbers of the axes take beside the picture, mm.
PICTURE_EDGE: Final = 13.5
_LEFT: Final = 12.0
_BELOW: Final = 10.0
_ABOVE: Final = 1.5
_KEY_ROW: Final = 3.7
# Size of the numbers beside the holes, points.
_NUMBERS: Final = 6.0
_NAMES: Final = 7.5
# Scales that a person can work with; more than twice as large as life shows no more.
_SCALES: Final = (
    *(0.5, 0.8, 1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.5, 15.0, 20.0),
    *(25.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0),
)
Window = tuple[float, float, float, float]


def paper_scale(window_mm: Window, side_mm: float) -> tuple[float, Window]:
    """Return how many mm of the target one mm of paper shows, and the window that this fills.

    Parameters
    ----------
    window_mm : tuple of float
        Left, right, bottom and top of what has to be seen.
    side_mm : float
        Side of the square on paper.

    Examples
    --------
    >>> paper_scale((-80.0, 80.0, -60.0, 60.0), 100.0)
    (2.0, (-100.0, 100.0, -100.0, 100.0))
    """
    left, right, bottom, top = window_mm
    wanted = max(right - left, top - bottom) / side_mm
    # Beyond the last, in whole hundreds: a shot over the butt must not break the page.
    scale = next((s for s in _SCALES if s >= wanted), 100.0 * math.ceil(wanted / 100))
    x, y, half = (left + right) / 2, (bottom + top) / 2, scale * side_mm / 2
    return scale, (x - half, x + half, y - half, y + half)


@dataclass(frozen=True)
class Drawn:
    """A picture that stands on the page.

    Attributes
    ----------
    height_mm : float
        What it takes, its scale bar included.
    key : tuple of (handle, str)
        Its signs with their words, for `draw_key`.
    """

    height_mm: float
    key: tuple[tuple[Any, str], ...]


def group_picture(page: Page, scene: Scene, *, side_mm: float, x: float, unit: LengthUnit) -> Drawn:
    """Draw a group true to scale.

    Parameters
    ----------
    page : Page
        Drawn at its `y`, which stays.
    scene : Scene
    side_mm : float
        Side of the square on paper.
    x : float
        Left edge, the names of the axis included.
    unit : {"mm", "inch"}
        Unit of the axes.
    """
    scale, window = paper_scale(scene.window_mm, side_mm)
    scene = replace(scene, window_mm=window)
    _lay_artwork(page, scene, x + _LEFT, page.y + _ABOVE, side_mm)

    def fill(ax: Axes) -> None:
        fill_group_axes(ax, scene, unit=unit, artwork=False, points=_NUMBERS)

    return _picture(page, fill, scale, side_mm=side_mm, x=x, unit=unit)


def match_picture(
    page: Page, scene: MatchScene, *, side_mm: float, x: float, unit: LengthUnit
) -> Drawn:
    """Draw kinds about one aim true to scale, as `group_picture` draws a group."""
    scale, window = paper_scale(scene.window_mm, side_mm)
    scene = replace(scene, window_mm=window)

    def fill(ax: Axes) -> None:
        fill_match_axes(ax, scene, unit=unit)

    return _picture(page, fill, scale, side_mm=side_mm, x=x, unit=unit)


def quiver_picture(
    page: Page, scene: QuiverScene, *, side_mm: float, x: float, unit: LengthUnit
) -> Drawn:
    """Draw numbered arrows true to scale, as `group_picture` draws a group."""
    scale, window = paper_scale(scene.window_mm, side_mm)
    scene = replace(scene, window_mm=window)

    def fill(ax: Axes) -> None:
        fill_quiver_axes(ax, scene, unit=unit, points=_NAMES, printable=page.printable)

    return _picture(page, fill, scale, side_mm=side_mm, x=x, unit=unit)


def _picture(
    page: Page,
    fill: Callable[[Axes], None],
    scale: float,
    *,
    side_mm: float,
    x: float,
    unit: LengthUnit,
) -> Drawn:
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(paper_style()):
        wide, tall = side_mm + PICTURE_EDGE, _ABOVE + side_mm + _BELOW
        figure = Figure(figsize=(wide / MM_PER_INCH, tall / MM_PER_INCH))
        ax = figure.add_axes((_LEFT / wide, _BELOW / tall, side_mm / wide, side_mm / tall))
        fill(ax)
        _, height = page.figure(figure, x)
        handles, words = ax.get_legend_handles_labels()
    bar = _scale_bar(page, scale, x + _LEFT, page.y + height, side_mm, unit)
    return Drawn(height + bar, tuple(zip(handles, words, strict=True)))


def draw_key(page: Page, drawn: Drawn, *, x: float, wide: float) -> float:
    """Draw the key of a picture at a place of its own; return the height that it takes, mm.

    A name too long for one line is cut; tables have it whole.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(paper_style()):
        tall = _KEY_ROW * len(drawn.key) + 1
        figure = Figure(figsize=(wide / MM_PER_INCH, tall / MM_PER_INCH))
        handles, words = zip(*drawn.key, strict=True)
        said = [page.printable(one).replace("\n", " ") for one in words]
        most = int((wide - 9) / 1.45)
        shown = figure.legend(
            handles, [one if len(one) <= most else one[: most - 1] + "…" for one in said],
            loc="upper left", bbox_to_anchor=(0, 1), frameon=False, fontsize=7, borderaxespad=0,
            borderpad=0, labelspacing=0.45, handletextpad=0.6, markerscale=0.8,
        )  # fmt: skip
        for text in shown.get_texts():
            text.set_parse_math(False)  # a "$" in a user's text must stay a "$"
        return page.figure(figure, x)[1]


def _scale_bar(
    page: Page, scale: float, x: float, y: float, side_mm: float, unit: LengthUnit
) -> float:
    """Draw a bar of round length on paper and say what it is on the target."""
    length, said = (50.8, "2 in") if unit == "inch" else (50.0, "50 mm")
    on_target = length * scale / (MM_PER_INCH if unit == "inch" else 1.0)
    pdf = page.pdf
    pdf.set_draw_color(20)
    pdf.set_line_width(0.3)
    pdf.line(x, y + 1.5, x + length, y + 1.5)
    for end in (x, x + length):
        pdf.line(end, y + 0.4, end, y + 2.6)
    ratio = f"1 : {scale:g}" if scale >= 1 else f"{1 / scale:g} : 1"
    words = (
        f"Scale {ratio}. Printed at 100 % the bar is {said} long: {on_target:.4g} "
        f"{'in' if unit == 'inch' else 'mm'} on the target."
    )
    return 3.6 + page.small(words, x, y + 3.6, side_mm) + 1.5


def _lay_artwork(page: Page, scene: Scene, x: float, y: float, side_mm: float) -> None:
    """Lay a sheet that is no rings under the axes: the part of it that the window shows."""
    from PIL import Image

    pale = pale_artwork(scene, "light")
    if pale is None:
        return
    picture, (left, right, bottom, top) = pale
    rows, columns = picture.shape[:2]
    per_x, per_y = columns / (right - left), rows / (top - bottom)
    w_left, w_right, w_bottom, w_top = scene.window_mm
    first = max(0, math.floor((w_left - left) * per_x)), max(0, math.floor((top - w_top) * per_y))
    last = (
        min(columns, math.ceil((w_right - left) * per_x)),
        min(rows, math.ceil((top - w_bottom) * per_y)),
    )
    if last[0] <= first[0] or last[1] <= first[1]:
        return
    cut = Image.fromarray(picture[first[1] : last[1], first[0] : last[0]])
    scale = (w_right - w_left) / side_mm
    at_x = x + (left + first[0] / per_x - w_left) / scale
    at_y = y + (w_top - (top - first[1] / per_y)) / scale
    wide = (last[0] - first[0]) / per_x / scale
    tall = (last[1] - first[1]) / per_y / scale
    with page.pdf.rect_clip(x=x, y=y, w=side_mm, h=side_mm):
        page.pdf.image(cut, x=at_x, y=at_y, w=wide, h=tall)
