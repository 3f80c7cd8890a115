"""Scale from a strip of six alternating blocks, 300 mm long, lying on any face.

The strip gives the scale. The tilt comes from the strip's own perspective and from round spots on
the same face; how well they tell it is carried into every place's standard error.
"""

from __future__ import annotations

import numpy as np

from groupscan.photo.marks.block_edges import Edges, measure_edges
from groupscan.photo.marks.blocks import find_rows, may_show_row, reduced
from groupscan.photo.marks.slant import Slant, fit_slant
from groupscan.photo.marks.spots import find_spots
from groupscan.photo.plane import Floats, Marks, fit_plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet

__all__ = ["BLOCK_MM", "find"]

BLOCK_MM = 50.0
"""Length of a block: scale bars of 50 mm blocks are common in photography (no source)."""

#: Diameters of spots that are aimed at, as shares of the strip's length: 25 to 250 mm.
_LEAST_SPOT, _MOST_SPOT = 0.08, 0.85
#: A plane known worse than this is said to be taken as about square on, radians.
_WORST_TILT = np.radians(4.0)
#: Places per side of the grid that carries the plane on, and how far beyond what was measured it
#: reaches, as a share of the strip's length.
_GRID, _BEYOND = 6, 0.35


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find a block strip and the slant of the face that it lies on.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet, optional
        The face, where the person says which.

    Returns
    -------
    Marks or None
        None where no strip is in view, or the sheet has marks of its own. The origin is the
        strip's middle, and up is the photo's up there.
        The middles of the short edges are marks as seen; the others carry on the plane that all
        edges and spots together gave, each with what is not known of it for its error.

    Notes
    -----
    The strip must have six blocks, which are taken to be 50 mm long each; its height is free.
    Spots may have any size. Where neither tells the tilt the face is taken to be about square on,
    give or take 12 degrees, and the notes say so.
    """
    if sheet is not None and sheet.kind != "known-length":
        return None
    if sheet is None and not may_show_row(photo):
        return None
    small = reduced(photo)
    edges: Edges | None = None
    for homography in find_rows(small):
        seen = measure_edges(photo, homography, slack_px=1.2 * small.shrink + 2.0)
        # A block's worth of dark ground can pass for a block; it has fewer edges.
        if seen is not None and (edges is None or len(seen.px) > len(edges.px)):
            edges = seen
    if edges is None:
        return None
    ends = _ends(edges)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    spots = find_spots(photo, small, least_px=_LEAST_SPOT * length, most_px=_MOST_SPOT * length)
    slant = fit_slant(
        edges,
        spots,
        block_mm=BLOCK_MM,
        image_size=photo.size,
        focal_px=photo.focal_px,
        default_focal_px=_default_focal(photo, ends),
    )
    return _marks(photo, edges, spots, slant, "known-length" if sheet is None else sheet.id)


def _ends(edges: Edges) -> Floats:
    q = np.array([[0, 0, 1], [6, 0, 1.0]]) @ edges.homography.T
    return np.asarray(q[:, :2] / q[:, 2:])


def _default_focal(photo: Photo, ends: Floats) -> float:
    """Focal length that a plane in this photo is given, where the photo does not tell it."""
    apart = np.array([[-3.0, 0.0], [3.0, 0.0]]) * BLOCK_MM
    two = Marks("known-length", points_mm=apart, points_px=ends, points_se_px=np.ones(2))
    return fit_plane(two, image_size=photo.size, focal_px=photo.focal_px).focal_px


def _marks(photo: Photo, edges: Edges, spots: list[Floats], slant: Slant, sheet_id: str) -> Marks:
    seen_mm, seen_px, seen_se = _short_edges(edges, slant)
    grid_px = _grid(photo, edges, spots)
    grid_mm = slant.to_mm(grid_px)
    # The places share few unknowns, so many of them must not make the plane surer than it is.
    share = (len(grid_mm) + len(seen_mm)) / 4.0
    grid_se, plane_se = _place_se(slant, grid_mm, share), _place_se(slant, seen_mm, share)
    turn = _photo_up(slant)
    start = slant.homography.copy()
    start[:, :2] = start[:, :2] @ turn.T
    return Marks(
        source="known-length",
        sheet=sheet_id,
        points_mm=np.vstack([seen_mm, grid_mm]) @ turn.T,
        points_px=np.vstack([seen_px, grid_px]),
        points_se_px=np.concatenate([np.hypot(seen_se, plane_se), grid_se]),
        start=start,
        start_k1=slant.k1,
        notes=_notes(slant),
    )


def _short_edges(edges: Edges, slant: Slant) -> tuple[Floats, Floats, Floats]:
    """Middles of the short edges: sheet mm along the strip, pixels, standard errors."""
    mm, px, se = [], [], []
    for k in range(7):
        mine = (edges.axis == 0) & (edges.level == k)
        if mine.sum() < 4:
            continue
        middle = edges.px[mine].mean(axis=0)
        near = slant.to_mm(np.stack([middle, middle + [1.0, 0], middle + [0, 1.0]]))
        px_per_mm = 1 / float(np.linalg.norm(near[1:, 0] - near[0, 0]))
        bleed = float(edges.bright[mine][0]) * slant.params[9] * px_per_mm**-1
        mm.append([(k - 3) * BLOCK_MM - bleed, near[0, 1]])
        px.append(middle)
        se.append(float(np.median(edges.se_px[mine])) / 2)
    return np.array(mm), np.array(px), np.array(se)


def _grid(photo: Photo, edges: Edges, spots: list[Floats]) -> Floats:
    """Places over and around all that was measured, inside the photo, (n, 2) px."""
    ends = _ends(edges)
    beyond = _BEYOND * float(np.linalg.norm(ends[1] - ends[0]))
    known = np.vstack([edges.px, *spots])
    low = np.maximum(known.min(axis=0) - beyond, 0)
    high = np.minimum(known.max(axis=0) + beyond, np.array(photo.size) - 1.0)
    x, y = np.meshgrid(np.linspace(low[0], high[0], _GRID), np.linspace(low[1], high[1], _GRID))
    return np.column_stack([x.ravel(), y.ravel()])


def _place_se(slant: Slant, mm: Floats, share: float) -> Floats:
    """Tell how well places are known in the photo, px, for one of `share` like ones."""
    px, covariance = slant.to_px(mm)
    variance = np.trace(covariance, axis1=1, axis2=2) / 2
    # Near square on, lengths do not change with the tilt but with its square: 1 - cos. Of a
    # tilt t about the strip with standard error s, t^2 / 2 is 0.87 s^2 in the root mean square.
    beyond = np.linalg.norm(slant.to_px(mm * [1.0, 1.01])[0] - px, axis=1) * 100
    variance = variance + (0.87 * slant.tilt_se_rad**2 * beyond) ** 2 / 2
    return np.asarray(np.sqrt(share * variance + 0.05**2))


def _photo_up(slant: Slant) -> Floats:
    """Rotation from the strip's axes to those with the photo's up at the strip's middle."""
    near = slant.to_px(np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]]))[0]
    jacobian = np.column_stack([near[1] - near[0], near[3] - near[2]])
    up = np.linalg.solve(jacobian, np.array([0.0, -1.0]))
    up /= np.linalg.norm(up)
    return np.array([[up[1], -up[0]], [up[0], up[1]]])


def _notes(slant: Slant) -> tuple[str, ...]:
    notes = ["Scale from a block strip, taken to be six blocks of 50 mm."]
    doubt = slant.tilt_se_rad
    if doubt > _WORST_TILT:
        off = 100 * (np.tan(slant.tilt_rad) * doubt + doubt**2 / 2)
        notes.append(
            f"The face's tilt is only known to {np.degrees(doubt):.0f}°, so it was taken to be "
            f"about square on: lengths across the strip may be {off:.0f} % off. Photograph it "
            "square on, or with round spots or the whole strip nearer."
        )
    return tuple(notes)
