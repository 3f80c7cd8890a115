"""What flight, pins, fit and comparison reckon with: speed, air and drag."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import streamlit as st

from groupscan.decisions.rig_bench import (
    Air,
    Drag,
    KnownRig,
    air_of,
    drag_of,
    kept_launch,
    kept_readings,
    kept_speed,
    speed_by_mass,
)
from groupscan.errors import GroupscanError, UnitError
from groupscan.screens.bench.asking import Bench, answer, keep_answer, reading, tell, typed
from groupscan.screens.chrome import plain
from groupscan.screens.preferences import preferences
from groupscan.units import express, parse_length, parse_quantity

__all__ = ["Flying", "air_asked", "ask_flying", "speed_known"]

_DRAGS: Final = {
    "between": "between the published ones",
    "laminar": "laminar: smooth shaft, little wind",
    "turbulent": "turbulent: disturbed flow",
}
_ALIKE_G: Final = 0.05


@dataclass(frozen=True)
class Flying:
    """Launch speed, air and drag of a rig with its arrow."""

    speed_mps: float
    air: Air
    drag: Drag


def speed_known(bench: Bench, known: KnownRig) -> tuple[float | None, str]:
    """Return the launch speed of a rig's arrow, and where it comes from.

    A typed speed is that of the arrow in today's setup. For another mass the virtual mass of the
    bow carries it over, where chronograph readings tell that; else the speed is not known.
    """
    typed_speed = _typed_speed(bench)
    own, mass = _mass(bench.known), _mass(known)
    if typed_speed is not None and _same_arrow(bench, known):
        return typed_speed, "as typed"
    if mass is None:
        return None, ""
    kept = kept_readings(bench.store, bench.rig_id)
    try:
        told = kept_launch(kept, known)
        bow = None if told is None else told.launch
        if typed_speed is not None and own is not None and bow is not None:
            carried = speed_by_mass(own, typed_speed, bow.virtual_g)
            return float(carried(np.array([mass]))[0]), "carried from the typed one to this mass"
        found = kept_speed(kept, known)
    except GroupscanError:
        return None, ""
    return (None, "") if found is None else (found.speed_mps, found.basis)


def _speed_at_hand(bench: Bench, known: KnownRig) -> tuple[float | None, str]:
    """Return the speed of the build chosen; where the setup names none, the typed one is its."""
    speed = _typed_speed(bench)
    if bench.build_id is None and speed is not None:
        return speed, "as typed"
    return speed_known(bench, known)


def _typed_speed(bench: Bench) -> float | None:
    """Return the launch speed that was typed; None where none was."""
    try:
        text = answer(bench, "speed", "").strip()
        return _speed(text) if text else None
    except UnitError:
        return None


def _mass(known: KnownRig) -> float | None:
    try:
        return known.mass_g()
    except GroupscanError:
        return None


def _same_arrow(bench: Bench, known: KnownRig) -> bool:
    """Whether a build leaves the bow like that of today's setup: it, or one of its mass."""
    today = bench.known
    if known.build == today.build and known.parts == today.parts:
        return True
    own, mass = _mass(today), _mass(known)
    return own is not None and mass is not None and abs(own - mass) <= _ALIKE_G


def ask_flying(bench: Bench, known: KnownRig, section: str) -> Flying | None:
    """Ask for speed, air and drag, all remembered for this rig; None where they do not suffice."""
    read = reading()
    speed, source = _speed_at_hand(bench, known)
    title = "Launch speed, air and drag"
    if speed is not None:
        title += f": {read.words('speed', speed)}, {source}"
    with st.expander(title, expanded=speed is None):
        typed_speed = typed(
            bench, "speed", "Launch speed",
            "", lambda text: _speed(text),
            help="Of the build in today's setup, such as 285 ft/s. Left empty, the readings of the "
            "Launch section tell it.",
        )  # fmt: skip
        speed = _speed_at_hand(bench, known)[0]
        air = air_asked(bench)
        a, b = st.columns(2)
        kept = answer(bench, "drag", "between")
        kind = a.selectbox(
            "Drag of the arrow", list(_DRAGS), format_func=lambda one: _DRAGS[one],
            index=list(_DRAGS).index(kept) if kept in _DRAGS else 0,
            key=f"bench_drag_{bench.rig_id}",
            help="Published measurements differ by whether the air along the shaft stays smooth.",
        )  # fmt: skip
        keep_answer(bench, "drag", kind)
        area = typed(
            bench, "head_area", "Extra drag area of the head", "", _area, place=b, empty=0.0,
            help="In mm², above that of a field point. Empty: none is known.",
        )  # fmt: skip
    if speed is None:
        st.info(
            "The launch speed is not known: type it above, or keep chronograph readings in the "
            "Launch section."
            if typed_speed is None
            else "The typed launch speed is that of the build in today's setup; that of this build "
            "is not known. Chronograph readings of two masses in the Launch section tell it.",
            icon=":material/speed:",
        )
        return None
    cd: Literal["laminar", "turbulent"] | None = None
    if kind == "laminar":
        cd = "laminar"
    elif kind == "turbulent":
        cd = "turbulent"
    try:
        drag = drag_of(known, air, cd=cd, head_area_mm2=area or 0.0, speed_mps=speed)
    except GroupscanError as err:
        tell(err)
        st.caption("Shaft diameter and mass of the build are filled in under Gear.")
        return None
    return Flying(speed, air, drag)


def air_asked(bench: Bench) -> Air:
    """Ask for the air of the place; what is left empty is the standard atmosphere's."""
    a, b, c, d = st.columns(4)
    warm = typed(bench, "temperature", "Temperature", "", _temperature, place=a,
                 help="Such as 12 C or 54 F. Empty: 15 C.")  # fmt: skip
    high = typed(bench, "altitude", "Altitude", "", _altitude, place=b,
                 help="Above the sea, such as 400 m or 1300 ft.")  # fmt: skip
    pressure = typed(
        bench, "pressure", "Air pressure", "", lambda text: parse_quantity(text, "pressure"),
        place=c, help="As forecasts give it, such as 1013 hPa or 29.9 inHg.",
    )  # fmt: skip
    wet = typed(bench, "humidity", "Humidity", "",
                lambda text: parse_quantity(text, "share", default_unit="%"), place=d,
                help="Such as 60 %.")  # fmt: skip
    try:
        air = air_of(temperature_c=warm, altitude_m=high, pressure_pa=pressure, humidity=wet)
    except GroupscanError as err:
        st.warning(plain(str(err)))
        air = air_of()
    basis = "the standard atmosphere" if air.assumed else "as told above"
    st.caption(
        f"Air of {air.density:.3f} kg/m³ ({express(air.temperature_c, 'temperature', 'c')}, "
        f"{air.pressure_pa / 100:.0f} hPa, {100 * air.humidity:.0f} % humidity; {basis})."
    )
    return air


def _speed(text: str) -> float:
    return parse_quantity(text, "speed", default_unit=preferences().speed)


def _temperature(text: str) -> float:
    return parse_quantity(text, "temperature", default_unit="c")


def _altitude(text: str) -> float:
    if text.strip().rstrip("m ft").strip() in ("0", "0.0"):
        return 0.0
    return parse_length(text, default_unit="m") / 1000


def _area(text: str) -> float:
    try:
        value = float(text.lower().replace("mm²", "").replace("mm2", ""))
    except ValueError as err:
        raise UnitError(f"{text!r} is no area: give square millimetres, such as 40") from err
    if not 0 <= value <= 5000:
        raise UnitError(f"a head adds no {value:g} mm²: give square millimetres, such as 40")
    return value
