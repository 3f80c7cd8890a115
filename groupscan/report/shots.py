"""The group of shots that were brought to one aim."""

from __future__ import annotations

from typing import TYPE_CHECKING

from groupscan.stats.group import Group, measure_group

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["group_of_shots"]


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
