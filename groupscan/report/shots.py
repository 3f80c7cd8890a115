"""Shots of one end or of several, brought to one aim; and tables that are safe to open."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.stats.aims import nearest_aims
from groupscan.stats.group import Group, measure_group

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["about_aim", "aims_of_shots", "csv_bytes", "group_of_shots"]

_SAME_MM: Final = 1e-6
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


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
    origin = apart.gt(1e-6).map({True: "moved", False: "found"})
    aims = shots[["aim_x_mm", "aim_y_mm"]].to_numpy(float, copy=True)
    for scan_id, printed in (aims_mm or {}).items():
        own = shots["scan_id"].eq(scan_id).to_numpy(bool)
        if own.any():
            xy = shots.loc[own, ["x_mm", "y_mm"]].to_numpy(float)
            aims[own] = aims_of_shots(xy, (aims[own][0, 0], aims[own][0, 1]), printed)
    return shots.assign(
        right_mm=shots["x_mm"] - aims[:, 0],
        high_mm=shots["y_mm"] - aims[:, 1],
        origin=origin.mask(shots["auto_x_mm"].isna(), "added").astype("string"),
    )


def group_of_shots(shots: pd.DataFrame, *, distance_m: float | None = None) -> Group:
    """Measure the group of shots that `about_aim` brought to one aim.

    Raises
    ------
    StatisticsError
        If there is no shot.

    Notes
    -----
    Shots of several photos are those of several ends. A shot is called by its ``label`` where it
    has one, else by its ``number``. What the sheet's own error does to all shots of one photo is
    no part of their scatter; of several photos it is.
    """
    se_mm = _own_se_mm(shots)
    return measure_group(
        shots[["right_mm", "high_mm"]].to_numpy(float),
        se_mm=None if se_mm.isna().any() else se_mm.to_numpy(float),
        distance_m=distance_m,
        ends=shots["scan_id"].tolist() if "scan_id" in shots else None,
        names=shots["label" if "label" in shots else "number"].tolist(),
    )


def _own_se_mm(shots: pd.DataFrame) -> pd.Series[float]:
    """Take from shots' standard errors what they share, where they are one photo's."""
    se_mm = shots["se_mm"]
    if "auto_shared_se_mm" not in shots or len(shots["scan_id"].unique()) != 1:
        return se_mm
    shared = shots["auto_shared_se_mm"].where(se_mm == shots["auto_se_mm"]).fillna(0.0)
    return ((se_mm**2 - shared**2).clip(lower=0.0)) ** 0.5


def csv_bytes(table: pd.DataFrame) -> bytes:
    r"""Return a table as CSV that no spreadsheet takes for formulas.

    Text that begins with ``=``, ``+``, ``-``, ``@``, a tab or a line end gets an apostrophe in
    front; numbers stay as they are. The file starts with a byte order mark, by which Excel knows
    UTF-8.

    References
    ----------
    OWASP Foundation, "CSV Injection".

    Examples
    --------
    >>> import pandas as pd
    >>> csv_bytes(pd.DataFrame({"arrow": ["=1+1", "A7"], "x_mm": [-2.5, 1.0]})).decode("utf-8-sig")
    "arrow,x_mm\r\n'=1+1,-2.5\r\nA7,1.0\r\n"
    """

    def defused(cell: object) -> object:
        if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
            return "'" + cell
        return cell

    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype.kind not in "biufM":
            safe[name] = safe[name].astype(object).map(defused)
    safe.columns = [defused(str(name)) for name in safe.columns]
    text: str = safe.to_csv(index=False, lineterminator="\r\n")
    return text.encode("utf-8-sig")
