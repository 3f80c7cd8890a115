"""One group, numbered arrows, reach, and the scatter to plan with."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from groupscan.decisions.pooling import (
    blocks_of,
    distances_of,
    labelled,
    one_distance,
    pooling_notes,
    xy_of,
)
from groupscan.errors import TableError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.stats.arrows.quiver import Quiver
    from groupscan.stats.group import Estimate, Group
    from groupscan.stats.reach import Reach

__all__ = ["arrows_of", "group_of", "reach_of", "scatter_of"]


def group_of(table: pd.DataFrame) -> tuple[Group, tuple[str, ...]]:
    """Measure all shots as one group of several ends.

    Returns
    -------
    Group
    tuple of str
        Notes.

    Raises
    ------
    TableError, StatisticsError
        If the shots cannot be pooled or measured.
    """
    from groupscan.report.shots import group_of_shots

    notes = pooling_notes(table)
    distance_m = one_distance(table)
    blocks, more = blocks_of(table)
    shots = table.assign(label=_called(table))
    if blocks is None:
        shots = shots.drop(columns=["scan_id", "auto_shared_se_mm"], errors="ignore")
    else:
        shots = shots.assign(scan_id=blocks)
    return group_of_shots(shots, distance_m=distance_m), notes + more


def arrows_of(table: pd.DataFrame, *, worth_mm: float | None) -> tuple[Quiver, tuple[str, ...]]:
    """Measure numbered arrows; see `groupscan.stats.arrows.measure_arrows`.

    Returns
    -------
    Quiver
    tuple of str
        Notes.

    Raises
    ------
    TableError, StatisticsError
        If no shot has an arrow's number, or the shots cannot be pooled.
    """
    from groupscan.stats.arrows import measure_arrows

    table, left_out = labelled(table, "arrow")
    notes = left_out + pooling_notes(table)
    one_distance(table)
    blocks, more = blocks_of(table)
    quiver = measure_arrows(
        xy_of(table),
        table["arrow"].tolist(),
        ends=None if blocks is None else blocks.tolist(),
        worth_mm=worth_mm,
    )
    return quiver, notes + more


def reach_of(
    table: pd.DataFrame, *, circle_mm: float, standard: float, at_m: Sequence[float] | None = None
) -> tuple[Reach, tuple[str, ...]]:
    """Measure how far out arrows can be trusted; see `groupscan.stats.reach.measure_reach`.

    Parameters
    ----------
    table : DataFrame
    circle_mm : float
        Diameter of the circle about the aim.
    standard : float
        Share of arrows that must land inside.
    at_m : sequence of float, optional
        Distances to tabulate, beside those measured.

    Returns
    -------
    Reach
    tuple of str
        Notes.

    Raises
    ------
    TableError, StatisticsError
        If shots have no distance or cannot be pooled.
    """
    from groupscan.stats.reach import measure_reach

    notes = pooling_notes(table)
    distance = distances_of(table)
    if distance is None:
        raise TableError(
            "the shots have no distance: fill in distance (such as 20 yd) or distance_m, or give "
            "--distance 20yd"
        )
    has_session = bool((table["session"] != "").all())
    at = None if at_m is None else sorted({*(float(d) for d in at_m), *distance.tolist()})
    reach = measure_reach(
        xy_of(table),
        distance,
        radius_mm=circle_mm / 2,
        standard=standard,
        group=table["session"].tolist() if has_session else None,
        at_m=at,
    )
    return reach, notes


def scatter_of(table: pd.DataFrame) -> tuple[Estimate, tuple[str, ...]]:
    """Return the scatter of a shot within ends and heads, per axis, to plan with.

    Returns
    -------
    Estimate
        Sigma, mm.
    tuple of str
        Notes.

    Raises
    ------
    TableError, StatisticsError
        If the shots cannot be pooled, or show no scatter.
    """
    group, _ = group_of(table.assign(end=table["end"] + "/" + table["head"], head=""))
    sigma = group.ends.within if group.ends is not None else group.sigma
    if not sigma.value > 0:
        raise TableError(
            "the shots show no scatter to plan with, which takes two shots or more of one head in "
            "an end: give it with --scatter, such as --scatter 18mm"
        )
    words = "within ends, each head by itself" if group.ends is not None else "of one group"
    return sigma, (f"Scatter from {group.n} shots, {words}.",)


def _called(table: pd.DataFrame) -> pd.Series[str]:
    """Call each shot by its session, where there are several, its end and its number."""
    count = (table.groupby(["session", "end"]).cumcount() + 1).astype(str)
    number = table["name"].where(table["name"] != "", count)
    end = table["end"].str.rpartition("/")[2]
    called = (end + ".").where(end != "", "") + number
    if len(table["session"].unique()) > 1:
        called = table["session"] + ": " + called
    return called
