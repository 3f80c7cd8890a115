"""Pins on paper: a sight scale true to size, and a range card."""

from __future__ import annotations

import numpy as np
import streamlit as st

from groupscan.decisions.rig_bench import pins_of
from groupscan.errors import UnitError
from groupscan.report.sight_scale import near_marks_note, range_card_pdf, sight_scale_pdf
from groupscan.rigs.sight import Sight, slider_scale, turning_distance
from groupscan.rigs.sight.landing import hold_name
from groupscan.screens.bench.asking import Bench, reading, typed
from groupscan.screens.bench.flying import Flying
from groupscan.screens.chrome import plain
from groupscan.screens.downloads import Download, offer
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import preferences
from groupscan.screens.report_button import ask_paper
from groupscan.units import parse_distance, yd_to_m

__all__ = ["draw_paper", "shooting_distance"]


def draw_paper(bench: Bench, sight: Sight, flying: Flying, pins: list[float]) -> None:
    """Ask for the marks, and offer both pages."""
    st.subheader("On paper, true to size", anchor=False)
    yards = preferences().distance == "yd"
    a, b, c = st.columns(3)
    first = typed(
        bench, "mark_first", "Marks from", "20 yd" if yards else "20 m", shooting_distance, place=a
    )
    last = typed(
        bench, "mark_last", "Marks to", "60 yd" if yards else "60 m", shooting_distance, place=b
    )
    paper = ask_paper("bench", place=c)
    if first is None or last is None:
        return
    if first >= last:
        st.warning("The marks must begin nearer than they end.")
        return
    at = _marks(first, last, yards=yards)
    read = reading()
    turning = turning_distance(sight)
    right_at = next((one for one in at if one >= turning), at[-1])
    scale = slider_scale(sight, at, reference_m=right_at)
    words: tuple[str, ...] = (
        f"{bench.known.build or 'Arrow'} at {read.words('speed', flying.speed_mps)}, "
        f"sight radius {read.words('length', sight.radius_mm)}, "
        f"peep height {read.words('length', sight.peep_mm)}. Drag: {flying.drag.basis}.",
        f"The mark for {read.words('distance', right_at)} belongs where the pin stands when it is "
        "sighted in there.",
        "Print at 100 % and measure the bar. Prove every mark on paper before you rely on it.",
    )
    if scale.doubtful.any():
        words += (near_marks_note(read.words("distance", scale.turning_m)),)
        st.caption(plain(words[-1]))
    labels = [f"{read.number('distance', one):g}" for one in at]
    bare = [round(one, 6) for one in scale.mark_mm.tolist()]
    found = pins_of(
        sight, pins, circle_mm=1.0, nearest_m=min(at), farthest_m=max(at), distance_m=at
    )
    rows = [
        (
            read.words("distance", far), hold_name(float(found.landing.hold[best])),
            read.words("length", float(found.landing.height_mm[best, place])),
            read.words("length", bare[place]),
        )
        for place, (far, best) in enumerate(zip(at, found.landing.best, strict=True))
    ]  # fmt: skip
    below = f"Movable pin, below the mark for {read.words('distance', right_at)}"
    heads = ("Distance", "Hold", "Lands above the aim", below)
    title = f"{bench.known.name}: marks in {'yards' if yards else 'metres'}"
    said = (*words, found.caution)
    files = [
        Download(
            "Sight scale (PDF)", "sight-scale.pdf", "application/pdf",
            lambda: sight_scale_pdf(bare, labels, title=title, words=said, paper=paper),
            icon=":material/print:", type="primary",
        ),
        Download(
            "Range card (PDF)", "range-card.pdf", "application/pdf",
            lambda: range_card_pdf(
                heads, rows, title=f"{bench.known.name}: range card", words=said, paper=paper
            ),
            icon=":material/print:",
        ),
    ]  # fmt: skip
    offer("pins_paper", files)
    with st.expander("The range card"):
        draw_table(heads, [tuple(map(plain, row)) for row in rows])


def _marks(first: float, last: float, *, yards: bool) -> list[float]:
    """Return round distances from the first to the last mark, in the reader's unit."""
    unit = yd_to_m(1.0) if yards else 1.0
    low, high = first / unit, last / unit
    step = next(one for one in (1.0, 2.0, 5.0, 10.0, 20.0) if (high - low) / one <= 40)
    step = max(step, 5.0) if high - low > 15 else step
    at = [low, *np.arange(np.ceil((low + 1e-6) / step) * step, high + 1e-6, step).tolist()]
    return [round(one, 6) * unit for one in at]


def shooting_distance(text: str) -> float:
    """Read a distance that an arrow is shot from, m. UnitError if it cannot be one."""
    metres = parse_distance(text, default_unit=preferences().distance)
    if not 1 <= metres <= 200:
        raise UnitError(f"{text} is no distance for an arrow here: give 1 to 200 m")
    return metres
