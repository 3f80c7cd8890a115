"""Build: what an arrow weighs, how it balances, what it carries, and what other parts would do."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from groupscan.decisions.rig_bench import KnownRig, kept_launch, kept_readings, speed_by_mass
from groupscan.errors import GroupscanError, UnitError
from groupscan.report.bench import heat_html
from groupscan.report.bench.arrow import arrow_chart, arrow_rows, arrow_sentence
from groupscan.rigs.build import measure_arrow
from groupscan.rigs.parts import place_parts
from groupscan.rigs.what_if import WhatIf, what_if
from groupscan.screens.bench.asking import (
    Bench,
    build_choice,
    choose_build,
    reading,
    refused,
    typed,
)
from groupscan.screens.bench.flying import speed_known
from groupscan.screens.bench.forms import build_form
from groupscan.screens.bench.showing import downloads, lead, notes, picture
from groupscan.screens.chrome import plain, reader_theme
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import preferences
from groupscan.several import parse_several

__all__ = ["draw_build"]

_MOST_MASSES = 6
_EMPTY = """
**No arrow build is kept yet.**

This section adds up the parts of an arrow beside what the scale reads, and tells front of centre,
energy, momentum and grains per pound. Keep a build here: shaft mass and cut length, point, insert,
fletching and nock are enough, or the scale alone.
"""


def draw_build(bench: Bench) -> None:
    """Draw the section."""
    known = choose_build(bench)
    if known is None:
        st.markdown(_EMPTY)
        build_form(bench.store, None, keep_as=[build_choice(bench)])
        return
    with refused():
        speed, source = speed_known(bench, known)
        figures = measure_arrow(known.parts, draw_weight_n=known.draw_weight_n, speed_mps=speed)
        read = reading()
        lead(arrow_sentence(figures, read, name=known.build))
        for warning in figures.warnings:
            st.warning(plain(warning), icon=":material/warning:")
        chart = None
        left, right = st.columns([3, 2], gap="medium")
        with left:
            if not math.isnan(figures.length_mm):
                parts = () if known.parts.missing else place_parts(known.parts)
                chart = arrow_chart(figures, parts, read, title=known.build)
                picture(chart, "arrow", height_px=300)
            else:
                st.info("Fill in the cut length under Gear for a picture of the arrow.")
        with right:
            draw_table(
                ("This arrow", ""), [(plain(a), plain(b)) for a, b in arrow_rows(figures, read)]
            )
            at = "Without a launch speed there is no energy" if speed is None else (
                f"At {read.words('speed', speed)}, {source}"
            )  # fmt: skip
            st.caption(plain(f"{at}. {figures.caution}"))
            notes((*known.notes, *figures.notes))
        _what_if(bench, known)
        downloads(
            "build",
            chart,
            figures.to_frame(),
            caption=arrow_sentence(figures, read, name=known.build),
        )
    with st.expander("Another build"):
        build_form(bench.store, None, keep_as=[build_choice(bench)])


def _what_if(bench: Bench, known: KnownRig) -> None:
    """Ask for inserts and points to try, and draw what they would come to."""
    st.subheader("With other inserts and points", anchor=False)
    if known.parts.missing:
        st.info(
            plain(
                "Fill in all parts of this build under Gear (shaft, cut length, point, fletching, "
                "nock) to see what other inserts and points would do."
            )
        )
        return
    trade = preferences().mass == "gr"
    a, b = st.columns(2)
    inserts = typed(
        bench, "try_insert", "Inserts to try", "20, 50, 100 gr" if trade else "1, 3, 6 g",
        _masses, place=a, help="Masses between commas.",
    )  # fmt: skip
    points = typed(
        bench, "try_point", "Points to try", "85, 100, 125 gr" if trade else "5, 6.5, 8 g",
        _masses, place=b, help="Masses between commas.",
    )  # fmt: skip
    if not inserts or not points:
        return
    with refused():
        table = what_if(
            known.parts, _with(inserts, known.parts.insert_g), _with(points, known.parts.point_g),
            draw_weight_n=known.draw_weight_n,
            speed_of=_speed_of(bench),
        )  # fmt: skip
        st.html(_heat(table, known))
        if table.too_light.any():
            st.warning(
                plain(
                    "Cells that say light are below 5 grains a pound of draw weight, which common "
                    f"practice avoids. {table.caution}"
                )
            )


def _heat(table: WhatIf, known: KnownRig) -> str:
    read = reading()
    inserts = [read.words("mass", one) for one in table.insert_g]
    points = [read.words("mass", one) for one in table.point_g]
    rows = []
    for i, name in enumerate(inserts):
        texts, marked = [], []
        for j in range(len(points)):
            lines = [read.words("mass", table.mass_g[i, j]), f"{table.foc_pct[i, j]:.1f} %"]
            if math.isfinite(table.speed_mps[i, j]):
                lines.append(read.words("speed", table.speed_mps[i, j]))
            if table.too_light[i, j]:
                lines.append("light")
            texts.append("\n".join(lines))
            marked.append(
                _same(table.insert_g[i], known.parts.insert_g)
                and _same(table.point_g[j], known.parts.point_g)
            )
        rows.append((name, texts, table.foc_pct[i].tolist(), marked))
    what = "mass, front of centre"
    what += ", launch speed" if np.isfinite(table.speed_mps).all() else ""
    return heat_html(
        "insert / point", points, rows, theme=reader_theme(),
        caption=f"Each cell: {what}. The stronger the shade, the farther front of centre; the frame"
        " is this build.",
    )  # fmt: skip


def _with(tried: list[float], now: float | None) -> list[float]:
    """Return masses to try, that of the build as it is among them."""
    return tried if any(_same(one, now) for one in tried) else sorted([*tried, now or 0.0])


def _same(tried: float, now: float | None) -> bool:
    return abs(tried - (now or 0.0)) < 0.02


def _speed_of(bench: Bench) -> Callable[[NDArray[np.float64]], NDArray[np.float64]] | None:
    """Return speed by mass from the chronograph's readings; None where they cannot tell it."""
    try:
        told = kept_launch(kept_readings(bench.store, bench.rig_id), bench.known)
    except GroupscanError:
        return None
    bow = None if told is None else told.launch
    if told is None or bow is None:
        return None
    mass = told.mass_g[0]
    return speed_by_mass(mass, float(bow.predict(np.array([mass])).speed_mps[0]), bow.virtual_g)


def _masses(text: str) -> list[float]:
    """Read masses between commas; a unit at the end goes for all before it."""
    p = preferences()
    example = "85, 100, 125 gr" if p.mass == "gr" else "5, 6.5, 8 g"
    found = parse_several(text, "mass", default_unit=p.mass, example=example)
    if len(found) > _MOST_MASSES:
        raise UnitError(f"give one to six masses between commas, such as {example}")
    return sorted({*found})
