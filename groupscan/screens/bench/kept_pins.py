"""The pins of a sight, asked for, tried and kept."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import streamlit as st

from groupscan.decisions.rig_bench import KeptPins, kept_pins
from groupscan.errors import GroupscanError, UnitError
from groupscan.records.store import Pin, add_pins, list_pins
from groupscan.report.bench import Reading
from groupscan.screens.bench.asking import (
    Bench,
    answer,
    distances,
    forget_answer,
    keep_answer,
    reading,
    today,
    typed,
)
from groupscan.screens.bench.saving import added, delete_button, save
from groupscan.screens.chrome import plain
from groupscan.screens.preferences import date_input_format, day_text, preferences
from groupscan.several import parse_places

__all__ = [
    "ask_pins",
    "first_pin",
    "keep_pins_form",
    "pins_at_hand",
    "try_pins",
]

_TRIED: Final = "pins_tried"
_SAME_M: Final = 0.05


def ask_pins(bench: Bench, place: Any) -> tuple[list[float] | None, KeptPins | None]:
    """Ask for pins to look at; they begin as those that are kept of the rig."""
    kept = kept_pins(bench.store, bench.rig_id)
    p = preferences()
    start = f"20, 30, 40 {p.distance}" if kept is None else _written(kept, reading())
    pins = typed(
        bench, _TRIED, "Pins at", start, distances, place=place,
        help="One to nine distances between commas.",
    )  # fmt: skip
    if pins and kept is not None and _alike(pins, kept.distance_m):
        forget_answer(bench, _TRIED)
        return list(kept.distance_m), kept  # to the last digit
    return pins, kept


def keep_pins_form(bench: Bench, pins: Sequence[float], kept: KeptPins | None) -> None:
    """Say whether the pins shown are those that are kept, and offer to keep them."""
    read, p = reading(), preferences()
    same = kept is not None and _alike(pins, kept.distance_m)
    if kept is not None:
        said = f"kept since {day_text(kept.set_on)}"
        if same:
            st.caption(f"These are the pins {said}.")
        else:
            st.caption(plain(f"You are trying pins. Those {said}: {_written(kept, read)}."))
            st.button(
                "Back to the pins that are kept", key="bench_pins_back", on_click=_back,
                args=(bench, _written(kept, read)), icon=":material/undo:",
            )  # fmt: skip
        for note in kept.notes:
            st.caption(plain(note))
    key = f"form_pins_{bench.rig_id}_{st.session_state.get('bench_news_count', 0)}"
    with st.expander("Keep these pins with the rig" if not same else "Measure these pins anew"):
        with st.form(key):
            a, b = st.columns([1, 2])
            on = a.date_input("Set on", today(), key=f"{key}_d", format=date_input_format())
            below = b.text_input(
                "Below the first pin", key=f"{key}_b", max_chars=120,
                placeholder="0, 0.6, 1.3 in" if p.length == "in" else "0, 15, 33 mm",
                help="How far each pin stands below the first on the sight, by a ruler; the first "
                "is 0. It may stay empty.",
            )  # fmt: skip
            if st.form_submit_button("Keep these pins", type="primary"):

                def act() -> None:
                    entries = [
                        Pin(rig_id=bench.rig_id, set_on=on, distance_m=far, below_mm=place)
                        for far, place in zip(pins, _below(below, len(pins)), strict=True)
                    ]
                    # Those of one day are one sight: what was kept of it that day gives way.
                    table = list_pins(bench.store, bench.rig_id)
                    if (table["set_on"].dt.date == on).any():
                        raise UnitError(
                            f"pins are kept of {day_text(on)} already: delete those, or give "
                            "another day"
                        )
                    keys = add_pins(bench.store, entries)
                    forget_answer(bench, _TRIED)
                    st.session_state.pop(f"bench_{_TRIED}_{bench.rig_id}", None)
                    added("pin", keys, "The pins are kept.")

                save(act)
        if kept is not None:
            table = list_pins(bench.store, bench.rig_id)
            last = table[table["set_on"].dt.date == kept.set_on]
            delete_button(
                bench.store, "pin", [int(one) for one in last["id"]],
                f"The pins of {day_text(kept.set_on)}", key=f"delete_pins_{bench.rig_id}",
                label=f"Delete the pins of {day_text(kept.set_on)}",
            )  # fmt: skip


def first_pin(bench: Bench) -> str:
    """Return where the first pin at hand is right, as the reader would type it; empty if none."""
    at = pins_at_hand(bench)
    read = reading()
    return f"{read.number('distance', at[0]):.4g} {preferences().distance}" if at else ""


def pins_at_hand(bench: Bench) -> list[float]:
    """Return the pins that the Pins section shows; empty where none were ever said."""
    text = answer(bench, _TRIED, "")
    if text:
        try:
            return distances(text)
        except GroupscanError:
            return []
    kept = kept_pins(bench.store, bench.rig_id)
    return [] if kept is None else list(kept.distance_m)


def try_pins(bench: Bench, text: str) -> None:
    """Put pins into the field of the Pins section."""
    st.session_state[f"bench_{_TRIED}_{bench.rig_id}"] = text
    keep_answer(bench, _TRIED, text)


def _back(bench: Bench, text: str) -> None:
    st.session_state[f"bench_{_TRIED}_{bench.rig_id}"] = text
    forget_answer(bench, _TRIED)


def _written(kept: KeptPins, read: Reading) -> str:
    unit = preferences().distance
    return ", ".join(f"{read.number('distance', far):.4g}" for far in kept.distance_m) + f" {unit}"


def _alike(pins: Sequence[float], others: Sequence[float]) -> bool:
    """Whether pins are those, but for what a field rounds."""
    return len(pins) == len(others) and all(
        abs(one - other) <= _SAME_M for one, other in zip(pins, others, strict=True)
    )


def _below(text: str, count: int) -> list[float] | list[None]:
    if not text.strip():
        return [None] * count
    return parse_places(text, count, default_unit=preferences().length)
