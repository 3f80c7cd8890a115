"""Where the names of holes stand, so that none hides a hole or another name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from groupscan.report.scene import Scene

__all__ = ["PLACES", "Place", "gap_of", "label_places", "place_labels"]

#: A place beside a hole: across and up, each -1, 0 or 1.
Place = tuple[int, int]

#: In the order in which they are tried: a name is looked for up and to the right.
PLACES: Final[tuple[Place, ...]] = (
    *((1, 1), (1, -1), (-1, 1), (-1, -1)),
    *((1, 0), (-1, 0), (0, 1), (0, -1)),
)

# Of a sans-serif's digits, as shares of the size of type: how wide one is and how tall.
_WIDE: Final = 0.56
_TALL: Final = 0.75


def gap_of(mark: float) -> float:
    """Return how far a name stands from the middle of a mark so wide, as Plotly sets it."""
    return mark / 1.6 + 1


def place_labels(
    holes: NDArray[np.float64],
    labels: Sequence[str],
    others: NDArray[np.float64],
    window: tuple[float, float, float, float],
    *,
    side: float,
    font: float,
    mark: float,
) -> list[Place | None]:
    """Find a place beside each hole for its name.

    Parameters
    ----------
    holes : ndarray, shape (n, 2)
    labels : sequence of str
        Their names.
    others : ndarray, shape (m, 2)
        Marks that are no holes and must be seen as well.
    window : tuple of float
        Left, right, bottom and top of what is shown, in the unit of the places.
    side : float
        How wide the picture is, in pixels or points.
    font, mark : float
        The size of type and the width of a mark, in the same.

    Returns
    -------
    list of Place or None
        None where every place would hide something: that hole goes without.

    Examples
    --------
    >>> two = np.array([[0.0, 0.0], [4.0, 3.0]])
    >>> none, window = np.empty((0, 2)), (-50.0, 50.0, -50.0, 50.0)
    >>> place_labels(two, ["1", "2"], none, window, side=400, font=12, mark=10)
    [(1, -1), (1, 1)]
    """
    left, right, bottom, top = window
    scale = side / (right - left)
    marks = (np.vstack((holes, others)) - (left, bottom)) * scale
    limit = (side, (top - bottom) * scale)
    # Where it is crowded there are the fewest places: these are found first.
    crowd = (np.abs(marks[:, None, :2] - marks[None]).max(axis=2) < 4 * font).sum(axis=1)
    found: list[Place | None] = [None] * len(holes)
    taken = np.empty((0, 4))
    for i in np.argsort(-crowd[: len(holes)], kind="stable"):
        for place in PLACES:
            box = _box(marks[i], place, len(labels[i]), font, mark)
            inside = (box[:2] >= 0).all() and box[2] <= limit[0] and box[3] <= limit[1]
            seen = np.delete(marks, i, axis=0)
            squares = np.hstack((seen - mark / 2, seen + mark / 2))
            if inside and not _touch(box, squares) and not _touch(box, taken):
                found[i], taken = place, np.vstack((taken, box))
                break
    return found


def _box(
    at: NDArray[np.float64], place: Place, letters: int, font: float, mark: float
) -> NDArray[np.float64]:
    """Return left, bottom, right and top of a name."""
    size = np.array((_WIDE * font * letters, _TALL * font))
    away = np.array(place)
    middle = at + away * (gap_of(mark) + size / 2)
    return np.hstack((middle - size / 2, middle + size / 2))


def _touch(box: NDArray[np.float64], boxes: NDArray[np.float64]) -> bool:
    return bool(((box[:2] < boxes[:, 2:]) & (boxes[:, :2] < box[2:])).all(axis=1).any())


def label_places(scene: Scene, *, side: float, font: float, mark: float) -> list[Place | None]:
    """Find places for the names of a group's holes, clear of its centre and its aim.

    Parameters
    ----------
    scene : Scene
    side, font, mark : float
        As `place_labels` takes them.
    """
    centre = scene.group.centre
    return place_labels(
        scene.shots[["right_mm", "high_mm"]].to_numpy(float),
        [str(label) for label in scene.shots["label"]],
        np.array([(0.0, 0.0), (centre.x.value, centre.y.value)]),
        scene.window_mm,
        side=side,
        font=font,
        mark=mark,
    )
