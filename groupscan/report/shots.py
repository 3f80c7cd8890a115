"""The group of shots that were brought to one aim, and the sheet that lies under them."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from groupscan.errors import SheetError
from groupscan.sheets.catalogue import Sheet, get_sheet
from groupscan.stats.group import Group, measure_group

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Under", "group_of_shots", "sheet_under"]


_SAME_AIM_MM = 0.01  # as they are printed, to a hundredth


@dataclass(frozen=True)
class Under:
    """The sheet under a group.

    Attributes
    ----------
    sheet : Sheet or None
    aim_mm : tuple of float
        Point of aim in the sheet's own coordinates; of several that are laid over one another,
        the first.
    reach_mm : float
        How far about that aim the sheet is what every shot was shot at: with several aims as far
        as half way to the next.
    """

    sheet: Sheet | None = None
    aim_mm: tuple[float, float] = (0.0, 0.0)
    reach_mm: float = math.inf


def sheet_under(shots: pd.DataFrame, sheets: Collection[str]) -> Under:
    """Return the sheet to draw under shots that were brought to one aim.

    Parameters
    ----------
    shots : DataFrame
        As `groupscan.aims.about_aim` returns them.
    sheets : collection of str
        The sheets of their ends; there is one to draw only where all are the same.
    """
    if len(set(sheets)) != 1:
        return Under()
    name = next(iter(sheets))
    try:
        sheet = get_sheet(name) if name else None
    except SheetError:  # a sheet of the shooter's own: its file is not kept here
        return Under()
    if sheet is None or sheet.width_mm <= 0:
        return Under()
    on_sheet = shots[["x_mm", "y_mm"]].to_numpy(float)
    aims = np.unique(np.round(on_sheet - shots[["right_mm", "high_mm"]].to_numpy(float), 6), axis=0)
    first = (float(aims[0, 0]), float(aims[0, 1]))
    if len(aims) == 1:
        return Under(sheet, first)
    printed = np.asarray(sheet.aims_mm, float).reshape(-1, 2)
    apart = np.hypot(*(aims[:, None] - printed[None]).transpose(2, 0, 1))
    if not len(printed) or apart.min(axis=1).max() > _SAME_AIM_MM:
        return Under()  # aims of the shooter's own: what lies about them is not alike
    between = np.hypot(*(printed[:, None] - printed[None]).transpose(2, 0, 1))
    return Under(sheet, first, float(between[between > 0].min()) / 2)


def group_of_shots(shots: pd.DataFrame, *, distance_m: float | None = None) -> Group:
    """Measure the group of shots that `groupscan.aims.about_aim` brought to one aim.

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
