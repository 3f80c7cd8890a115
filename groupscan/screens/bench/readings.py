"""Chronograph readings, asked for and kept."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from typing import Any

import streamlit as st

from groupscan.decisions.rig_bench import KeptReadings, launch_of, rig_of_store
from groupscan.errors import GroupscanError, UnitError
from groupscan.records.store import Speed, add_speeds, list_builds
from groupscan.report.bench import Reading
from groupscan.rigs.chronograph import FARTHEST_M
from groupscan.screens.bench.asking import Bench, drafted, reading, today
from groupscan.screens.bench.fields import read_fields
from groupscan.screens.bench.saving import added, delete_button, save
from groupscan.screens.chrome import plain
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import date_input_format, day_text, preferences
from groupscan.several import is_zero, parse_several
from groupscan.units import parse_length, parse_quantity

__all__ = ["readings_form", "readings_kept"]


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
    with st.container(border=True):  # a form would keep to itself what is typed until it is sent
        a, b, c = st.columns([1, 2, 1])
        mass = drafted(
            a.text_input, "Mass of the arrow", "" if grams is None else read.words("mass", grams),
            key=f"{key}_m", max_chars=40, help="On a scale, such as 412 gr or 26.7 g.",
        )  # fmt: skip
        example = "279, 281, 280 ft/s" if p.speed == "ft/s" else "85.1, 85.4, 85.3 m/s"
        speeds = drafted(
            b.text_input, "Speeds", "", key=f"{key}_s", max_chars=300, placeholder=example,
            help="What the chronograph showed, between commas or spaces; three shots or more.",
        )  # fmt: skip
        away = drafted(
            c.text_input, "Chronograph stands at", "", key=f"{key}_a", max_chars=40,
            placeholder="1 yd" if p.distance == "yd" else "1 m",
            help="From the string to the middle of the chronograph. Empty: at the bow.",
        )  # fmt: skip
        a, b = st.columns([1, 3])
        on = drafted(a.date_input, "Day", today(), key=f"{key}_d", format=date_input_format())
        source = drafted(
            b.text_input, "Where from", "", key=f"{key}_f", max_chars=120,
            placeholder="the club's chronograph",
        )  # fmt: skip
        if st.button("Keep these readings", type="primary", key=f"{key}_keep"):

            def act() -> None:
                if not mass.strip() or not speeds.strip():
                    raise UnitError("give the mass of the arrow and at least one speed")
                told = read_fields(
                    {}, {},
                    mass=lambda: _as_written(mass, grams, read),
                    speeds=lambda: parse_several(
                        speeds, "speed", default_unit=p.speed, example=example
                    ),
                    away=lambda: _away(away),
                )  # fmt: skip
                kept_mass, said = told["mass"], told["speeds"]
                launch_of([kept_mass] * len(said), said)  # refuses what cannot be one arrow's
                entries = [
                    Speed(
                        rig_id=bench.rig_id, taken_on=on, mass_g=kept_mass, speed_mps=one,
                        distance_m=told["away"], build_id=chosen or None, source=source.strip(),
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
