"""Gear: rigs with their setups, builds with their arrows, heads; kept, changed and taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import streamlit as st

from groupscan.records.removal import Entry
from groupscan.records.store import (
    get_build,
    get_head,
    get_rig,
    list_arrows,
    list_builds,
    list_heads,
    list_setups,
)
from groupscan.report.bench.arrow import arrow_chart
from groupscan.report.bench.compare import history_chart
from groupscan.rigs.build import MAKERS_FIRST, measure_arrow
from groupscan.rigs.parts import place_parts
from groupscan.screens.bench.arrow_forms import add_arrows_form, arrow_form
from groupscan.screens.bench.asking import Bench, build_choice, reading, refused
from groupscan.screens.bench.forms import (
    add_setup_form,
    build_form,
    head_form,
    rig_form,
)
from groupscan.screens.bench.saving import delete_button
from groupscan.screens.bench.showing import lead, picture
from groupscan.screens.chrome import plain
from groupscan.screens.numbers import draw_table
from groupscan.screens.preferences import day_text

if TYPE_CHECKING:
    from groupscan.records.connect import Store

__all__ = ["draw_first_rig", "draw_gear"]

_FIRST: Final = """
**No rig is kept yet.** The rig bench reckons with your bow, sight and arrows: keep a rig here, then
say how it is set up. Everything that you fill in later fits sessions that you shot before.
"""


def draw_first_rig(store: Store) -> None:
    """Ask for the first rig."""
    st.markdown(_FIRST)
    rig_form(store, None)


def draw_gear(bench: Bench) -> None:
    """Draw the section."""
    store = bench.store
    _today(bench)
    _setups(bench)
    with st.expander("This rig: name, owner, bow"):
        rig_form(store, get_rig(store, bench.rig_id))
        _delete(store, "rig", bench.rig_id, bench.known.name)
    with st.expander("Another rig"):
        rig_form(store, None)
    st.subheader("Arrow builds", anchor=False)
    _builds(store, bench)
    st.subheader("Heads", anchor=False)
    _heads(store)
    st.caption(f"{MAKERS_FIRST} Local law may set draw weights and heads as well.")


def _today(bench: Bench) -> None:
    """Say in one sentence how the rig is set up, and draw what it shoots."""
    known, read = bench.known, reading()
    said = [
        (known.draw_weight_n, "force", "at {} of draw weight"),
        (known.radius_mm, "length", "sight radius {}"),
        (known.peep_mm, "length", "peep {} above the arrow"),
    ]
    parts = [words.format(read.words(kind, value)) for value, kind, words in said if value]
    if known.build:
        parts.append(f"shooting {known.build}")
    if not parts:
        lead(f"{known.name} has no setup yet: say below how it is set up.")
        return
    lead(f"{known.name} today: {', '.join(parts)}.")
    rows = [
        (row["since"].date(), float(row["draw_weight_n"]), str(row["changed"]))
        for row in list_setups(bench.store, bench.rig_id).to_dict("records")
        if row["draw_weight_n"] == row["draw_weight_n"]
    ]
    if len({day for day, _, _ in rows}) > 1 and len({round(pull, 1) for _, pull, _ in rows}) > 1:
        picture(history_chart(rows, read, title=known.name), "history", height_px=260)
        return
    with refused():
        if known.build and known.parts.cut_mm is not None:
            figures = measure_arrow(known.parts, draw_weight_n=known.draw_weight_n)
            placed = () if known.parts.missing else place_parts(known.parts)
            picture(arrow_chart(figures, placed, read), "gear_arrow", height_px=240)


def _setups(bench: Bench) -> None:
    store = bench.store
    rows = list_setups(store, bench.rig_id).to_dict("records")
    if rows:
        draw_table(
            ("Set up since", "what changed", "how it is set up"),
            [
                (
                    day_text(row["since"]), plain(str(row["changed"]) or "first setup"),
                    plain(_setup_words(row)),
                )
                for row in reversed(rows)
            ],
        )  # fmt: skip
    with st.expander("Add a setup: what changed on this rig", expanded=not rows):
        add_setup_form(bench, rows[-1] if rows else None)
    if rows:
        with st.expander("Delete a setup that was mistyped"):
            names = {
                int(row["id"]): f"since {day_text(row['since'])}: {row['changed'] or 'first setup'}"
                for row in reversed(rows)
            }
            key = st.selectbox(
                "Setup", list(names), format_func=lambda one: names[one],
                key=f"bench_setup_{bench.rig_id}",
            )  # fmt: skip
            _delete(store, "setup", key, f"The setup {names[key]}")


def _builds(store: Store, bench: Bench) -> None:
    rows = list_builds(store).to_dict("records")
    names = {0: "A new build", **{int(row["id"]): _owned(row) for row in rows}}
    start = bench.build_id if bench.build_id in names else next(reversed(names))
    kept = st.session_state.get("chosen_gear_build", start)
    chosen = st.selectbox(
        "Arrow build", list(names), format_func=lambda one: names[one],
        index=list(names).index(kept) if kept in names else 0,
        key=f"gear_build_{len(names)}_{kept}",
    )  # fmt: skip
    st.session_state["chosen_gear_build"] = chosen
    if not chosen:
        # Where the setup says which arrow is shot, that stays the one to reckon with.
        build_form(store, None, keep_as=() if bench.build_id else [build_choice(bench)])
        return
    with st.expander("The parts of this build"):
        build_form(store, get_build(store, chosen))
        _delete(store, "build", chosen, names[chosen])
    arrows = list_arrows(store, chosen)
    if len(arrows):
        draw_table(
            ("Arrow", "state", "since when, and why"),
            [
                (
                    plain(_numbered(row)), plain(str(row["state"])),
                    plain(": ".join(part for part in (
                        day_text(row["state_since"]), str(row["state_why"])
                    ) if part)),
                )
                for row in arrows.to_dict("records")
            ],
        )  # fmt: skip
        with st.expander("Change an arrow: mass, state, built anew"):
            numbers = {int(row["id"]): _arrow_name(row) for row in arrows.to_dict("records")}
            key = st.selectbox(
                "Arrow", list(numbers), format_func=lambda one: numbers[one],
                key=f"gear_arrow_{chosen}",
            )  # fmt: skip
            arrow_form(store, key, {k: v for k, v in names.items() if k not in (0, chosen)})
            _delete(store, "arrow", key, f"Arrow {numbers[key]}")
    with st.expander("Add arrows of this build", expanded=arrows.empty):
        add_arrows_form(store, get_build(store, chosen))


def _heads(store: Store) -> None:
    rows = list_heads(store).to_dict("records")
    names = {0: "A new head", **{int(row["id"]): str(row["name"]) for row in rows}}
    if rows:
        draw_table(
            ("Head", "kind", "mass", "cuts"),
            [
                (
                    plain(str(row["name"])), plain(str(row["kind"]) or "–"),
                    reading().words("mass", row["mass_g"]),
                    reading().words("length", row["cut_mm"]),
                )
                for row in rows
            ],
        )  # fmt: skip
    with st.expander("Add or change a head", expanded=not rows):
        chosen = st.selectbox(
            "Head", list(names), format_func=lambda one: names[one], key=f"gear_head_{len(names)}"
        )
        head_form(store, get_head(store, chosen) if chosen else None)
        if chosen:
            _delete(store, "head", chosen, names[chosen])


def _delete(store: Store, kind: Entry, key: int, title: str) -> None:
    delete_button(
        store, kind, [key], title, label=f"Delete this {kind}", key=f"delete_{kind}_{key}"
    )


def _owned(row: dict[Any, Any]) -> str:
    return f"{row['name']} ({row['shooter']})" if row["shooter"] else str(row["name"])


def _arrow_name(row: dict[Any, Any]) -> str:
    return f"{row['number']} ({row['state']})"


def _setup_words(row: dict[Any, Any]) -> str:
    """Return what a setup says, in one line."""
    read = reading()
    amounts = (
        ("draw_weight_n", "force", "{}"), ("draw_length_mm", "length", "{} draw"),
        ("sight_radius_mm", "length", "sight radius {}"), ("peep_height_mm", "length", "peep {}"),
    )  # fmt: skip
    said = [
        words.format(read.words(kind, row[name]))
        for name, kind, words in amounts
        if row[name] == row[name] and row[name] is not None
    ]
    said += [str(row[name]) for name in ("build", "rest", "sight") if row[name]]
    return ", ".join(said) or "not said"


def _numbered(row: dict[Any, Any]) -> str:
    mass = row["mass_g"]
    weighed = mass is not None and mass == mass
    return f"{row['number']} ({reading().words('mass', mass)})" if weighed else str(row["number"])
