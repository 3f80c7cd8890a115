"""The sheets that groupscan knows, read from ``catalogue.toml``, and sheets from users' files.

Sheet coordinates: mm, origin at the sheet's centre, x right, y up.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType

from groupscan.errors import SheetError
from groupscan.sheets.shapes import (
    FIDUCIAL_DICTIONARY,
    Box,
    Disc,
    Fiducial,
    Polygon,
    Ring,
    Sheet,
    Stroke,
    Words,
)
from groupscan.sheets.sheetfile import parse_sheet

__all__ = [
    "FIDUCIAL_DICTIONARY",
    "Box",
    "Disc",
    "Fiducial",
    "Polygon",
    "Ring",
    "Sheet",
    "Stroke",
    "Words",
    "get_sheet",
    "load_catalogue",
    "read_sheet_file",
    "sheet_of_marker",
]


@lru_cache(maxsize=1)
def _catalogue() -> MappingProxyType[str, Sheet]:
    text = files("groupscan.sheets").joinpath("catalogue.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    sheets = [parse_sheet(s, where="catalogue", zones=data["zones"]) for s in data["sheet"]]
    return MappingProxyType({sheet.id: sheet for sheet in sheets})


def load_catalogue() -> dict[str, Sheet]:
    """Return every built-in sheet by its id.

    Returns
    -------
    dict of str to Sheet
        In the catalogue's order; a fresh dictionary, so that adding to it harms nobody.

    Examples
    --------
    >>> sorted(load_catalogue())[:3]
    ['five-aims-a4', 'five-aims-letter', 'four-aims-a4']
    """
    return dict(_catalogue())


def get_sheet(sheet_id: str) -> Sheet:
    """Return one built-in sheet.

    Parameters
    ----------
    sheet_id : str
        Such as ``"ring-80"``.

    Returns
    -------
    Sheet

    Raises
    ------
    SheetError
        If no sheet has that id; the message lists the ids.

    References
    ----------
    The diameters and colours of the ring faces are those of the World Archery ten-zone faces as
    restated in Federation Francaise de Tir a l'Arc, *Reglements sportifs et arbitrage*,
    February 2022, II.1 art. B.2.1.

    Examples
    --------
    >>> face = get_sheet("ring-80")
    >>> face.rings[0].zone, face.rings[0].radius_mm
    ('1', 400.0)
    """
    sheets = _catalogue()
    if sheet_id not in sheets:
        known = ", ".join(sheets)
        raise SheetError(
            f'no sheet is called "{sheet_id}"; use one of {known}, or a sheet file (TOML)'
        )
    return sheets[sheet_id]


def sheet_of_marker(marker_id: int) -> Sheet | None:
    """Return the built-in sheet that carries a marker, or None.

    Parameters
    ----------
    marker_id : int
        Index in `FIDUCIAL_DICTIONARY`.

    Returns
    -------
    Sheet or None

    Examples
    --------
    >>> sheet_of_marker(36).id
    'four-aims-letter'
    >>> sheet_of_marker(500) is None
    True
    """
    for sheet in _catalogue().values():
        if any(marker.marker_id == marker_id for marker in sheet.fiducials):
            return sheet
    return None


def read_sheet_file(path: str | Path) -> Sheet:
    """Read a user's own sheet from a TOML file.

    Parameters
    ----------
    path : str or Path
        The file; its keys are those of one ``[[sheet]]`` in ``catalogue.toml``.

    Returns
    -------
    Sheet

    Raises
    ------
    SheetError
        If the file cannot be read, is not TOML, does not describe a sheet, or takes the id of a
        built-in sheet.

    Notes
    -----
    A sheet may have any mix of marks, and a photo of it is measured by all of them at once. With
    ``kind = "mixed"`` whichever are there will do; the other kinds demand theirs. Lengths are in
    mm, coordinates from the sheet's centre, x right, y up:

    - ``width_mm``, ``height_mm`` (or ``paper_size``): the paper.
    - ``grid_mm``: spacing of a square grid with a line through the centre each way.
    - ``rings``: zones about the centre, outermost first; ``zone``, ``diameter_mm``, ``fill``, and
      ``line`` with ``line_width_mm``, which lies inside the edge.
    - ``fiducials``: markers; ``marker_id``, ``x_mm``, ``y_mm``, ``side_mm``.
    - ``rectangles``: ``x_mm``, ``y_mm`` (the middle), ``width_mm``, ``height_mm``, ``fill`` or
      ``line`` with ``line_width_mm``, or both.
    - ``polygons``: ``corners_mm``, ``fill``.
    - ``discs``: ``x_mm``, ``y_mm``, ``radius_mm``, ``fill`` or ``line`` with ``line_width_mm``.
    - ``strokes``: ``ends_mm``, ``width_mm``, ``colour``.

    Rings are painted first, then polygons, rectangles, discs, strokes and words, then markers.

    Examples
    --------
    A frame and two spots, none of which the built-in sheets have:

    >>> text = '''
    ... id = "two-spots"
    ... title = "Two spots in a frame"
    ... kind = "mixed"
    ... width_mm = 300
    ... height_mm = 240
    ... rectangles = [{ width_mm = 260, height_mm = 200, line = "#202020", line_width_mm = 3 }]
    ... discs = [
    ...   { x_mm = -60, y_mm = 0, radius_mm = 35, fill = "#c03028" },
    ...   { x_mm = 60, y_mm = 0, radius_mm = 25, fill = "#3060b0" },
    ... ]
    ... aims_mm = [[-60, 0], [60, 0]]
    ... '''
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder, "spots.toml")
    ...     _ = file.write_text(text)
    ...     sheet = read_sheet_file(file)
    >>> len(sheet.aims_mm), sheet.kind
    (2, 'mixed')

    A grid of another pitch:

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder, "barn.toml")
    ...     _ = file.write_text('''
    ... id = "barn-door"
    ... title = "Grid on the barn door"
    ... kind = "grid"
    ... width_mm = 600
    ... height_mm = 900
    ... grid_mm = 50
    ... ''')
    ...     read_sheet_file(file).height_mm
    900.0
    """
    path = Path(path)
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as err:
        reason = err.strerror or str(err)
        raise SheetError(f"{path}: the sheet file cannot be read ({reason}); check it") from err
    except UnicodeDecodeError as err:
        raise SheetError(f"{path}: the sheet file is not UTF-8 text; save it as UTF-8") from err
    except tomllib.TOMLDecodeError as err:
        raise SheetError(f"{path}: the sheet file is not TOML ({err}); correct it") from err
    sheet = parse_sheet(values, where=str(path))
    if sheet.id in _catalogue():
        raise SheetError(f'{path}: "{sheet.id}" is the id of a built-in sheet; choose another "id"')
    return sheet
