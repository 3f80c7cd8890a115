"""Fit: launch speed, drag and peep height from groups at several distances."""

from __future__ import annotations

from typing import Final

import streamlit as st

from groupscan.decisions.rig_bench import FitBench, KnownRig, fit_of, kept_readings, kept_speed
from groupscan.report.bench.fit import fit_chart, fit_rows, fit_sentence
from groupscan.report.bench.pins import sight_chart
from groupscan.rigs.build import MAKERS_FIRST
from groupscan.screens.bench.asking import Bench, choose_build, keep_answer, reading, refused, typed
from groupscan.screens.bench.flying import air_asked
from groupscan.screens.bench.shots import rig_shots
from groupscan.screens.bench.showing import downloads, lead, notes, picture
from groupscan.screens.choosing import choose_table, on_screen
from groupscan.screens.chrome import CAUTIONS, plain
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import mass_text, preferences
from groupscan.units import express, parse_length

__all__ = ["draw_fit"]

_FEWEST: Final = 2
_EMPTY: Final = """
**Not enough distances are recorded for this rig: {found} of at least {fewest}.**

Shoot groups from several distances with **one pin at one setting of the sight**, low hits and all,
photograph them and save each end with its distance. Three distances tell speed and peep height,
five or more far apart tell the drag as well. This section then says the launch speed and where
pins belong, and how sure that is.
"""


def draw_fit(bench: Bench) -> None:
    """Draw the section."""
    shots = rig_shots(bench)
    found = 0 if shots is None else int(shots["distance_m"].round(1).nunique())
    if shots is None or found < _FEWEST:
        st.markdown(_EMPTY.format(found=found, fewest=_FEWEST))
        return
    known = choose_build(bench) or bench.known
    st.caption("Choose sessions aimed with one pin at one setting, on level ground, in still air.")
    chosen = choose_table(shots, ("head", "build", "setup", "period"), any_of=("build", "setup"))
    if chosen is None:
        return
    top = st.container()
    with st.expander("What was measured beside the groups"):
        a, b = st.columns(2)
        error = typed(
            bench, "peep_se", "Peep height is known to", "",
            lambda text: parse_length(text, default_unit=preferences().length), place=a,
            help="How far off the peep height of the setup may be, such as 3 mm. Empty: the "
            "groups have to tell it.",
        )  # fmt: skip
        use = b.toggle(
            "Use the chronograph's mean", value=False, key=f"bench_fit_speed_{bench.rig_id}",
            help="From the Launch section, for this arrow.",
        )  # fmt: skip
        pool = b.toggle(
            "Pool sessions of one distance", value=False, key=f"bench_fit_pool_{bench.rig_id}"
        )
        air = air_asked(bench)
    with top, refused():
        speed = _chronograph(bench, known) if use else None
        if use and speed is None:
            st.info(
                plain(
                    "No chronograph mean is kept for this arrow "
                    f"({mass_text(known.mass_g())}): two readings or more in the Launch section."
                )
            )
        told = fit_of(
            chosen.table, known, air, pool="distance" if pool else "session",
            speed_mps=speed, peep_se_mm=error,
        )  # fmt: skip
        _show(bench, told)
        if not use and not told.fit.drag_fitted and _chronograph(bench, known) is not None:
            st.info(
                "Chronograph readings of this arrow are kept: with **Use the chronograph's mean**, "
                "below, these groups may tell the drag too.",
                icon=":material/speed:",
            )
    st.caption(f"{MAKERS_FIRST} {CAUTIONS['group']}")


def _show(bench: Bench, told: FitBench) -> None:
    read = reading()
    columns = ["distance_m", "height_mm", "se_mm", "shots"]
    groups = [
        (float(a), float(b), float(c), int(d))
        for a, b, c, d in told.groups[columns].itertuples(index=False)
    ]
    far = len({round(one[0], 1) for one in groups})
    sentence = fit_sentence(told.fit, len(groups), far, read)
    for text in told.warnings:
        st.warning(plain(on_screen(text)), icon=":material/warning:")
    lead(sentence)
    chart = fit_chart(groups, told.fit, read, title=bench.known.name, caution=MAKERS_FIRST)
    left, right = st.columns([3, 2], gap="medium")
    with left:
        picture(chart, "fit", height_px=400)
    with right:
        level = f"{told.fit.confidence:.0%}"
        draw_table(
            ("", f"value ({level} interval)", "how"),
            [tuple(map(plain, row)) for row in fit_rows(told.fit, read)],
        )
        for note in told.fit.notes:
            st.caption(plain(note))
        speed = express(told.fit.speed_mps.value, "speed", preferences().speed)
        st.button(
            "Use this launch speed on the bench", on_click=_use, args=(bench, speed),
            key="bench_use_fit",
        )  # fmt: skip
    if told.pins is not None and len(told.pins.distance_m) > 1:
        st.subheader("Where the groups say the pins belong", anchor=False)
        pins = told.pins
        limits = list(zip(pins.low_mm.tolist(), pins.high_mm.tolist(), strict=True))
        a, b = st.columns(2, gap="medium")
        with a:
            picture(
                sight_chart(
                    pins.distance_m.tolist(), pins.position_mm.tolist(), read, unsure_mm=limits
                ),
                "fit_sight",
                height_px=400,
            )
        with b:
            draw_table(
                ("Pin for", f"below the peep's line ({level} interval)", "gap to the next"),
                [
                    (
                        read.words("distance", row["distance_m"]),
                        read.words("length", row["position_mm"], row["low_mm"], row["high_mm"]),
                        read.words("length", row["gap_mm"]),
                    )
                    for row in told.pins_frame().to_dict("records")
                ],
            )
    notes(note for note in told.notes if note not in told.fit.notes)
    downloads("fit", chart, told.fit.to_frame(), caption=sentence)


def _use(bench: Bench, text: str) -> None:
    st.session_state[f"bench_speed_{bench.rig_id}"] = text
    keep_answer(bench, "speed", text)


def _chronograph(bench: Bench, known: KnownRig) -> tuple[float, float] | None:
    """Return mean and standard error of an arrow's readings; None where there are not two."""
    found = kept_speed(kept_readings(bench.store, bench.rig_id), known)
    one = None if found is None else found.measured
    return None if one is None or one.n < 2 else (one.speed_mps, one.sd_mps / one.n**0.5)
