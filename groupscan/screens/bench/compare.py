"""Compare: two rigs or two builds side by side, what is reckoned and what was measured."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Final

import streamlit as st

from groupscan.decisions.rig_bench import (
    KnownRig,
    Measured,
    Side,
    SideBySide,
    air_of,
    drag_of,
    measured_of,
    rig_of_store,
    side_by_side,
    side_of,
)
from groupscan.errors import GroupscanError
from groupscan.records.store import list_builds, list_rigs
from groupscan.report.bench.compare import compare_chart
from groupscan.report.bench.reading import Reading
from groupscan.screens.bench.asking import Bench, distances, reading, refused, typed
from groupscan.screens.bench.flying import speed_known
from groupscan.screens.bench.shots import rig_shots
from groupscan.screens.bench.showing import downloads, lead, notes, picture
from groupscan.screens.chrome import plain
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import preferences
from groupscan.units import distance_text, parse_length, parse_quantity

__all__ = ["draw_compare"]

_EMPTY: Final = """
**There is nothing to compare this rig with yet.**

This section puts two rigs, or two arrow builds of one rig, side by side: mass, speed, energy,
pins, wind drift, and the scatter and reach that your groups showed. Keep a second build or a
second rig under **Gear**.
"""
_KINDS: Final = {
    "g": "mass", "%": "share", "gr/lb": "ratio", "m/s": "speed", "J": "energy",
    "kg m/s": "momentum", "mm": "length", "mrad": "angle", "m": "distance",
}  # fmt: skip


def draw_compare(bench: Bench) -> None:
    """Draw the section."""
    sides = _sides(bench)
    if len(sides) < 2:
        st.markdown(_EMPTY)
        return
    a, b = st.columns(2)
    names = list(sides)
    first = a.selectbox("First", names, key=f"bench_first_{bench.rig_id}")
    others = [name for name in names if name != first]
    second = b.selectbox(
        "Second", others, index=_first_known(sides, others),
        key=f"bench_second_{bench.rig_id}_{first}",
    )  # fmt: skip
    top = st.container()
    yards, inches = preferences().distance == "yd", preferences().length == "in"
    c, d, e = st.columns(3)
    at = typed(
        bench, "compare_at", "At distances", "20, 40, 60 yd" if yards else "20, 40, 60 m",
        distances, place=c,
    )  # fmt: skip
    feet = preferences().speed == "ft/s"
    wind = typed(
        bench, "compare_wind", "Wind across", "10 ft/s" if feet else "3 m/s",
        lambda text: parse_quantity(text, "speed", default_unit=preferences().speed), place=d,
    )  # fmt: skip
    circle = typed(
        bench, "circle", "Circle for reach, across", "6 in" if inches else "150 mm",
        lambda text: parse_length(text, default_unit=preferences().length), place=e,
    )  # fmt: skip
    if not at or wind is None or circle is None:
        return
    with top, refused():
        pair = [
            _side(*sides[name], name=name, at=at, wind=wind, circle=circle)
            for name in (first, second)
        ]
        _show(side_by_side(pair[0], pair[1], crosswind_mps=wind), at)


def _first_known(sides: dict[str, tuple[Bench, KnownRig, str]], names: list[str]) -> int:
    """Return the place of the first whose launch speed is known, since it has most to compare."""
    for place, name in enumerate(names):
        bench, known, _ = sides[name]
        if speed_known(bench, known)[0] is not None:
            return place
    return 0


def _sides(bench: Bench) -> dict[str, tuple[Bench, KnownRig, str]]:
    """Return what can be compared by name: builds on this rig, and the other rigs as they are."""
    found: dict[str, tuple[Bench, KnownRig, str]] = {}
    title = bench.known.name
    today = bench.known.build
    found[f"{title} today" + (f" ({today})" if today else "")] = (bench, bench.known, "")
    for row in list_builds(bench.store).to_dict("records"):
        if int(row["id"]) != bench.build_id:
            known = rig_of_store(bench.store, bench.rig_id, build_id=int(row["id"]))
            found[f"{title} with {row['name']}"] = (bench, known, str(row["name"]))
    if today and len(found) > 1:
        name = next(iter(found))
        found[name] = (bench, bench.known, today)
    for row in list_rigs(bench.store).to_dict("records"):
        key = int(row["id"])
        if key != bench.rig_id:
            known = rig_of_store(bench.store, key)
            whose = f" ({row['shooter']})" if row["shooter"] else ""
            found[f"{known.name}{whose}"] = (Bench(bench.store, key, known, None), known, "")
    return found


def _side(
    bench: Bench,
    known: KnownRig,
    build: str,
    *,
    name: str,
    at: list[float],
    wind: float,
    circle: float,
) -> Side:
    speed, _ = speed_known(bench, known)
    drag = None
    try:
        drag = drag_of(known, air_of(), speed_mps=speed) if speed is not None else None
    except GroupscanError:
        drag = None
    measured: Measured | None = None
    shots = rig_shots(bench, build=build)
    if shots is not None:
        try:
            measured = measured_of(shots, circle_mm=circle)
        except GroupscanError:
            measured = None
    return side_of(
        replace(known, name=name), speed_mps=speed, drag=drag, distance_m=at, crosswind_mps=wind,
        measured=measured,
    )  # fmt: skip


def _show(both: SideBySide, at: list[float]) -> None:
    read = reading()
    sentence = _sentence(both, read)
    lead(sentence)
    sides = [both.first, both.second]
    pins = any(math.isfinite(one) for side in sides for one in side.position_mm.tolist())
    chart = None
    if pins or any(math.isfinite(one) for side in sides for one in side.drift_mm.tolist()):
        chart = compare_chart(
            [
                (side.name, at, (side.position_mm if pins else side.drift_mm).tolist())
                for side in sides
            ],
            read,
            what="pin below the peep's line" if pins else "drift in the wind",
            caution=both.caution,
        )
        picture(chart, "compare", height_px=380)
    else:
        st.info(
            "A launch speed on the Launch section, and sight radius and peep height of the setup, "
            "give a picture of the pins."
        )
    heads = ("", "First", "Second", "second less first")
    rows = []
    for row in both.to_frame().to_dict("records"):
        kind = _KINDS[str(row["unit"])]
        what = _in_unit(str(row["what"]), at, both, read)
        values = [row["first"], row["second"], row["difference"]]
        if any(math.isfinite(one) for one in values):
            cells = [read.words(kind, one) if math.isfinite(one) else "not known" for one in values]
            rows.append((plain(what), *cells))
    draw_table(heads, rows)
    st.subheader("What the groups showed", anchor=False)
    shots = [0 if side.measured is None else side.measured.shots for side in sides]
    if not any(shots):
        st.info(
            "No ends are recorded for either: shoot both at the same distances and save the ends."
        )
    else:
        rows = [("recorded shots", *(str(one) for one in shots))]
        for row in both.measured_frame().to_dict("records"):
            kind = _KINDS[str(row["unit"])]
            cells = []
            for side in ("first", "second"):
                value, low, high = row[side], row[f"{side}_low"], row[f"{side}_high"]
                if row["what"] == "reach":
                    cells.append(read.words(kind, low))
                else:
                    cells.append(read.words(kind, value, low, high))
            what = "reach to rely on" if row["what"] == "reach" else str(row["what"])
            rows.append((what, *cells))
        draw_table(("", "First", "Second"), rows)
    notes(both.notes())
    downloads("compare", chart, both.to_frame(), caption=sentence)


def _in_unit(what: str, at: list[float], both: SideBySide, read: Reading) -> str:
    """Write the distances and the wind in a row's name in the reader's units."""
    known = {distance_text(far): read.words("distance", far) for far in at}
    known[f"{both.crosswind_mps:g} m/s"] = read.words("speed", both.crosswind_mps)
    # Whole amounts in one pass: "3 m" stands within "3 m/s" too, and within "13 m".
    return re.sub(r"[\d.e+-]+ (?:m/s|m|yd)\b", lambda found: known.get(found[0], found[0]), what)


def _sentence(both: SideBySide, read: Reading) -> str:
    one, two = both.first, both.second
    more = two.figures.mass_g - one.figures.mass_g
    heavier = "as heavy as" if abs(more) < 0.02 else (
        f"{read.words('mass', abs(more))} {'heavier' if more > 0 else 'lighter'} than"
    )  # fmt: skip
    said = f"{two.name} shoots an arrow {heavier} that of {one.name}"
    if heavier == "as heavy as":
        said = f"{two.name} and {one.name} shoot arrows of one mass"
    faster = two.speed_mps - one.speed_mps
    if math.isfinite(faster):
        said += f", {read.words('speed', abs(faster))} {'faster' if faster > 0 else 'slower'}"
    own = [None if side.measured is None else side.measured.scatter for side in (one, two)]
    if own[0] is not None and own[1] is not None:
        a, b = own[0].sigma_mrad, own[1].sigma_mrad
        if a.low > b.high or b.low > a.high:
            said += f"; it groups {'tighter' if b.value < a.value else 'wider'}"
            said += " (the intervals do not overlap)"
        else:
            said += "; which of them groups tighter these shots do not tell"
    return said + "."
