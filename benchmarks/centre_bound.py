"""How near the disc fit comes to the best that is possible.

``python -m benchmarks.centre_bound`` draws clean discs as a camera shows them (edge blurred by a
Gaussian, white noise, whole grey levels), measures them with the scan's own disc fit, and sets the
spread of the centres against the Cramer-Rao bound, below which no unbiased estimate can fall:

    se >= (noise / contrast) sqrt(2 b sqrt(pi) / (pi r))

for each axis, b being the blur and r the radius in pixels. The bound follows from the Fisher
information of a blurred edge (A. Gatherer, The Cramer-Rao bound for discrete-time edge position,
Stanford CSL-TR-93-560, 1993, has the edge; the sum over a disc's rim was derived here). For circles
fitted to points on them see Al-Sharadqah and Chernov, Electronic Journal of Statistics 3 (2009).
Finer photos gain nothing more: from about 4 micrometres on, the steps of the light that the scan
expects decide. Torn paper is no clean disc: this says what the fit itself adds, not how right a
hole's place is.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from groupscan.photo.expected import flatten, with_hole_level
from groupscan.photo.holes.discs import fit_discs, polish
from groupscan.photo.plane import Plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet

__all__ = ["CASES", "Case", "bound", "measure"]

Floats = NDArray[np.float64]

_RADIUS_MM = 2.6  # of a usual hole
_GUESS_MM = 2.9  # what a candidate says of its radius
_CELL_PX = 61
_SIDE = 8  # discs along one side of a picture
_PAPER = 200.0


@dataclass(frozen=True)
class Case:
    """A disc as a camera shows it: grey levels and pixels."""

    contrast: float
    noise: float
    blur_px: float
    radius_px: float


CASES = (
    Case(100, 2, 0.8, 5),
    Case(100, 2, 0.8, 10),
    Case(100, 5, 0.8, 10),
    Case(100, 2, 1.5, 10),
    Case(60, 3, 1.0, 8),
    Case(150, 2, 0.8, 3),
)


def bound(case: Case) -> float:
    """Cramer-Rao bound of a disc's centre, per axis, px.

    Examples
    --------
    >>> round(bound(Case(100, 2, 0.8, 5)), 6)
    0.008498
    """
    share = 2 * case.blur_px * np.sqrt(np.pi) / (np.pi * case.radius_px)
    return float(case.noise / case.contrast * np.sqrt(share))


def measure(case: Case, *, discs: int = 256, seed: int = 0) -> tuple[Floats, Floats]:
    """Draw discs, measure them, and give the errors of their centres.

    Parameters
    ----------
    case : Case
    discs : int
        At least so many.
    seed : int

    Returns
    -------
    errors : (n, 2) array, px
    radii : (n,) array, px
    """
    rng = np.random.default_rng(seed)
    errors, radii = [], []
    while sum(map(len, errors)) < discs:
        off, radius = _one_picture(case, rng)
        errors.append(off)
        radii.append(radius)
    return np.vstack(errors), np.concatenate(radii)


def _one_picture(case: Case, rng: np.random.Generator) -> tuple[Floats, Floats]:
    cell = max(_CELL_PX, round(6 * case.radius_px))
    side = cell * _SIDE
    middle = (np.arange(_SIDE) + 0.5) * cell
    centres = np.stack(np.meshgrid(middle, middle), -1).reshape(-1, 2)
    centres = centres + rng.uniform(-1, 1, centres.shape)
    y, x = np.mgrid[:side, :side]
    own = (y // cell) * _SIDE + x // cell
    away = np.hypot(x - centres[own, 0], y - centres[own, 1])
    # An edge nearly straight over the blur; the disc's own curvature moves no centre.
    grey = _PAPER - case.contrast * ndtr((case.radius_px - away) / case.blur_px)
    grey = np.clip(np.rint(grey + rng.normal(0, case.noise, grey.shape)), 0, 255)
    photo = Photo("drawn", np.repeat(grey.astype(np.uint8)[..., None], 3, axis=2))
    scale = _RADIUS_MM / case.radius_px
    plane = _square_on(side, scale)
    size = side * scale
    flat = flatten(photo, plane, Sheet("blank", "blank", "fiducials", size, size))
    flat = with_hole_level(flat, 1 - case.contrast / _PAPER)
    start = centres + rng.normal(0, 0.1 * case.radius_px, centres.shape)
    spots = np.column_stack([plane.to_mm(start), np.full(len(start), _GUESS_MM)])
    fits = fit_discs(photo, plane, flat, spots)
    fits = polish(photo, plane, flat, fits, np.ones(len(spots), bool))
    return plane.to_px(fits.centre_mm) - centres, fits.radius_mm / scale


def _square_on(side: int, scale: float) -> Plane:
    """Return the plane of a camera square on: `scale` mm a pixel, origin in the middle."""
    middle = (side - 1) / 2
    homography = np.array([[1 / scale, 0, middle], [0, -1 / scale, middle], [0, 0, 1.0]])
    return Plane(
        homography=homography,
        k1=0.0,
        focal_px=1.2 * side,
        image_size=(side, side),
        covariance=np.zeros((9, 9)),
        residual_px=0.0,
        inlier_share=1.0,
        line_width_mm=0.0,
        source="corners",
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Print the table."""
    print("contrast  noise  blur px  radius px  bound px  spread px  ratio  bias px  radius px")
    for case in CASES:
        errors, radii = measure(case)
        spread = float(np.sqrt((errors**2).mean()))
        least = bound(case)
        bias = float(np.hypot(*errors.mean(axis=0)))
        print(
            f"{case.contrast:8.0f}  {case.noise:5.0f}  {case.blur_px:7.1f}  {case.radius_px:9.0f}"
            f"  {least:8.4f}  {spread:9.4f}  {spread / least:5.2f}  {bias:7.4f}"
            f"  {np.median(radii):9.3f}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
