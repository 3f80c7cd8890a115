"""How the printable sheets are composed: markers, aims, check bar, words and writing room.

Eight markers stand in two columns, four on each side, so that the aims have the whole middle of the
page, and any two markers may be shot through: the remaining ones still span the sheet's length.
All ink keeps 10 mm from the paper's edge, which every common printer can reach.

Identity: the markers of one sheet carry the ids ``marker_base + 0`` to ``marker_base + 7``, down
the left column (0 to 3) and then down the right one (4 to 7). `marker_base` is a multiple of ten,
one for each sheet and paper, so the tens of any one readable marker name the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from groupscan.errors import SheetError
from groupscan.sheets.shapes import Box, Disc, Fiducial, Polygon, Shape, Stroke, Words

__all__ = [
    "CHECK_BAR_MM",
    "LAYOUTS",
    "MARKER_SIDE_MM",
    "PAPER_SIZES_MM",
    "PRINTER_MARGIN_MM",
    "Page",
    "compose",
]

# ISO 216 (A4) and ANSI/ASME Y14.1 (A, "Letter": 8.5 x 11 in).
PAPER_SIZES_MM: dict[str, tuple[float, float]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
PRINTER_MARGIN_MM = 10.0
MARKER_SIDE_MM = 20.0
CHECK_BAR_MM = 100.0

# Every fill is lighter than two thirds grey, so that a hole is always the darkest thing near it;
# the aim still stands out by hue: warm lozenge on a cool dial.
DIAL = "#dcebe6"
DIAL_RIM = "#eef5f2"
LOZENGE = "#f7c897"
CORE = "#fff7ec"
INK = "#2d5f66"
TEXT = "#26383b"

_MARKER_INSET_MM = 12.0


@dataclass(frozen=True, slots=True)
class Page:
    """What a layout puts on the paper."""

    aims_mm: tuple[tuple[float, float], ...]
    fiducials: tuple[Fiducial, ...]
    shapes: tuple[Shape, ...]
    writing: tuple[Box, ...]


def compose(
    layout: str, *, title: str, sheet_id: str, size_mm: tuple[float, float], marker_base: int
) -> Page:
    """Compose one printable page.

    Parameters
    ----------
    layout : str
        One of `LAYOUTS`.
    title, sheet_id : str
        Printed at the head and the foot.
    size_mm : (float, float)
        Width and height of the paper.
    marker_base : int
        Id of the first of the eight markers.

    Returns
    -------
    Page

    Raises
    ------
    SheetError
        If the layout is not known.

    Examples
    --------
    >>> page = compose("four-aims", title="Four aims", sheet_id="x", size_mm=(210.0, 297.0),
    ...                marker_base=40)
    >>> len(page.aims_mm), [marker.marker_id for marker in page.fiducials]
    (4, [40, 41, 42, 43, 44, 45, 46, 47])
    """
    if layout not in LAYOUTS:
        known = ", ".join(LAYOUTS)
        raise SheetError(f'layout "{layout}" is not known; use one of {known}')
    aims, middle = LAYOUTS[layout]()
    half_w, half_h = size_mm[0] / 2, size_mm[1] / 2
    frame, writing = _frame(half_w, half_h, title=title, sheet_id=sheet_id, advice=_ADVICE[layout])
    return Page(
        aims_mm=aims,
        fiducials=_markers(half_w, half_h, marker_base),
        shapes=tuple(middle) + tuple(frame),
        writing=writing,
    )


def _markers(half_w: float, half_h: float, base: int) -> tuple[Fiducial, ...]:
    x = half_w - _MARKER_INSET_MM - MARKER_SIDE_MM / 2
    y = half_h - _MARKER_INSET_MM - MARKER_SIDE_MM / 2
    places = [(side * x, y * down) for side in (-1, 1) for down in (1, 1 / 3, -1 / 3, -1)]
    return tuple(Fiducial(base + k, px, py, MARKER_SIDE_MM) for k, (px, py) in enumerate(places))


def _dial(x: float, y: float, radii: tuple[float, ...], lozenge: float) -> list[Shape]:
    """One aim: a cool dial with thin rings, a warm lozenge, and an open core with a cross."""
    outer = radii[-1]
    shapes: list[Shape] = [Disc(x, y, outer, DIAL_RIM, INK, 0.35)]
    shapes.append(Disc(x, y, radii[-2], DIAL, INK, 0.3))
    shapes.append(
        Polygon(((x, y + lozenge), (x + lozenge, y), (x, y - lozenge), (x - lozenge, y)), LOZENGE)
    )
    shapes += [Disc(x, y, r, None, INK, 0.3) for r in radii[:-2]]
    core = 0.3 * lozenge
    shapes.append(Disc(x, y, core, CORE, INK, 0.3))
    cross = 0.5 * core
    shapes.append(Stroke(x - cross, y, x + cross, y, 0.3, INK))
    shapes.append(Stroke(x, y - cross, x, y + cross, 0.3, INK))
    # Ticks on the four sides lead the eye and a level to the axes.
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        a, b = radii[-2], outer
        shapes.append(Stroke(x + dx * a, y + dy * a, x + dx * b, y + dy * b, 0.6, INK))
    return shapes


def _one_aim() -> tuple[tuple[tuple[float, float], ...], list[Shape]]:
    shapes = _dial(0.0, 0.0, (20.0, 40.0, 60.0), 28.0)
    for r, label in ((40.0, "40"), (60.0, "60 mm")):
        shapes.append(Words(r - 1.2, 1.2, label, 2.6, INK, "right"))
    return ((0.0, 0.0),), shapes


def _many(
    places: tuple[tuple[float, float], ...], radii: tuple[float, ...], lozenge: float
) -> tuple[tuple[tuple[float, float], ...], list[Shape]]:
    shapes: list[Shape] = []
    for k, (x, y) in enumerate(places, start=1):
        shapes += _dial(x, y, radii, lozenge)
        reach = radii[-1] * 0.78
        shapes.append(Words(x - reach, y + reach, f"{k}", 5.0, INK, "right", True))
    return places, shapes


def _four_aims() -> tuple[tuple[tuple[float, float], ...], list[Shape]]:
    places = ((-36.0, 50.0), (36.0, 50.0), (-36.0, -50.0), (36.0, -50.0))
    return _many(places, (10.0, 20.0, 30.0), 15.0)


def _five_aims() -> tuple[tuple[tuple[float, float], ...], list[Shape]]:
    places = ((-42.0, 62.0), (42.0, 62.0), (0.0, 0.0), (-42.0, -62.0), (42.0, -62.0))
    return _many(places, (8.0, 16.0, 24.0), 12.0)


def _plumb_line() -> tuple[tuple[tuple[float, float], ...], list[Shape]]:
    top, bottom, aim_y = 98.0, -98.0, 60.0
    shapes: list[Shape] = [
        Polygon(((-10.0, top), (10.0, top), (10.0, bottom), (-10.0, bottom)), DIAL_RIM)
    ]
    for x in (-40.0, -20.0, 20.0, 40.0):
        shapes.append(Stroke(x, bottom, x, top, 0.25, INK))
        shapes.append(Words(x, bottom - 4.2, f"{abs(x):.0f}", 2.6, INK, "middle"))
    shapes.append(Stroke(0.0, bottom, 0.0, top, 0.5, INK))
    # The rungs count the drop from the aim, 10 mm each and a longer one at every 50 mm.
    for step in range(-3, 16):
        half, y = (4.0 if step % 5 == 0 else 2.0), aim_y - 10.0 * step
        shapes.append(Stroke(-half, y, half, y, 0.25, INK))
    shapes += _dial(0.0, aim_y, (8.0, 16.0, 24.0), 12.0)
    return ((0.0, aim_y),), shapes


LAYOUTS = {
    "one-aim": _one_aim,
    "four-aims": _four_aims,
    "five-aims": _five_aims,
    "plumb-line": _plumb_line,
}

_ADVICE = {
    "one-aim": "Shoot one group at the aim.",
    "four-aims": "Shoot a few arrows at each aim; the group is pooled about the aims.",
    "five-aims": "Each aim is a block: shoot every head or build once at it, in a new order.",
    "plumb-line": "Hang the sheet so that a plumb line falls along the long line; aim at the dial.",
}


def _frame(
    half_w: float, half_h: float, *, title: str, sheet_id: str, advice: str
) -> tuple[list[Shape], tuple[Box, ...]]:
    """Head with title and writing room, foot with check bar, instructions and cautions."""
    reach = half_w - _MARKER_INSET_MM - MARKER_SIDE_MM - 5.0
    shapes: list[Shape] = []
    y = half_h - 17.5
    shapes.append(Words(-reach, y, title, 7.0, TEXT, "left", True))
    shapes.append(Words(reach, y, sheet_id, 3.0, INK, "right"))
    y -= 12.5
    span = 2 * reach
    writing: list[Box] = []
    left = -reach
    for label, share, indent in (("Date", 0.27, 8.5), ("Rig", 0.40, 6.5), ("Distance", 0.33, 14.0)):
        right = left + share * span
        shapes.append(Words(left, y, label, 3.0, TEXT))
        shapes.append(Stroke(left + indent, y - 0.6, right - 2.5, y - 0.6, 0.25, TEXT))
        writing.append(Box(left + indent, y - 3.0, right - 2.5, y + 8.0))
        left = right
    shapes += _check_bar(-half_h + 31.5)
    foot = (
        advice,
        "Print at 100 % (actual size). The bar must measure 100 mm; if not, print again.",
        "Photograph the whole sheet, flat and square on, without flash.",
        "Shoot only with a checked backstop and a clear range.",
        "Broadheads cut. Inspect shafts and never shoot a cracked one.",
    )
    for k, text in enumerate(foot):
        shapes.append(Words(0.0, -half_h + 25.6 - 3.5 * k, text, 2.7, TEXT, "middle"))
    return shapes, tuple(writing)


def _check_bar(y: float) -> list[Shape]:
    """Draw a bar of 10 mm blocks; the outer sides of its two end ticks are 100 mm apart."""
    half, tick = CHECK_BAR_MM / 2, 0.4
    shapes: list[Shape] = [_block(-half, half, y, 1.0, TEXT)]
    for k in range(1, 10, 2):
        left = -half + 10.0 * k
        shapes.append(_block(left, left + 10.0, y, 0.65, "#ffffff"))
    for side in (-1, 1):
        x = side * (half - tick / 2)
        shapes.append(Stroke(x, y - 2.2, x, y + 2.2, tick, TEXT))
    shapes.append(Words(half + 1.8, y - 1.0, "100 mm", 2.7, TEXT))
    return shapes


def _block(left: float, right: float, y: float, half: float, fill: str) -> Polygon:
    corners = ((left, y - half), (right, y - half), (right, y + half), (left, y + half))
    return Polygon(corners, fill)
