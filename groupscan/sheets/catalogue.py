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

    Examples
    --------
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
