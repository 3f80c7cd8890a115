"""What there is to find in a photo, by the truth beside it, and what a scan claims."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Floats", "Found", "TruePlane", "Truth", "found_in", "read_truth", "sheet_id_of"]

Floats = NDArray[np.float64]

SHEETS = {
    "letter": "plain-letter",
    "a4": "plain-a4",
    "grid": "inch-grid",
    "butt": "known-length",
}
BLADES = {"cut2": 2, "cut3": 3, "cut4": 4}
CUTS = {"two-blade": 2, "three-blade": 3, "four-blade": 4}


@dataclass(frozen=True)
class TruePlane:
    """The best plane of a sheet, and the lens, as the truth gives them."""

    homography: Floats
    focal_px: float
    centre_px: Floats
    k1: float

    def to_mm(self, px: ArrayLike) -> Floats:
        """Return the sheet's mm at pixels, (n, 2)."""
        offset = (np.asarray(px, float).reshape(-1, 2) - self.centre_px) / self.focal_px
        # Seen = true * (1 + k1 true^2), solved by iteration: k1 r^2 is a few per cent at most.
        true = offset
        for _ in range(20):
            true = offset / (1.0 + self.k1 * (true**2).sum(axis=1, keepdims=True))
        pinhole = (true * self.focal_px + self.centre_px)[:, None, :]
        inverse = np.linalg.inv(self.homography)
        return np.asarray(cv2.perspectiveTransform(pinhole, inverse)).reshape(-1, 2)

    def length_mm(self, start_px: ArrayLike, end_px: ArrayLike) -> float:
        """Return the true length between two pixels."""
        start, end = self.to_mm(np.vstack([start_px, end_px]))
        return float(np.linalg.norm(end - start))


@dataclass(frozen=True)
class Truth:
    """The true holes of one photo; those under a patch are already left out.

    Attributes
    ----------
    xy_mm, xy_px : (n, 2) array
        Where they are, on the flat sheet and in the upright photo.
    diameter_mm : (n,) array
        Opening of each hole.
    hidden : (n,) array of bool
        Behind an arrow: to find it is right, to miss it is no fault.
    mm_per_px : float
        True scale at the sheet's centre; NaN where it is not known.
    blades : (n,) array of int
        How many blades cut the hole; 0 for a field point.
    blade_mm, blade_angle_deg : (n,) arrays
        Cutting diameter, and direction of one blade; NaN where not given.
    arrow : (n,) array of bool
        Whether the arrow still stands in it.
    plane : TruePlane or None
    """

    xy_mm: Floats
    xy_px: Floats
    diameter_mm: Floats
    hidden: NDArray[np.bool_]
    mm_per_px: float = float("nan")
    blades: NDArray[np.int_] = field(default_factory=lambda: np.empty(0, int))
    blade_mm: Floats = field(default_factory=lambda: np.empty(0))
    blade_angle_deg: Floats = field(default_factory=lambda: np.empty(0))
    arrow: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, bool))
    plane: TruePlane | None = None


@dataclass(frozen=True)
class Found:
    """The holes that a scan reported, in the same axes as the truth.

    Attributes
    ----------
    xy_mm : (m, 2) array
    se_mm : (m,) array
        Standard error per axis.
    mm_per_px : float
        Scale at the scan's origin.
    confidence : (m,) array
    blades : (m,) array of int
        How many blades the scan says cut the hole; 0 for a round one.
    blade_mm, blade_angle_deg : (m,) arrays
        NaN where the scan gives none.
    arrow : (m,) array of bool
        Whether the scan says that an arrow stands in it.
    """

    xy_mm: Floats
    se_mm: Floats
    mm_per_px: float = float("nan")
    confidence: Floats = field(default_factory=lambda: np.empty(0))
    blades: NDArray[np.int_] = field(default_factory=lambda: np.empty(0, int))
    blade_mm: Floats = field(default_factory=lambda: np.empty(0))
    blade_angle_deg: Floats = field(default_factory=lambda: np.empty(0))
    arrow: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, bool))


def sheet_id_of(truth: dict[str, Any]) -> str:
    """Return the catalogue's name of the sheet in a truth file.

    Examples
    --------
    >>> sheet_id_of({"sheet": "ring_80"}), sheet_id_of({"sheet": "a4"})
    ('ring-80', 'plain-a4')
    """
    if truth.get("sheet_id"):
        return str(truth["sheet_id"])
    return SHEETS.get(truth["sheet"], str(truth["sheet"]).replace("_", "-"))


def read_truth(document: dict[str, Any], *, new_only: bool = False) -> Truth:
    """Read the truth of one photo; ``new_only`` keeps shots that an earlier photo lacks."""
    holes = [hole for hole in document["holes"] if hole.get("state") != "patched"]
    if new_only:
        holes = [hole for hole in holes if hole.get("new")]

    def column(read: Callable[[dict[str, Any]], Any], kind: type = float) -> NDArray[Any]:
        values = [read(hole) for hole in holes]
        return np.array([np.nan if value is None else value for value in values], dtype=kind)

    return Truth(
        xy_mm=column(lambda h: (h["x_mm"], h["y_mm"])).reshape(-1, 2),
        xy_px=column(lambda h: (h["x_px"], h["y_px"])).reshape(-1, 2),
        diameter_mm=column(lambda h: h.get("hole_mm") or h["shaft_mm"]),
        hidden=column(lambda h: bool(h.get("behind_arrow")), bool),
        mm_per_px=float(document.get("mm_per_px_at_centre", np.nan)),
        blades=column(lambda h: BLADES.get(h.get("point", "round"), 0), int),
        blade_mm=column(lambda h: h.get("cut_mm")),
        blade_angle_deg=column(lambda h: h.get("blade_angle_deg", h.get("cut_angle_deg"))),
        arrow=column(lambda h: h.get("state") == "arrow_in", bool),
        plane=_plane(document),
    )


def found_in(scan: Any) -> Found:
    """Return what a scan claims; a hole that it calls patched is no claim of an open one."""
    holes = [hole for hole in scan.holes if hole.state != "patched"]

    def column(name: str) -> NDArray[Any]:
        values = [getattr(hole, name) for hole in holes]
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    return Found(
        xy_mm=np.column_stack([column("x_mm"), column("y_mm")]),
        se_mm=column("se_mm"),
        mm_per_px=float(scan.scale.mm_per_px),
        confidence=column("confidence"),
        blades=np.array([CUTS.get(hole.cut, 0) for hole in holes], dtype=int),
        blade_mm=column("blade_mm"),
        blade_angle_deg=column("blade_angle_deg"),
        arrow=np.array([hole.state == "arrow" for hole in holes], dtype=bool),
    )


def _plane(document: dict[str, Any]) -> TruePlane | None:
    camera, plane = document.get("camera"), document.get("mm_to_px")
    if not camera or not plane:
        return None
    return TruePlane(
        homography=np.array(plane["homography"], float),
        focal_px=float(camera["f_px"]),
        centre_px=np.array([camera["cx"], camera["cy"]], float),
        k1=float(camera["k1"]),
    )
