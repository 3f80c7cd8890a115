"""Groups at several distances, and the flight through them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from groupscan.report.bench.scene import Chart, Curve, Dots, Mark
from groupscan.rigs.flight import fly

if TYPE_CHECKING:
    from groupscan.report.bench.reading import Reading
    from groupscan.rigs.fit import FlightFit

__all__ = ["fit_chart", "fit_rows", "fit_sentence"]


def fit_chart(
    groups: Sequence[tuple[float, float, float, int]],
    fit: FlightFit,
    read: Reading,
    *,
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out the heights of groups over distance, and the fitted flight.

    Parameters
    ----------
    groups : sequence of (distance_m, height_mm, se_mm, shots)
    fit : FlightFit
    read : Reading
    title, caution : str
    """
    distance = [far for far, *_ in groups]
    at = np.linspace(0.8 * min(distance), 1.05 * max(distance), 80)
    flown = fly(
        fit.speed_mps.value, fit.angle_rad[0], fit.drag_per_m.value, at,
        peep_m=fit.peep_mm.value / 1000,
    )  # fmt: skip
    twice = [0.0 if math.isnan(se) else 2 * se for _, _, se, _ in groups]
    heights = [high for _, high, *_ in groups]
    marks: list[Mark] = [
        Curve(
            read.numbers("distance", at[[0, -1]]), [0, 0], "the aim", "aim", "dash", 2
        ),
        Curve(
            read.numbers("distance", at), read.numbers("length", 1000 * flown.height_m),
            "the flight that fits best",
        ),
        Dots(
            read.numbers("distance", distance), read.numbers("length", heights),
            "middle of a group, with twice its standard error", "moved", "diamond", 11,
            low=read.numbers("length", [h - s for h, s in zip(heights, twice, strict=True)]),
            high=read.numbers("length", [h + s for h, s in zip(heights, twice, strict=True)]),
            hover=[
                f"{shots} arrows from {read.words('distance', far)}: {read.words('length', high)}"
                for far, high, _, shots in groups
            ],
        ),
    ]  # fmt: skip
    return Chart(
        tuple(marks),
        x_title=f"distance ({read.unit('distance')})",
        y_title=f"above the aim ({read.unit('length')})",
        title=title,
        caution=caution,
    )


def fit_sentence(fit: FlightFit, groups: int, distances: int, read: Reading) -> str:
    """Say what the groups tell, and first of all what they do not."""
    one = fit.speed_mps
    said = (
        f"{groups} groups from {distances} distances say a launch speed of"
        f" {read.words('speed', one.value, one.low, one.high)}"
    )
    if not (math.isfinite(one.low) and math.isfinite(one.high)):
        said += ", with no limit that can be given"
    if fit.drag_fitted:
        return said + ", and tell the drag as well."
    return (
        said + "; they cannot tell the drag, which is taken from published measurements: groups"
        " from farther out, or a measured launch speed, would tell it."
    )


def fit_rows(fit: FlightFit, read: Reading) -> list[tuple[str, str, str]]:
    """Return the rows of the table: what, value with its interval, and how it is known."""
    told = "fitted" if fit.drag_fitted else "held over the published range"
    drag = fit.drag_per_m
    return [
        ("launch speed", _limits("speed", fit.speed_mps, read), "fitted"),
        (
            "drag",
            f"{1000 * drag.value:.2f} per km ({_end(1000 * drag.low)} to {_end(1000 * drag.high)})",
            told,
        ),
        ("peep height", _limits("length", fit.peep_mm, read), "fitted"),
    ]


def _end(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "no limit"


def _limits(kind: str, one: object, read: Reading) -> str:
    value, low, high = (getattr(one, name) for name in ("value", "low", "high"))
    if math.isfinite(low) and math.isfinite(high):
        return read.words(kind, value, low, high)
    ends = [read.words(kind, end) if math.isfinite(end) else "no limit" for end in (low, high)]
    return f"{read.words(kind, value)} ({ends[0]} to {ends[1]})"
