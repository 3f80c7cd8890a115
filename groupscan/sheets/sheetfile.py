"""From TOML to a `Sheet`: one strict reader for the built-in catalogue and for users' files.

Nothing is guessed and nothing is ignored: an unknown key, a wrong type or an impossible size is a
`SheetError` that names the sheet, the key and the remedy.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import get_args

from groupscan.errors import SheetError
from groupscan.sheets.layout import PAPER_SIZES_MM, compose
from groupscan.sheets.prints import prints_of
from groupscan.sheets.shapes import (
    Anchor,
    Box,
    Disc,
    Fiducial,
    Polygon,
    Ring,
    Shape,
    Sheet,
    SheetKind,
    Stroke,
    Words,
)
from groupscan.sheets.tables import Table

__all__ = ["MARKER_COUNT", "parse_sheet"]

# Number of codes in the AprilTag family 36h11 (Olson 2011).
MARKER_COUNT = 587

_IDENTIFIER = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def parse_sheet(
    values: object, *, where: str, zones: Mapping[str, Mapping[str, list[str]]] | None = None
) -> Sheet:
    """Read one sheet from a parsed TOML table, and check it.

    Parameters
    ----------
    values : mapping
        The table.
    where : str
        How messages call the table, such as the file's name.
    zones : mapping, optional
        Named zone tables of the catalogue, which the key ``zones`` may refer to.

    Returns
    -------
    Sheet

    Raises
    ------
    SheetError
        If a key is missing, unknown, of the wrong type, or describes an impossible sheet.

    Examples
    --------
    >>> sheet = parse_sheet(
    ...     {"id": "barn-door", "title": "Barn door", "kind": "grid",
    ...      "width_mm": 600, "height_mm": 900, "grid_mm": 50},
    ...     where="barn.toml")
    >>> sheet.width_mm, sheet.grid_mm, sheet.aims_mm
    (600.0, 50.0, ((0.0, 0.0),))
    """
    table = Table(values, where)
    identifier = table.text("id")
    if not _IDENTIFIER.fullmatch(identifier):
        raise table.fail("id", "must be lower-case letters, digits and single hyphens")
    table.where = f'{where}, sheet "{identifier}"'
    kind = table.text("kind")
    if kind not in get_args(SheetKind):
        raise table.fail("kind", f"must be one of {', '.join(get_args(SheetKind))}")
    width, height = _paper(table, kind)
    sheet = Sheet(
        id=identifier,
        title=table.text("title"),
        kind=kind,  # type: ignore[arg-type]
        width_mm=width,
        height_mm=height,
        aims_mm=table.points("aims_mm") or ((0.0, 0.0),),
        paper=table.colour("paper", "#ffffff"),
        rings=_rings(table, zones or {}),
        fiducials=_fiducials(table),
        shapes=_shapes(table),
        grid_mm=table.positive("grid_mm") if table.has("grid_mm") else None,
        grid_line=table.colour("grid_line", "#8d8f92"),
        grid_line_width_mm=table.number("grid_line_width_mm", 0.5, least=0.0),
        writing=_boxes(table),
        notes=table.text("notes", ""),
    )
    if table.has("layout"):
        sheet = _composed(table, sheet)
    table.finish()
    _check(sheet, table.where)
    return sheet


def _paper(table: Table, kind: str) -> tuple[float, float]:
    if table.has("paper_size"):
        size = table.text("paper_size")
        if size not in PAPER_SIZES_MM:
            raise table.fail("paper_size", f"must be one of {', '.join(PAPER_SIZES_MM)}")
        return PAPER_SIZES_MM[size]
    if kind == "known-length":
        return table.number("width_mm", 0.0, least=0.0), table.number("height_mm", 0.0, least=0.0)
    return table.positive("width_mm"), table.positive("height_mm")


def _rings(table: Table, zones: Mapping[str, Mapping[str, list[str]]]) -> tuple[Ring, ...]:
    rings = []
    for row in table.tables("rings"):
        line = row.colour("line") if row.has("line") else None
        rings.append(
            Ring(
                zone=row.text("zone"),
                radius_mm=row.positive("diameter_mm") / 2,
                fill=row.colour("fill"),
                line=line,
                line_width_mm=row.positive("line_width_mm") if line else 0.0,
            )
        )
        row.finish()
    if table.has("zones"):
        rings += _zone_rings(table, zones)
    radii = [ring.radius_mm for ring in rings]
    if any(b >= a for a, b in pairwise(radii)):
        raise SheetError(f"{table.where}: rings must come outermost first, each one smaller")
    return tuple(rings)


def _zone_rings(table: Table, zones: Mapping[str, Mapping[str, list[str]]]) -> list[Ring]:
    name = table.text("zones")
    if name not in zones:
        raise table.fail("zones", f"must be one of {', '.join(zones) or '(none here)'}")
    zone = zones[name]
    diameters = table.items("diameters_mm")
    if len(diameters) != len(zone["names"]):
        raise table.fail("diameters_mm", f"must have {len(zone['names'])} diameters")
    width = table.positive("line_width_mm")
    return [
        Ring(label, diameter / 2, fill, line or None, width if line else 0.0)
        for label, fill, line, diameter in zip(
            zone["names"], zone["fills"], zone["lines"], diameters, strict=True
        )
    ]


def _fiducials(table: Table) -> tuple[Fiducial, ...]:
    markers = []
    for row in table.tables("fiducials"):
        markers.append(
            Fiducial(
                row.whole("marker_id"),
                row.number("x_mm"),
                row.number("y_mm"),
                row.positive("side_mm"),
            )
        )
        row.finish()
    return tuple(markers)


def _shapes(table: Table) -> tuple[Shape, ...]:
    shapes: list[Shape] = []
    for row in table.tables("polygons"):
        corners = row.points("corners_mm")
        if len(corners) < 3:
            raise row.fail("corners_mm", "must have three or more corners")
        shapes.append(Polygon(corners, row.colour("fill")))
        row.finish()
    for row in table.tables("rectangles"):
        shapes += _rectangle(row)
        row.finish()
    for row in table.tables("discs"):
        fill = row.colour("fill") if row.has("fill") else None
        line = row.colour("line") if row.has("line") else None
        width = row.positive("line_width_mm") if line else 0.0
        shapes.append(
            Disc(
                row.number("x_mm"), row.number("y_mm"), row.positive("radius_mm"), fill, line, width
            )
        )
        row.finish()
    for row in table.tables("strokes"):
        ends = row.points("ends_mm")
        if len(ends) != 2:
            raise row.fail("ends_mm", "must have two ends")
        (x0, y0), (x1, y1) = ends
        shapes.append(Stroke(x0, y0, x1, y1, row.positive("width_mm"), row.colour("colour")))
        row.finish()
    if table.has("centre_cross_mm"):
        half = table.positive("centre_cross_mm") / 2
        # Strokes of at most 1 mm by 4 mm on a face made to the rules.
        shapes.append(Stroke(-half, 0.0, half, 0.0, 0.4, "#1f1f1f"))
        shapes.append(Stroke(0.0, -half, 0.0, half, 0.4, "#1f1f1f"))
    for row in table.tables("words"):
        anchor = row.text("anchor", "left")
        if anchor not in get_args(Anchor):
            raise row.fail("anchor", f"must be one of {', '.join(get_args(Anchor))}")
        shapes.append(
            Words(
                row.number("x_mm"),
                row.number("y_mm"),
                row.text("text"),
                row.positive("size_mm"),
                row.colour("colour", "#1f1f1f"),
                anchor,  # type: ignore[arg-type]
            )
        )
        row.finish()
    return tuple(shapes)


def _rectangle(row: Table) -> list[Shape]:
    """Read an upright rectangle: filled, or with a line inside its edge, or both."""
    x, y = row.number("x_mm", 0.0), row.number("y_mm", 0.0)
    w, h = row.positive("width_mm") / 2, row.positive("height_mm") / 2
    shapes: list[Shape] = []
    if row.has("fill"):
        corners = ((x - w, y + h), (x + w, y + h), (x + w, y - h), (x - w, y - h))
        shapes.append(Polygon(corners, row.colour("fill")))
    if row.has("line"):
        colour, width = row.colour("line"), row.positive("line_width_mm")
        u, v = w - width / 2, h - width / 2
        for way in (1, -1):
            shapes.append(Stroke(x - w, y + way * v, x + w, y + way * v, width, colour))
            shapes.append(Stroke(x + way * u, y - h, x + way * u, y + h, width, colour))
    if not shapes:
        raise SheetError(f'{row.where}: a rectangle needs a "fill" or a "line"; add one')
    return shapes


def _boxes(table: Table) -> tuple[Box, ...]:
    boxes = []
    for row in table.tables("writing"):
        box = Box(
            row.number("left_mm"),
            row.number("bottom_mm"),
            row.number("right_mm"),
            row.number("top_mm"),
        )
        if box.left_mm >= box.right_mm or box.bottom_mm >= box.top_mm:
            raise SheetError(f"{row.where}: left must be less than right, bottom less than top")
        row.finish()
        boxes.append(box)
    return tuple(boxes)


def _composed(table: Table, sheet: Sheet) -> Sheet:
    page = compose(
        table.text("layout"),
        title=sheet.title,
        sheet_id=sheet.id,
        size_mm=(sheet.width_mm, sheet.height_mm),
        marker_base=table.whole("marker_base"),
    )
    return replace(
        sheet,
        aims_mm=page.aims_mm,
        fiducials=page.fiducials,
        shapes=page.shapes,
        writing=page.writing,
    )


def _check(sheet: Sheet, where: str) -> None:
    """Refuse what cannot stand on the paper or cannot give a scale."""
    if sheet.kind == "rings" and not sheet.rings:
        raise SheetError(f"{where}: a sheet of kind rings needs [[rings]]; add them")
    if sheet.kind == "grid" and sheet.grid_mm is None:
        raise SheetError(f'{where}: a sheet of kind grid needs "grid_mm"; add it')
    if sheet.kind == "fiducials" and not sheet.fiducials:
        raise SheetError(f"{where}: a sheet of kind fiducials needs [[fiducials]]; add them")
    if sheet.kind == "mixed" and not (sheet.fiducials or sheet.grid_mm or prints_of(sheet)):
        raise SheetError(
            f"{where}: a sheet of kind mixed needs something to measure by; add rings, discs, "
            "rectangles, fiducials or grid_mm"
        )
    ids = [marker.marker_id for marker in sheet.fiducials]
    for marker_id in ids:
        if not 0 <= marker_id < MARKER_COUNT:
            raise SheetError(
                f"{where}: marker_id must lie between 0 and {MARKER_COUNT - 1}, got {marker_id}"
            )
    if len(set(ids)) != len(ids):
        raise SheetError(f"{where}: each marker_id may stand only once, got {ids}")
    if sheet.width_mm == 0 or sheet.height_mm == 0:
        return
    half = sheet.corners_mm.max(axis=0)
    if sheet.rings and sheet.rings[0].radius_mm > half.min():
        raise SheetError(f"{where}: the outer ring does not fit on the paper")
    for marker in sheet.fiducials:
        if (abs(marker.corners_mm) > half).any():
            raise SheetError(f"{where}: marker {marker.marker_id} does not fit on the paper")
    for x, y in sheet.aims_mm:
        if abs(x) > half[0] or abs(y) > half[1]:
            raise SheetError(f"{where}: the aim ({x:g}, {y:g}) does not lie on the paper")
