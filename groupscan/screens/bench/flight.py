"""Flight: the arrow against the line of sight, with wind, slope and air."""

from __future__ import annotations

import math

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from groupscan.decisions.rig_bench import FlightTable, flight_table
from groupscan.errors import UnitError
from groupscan.report.bench.flight import flight_chart, flight_sentence
from groupscan.rigs.sight import landing
from groupscan.screens.bench.asking import Bench, choose_build, reading, refused, typed
from groupscan.screens.bench.flying import Flying, ask_flying
from groupscan.screens.bench.kept_pins import first_pin, pins_at_hand
from groupscan.screens.bench.showing import downloads, lead, notes, picture
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import preferences
from groupscan.units import m_to_yd, parse_distance, parse_quantity, yd_to_m

__all__ = ["draw_flight"]

_EMPTY = """
**No arrow build is kept yet.**

This section draws the flight against the line of sight. It needs a build with its mass and shaft
diameter (keep one under **Gear**) and a launch speed (type it, or chronograph readings).
"""


def draw_flight(bench: Bench) -> None:
    """Draw the section."""
    known = choose_build(bench)
    if known is None:
        st.markdown(_EMPTY)
        return
    top = st.container()
    yards = preferences().distance == "yd"
    a, b, c, d = st.columns(4)
    first = first_pin(bench) or ("20 yd" if yards else "20 m")
    sighted = typed(bench, "sighted", "Sighted in at", first, _far, place=a)
    farthest = typed(bench, "farthest", "Look out to", "60 yd" if yards else "60 m", _far, place=b)
    wind = typed(
        bench, "wind", "Wind from the left", "", _wind, place=c, empty=0.0,
        help="Across, such as 3 m/s or 7 mph; from the right with a minus before it.",
    )  # fmt: skip
    slope = typed(
        bench, "slope", "Slope", "", _slope, place=d, empty=0.0,
        help="Degrees above level; below is negative: -15 from an elevated stand.",
    )  # fmt: skip
    flying = ask_flying(bench, known, "flight")
    if flying is None or sighted is None or farthest is None:
        return
    with top, refused():
        step = _steps(farthest)
        close = np.unique([*np.linspace(2.0, farthest, 90), *step])
        given = {
            "sighted_m": sighted, "slope_rad": slope or 0.0, "crosswind_mps": wind or 0.0
        }  # fmt: skip
        table = flight_table(known, flying.speed_mps, flying.drag, step, **given)
        drawn = flight_table(known, flying.speed_mps, flying.drag, close, **given)
        _show(bench, table, drawn, flying, slope or 0.0, sighted, windy=bool(wind))


def _show(
    bench: Bench,
    table: FlightTable,
    drawn: FlightTable,
    flying: Flying,
    slope: float,
    sighted: float,
    *,
    windy: bool,
) -> None:
    read = reading()
    high = 1000 * drawn.flight.height_m
    sentence = flight_sentence(
        table.flight, read, sighted_m=sighted, slope_rad=slope,
        shoot_as_m=float(table.shoot_as_m[-1]),
    )  # fmt: skip
    lead(sentence)
    chart = flight_chart(
        drawn.flight,
        (high - drawn.lower_mm, high + drawn.higher_mm),
        _pins(bench, drawn, flying, slope, sighted),
        read,
        sighted_m=sighted,
        title=bench.known.name,
        caution=table.caution,
    )
    picture(chart, "flight", height_px=430)
    frame = table.to_frame()
    rows = frame.to_dict("records")
    heads = ("From", "above the sight line", "drop", *(("aim with mark for",) if slope else ()))
    a, b = st.columns(2, gap="medium")
    with a:
        draw_table(
            heads,
            [
                (
                    read.words("distance", row["distance_m"]),
                    read.words("length", row["height_mm"]), read.words("length", row["drop_mm"]),
                    *((read.words("distance", row["shoot_as_m"]),) if slope else ()),
                )
                for row in rows
            ],
        )  # fmt: skip
    with b:
        draw_table(
            ("From", "time", "speed", "energy", *(("drift",) if windy else ())),
            [
                (
                    read.words("distance", row["distance_m"]), f"{row['time_s']:.2f} s",
                    read.words("speed", row["speed_mps"]), read.words("energy", row["energy_j"]),
                    *((read.words("length", row["drift_mm"]),) if windy else ()),
                )
                for row in rows
            ],
        )  # fmt: skip
    notes(table.notes)
    downloads("flight", chart, frame, caption=sentence)


def _pins(
    bench: Bench, drawn: FlightTable, flying: Flying, slope: float, sighted: float
) -> list[tuple[float, NDArray[np.float64]]]:
    """Return the other pins of this rig, and the heights with each held; none without a sight."""
    known = bench.known
    if known.peep_mm is None or known.radius_mm is None:
        return []
    at = [one for one in pins_at_hand(bench) if abs(one - sighted) > 0.3]
    if not at:
        return []
    sight = known.sight(flying.speed_mps, flying.drag.per_m)
    found = landing(
        sight, at, drawn.flight.distance_m, hold=np.arange(float(len(at))), slope_rad=slope
    )
    return list(zip(at, found.height_mm, strict=True))


def _steps(farthest_m: float) -> list[float]:
    """Return round distances of the table, in the reader's unit, out to the farthest."""
    yards = preferences().distance == "yd"
    end = m_to_yd(farthest_m) if yards else farthest_m
    step = 5.0 if end <= 45 else 10.0 if end <= 120 else 20.0
    at = np.arange(step, end + 1e-6, step).tolist() or [end]
    return [yd_to_m(one) if yards else one for one in at]


def _far(text: str) -> float:
    metres = parse_distance(text, default_unit=preferences().distance)
    if not 3 <= metres <= 200:
        raise UnitError(f"{text} is no distance for an arrow here: give 3 to 200 m")
    return metres


def _wind(text: str) -> float:
    sign = -1.0 if text.lstrip().startswith("-") else 1.0
    value = parse_quantity(text.lstrip(" +-"), "speed", default_unit=preferences().speed)
    if value > 25:
        raise UnitError(f"a wind of {text} is a storm: nobody should shoot in it")
    return sign * value


def _slope(text: str) -> float:
    try:
        degrees = float(text.replace("°", "").replace("degrees", "").strip())
    except ValueError as err:
        raise UnitError(f"{text!r} is no slope: give degrees, such as -15") from err
    if not -60 <= degrees <= 60:
        raise UnitError(
            f"a slope of {degrees:g} degrees is more than this reckons with: 60 at most"
        )
    return math.radians(degrees)
