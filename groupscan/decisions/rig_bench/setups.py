"""Two rigs or two builds side by side: what is computed, and what was measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from groupscan.decisions.pooling import distances_of
from groupscan.decisions.questions import reach_of
from groupscan.decisions.rig_bench.air_and_drag import Drag
from groupscan.decisions.rig_bench.flights import NO_LICENCE
from groupscan.decisions.rig_bench.scatter import RigScatter, scatter_mrad_of
from groupscan.errors import GroupscanError
from groupscan.rigs.build import ArrowFigures, measure_arrow
from groupscan.rigs.flight import fly, sight_angle
from groupscan.rigs.sight import pin_positions
from groupscan.stats.intervals import Estimate, mean_interval
from groupscan.units import distance_text

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.rig_bench.known import KnownRig
    from groupscan.rigs.given import Array

__all__ = ["Measured", "Side", "SideBySide", "measured_of", "side_by_side", "side_of"]

_CONFIDENCE: Final = 0.95
UNKNOWN: Final = Estimate(math.nan)


@dataclass(frozen=True)
class Measured:
    """What the records say of a rig or a build.

    Attributes
    ----------
    shots, sessions : int
    scatter : RigScatter or None
        None where the shots cannot say.
    right_mrad, high_mrad : Estimate
        Where the middle of the shots lies from the aim, mrad; the interval is over sessions, or
        over shots where there is one session.
    reach_m : Estimate
        `low` is the reach to rely on; NaN where the shots cannot say.
    notes : tuple of str
    """

    shots: int
    sessions: int
    scatter: RigScatter | None
    right_mrad: Estimate
    high_mrad: Estimate
    reach_m: Estimate
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Side:
    """One of the two.

    Attributes
    ----------
    name : str
    figures : ArrowFigures
    speed_mps : float
        NaN where not known, and with it all that hangs on it.
    pins_m, position_mm, drift_mm : (d,) array
        Distances; where the pins belong, mm below the peep's line; what the wind moves there.
    measured : Measured or None
    notes : tuple of str
    """

    name: str
    figures: ArrowFigures
    speed_mps: float
    pins_m: Array
    position_mm: Array
    drift_mm: Array
    measured: Measured | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class SideBySide:
    """Two sides, and one table of both."""

    first: Side
    second: Side
    crosswind_mps: float
    caution: str = NO_LICENCE

    def to_frame(self) -> pd.DataFrame:
        """Return one row a quantity: what, unit, first, second, difference (second less first)."""
        import pandas as pd

        rows = [
            (what, unit, one, other, other - one)
            for (what, unit, one), (_, _, other) in zip(
                self._rows(self.first), self._rows(self.second), strict=True
            )
        ]
        return pd.DataFrame(rows, columns=["what", "unit", "first", "second", "difference"])

    def measured_frame(self) -> pd.DataFrame:
        """Return what was measured: what, unit, and value, low, high of first and second."""
        import pandas as pd

        rows = []
        for what, unit, field in (
            ("scatter per axis", "mrad", "sigma"),
            ("middle of the shots, right", "mrad", "right_mrad"),
            ("middle of the shots, high", "mrad", "high_mrad"),
            ("reach", "m", "reach_m"),
        ):
            found = [_estimate(side.measured, field) for side in (self.first, self.second)]
            flat = [value for one in found for value in (one.value, one.low, one.high)]
            rows.append((what, unit, *flat))
        names = [f"{side}{end}" for side in ("first", "second") for end in ("", "_low", "_high")]
        return pd.DataFrame(rows, columns=["what", "unit", *names])

    def notes(self) -> tuple[str, ...]:
        """Return the notes on both, each under its name."""
        said = []
        for side in (self.first, self.second):
            more = side.measured.notes if side.measured else ()
            said += [f"{side.name}: {note}" for note in (*side.notes, *more)]
        return tuple(dict.fromkeys(said))

    def _rows(self, side: Side) -> list[tuple[str, str, float]]:
        figures = side.figures
        foc = figures.parts_foc_pct if math.isnan(figures.foc_pct) else figures.foc_pct
        rows = [
            ("mass", "g", figures.mass_g),
            ("front of centre", "%", foc),
            ("mass per pound of draw weight", "gr/lb", figures.grains_per_pound),
            ("launch speed", "m/s", side.speed_mps),
            ("kinetic energy", "J", figures.energy_j),
            ("momentum", "kg m/s", figures.momentum_kgmps),
        ]
        pins = zip(side.pins_m, side.position_mm, strict=True)
        rows += [(f"pin for {distance_text(far)}", "mm", float(mm)) for far, mm in pins]
        wind = zip(side.pins_m, side.drift_mm, strict=True)
        rows += [
            (f"drift at {distance_text(far)} in {self.crosswind_mps:g} m/s across", "mm", float(mm))
            for far, mm in wind
        ]
        return rows


def measured_of(
    table: pd.DataFrame, *, circle_mm: float | None = None, standard: float = 0.9
) -> Measured:
    """Return what shots of one rig or build say; what they cannot say becomes a note.

    Parameters
    ----------
    table : DataFrame
    circle_mm : float, optional
        Diameter of the circle for reach; left out: no reach.
    standard : float
        Share of arrows that must land inside.

    Raises
    ------
    TableError
        If some shots have no distance, or they are of several rigs or shooters.
    """
    notes: tuple[str, ...] = ()
    scatter = None
    right = high = reach = UNKNOWN
    distance = distances_of(table)
    try:
        scatter = scatter_mrad_of(table)
        notes += scatter.notes
    except GroupscanError as err:
        notes += (f"No scatter: {err}.",)
    if distance is not None:
        right, high = _middle(table, distance)
        if circle_mm is not None:
            try:
                found, more = reach_of(table, circle_mm=circle_mm, standard=standard)
                reach, notes = found.reach_m, (*notes, *more, *found.notes)
            except GroupscanError as err:
                notes += (f"No reach: {err}.",)
    sessions = int(table["session"].nunique())
    return Measured(len(table), sessions, scatter, right, high, reach, tuple(dict.fromkeys(notes)))


def side_of(
    known: KnownRig,
    *,
    speed_mps: float | None,
    drag: Drag | None,
    distance_m: Sequence[float],
    crosswind_mps: float,
    measured: Measured | None = None,
) -> Side:
    """Return one side of a comparison; NaN where something is not known, with a note.

    Parameters
    ----------
    known : KnownRig
    speed_mps : float, optional
    drag : Drag, optional
    distance_m : sequence of float
        Where pins and drift are told.
    crosswind_mps : float
    measured : Measured, optional

    Raises
    ------
    RigError
        If the arrow has no mass, or a number cannot be.
    """
    figures = measure_arrow(known.parts, draw_weight_n=known.draw_weight_n, speed_mps=speed_mps)
    notes = (*known.notes, *figures.warnings)
    at = np.asarray(distance_m, float)
    position, drift = np.full(at.shape, math.nan), np.full(at.shape, math.nan)
    if speed_mps is None or drag is None:
        notes += ("No launch speed or no drag is known: no pins and no drift.",)
    else:
        notes += (f"Drag: {drag.basis}.", *drag.notes)
        peep = (known.peep_mm or 0.0) / 1000
        angle = sight_angle(speed_mps, drag.per_m, at, peep_m=peep)
        flight = fly(speed_mps, angle, drag.per_m, at, peep_m=peep, crosswind_mps=crosswind_mps)
        drift = 1000 * flight.drift_m
        if known.radius_mm is not None and known.peep_mm is not None:
            position = pin_positions(known.sight(speed_mps, drag.per_m), at)
        else:
            notes += ("Sight radius or peep height is not known: no pins.",)
    return Side(
        known.name,
        figures,
        math.nan if speed_mps is None else speed_mps,
        at,
        position,
        drift,
        measured,
        notes,
    )


def side_by_side(first: Side, second: Side, *, crosswind_mps: float) -> SideBySide:
    """Return two sides as one comparison."""
    return SideBySide(first, second, crosswind_mps)


def _estimate(measured: Measured | None, field: str) -> Estimate:
    if measured is None:
        return UNKNOWN
    if field == "sigma":
        return UNKNOWN if measured.scatter is None else measured.scatter.sigma_mrad
    found: Estimate = getattr(measured, field)
    return found


def _middle(table: pd.DataFrame, distance: Array) -> tuple[Estimate, Estimate]:
    """Return where the middle of the shots lies from the aim, mrad: right and high."""
    found = []
    for name in ("right_mm", "high_mm"):
        angle = table[name] / distance
        by_session = angle.groupby(table["session"]).mean()
        each = by_session if len(by_session) > 1 else angle
        if len(each) < 2:
            found.append(Estimate(float(angle.mean())))
            continue
        found.append(
            mean_interval(float(each.mean()), float(each.std(ddof=1)), len(each), _CONFIDENCE)
        )
    return found[0], found[1]
