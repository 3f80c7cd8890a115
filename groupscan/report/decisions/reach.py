"""Reach, as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from groupscan.report.decisions.layout import Part, Shown, bare, line, notes_part, table, titled
from groupscan.stats.intervals import Estimate
from groupscan.stats.reach.result import Reach
from groupscan.units import m_to_yd, yd_to_m

__all__ = ["nice_distances", "percent", "reach_parts", "rests_on", "whole_yards"]

# Distances in the table; steps that are read at a glance.
ROWS = 12
STEPS = (1, 2, 5, 10, 20, 50, 100)
# As far from a measured distance as reach speaks.
NEAR = 1.5
# No number of shots that anyone shoots tells one in a thousand from fewer.
CERTAIN = 0.999


def nice_distances(measured_m: Sequence[float], unit: str | None = None) -> list[float]:
    """Return distances, m, about those measured, round in ``"m"`` or ``"yd"``.

    Without a unit, in yards where those measured are whole yards.

    Examples
    --------
    >>> nice_distances([18.0, 30.0])
    [15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0]
    >>> [round(m_to_yd(d), 6) for d in nice_distances([18.288])]
    [14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0]
    """
    yards = whole_yards(measured_m) if unit is None else unit == "yd"
    into, back = (m_to_yd, yd_to_m) if yards else (float, float)
    low, high = into(min(measured_m)) / NEAR, into(max(measured_m)) * NEAR
    step = next((s for s in STEPS if (high - low) / s <= ROWS - 1), STEPS[-1])
    first, last = math.ceil(round(low / step, 6)), math.floor(round(high / step, 6))
    return [back(float(step * i)) for i in range(first, last + 1)]


def whole_yards(distances_m: Sequence[float]) -> bool:
    """Return whether the distances are whole yards, and not whole metres."""
    return _whole(m_to_yd(d) for d in distances_m) and not _whole(distances_m)


def _whole(distances: Iterator[float] | Sequence[float]) -> bool:
    return all(abs(d - round(d)) < 0.02 for d in distances)


def reach_parts(reach: Reach, notes: Sequence[str] = (), *, shown: Shown) -> list[Part]:
    """Lay reach out: the distance to rely on, the chance by distance, notes, the caution.

    Parameters
    ----------
    reach : Reach
    notes : sequence of str
        What was pooled or left out.
    shown : Shown
        Of the circle; distances stand in metres and in yards.
    """
    parts = [*_answer(reach, shown), *_table(reach), *notes_part((*notes, *reach.notes))]
    return [*parts, line(f"\n! {reach.caution}", "yellow")]


def _answer(reach: Reach, shown: Shown) -> Iterator[Part]:
    across, share = (
        f"{shown.size(2 * reach.radius_mm)} across",
        f"{100 * reach.standard:.4g} in 100",
    )
    at = ", ".join(_both(d) for d in reach.measured_m)
    yield titled(f"{reach.n} shots at {at}; a circle {across} about the aim; {share} inside")
    low, value, high = reach.reach_m.low, reach.reach_m.value, reach.reach_m.high
    if math.isnan(low):
        yield line("No distance can be relied on with these shots.")
    else:
        sure = 100 * (1 + reach.confidence) / 2
        yield line(
            f"Rely on {_both(low)}: as far as that, the shots show {share} arrows or more inside "
            f"(right in at least {sure:.4g} of 100 such answers). It is {reach.basis}."
        )
    if math.isfinite(value):
        further = f", perhaps as far as {_both(high)}" if math.isfinite(high) else ""
        yield line(f"The best guess is {_both(value)}{further}; neither can be relied on.", "dim")


def _both(distance_m: float) -> str:
    return f"{distance_m:.1f} m ({m_to_yd(distance_m):.1f} yd)"


def _table(reach: Reach) -> Iterator[Part]:
    yield table(
        "Chance that the next arrow lands inside, %; in brackets the 95% interval for the "
        "share of arrows in the long run",
        ("rests on", "m", "yd", "inside"),
        [
            (
                rests_on(point.distance_m, point.basis, reach.measured_m),
                f"{point.distance_m:.1f}",
                f"{m_to_yd(point.distance_m):.1f}",
                percent(point.probability),
            )
            for point in reach.curve
        ],
    )


def percent(chance: Estimate) -> str:
    """Return a chance in per cent; what is beyond doubt without a row of nines."""
    return "over 99.9" if chance.low > CERTAIN else bare(chance, 100)


def rests_on(distance_m: float, basis: str, measured_m: Sequence[float]) -> str:
    """Say what the chance at a distance rests on."""
    if basis == "between":
        return "between measured"
    if basis == "measured" and not any(abs(distance_m - d) < 0.01 for d in measured_m):
        return "next to measured"
    return basis
