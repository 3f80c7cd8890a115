"""Pins: where they belong, what each covers, the chance of the circle, and the best."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
import streamlit as st

from groupscan.decisions.rig_bench import (
    BestPins,
    KeptPins,
    PinBench,
    RigScatter,
    best_pins_of,
    given_scatter,
    pin_chances,
    pins_of,
)
from groupscan.errors import RigError, UnitError
from groupscan.report.bench import Chart
from groupscan.report.bench.pins import (
    bands_chart,
    chance_chart,
    chances_sentence,
    pins_sentence,
    sight_chart,
)
from groupscan.report.bench.reading import Reading
from groupscan.rigs.sight import Sight
from groupscan.rigs.sight.landing import hold_name
from groupscan.screens.bench.asking import Bench, choose_build, reading, refused, typed
from groupscan.screens.bench.fields import in_words
from groupscan.screens.bench.flying import ask_flying
from groupscan.screens.bench.kept_pins import ask_pins, keep_pins_form, try_pins
from groupscan.screens.bench.paper import draw_paper, shooting_distance
from groupscan.screens.bench.shots import scatter_of, setups_shot
from groupscan.screens.bench.showing import downloads, lead, notes, picture
from groupscan.screens.choosing import ask_one
from groupscan.screens.chrome import plain
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import preferences
from groupscan.units import parse_length

__all__ = ["draw_pins"]

_EMPTY: Final = """
**No arrow build is kept yet.**

