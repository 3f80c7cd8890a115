"""Launch speed, drag and peep height from the groups of sessions at several distances."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from groupscan.decisions.pooling import distances_of, pooling_notes
from groupscan.decisions.rig_bench.air_and_drag import Air, drag_of
from groupscan.decisions.rig_bench.one_sight import (
    ONE_PIN,
    OWN_PINS,
    moved_warnings,
    off_curve_warning,
    other_peep_warning,
    seems_sighted,
)
from groupscan.decisions.rig_bench.pins import pins_to_frame
from groupscan.errors import RigError, TableError
from groupscan.rigs.fit import ANY_ARROW_PER_M, FlightFit, PredictedPins, fit_groups
from groupscan.rigs.sight import Sight, turning_distance

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench.known import KnownRig

__all__ = ["FitBench", "fit_of", "heights_of"]


@dataclass(frozen=True)
class FitBench:
    """What groups at several distances tell of a rig.

    Attributes
    ----------
    groups : DataFrame
        Of `heights_of`.
    fit : FlightFit
    pins : PredictedPins or None
        Pins with the fit's intervals; None where no sight radius is known.
    published_per_m : (float, float)
        The drag that publications give for this arrow, or for any.
    warnings : tuple of str
        Where the sight moved between the groups, or may have: to be shown first.
    notes : tuple of str
    """

    groups: pd.DataFrame
    fit: FlightFit
    pins: PredictedPins | None
    published_per_m: tuple[float, float]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]

    def pins_frame(self) -> pd.DataFrame:
        """Return the predicted pins: pin, distance_m, position_mm, low_mm, high_mm, gap_mm."""
        one = self.pins
        if one is None:
            return pins_to_frame(np.empty(0), np.empty(0)).iloc[:0]
        return pins_to_frame(one.distance_m, one.position_mm, one.low_mm, one.high_mm)


def heights_of(
    table: pd.DataFrame, *, pool: Literal["session", "distance"] = "session"
) -> pd.DataFrame:
    """Return the mean height of the shots of each session and distance.

    Parameters
    ----------
    table : DataFrame
        Shots as `groupscan.decisions.shot_table` gives them.
    pool : {'session', 'distance'}
        Whether each session is a group by itself, or all shots of a distance are one.

    Returns
    -------
    DataFrame
        Columns session, distance_m, shots, height_mm, se_mm (NaN of a single shot); nearest first.

    Raises
    ------
    TableError
        If shots have no distance.
    """
    distance = distances_of(table)
    if distance is None:
        raise TableError("the shots have no distance: the fit needs it of all")
    keys = ["session", "distance_m"] if pool == "session" else ["distance_m"]
    # Distances typed as 18.29 m and as 20 yd are one.
    rounded = table.assign(distance_m=distance.round(1), _far=distance)
    found = rounded.groupby(keys, sort=False).agg(
        distance=("_far", "mean"),
        shots=("high_mm", "size"),
        height_mm=("high_mm", "mean"),
        sd=("high_mm", "std"),
    )
    found = found.reset_index().drop(columns="distance_m").rename(
        columns={"distance": "distance_m"}
    )  # fmt: skip
    if pool == "distance":
        found["session"] = "all"
    found["se_mm"] = found["sd"] / np.sqrt(found["shots"])
    columns = ["session", "distance_m", "shots", "height_mm", "se_mm"]
    kept: pd.DataFrame = found[columns].sort_values(["distance_m"], kind="stable")
    return kept.reset_index(drop=True)


def fit_of(
    table: pd.DataFrame,
    known: KnownRig,
    air: Air,
    *,
    pool: Literal["session", "distance"] = "session",
    speed_mps: tuple[float, float] | None = None,
    peep_se_mm: float | None = None,
    pins_m: ArrayLike | None = None,
    head_area_mm2: float = 0.0,
) -> FitBench:
    """Fit launch speed, drag and peep height to a rig's groups, all aimed with one pin.

    Parameters
    ----------
    table : DataFrame
    known : KnownRig
        Mass and diameter give the published drag; sight radius the predicted pins.
    air : Air
    pool : {'session', 'distance'}
        As for `heights_of`.
    speed_mps : (float, float), optional
        Launch speed of a chronograph and its standard error.
    peep_se_mm : float, optional
        How well the rig's peep height was measured; left out: it is fitted without it.
    pins_m : array_like, optional
        Distances of pins to predict; left out: those shot, but for near ones whose pin would stand
        where that of a farther one does.
    head_area_mm2 : float, default 0

    Raises
    ------
    TableError, RigError
        If the shots cannot be pooled, or cannot tell what is asked.
    """
    notes = (ONE_PIN, *pooling_notes(table))
    groups = heights_of(table, pool=pool)
    published = ANY_ARROW_PER_M
    try:
        drag = drag_of(known, air, head_area_mm2=head_area_mm2)
        published = drag.low_per_m, drag.high_per_m
    except ValueError as err:
        notes += (f"The published drag of all usual arrows is taken, since {err}.",)
    peep = None
    if peep_se_mm is not None and known.peep_mm is not None:
        peep = known.peep_mm, peep_se_mm
    if seems_sighted(groups, known.peep_mm, speed_mps):
        # Whatever is known beside such groups, the curve through them is not the arrow's.
        raise RigError(OWN_PINS)
    fit = _fitted(groups, speed_mps, peep, published)
    pins = None
    if known.radius_mm is not None:
        at = _pins_of(groups, fit, known.radius_mm) if pins_m is None else pins_m
        pins = fit.pins(at, radius_mm=known.radius_mm)
    else:
        notes += ("No sight radius is known: no pins are predicted.",)
    if pool == "distance" and table["session"].nunique() > groups["distance_m"].nunique():
        notes += (
            "Sessions at one distance are pooled: what the sight or the archer changed between them"
            " counts as scatter of the arrows.",
        )
    if not math.isfinite(fit.lack_of_fit_p):
        notes += ("The groups are no more than the unknowns: nothing checks the curve.",)
    warnings = (
        *moved_warnings(table, heights_of(table)),
        *off_curve_warning(fit.lack_of_fit_p),
        *other_peep_warning(fit.peep_mm, None if peep is not None else known.peep_mm),
    )
    return FitBench(groups, fit, pins, published, warnings, (*notes, *fit.notes))


def _pins_of(groups: pd.DataFrame, fit: FlightFit, radius_mm: float) -> list[float]:
    """Return the distances shot, without those so near that a farther one has the same pin."""
    every = sorted(set(groups["distance_m"].round(2)))
    try:
        sight = Sight(fit.speed_mps.value, fit.drag_per_m.value, fit.peep_mm.value, radius_mm)
        turning = turning_distance(sight)
    except RigError:
        return every
    return [far for far in every if far >= turning] or every


def _fitted(
    groups: pd.DataFrame,
    speed_mps: tuple[float, float] | None,
    peep_mm: tuple[float, float] | None,
    published: tuple[float, float],
) -> FlightFit:
    return fit_groups(
        groups["distance_m"].to_numpy(float),
        groups["height_mm"].to_numpy(float),
        se_mm=groups["se_mm"].to_numpy(float),
        shots=groups["shots"].to_numpy(int),
        speed_mps=speed_mps,
        peep_mm=peep_mm,
        published_drag_per_m=published,
    )
