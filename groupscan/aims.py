"""Which aim a shot was meant for, where a sheet has several; and shots about their own aim.

Here below all rooms, because what is told of shots (groups, pictures, tables) and what is kept of
them (records that leave, and shots that come in again) must lay them over one another alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["about_aim", "aims_of_shots", "nearest_aims"]

_SAME_MM: Final = 1e-6


def nearest_aims(xy_mm: ArrayLike, aims_mm: ArrayLike) -> NDArray[np.float64]:
    """Return the aim that lies nearest to each shot.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
    aims_mm : (m, 2) array_like, mm
        At least one.

    Returns
    -------
    (n, 2) array, mm
        Of aims at the same distance, the one given first.

    Examples
    --------
    >>> nearest_aims([(9, 1), (-8, 0)], [(-10, 0), (10, 0)]).tolist()
    [[10.0, 0.0], [-10.0, 0.0]]
    """
    xy = np.asarray(xy_mm, float).reshape(-1, 2)
    aims = np.asarray(aims_mm, float).reshape(-1, 2)
    away = np.hypot(*(xy[:, np.newaxis] - aims).transpose(2, 0, 1))
    nearest: NDArray[np.float64] = aims[away.argmin(axis=1)]
    return nearest


def aims_of_shots(
    xy_mm: ArrayLike, aim_mm: tuple[float, float], aims_mm: Sequence[tuple[float, float]] = ()
) -> NDArray[np.float64]:
    """Return the aim that each shot of one scan was meant for.

    On a sheet with several printed aims a shot counts from its nearest, unless the shooter has
    set an aim of their own, off all the printed ones; then all shots count from that.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
        Shots on the sheet.
    aim_mm : tuple of float
        The scan's aim.
    aims_mm : sequence of tuple of float
        Aims printed on the sheet.

    Returns
    -------
    (n, 2) array, mm

    Examples
    --------
    >>> aims_of_shots([(9, 1), (-8, 0)], (-10.0, 0.0), [(-10.0, 0.0), (10.0, 0.0)]).tolist()
    [[10.0, 0.0], [-10.0, 0.0]]
    >>> aims_of_shots([(9, 1), (-8, 0)], (0.0, 5.0), [(-10.0, 0.0), (10.0, 0.0)]).tolist()
    [[0.0, 5.0], [0.0, 5.0]]
    """
    xy = np.asarray(xy_mm, float).reshape(-1, 2)
    printed = len(aims_mm) > 1 and any(math.dist(aim_mm, aim) < _SAME_MM for aim in aims_mm)
    return nearest_aims(xy, aims_mm if printed else [aim_mm])


def about_aim(
    shots: pd.DataFrame, *, aims_mm: Mapping[int, Sequence[tuple[float, float]]] | None = None
) -> pd.DataFrame:
    """Return the shots about their own aim, so that ends of different sheets can be pooled.

    Parameters
    ----------
    shots : DataFrame
        Rows as `groupscan.records.store.shots_frame` gives them.
    aims_mm : mapping, optional
        Aims printed on the sheet of each scan, by ``scan_id``; see `aims_of_shots`.

    Returns
    -------
    DataFrame
        The same rows with three columns more: ``right_mm`` and ``high_mm``, the position from
        the point of aim, and ``origin``, one of ``found``, ``moved`` (by hand) and ``added``.

    Examples
    --------
    >>> import pandas as pd
    >>> shots = pd.DataFrame({"x_mm": [3.0], "y_mm": [4.0], "aim_x_mm": [1.0], "aim_y_mm": [1.0],
    ...                       "auto_x_mm": [3.0], "auto_y_mm": [9.0]})
    >>> about_aim(shots)[["right_mm", "high_mm", "origin"]].to_dict("list")
    {'right_mm': [2.0], 'high_mm': [3.0], 'origin': ['moved']}
    """
    apart = (shots["x_mm"] - shots["auto_x_mm"]).abs() + (shots["y_mm"] - shots["auto_y_mm"]).abs()
    origin = apart.gt(_SAME_MM).map({True: "moved", False: "found"})
    xy = shots[["x_mm", "y_mm"]].to_numpy(float)
    aims = shots[["aim_x_mm", "aim_y_mm"]].to_numpy(float, copy=True)
    several = {key: printed for key, printed in (aims_mm or {}).items() if len(printed) > 1}
    ends = shots.groupby("scan_id").indices if several else {}
    for scan_id, printed in several.items():
        own = ends.get(scan_id, [])
        if len(own):
            aims[own] = aims_of_shots(xy[own], (aims[own[0], 0], aims[own[0], 1]), printed)
    return shots.assign(
        right_mm=shots["x_mm"] - aims[:, 0],
        high_mm=shots["y_mm"] - aims[:, 1],
        origin=origin.mask(shots["auto_x_mm"].isna(), "added").astype("string"),
    )