This section sets the pins of a sight: it needs a build with mass and shaft diameter, a setup with
sight radius and peep height (keep both under **Gear**), and a launch speed.
"""
_POINTS: Final = 90
_COUNTS: Final = (2, 3, 4, 5)


def draw_pins(bench: Bench) -> None:
    """Draw the section."""
    known = choose_build(bench)
    if known is None:
        st.markdown(_EMPTY)
        return
    top = st.container()
    yards, inches = preferences().distance == "yd", preferences().length == "in"
    a, b, c, d = st.columns(4)
    pins, kept = ask_pins(bench, a)
    circle = typed(
        bench, "circle", "Circle, across", "6 in" if inches else "150 mm",
        lambda text: parse_length(text, default_unit=preferences().length), place=b,
        help="Its diameter.",
    )  # fmt: skip
    near = typed(
        bench, "near", "Shot from", "10 yd" if yards else "10 m", shooting_distance, place=c
    )
    far = typed(bench, "far", "out to", "50 yd" if yards else "50 m", shooting_distance, place=d)
    scatter, why = _scatter(bench)
    flying = ask_flying(bench, known, "pins")
    if flying is None or not pins or circle is None or near is None or far is None:
        return
    with refused():
        if near >= far:
            raise RigError("the range must begin nearer than it ends: exchange the two distances")
        sight = known.sight(flying.speed_mps, flying.drag.per_m)
        found = pins_of(sight, pins, circle_mm=circle, nearest_m=near, farthest_m=far)
        with top:
            _sight(bench, found, (near, far), kept)
            keep_pins_form(bench, pins, kept)
        _covered(bench, found, scatter, why, (near, far))
        _best(bench, sight, near, far)
        draw_paper(bench, sight, flying, pins)
        notes((*known.notes, f"Drag: {flying.drag.basis}.", *flying.drag.notes))
    if known.peep_mm is None or known.radius_mm is None:
        st.caption("Sight radius and peep height are part of the setup: add one under Gear.")


def _sight(
    bench: Bench, found: PinBench, range_m: tuple[float, float], kept: KeptPins | None
) -> None:
    read = reading()
    pins = found.pins_m.tolist()
    sentence = pins_sentence(pins, found.open_m, found.circle_mm, read, range_m=range_m)
    lead(sentence)
    title = bench.known.name
    sight = sight_chart(pins, found.position_mm.tolist(), read, title=title, caution=found.caution)
    left, right = st.columns(2, gap="medium")
    with left:
        picture(sight, "sight", height_px=400)
    with right:
        rows: list[tuple[str, ...]] = [
            (
                f"pin {int(row['pin'])}", read.words("distance", row["distance_m"]),
                read.words("length", row["position_mm"]),
                read.words("length", row["gap_mm"]) + measured,
            )
            for row, measured in zip(
                found.pins_frame().to_dict("records"), _gaps(kept, pins), strict=True
            )
        ]  # fmt: skip
        draw_table(("Pin", "right at", "below the peep's line", "gap to the next"), rows)
        held: dict[str, list[str]] = {}
        for band in found.bands:
            ends = [read.words("distance", at) for at in (band.near_m, band.far_m)]
            held.setdefault(band.held, []).append(" to ".join(ends))
        draw_table(
            ("Held on the aim", f"inside {read.words('length', found.circle_mm)} across, from"),
            [(plain(name), " and ".join(spans)) for name, spans in held.items()],
        )
    downloads("pins", sight, found.pins_frame(), caption=sentence, what="Sight")


def _gaps(kept: KeptPins | None, pins: list[float]) -> list[str]:
    """Return what was measured of the gap after each pin shown, in words; empty where nothing."""
    if kept is None or list(kept.distance_m) != pins:
        return [""] * len(pins)
    words = [reading().words("length", gap) for gap in kept.gaps_mm()]
    return ["" if text == "–" else f" (measured {text})" for text in words]


def _covered(
    bench: Bench,
    found: PinBench,
    scatter: RigScatter | None,
    why: str,
    range_m: tuple[float, float],
) -> None:
    read, title = reading(), bench.known.name
    st.subheader("What each pin covers", anchor=False)
    picture(
        bands_chart(found.bands, found.open_m, read, range_m=range_m, title=title), "bands",
        height_px=70 + 46 * max(2, 2 * len(found.pins_m) - 1),
    )  # fmt: skip
    _chances(bench, found, scatter, why, range_m, read)


def _chances(
    bench: Bench,
    found: PinBench,
    scatter: RigScatter | None,
    why: str,
    range_m: tuple[float, float],
    read: Reading,
) -> None:
    st.subheader("How likely the circle is, by distance", anchor=False)
    if scatter is None:
        st.info(
            plain(
                f"The scatter of this rig is not known: {in_words(why)}. Save ends with a "
                "distance, or type the scatter above."
            )
        )
        return
    told = pin_chances(
        found.sight, found.pins_m, scatter, circle_mm=found.circle_mm,
        distance_m=np.linspace(*range_m, _POINTS),
    )  # fmt: skip
    basis = (
        f"{scatter.shots} recorded shots" if scatter.shots else "the scatter typed"
    ) + f", {read.words('angle', *_three(scatter))} per axis"
    rely_on = told.low if scatter.shots else told.probability
    lead(chances_sentence(told.distance_m, rely_on, read, basis=basis))
    chart: Chart = chance_chart(
        told.distance_m, told.probability, told.low, told.high,
        [hold_name(float(one)) for one in told.hold], found.pins_m.tolist(), read,
        measured=scatter.shots > 0, title=bench.known.name, caution=told.caution,
    )  # fmt: skip
    picture(chart, "chances", height_px=380)
    notes(told.notes, title="What to know about these chances")
    downloads("chances", chart, told.to_frame(), what="Chances")


def _three(scatter: RigScatter) -> tuple[float, float, float]:
    one = scatter.sigma_mrad
    return one.value, one.low, one.high


def _scatter(bench: Bench) -> tuple[RigScatter | None, str]:
    """Ask for the scatter, or take what the records say."""
    there, setup, place = setups_shot(bench), "", st.container()
    if len(there) > 1:
        asking, place = st.columns(2)
        with asking:
            setup = ask_one(
                f"bench_setup_{bench.rig_id}", "Scatter of the shots under", ["", *there],
                show=lambda one: one or "all setups",
                help="A change of the rig may change how closely it groups.",
            )  # fmt: skip
    measured, why = scatter_of(bench, setup=setup)
    said = typed(
        bench, "sigma", "Scatter, where it is not measured" if measured is None else
        "Scatter, in place of the measured one",
        "", _mrad, place=place,
        help="Per axis, in mrad: 2 mrad is 2 mm for each metre of distance.",
    )  # fmt: skip
    return (given_scatter(said), "") if said else (measured, why)


def _mrad(text: str) -> float:
    try:
        value = float(text.lower().replace("mrad", "").strip())
    except ValueError as err:
        raise UnitError(f"{text!r} is no scatter: give mrad, such as 2") from err
    if not 0.05 <= value <= 50:
        raise UnitError(f"a scatter of {value:g} mrad cannot be: a rig has about 1 to 5")
    return value


@st.cache_data(max_entries=32, show_spinner="Looking for the best pins")
def _best_plans(
    sight: Sight, near: float, far: float, held: Literal["pins", "pins and gaps"]
) -> BestPins:
    return best_pins_of(sight, nearest_m=near, farthest_m=far, counts=_COUNTS, held=held)


def _best(bench: Bench, sight: Sight, near: float, far: float) -> None:
    st.subheader("The best pins for this range", anchor=False)
    gaps = st.toggle(
        "Hold half-way between two pins as well", value=True, key=f"bench_gaps_{bench.rig_id}"
    )
    read = reading()
    best = _best_plans(
        sight,
        near,
        far,
        "pins and gaps" if gaps else "pins",
    )
    draw_table(
        ("Pins", "right at", "never farther off than"),
        [
            (
                str(len(plan.pins_m)),
                ", ".join(read.words("distance", far) for far in plan.pins_m),
                read.words("length", plan.miss_mm),
            )
            for plan in best.plans
        ],
    )
    st.caption(
        "How far the middle of the arrows can lie above or below the aim anywhere in the range, "
        "with the hold that lands nearest."
    )
    with st.container(horizontal=True):
        for plan in best.plans:
            unit = preferences().distance
            text = ", ".join(f"{read.number('distance', far):.1f}" for far in plan.pins_m)
            st.button(
                f"Use these {len(plan.pins_m)}", key=f"bench_use_{len(plan.pins_m)}",
                on_click=try_pins, args=(bench, f"{text} {unit}"),
            )  # fmt: skip
