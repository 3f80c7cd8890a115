"""What a sheet is made of: rings, markers and simple shapes, in millimetres.

All coordinates are sheet coordinates: origin at the sheet's centre, x right, y **up**. Shapes are
painted in the order given, so that a later one covers an earlier one. The same shapes are printed
(`groupscan.sheets.printable`) and expected in a photo (`groupscan.sheets.artwork`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FIDUCIAL_DICTIONARY",
    "Anchor",
    "Box",
    "Disc",
    "Fiducial",
    "Polygon",
    "Ring",
    "Shape",
    "Sheet",
    "SheetKind",
    "Stroke",
    "Words",
]

# The AprilTag family 36h11 (Olson 2011), by its name in OpenCV.
FIDUCIAL_DICTIONARY = "DICT_APRILTAG_36h11"

SheetKind: TypeAlias = Literal["rings", "fiducials", "paper", "grid", "known-length", "mixed"]
Anchor: TypeAlias = Literal["left", "middle", "right"]


@dataclass(frozen=True, slots=True)
class Ring:
    """One scoring zone, drawn as a full disc about the sheet's centre.

    The line, if there is one, lies wholly inside the disc's edge, as it lies wholly inside the
    higher-scoring zone on a face made to the rules.

    Attributes
    ----------
    zone : str
        The zone's name, such as ``"10"`` or ``"inner10"``.
    radius_mm : float
        Outer radius of the zone, mm.
    fill, line : str
        Colours as ``"#rrggbb"``; `line` is None where the rules want no dividing line.
    line_width_mm : float
        Width of the line, mm; 0 without a line.
    """

    zone: str
    radius_mm: float
    fill: str
    line: str | None
    line_width_mm: float


@dataclass(frozen=True, slots=True)
class Fiducial:
    """A square marker of the fiducial dictionary, upright on the sheet.

    Attributes
    ----------
    marker_id : int
        Index in the dictionary.
    x_mm, y_mm : float
        The marker's centre.
    side_mm : float
        Side of the black square, its one-cell black border included.
    """

    marker_id: int
    x_mm: float
    y_mm: float
    side_mm: float

    @property
    def corners_mm(self) -> NDArray[np.float64]:
        """Corners of the black square, (4, 2) mm: top left, top right, bottom right, bottom left.

        Examples
        --------
        >>> Fiducial(10, 0.0, 0.0, 20.0).corners_mm.tolist()
        [[-10.0, 10.0], [10.0, 10.0], [10.0, -10.0], [-10.0, -10.0]]
        """
        half = self.side_mm / 2
        turns = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]], dtype=np.float64)
        return np.array([self.x_mm, self.y_mm]) + half * turns


@dataclass(frozen=True, slots=True)
class Disc:
    """A disc, filled or only outlined; its line lies inside the edge."""

    x_mm: float
    y_mm: float
    radius_mm: float
    fill: str | None = None
    line: str | None = None
    line_width_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line with square ends that stop at its end points."""

    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float
    width_mm: float
    colour: str


@dataclass(frozen=True, slots=True)
class Polygon:
    """A filled polygon."""

    corners_mm: tuple[tuple[float, float], ...]
    fill: str


@dataclass(frozen=True, slots=True)
class Words:
    """One line of print; `(x_mm, y_mm)` is its anchor on the base line, `size_mm` the em."""

    x_mm: float
    y_mm: float
    text: str
    size_mm: float
    colour: str
    anchor: Anchor = "left"
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, for instance the room left for handwriting."""

    left_mm: float
    bottom_mm: float
    right_mm: float
    top_mm: float


Shape: TypeAlias = Disc | Stroke | Polygon | Words


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of the catalogue: its true size and everything printed on it.

    Attributes
    ----------
    id : str
        The sheet's name on the command line and in the records.
    title : str
        A few plain words.
    kind : {"rings", "fiducials", "paper", "grid", "known-length", "mixed"}
        Which marks give the scale; mixed: any that the sheet has.
    width_mm, height_mm : float
        Size of the paper; 0 where it is not known (kind ``known-length``).
    aims_mm : tuple of (float, float)
        Points of aim.
    paper : str
        Colour of the bare paper, ``"#rrggbb"``.
    rings : tuple of Ring
        Scoring zones about the sheet's centre, outermost first.
    fiducials : tuple of Fiducial
        Markers.
    shapes : tuple of Disc, Stroke, Polygon or Words
        Further print, in the order of painting, over the rings and under the markers.
    grid_mm : float or None
        Spacing of a square grid with a line through the centre each way.
    grid_line, grid_line_width_mm : str, float
        Colour and width of the grid's lines.
    writing : tuple of Box
        Rooms for handwriting: ink is expected there.
    notes : str
        What a user should know.
    """

    id: str
    title: str
    kind: SheetKind
    width_mm: float
    height_mm: float
    aims_mm: tuple[tuple[float, float], ...] = ((0.0, 0.0),)
    paper: str = "#ffffff"
    rings: tuple[Ring, ...] = ()
    fiducials: tuple[Fiducial, ...] = ()
    shapes: tuple[Shape, ...] = ()
    grid_mm: float | None = None
    grid_line: str = "#8d8f92"
    grid_line_width_mm: float = 0.5
    writing: tuple[Box, ...] = ()
    notes: str = ""

    @property
    def corners_mm(self) -> NDArray[np.float64]:
        """Corners of the paper, (4, 2) mm: top left, top right, bottom right, bottom left."""
        half = np.array([self.width_mm, self.height_mm]) / 2
        turns = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]], dtype=np.float64)
        return half * turns
