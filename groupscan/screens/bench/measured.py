"""What is measured of a rig, asked for and kept: chronograph readings, and its sight's pins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final

import streamlit as st

from groupscan.decisions.rig_bench import KeptPins, KeptReadings, kept_pins, launch_of
from groupscan.errors import GroupscanError, UnitError
from groupscan.records.store import Pin, Speed, add_pins, add_speeds, list_builds, list_pins
from groupscan.report.bench import Reading
from groupscan.rigs.chronograph import FARTHEST_M
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
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import date_input_format, day_text, preferences
from groupscan.several import is_zero, parse_places, parse_several
from groupscan.units import parse_length, parse_quantity

__all__ = [
    "ask_pins",
    "first_pin",
    "keep_pins_form",
    "pins_at_hand",
    "readings_form",
    "readings_kept",
    "try_pins",
]

_TRIED: Final = "pins_tried"
_SAME_M: Final = 0.05


def readings_form(bench: Bench) -> None:
    """Ask for the readings of one arrow."""
    p, read = preferences(), reading()
    builds = {int(row["id"]): row for row in list_builds(bench.store).to_dict("records")}
    options = [0, *builds]
    a, b = st.columns(2)
    chosen = a.selectbox(
        "Arrow build that was shot", options,
        index=options.index(bench.build_id) if bench.build_id in builds else 0,
        format_func=lambda one: str(builds[one]["name"]) if one else "not said",
        key=f"reading_build_{bench.rig_id}",
    )  # fmt: skip
    grams = _mass(bench, chosen, builds)
    key = f"form_reading_{bench.rig_id}_{chosen}_{st.session_state.get('bench_news_count', 0)}"
    with st.form(key):
        a, b, c = st.columns([1, 2, 1])
        mass = a.text_input(
            "Mass of the arrow", "" if grams is None else read.words("mass", grams),
            key=f"{key}_m", max_chars=40, help="On a scale, such as 412 gr or 26.7 g.",
        )  # fmt: skip
        speeds = b.text_input(
            "Speeds", key=f"{key}_s", max_chars=300,
            placeholder="279, 281, 280 ft/s" if p.speed == "ft/s" else "85.1, 85.4, 85.3 m/s",
            help="What the chronograph showed, between commas; three shots or more.",
        )  # fmt: skip
        away = c.text_input(
            "Chronograph stands at", key=f"{key}_a", max_chars=40,
            placeholder="1 yd" if p.distance == "yd" else "1 m",
            help="From the string to the middle of the chronograph. Empty: at the bow.",
        )  # fmt: skip
        a, b = st.columns([1, 3])
        on = a.date_input("Day", today(), key=f"{key}_d", format=date_input_format())
        source = b.text_input(
            "Where from", key=f"{key}_f", max_chars=120, placeholder="the club's chronograph"
        )
        if st.form_submit_button("Keep these readings", type="primary"):

            def act() -> None:
                if not mass.strip() or not speeds.strip():
                    raise UnitError("give the mass of the arrow and at least one speed")
                kept_mass = _as_written(mass, grams, read)
                said = parse_several(speeds, "speed", default_unit=p.speed)
                launch_of([kept_mass] * len(said), said)  # refuses what cannot be one arrow's
                entries = [
                    Speed(
                        rig_id=bench.rig_id, taken_on=on, mass_g=kept_mass, speed_mps=one,
                        distance_m=_away(away), build_id=chosen or None, source=source.strip(),
                    )
                    for one in said
                ]  # fmt: skip
                many = f"{len(said)} readings are" if len(said) > 1 else "One reading is"
                added("speed", add_speeds(bench.store, entries), f"{many} kept.")

            save(act)


def readings_kept(bench: Bench, kept: KeptReadings) -> None:
    """List the readings, an arrow and a day each, and offer to delete them."""
    read = reading()
    groups = [*_arrows(kept.readings.to_dict("records"))]
    old = [*_arrows(kept.others.to_dict("records"))]
    if not groups and not old:
        return
    draw_table(
        ("Day and place", "arrow", f"speeds ({read.unit('speed')})"),
        [
            (
                plain(", ".join(part for part in (
                    day_text(one[0]["taken_on"]), _stood(one[0], read), str(one[0]["source"])
                ) if part)),
                plain(_arrow(one[0], read)),
                ", ".join(f"{read.number('speed', row['speed_mps']):.4g}" for row in one),
            )
            for one in (*groups, *old)
        ],
    )  # fmt: skip
    names = [f"{day_text(one[0]['taken_on'])}: {_arrow(one[0], read)}" for one in (*groups, *old)]
    place = st.selectbox(
        "Readings to delete", range(len(names)), format_func=lambda one: names[one],
        key=f"reading_gone_{bench.rig_id}_{len(names)}",
    )  # fmt: skip
    rows = [*groups, *old][place]
    delete_button(
        bench.store, "speed", [int(row["id"]) for row in rows],
        f"The {len(rows)} readings of {names[place]}" if len(rows) > 1
        else f"The reading of {names[place]}",
        label="Delete these readings", key=f"delete_readings_{bench.rig_id}",
    )  # fmt: skip


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


def _away(text: str) -> float | None:
    if not text.strip():
        return None
    if is_zero(text):
        return 0.0
    metres = parse_length(text, default_unit=preferences().distance) / 1000
    if metres > FARTHEST_M:
        raise UnitError(
            f"a chronograph {text} from the bow is too far off: {FARTHEST_M:g} m at most"
        )
    return metres


def _mass(bench: Bench, chosen: int, builds: dict[int, dict[Any, Any]]) -> float | None:
    from groupscan.decisions.rig_bench import rig_of_store

    if not chosen or chosen not in builds:
        return None
    try:
        return rig_of_store(bench.store, bench.rig_id, build_id=chosen).mass_g()
    except GroupscanError:
        return None


def _as_written(text: str, was: float | None, read: Reading) -> float:
    """Read a mass, to the last digit where it was left as it was."""
    if was is not None and text.strip() == read.words("mass", was):
        return was
    return parse_quantity(text, "mass", default_unit=preferences().mass)


def _arrows(rows: list[dict[Any, Any]]) -> Iterator[list[dict[Any, Any]]]:
    """Yield the readings of each day and arrow, the newest day first."""

    def what(row: dict[Any, Any]) -> tuple[Any, ...]:
        away = row["distance_m"]
        return (
            row["taken_on"], row["mass_g"], row["build"], row["source"],
            -1.0 if away != away else away,
        )  # fmt: skip

    ordered = sorted(rows, key=what)
    groups = [list(group) for _, group in groupby(ordered, key=what)]
    yield from sorted(groups, key=lambda group: group[0]["taken_on"], reverse=True)


def _stood(row: dict[Any, Any], read: Reading) -> str:
    """Return where the chronograph stood, in words; empty where it is not said."""
    away = row["distance_m"]
    if away != away or away is None:
        return ""
    return f"{read.words('distance', away)} from the bow" if away else "at the bow"


def _arrow(row: dict[Any, Any], read: Reading) -> str:
    return read.words("mass", row["mass_g"]) + (f" ({row['build']})" if row["build"] else "")
