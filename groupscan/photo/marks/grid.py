"""Scale from a printed grid: its crossings, hundreds of them, which tell the lens as well.

A first piece of the grid is found anywhere on the sheet and grown, crossing by crossing, until the
lines end. Which crossing is the centre follows from where they end, and from the paper's edges
where not all of them are in the photo.
"""

from __future__ import annotations

import numpy as np

from groupscan.photo.marks.growth import Grid, grow
from groupscan.photo.marks.lattice import find_seed, place
from groupscan.photo.pixels import read_at
from groupscan.photo.plane import Floats, Marks
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet, get_sheet

__all__ = ["find"]

#: Standard error of one crossing, px: print, paper and pixels (found on renders; no source).
_SE_PX = 0.15
#: Lightness just outside the paper against that inside, past which its edge is there.
_EDGE = 0.08
#: By how many lines the best centre must fit better than the next.
_SURE = 0.8


def find(photo: Photo, *, sheet: Sheet | None = None) -> Marks | None:
    """Find a printed square grid and measure its crossings.

    Parameters
    ----------
    photo : Photo
    sheet : Sheet, optional
        The grid sheet, where the person says which; left out, the catalogue's inch grid.

    Returns
    -------
    Marks or None
        Crossings as points; None where no such grid is in view.

    Notes
    -----
    Up is the photo's up to the nearest turn that takes the sheet onto itself: a quarter turn for a
    square sheet, else a half turn.

    Examples
    --------
    >>> from groupscan.sheets.artwork import draw_artwork
    >>> picture = draw_artwork(get_sheet("inch-grid"), px_per_mm=2.0)
    >>> marks = find(Photo("grid", picture))
    >>> marks.sheet, len(marks.points_mm)
    ('inch-grid', 361)
    """
    if sheet is not None and sheet.grid_mm is None:
        return None
    known = sheet if sheet is not None else get_sheet("inch-grid")
    assert known.grid_mm is not None
    seed = find_seed(photo)
    if seed is None:
        return None
    line = max(known.grid_line_width_mm, 0.2) / known.grid_mm
    grid = grow(photo, seed, line=line, most=max(_lines_of(known)))
    if grid is None:
        return None
    indexed = _index(photo, grid, known, named=sheet is not None)
    if indexed is None:
        return None
    centre, turn, notes = indexed
    use = grid.seen
    mm = (grid.nodes[use] - centre) @ turn.T * known.grid_mm
    inner = (np.abs(mm) <= [known.width_mm / 2, known.height_mm / 2]).all(axis=1)
    mm, px = mm[inner], place(grid.matrix, (grid.nodes + grid.off)[use][inner])
    return Marks(
        source="grid",
        sheet=known.id,
        points_mm=mm,
        points_px=px,
        points_se_px=np.full(len(mm), _SE_PX),
        notes=notes,
    )


def _lines_of(sheet: Sheet) -> tuple[int, int]:
    """How many lines cross the sheet's width and its height."""
    assert sheet.grid_mm is not None
    across, up = (int(size / 2 / sheet.grid_mm) for size in (sheet.width_mm, sheet.height_mm))
    return 2 * across + 1, 2 * up + 1


def _index(
    photo: Photo, grid: Grid, sheet: Sheet, *, named: bool
) -> tuple[Floats, Floats, tuple[str, ...]] | None:
    """Which crossing is the sheet's centre, and how the grid is turned on it."""
    counts = _lines_of(sheet)
    turns = [np.eye(2)]
    if sheet.width_mm != sheet.height_mm:
        turns.append(np.array([[0.0, 1.0], [-1.0, 0.0]]))
    best: tuple[float, Floats, Floats, bool] | None = None
    for turn in turns:
        need = counts if turn[0, 0] else counts[::-1]
        size = np.array([sheet.width_mm, sheet.height_mm]) / (sheet.grid_mm or 1.0)
        half = (size if turn[0, 0] else size[::-1]) / 2
        centre, merit, sure = np.zeros(2), 0.0, True
        for axis in range(2):
            at, score, clear = _centre(photo, grid, axis, need[axis], float(half[axis]))
            centre[axis], merit, sure = at, merit + score, sure and clear
        if best is None or merit > best[0]:
            best = merit, centre, turn, sure
    assert best is not None
    merit, centre, turn, sure = best
    # Half of the lines missing, or as many too many: another grid.
    if not named and merit < 0.5 * sum(counts):
        return None
    if sure:
        return centre, turn, ()
    return (
        centre,
        turn,
        (
            "Which crossing of the grid is its centre is a guess: not all lines are in the photo, "
            "nor the paper's edges. Show the whole sheet.",
        ),
    )


def _centre(
    photo: Photo, grid: Grid, axis: int, count: int, half: float
) -> tuple[int, float, bool]:
    """Find the middle line across an axis: lines are there inside the paper and none outside.

    Returns the line, by how many lines it fits, and whether no other fits as well.
    """
    there, beside = grid.there(axis), grid.there(1 - axis)
    if not there.any():
        return 0, -float(count), False
    lines = np.arange(len(there)) + int(grid.low[axis])
    could = grid.in_photo.sum(axis=1 - axis) >= 3
    other = np.flatnonzero(beside) + int(grid.low[1 - axis])
    reach = count // 2
    middles = range(int(lines[there].max()) - reach - 2, int(lines[there].min()) + reach + 3)
    scores: dict[int, float] = {}
    for middle in middles:
        inside = np.abs(lines - middle) <= reach
        agree = (there & inside).sum() - (there & ~inside).sum() - (could & ~there & inside).sum()
        scores[middle] = float(agree)
    # The paper's edges settle what the lines leave open.
    for middle in [m for m in scores if scores[m] >= max(scores.values()) - 4 and len(other)]:
        for way in (-1, 1):
            across = int(other.min()), int(other.max())
            end = middle + half * way
            scores[middle] += 2.0 * _edge_share(photo, grid, axis, end, way, across)
    if not scores:
        return 0, -float(count), False
    order = sorted(scores, key=lambda middle: -scores[middle])
    sure = len(order) < 2 or scores[order[0]] - scores[order[1]] > _SURE
    return order[0], scores[order[0]], sure


def _edge_share(
    photo: Photo, grid: Grid, axis: int, end: float, way: int, across: tuple[int, int]
) -> float:
    """Share of a line across the grid that is an edge from light paper to something darker."""
    along = np.linspace(across[0], across[1], 24)
    levels = []
    width, height = photo.size
    for off in (-0.3, -0.2, 0.2, 0.3):
        at = np.empty((len(along), 2))
        at[:, axis], at[:, 1 - axis] = end + way * off, along
        px = place(grid.matrix, at)
        inside = np.asarray(((px >= 0) & (px <= [width - 1, height - 1])).all(axis=-1))
        seen = read_at(photo.rgb, px).min(axis=-1)
        levels.append(np.where(inside, seen.astype(float), np.nan))
    inner, outer = np.minimum(*levels[:2]), np.minimum(*levels[2:])
    fall = (inner - outer) / (inner + 8.0)
    return float(np.mean(np.nan_to_num(fall) > _EDGE))
