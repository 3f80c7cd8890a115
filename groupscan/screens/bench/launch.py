"""Launch: what the chronograph said, and the speed of arrows that were not shot."""

from __future__ import annotations

import streamlit as st

from groupscan.decisions.rig_bench import (
    KeptReadings,
    kept_launch,
    kept_readings,
    ratings_frame,
)
from groupscan.report.bench.launch import launch_chart, launch_sentence
from groupscan.screens.bench.asking import Bench, reading, refused, typed
from groupscan.screens.bench.readings import readings_form, readings_kept
from groupscan.screens.bench.showing import downloads, lead, notes, picture
from groupscan.screens.chrome import plain
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import preferences
from groupscan.units import parse_quantity

__all__ = ["draw_launch"]

_EMPTY = """
**No chronograph reading is kept for this rig yet.**

Keep the speeds that a chronograph showed below, an arrow at a time. Three or more shots of an arrow
tell how much it varies; a second, clearly heavier arrow tells the speed of any other mass.
"""


def draw_launch(bench: Bench) -> None:
    """Draw the section."""
    top = st.container()
    kept = kept_readings(bench.store, bench.rig_id)
    known = len(kept.readings) > 0
    other = None
    if known:
        other = typed(
            bench, "other_mass", "Speed of another arrow", "",
            lambda text: parse_quantity(text, "mass", default_unit=preferences().mass),
            help="Its mass, such as 480 gr or 31 g. It takes readings of two different masses.",
        )  # fmt: skip
    with st.expander("Add readings of an arrow", expanded=not known):
        readings_form(bench)
    if known or len(kept.others):
        with st.expander("The readings that are kept"):
            readings_kept(bench, kept)
    with top:
        if known:
            _show(bench, kept, (other,) if other else ())
        else:
            st.markdown(_EMPTY)
            notes(kept.notes, title="Readings that are set aside")
    _definitions()


def _show(bench: Bench, kept: KeptReadings, predict_g: tuple[float, ...]) -> None:
    read = reading()
    with refused():
        told = kept_launch(kept, bench.known, predict_g=predict_g)
        if told is None:
            return
        table = kept.readings
        pairs = list(zip(table["mass_g"].tolist(), table["speed_mps"].tolist(), strict=True))
        speeds = list(zip(told.mass_g, told.speeds, strict=True))
        sentence = launch_sentence(speeds, told.predicted, read)
        lead(sentence)
        chart = launch_chart(
            pairs, speeds, told.launch, told.predicted, read, title=bench.known.name,
            caution=told.caution,
        )  # fmt: skip
        left, right = st.columns([3, 2], gap="medium")
        with left:
            picture(chart, "launch", height_px=400)
        with right:
            draw_table(
                ("Arrow", "shots", "launch speed (95% interval)", "spread"),
                [
                    (
                        read.words("mass", mass), str(one.n),
                        read.words("speed", one.speed_mps, one.low_mps, one.high_mps),
                        read.words("speed", one.sd_mps),
                    )
                    for mass, one in speeds
                ],
            )  # fmt: skip
            if (bow := told.launch) is not None:
                virtual = read.words("mass", bow.virtual_g, bow.virtual_low_g, bow.virtual_high_g)
                energy = read.words("energy", bow.energy_j, bow.energy_low_j, bow.energy_high_j)
                draw_table(
                    ("The bow", "value (95% interval)"),
                    [("energy given to arrow and moving parts", energy),
                     ("mass of the moving parts, as felt", virtual)],
                )  # fmt: skip
            for text in told.warnings:
                st.warning(plain(text), icon=":material/warning:")
            st.caption(plain(told.caution))
            notes(told.notes)
        downloads("launch", chart, told.readings_frame(), caption=sentence)


def _definitions() -> None:
    read = reading()
    with st.expander("How makers rate the speed of bows"):
        rows: list[tuple[str, ...]] = [
            (
                plain(str(row["name"])), read.words("force", row["draw_weight_n"]),
                read.words("length", row["draw_length_mm"]), read.words("mass", row["arrow_g"]),
            )
            for row in ratings_frame().to_dict("records")
        ]  # fmt: skip
        draw_table(("Rating", "draw weight", "draw length", "arrow"), rows)
        st.caption(
            "A rated speed is of one bow under these conditions. Yours is what a chronograph reads."
        )
