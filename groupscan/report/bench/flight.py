"""The flight of an arrow against the line of sight."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from groupscan.report.bench.scene import Chart, Curve, Dots, Mark, Ribbon

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from groupscan.report.bench.reading import Reading
    from groupscan.rigs.flight import Flight

__all__ = ["flight_chart", "flight_sentence"]


def flight_chart(
    flight: Flight,
    limits_mm: tuple[NDArray, NDArray],  # type: ignore[type-arg]
    pins: Sequence[tuple[float, NDArray]],  # type: ignore[type-arg]
    read: Reading,
    *,
    sighted_m: float,
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out a flight as the archer sees it: heights above the line of sight.

    Parameters
    ----------
    flight : Flight
        Over many distances.
    limits_mm : (low, high) arrays
        Heights above the line of sight with the most and the least drag that is published.
    pins : sequence of (distance_m, heights_mm)
        Other pins, and the heights over the same distances with each of them on the aim.
    read : Reading
    sighted_m : float
        The pin that is held.
    title, caution : str
    """
    x = read.numbers("distance", flight.distance_m)
    high = 1000 * flight.height_m
    marks: list[Mark] = [
        Curve([x[0], x[-1]], [0, 0], "line of sight", "aim", "dash", 2),
        Ribbon(
            x, read.numbers("length", limits_mm[0]), read.numbers("length", limits_mm[1]),
            "between the published drags", "found",
        ),
    ]  # fmt: skip
    for _, heights in pins:
        marks.append(
            Curve(x, read.numbers("length", heights), "with another pin on the aim", "outer",
                  "dot", 1.6)
        )  # fmt: skip
    if (drift := 1000 * flight.drift_m).any():
        marks.append(
            Curve(
                x, read.numbers("length", drift), "drift to the right (left is below)", "moved",
                "dash", 2.4,
                hover=[
                    f"{read.words('distance', d)}: {read.words('length', s)} of drift"
                    for d, s in zip(flight.distance_m, drift, strict=True)
                ],
            )
        )  # fmt: skip
    marks.append(
        Curve(
            x, read.numbers("length", high), "the arrow", "found", "solid", 3,
            hover=[
                f"{read.words('distance', d)}: {read.words('length', h)} above the line of sight, "
                f"{t:.2f} s, {read.words('speed', v)}"
                for d, h, t, v in zip(
                    flight.distance_m, high, flight.time_s, flight.speed_mps, strict=True
                )
            ],
        )
    )  # fmt: skip
    at = [sighted_m, *(far for far, _ in pins)]
    shown = [one for one in at if flight.distance_m[0] <= one <= flight.distance_m[-1]]
    marks.append(
        Dots(
            read.numbers("distance", shown), [0.0] * len(shown),
            "where a pin is right on level ground", "centre", "triangle-down", 12,
            hover=[f"pin for {read.words('distance', one)}" for one in shown],
        )
    )  # fmt: skip
    return Chart(
        tuple(marks),
        x_title=f"distance ({read.unit('distance')})",
        y_title=f"above the line of sight ({read.unit('length')})",
        x_range=(x[0], x[-1]),
        title=title,
        caution=caution,
    )


def flight_sentence(
    flight: Flight, read: Reading, *, sighted_m: float, slope_rad: float, shoot_as_m: float
) -> str:
    """Say what the arrow does at the farthest of the distances, the last of `flight`."""
    far, height = float(flight.distance_m[-1]), 1000 * float(flight.height_m[-1])
    side = "above" if height >= 0 else "below"
    said = (
        f"Sighted in at {read.words('distance', sighted_m)}, the arrow passes"
        f" {read.words('length', abs(height))} {side} the line of sight at"
        f" {read.words('distance', far)}, after {float(flight.time_s[-1]):.2f} s and at"
        f" {read.words('speed', float(flight.speed_mps[-1]))}"
    )
    drift = 1000 * float(flight.drift_m[-1])
    if drift:
        way = "right" if drift > 0 else "left"
        said += f"; the wind carries it {read.words('length', abs(drift))} to the {way}"
    said += "."
    if slope_rad and math.isfinite(shoot_as_m):
        said += (
            f" On this slope aim {read.words('distance', far)} with the mark for"
            f" {read.words('distance', shoot_as_m)}."
        )
    return said
