"""The forms of rigs, setups, builds and heads."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, TypeVar

import streamlit as st

from groupscan.errors import UnitError
from groupscan.records.entries.gear import (
    BOWS,
    HANDS,
    HEAD_KINDS,
    Build,
    Head,
    Rig,
    Setup,
)
from groupscan.records.store import (
    add_setup,
    list_builds,
    list_shooters,
    save_build,
    save_head,
    save_rig,
)
from groupscan.rigs.build import MAKERS_FIRST
from groupscan.screens.bench.asking import Bench, today
from groupscan.screens.bench.fields import FIELDS, field_text, read_fields
from groupscan.screens.bench.saving import save
from groupscan.screens.preferences import date_input_format

if TYPE_CHECKING:
    from groupscan.records.connect import Store

__all__ = [
    "add_setup_form",
    "build_form",
    "form_key",
    "head_form",
    "one_of",
    "rig_form",
]

_NAME: Final = 120
_PARTS: Final = (
    "shaft_g_per_m", "length_mm", "shaft_mm", "point_g", "insert_g", "collar_g", "fletching_g",
    "wrap_g", "nock_g", "mass_g", "balance_mm",
)  # fmt: skip
_SETUP: Final = ("draw_weight_n", "draw_length_mm", "sight_radius_mm", "peep_height_mm")
_N = TypeVar("_N", int, float)


def rig_form(store: Store, rig: Rig | None) -> None:
    """Ask for a rig; a new one where none is given."""
    key = form_key("rig", rig)
    with st.form(key):
        a, b = st.columns(2)
        name = a.text_input(
            "Name of the rig", rig.name if rig else "", max_chars=_NAME, key=f"{key}_n"
        )
        owner = _owner(store, b, rig.shooter_id if rig else None, f"{key}_o")
        a, b = st.columns(2)
        bow = one_of(a, "Bow", BOWS, rig.bow if rig else "", f"{key}_b")
        hand = one_of(b, "Hand that draws", HANDS, rig.hand if rig else "", f"{key}_h")
        notes = st.text_input("Notes", rig.notes if rig else "", max_chars=500, key=f"{key}_t")
        if st.form_submit_button("Save this rig" if rig else "Keep this rig", type="primary"):
            entry = replace(
                rig or Rig(name=name.strip()), name=name.strip(), shooter_id=owner, bow=bow,
                hand=hand, notes=notes.strip(),
            )  # fmt: skip

            def act() -> None:
                st.session_state["chosen_bench_rig"] = save_rig(store, entry)

            save(act, "The rig is kept.")


def add_setup_form(bench: Bench, before: Mapping[Any, Any] | None) -> None:
    """Ask for how the rig is set up from a day on; it begins as the setup before."""
    store = bench.store
    number = 0 if before is None else int(before["id"])
    key = f"form_setup_{bench.rig_id}_{number}"
    was = {} if before is None else {name: _known(before[name]) for name in _SETUP}
    builds = {int(row["id"]): str(row["name"]) for row in list_builds(store).to_dict("records")}
    with st.form(key):
        a, b = st.columns([1, 2])
        since = a.date_input("From the day", today(), key=f"{key}_d", format=date_input_format())
        changed = b.text_input(
            "What changed", key=f"{key}_c", max_chars=300, placeholder="peep moved up, new string"
        )
        texts = _fields(_SETUP, was, key)
        a, b, c = st.columns(3)
        options = [0, *builds]
        now = bench.build_id if bench.build_id in builds else 0
        build = a.selectbox(
            "Arrow build", options, index=options.index(now or 0), key=f"{key}_build",
            format_func=lambda one: builds[one] if one else "not said",
        )  # fmt: skip
        rest = b.text_input("Rest", _text(before, "rest"), max_chars=_NAME, key=f"{key}_rest")
        sight = c.text_input("Sight", _text(before, "sight"), max_chars=_NAME, key=f"{key}_sight")
        st.caption(f"{MAKERS_FIRST} Local law may limit draw weight.")
        if st.form_submit_button("Keep this setup", type="primary"):

            def act() -> None:
                values = read_fields(texts, was)
                add_setup(
                    store,
                    Setup(
                        rig_id=bench.rig_id, since=since, changed=changed.strip(),
                        build_id=build or None, rest=rest.strip(), sight=sight.strip(), **values,
                    ),
                )  # fmt: skip

            save(act, "The setup is kept.")


def build_form(store: Store, build: Build | None, *, keep_as: Sequence[str] = ()) -> None:
    """Ask for a build of arrow; a new one where none is given.

    Parameters
    ----------
    store : Store
    build : Build, optional
    keep_as : sequence of str
        Choices of the session that are to be the build, beside that under Gear.
    """
    key = form_key("build", build)
    was = {name: getattr(build, name, None) for name in _PARTS}
    with st.form(key):
        a, b, c = st.columns([2, 2, 1])
        name = a.text_input(
            "Name of the build", build.name if build else "", max_chars=_NAME, key=f"{key}_n"
        )
        owner = _owner(store, b, build.shooter_id if build else None, f"{key}_o")
        spine = c.text_input(
            "Spine", field_text("spine", build.spine if build else None), key=f"{key}_s"
        )
        texts = _fields(_PARTS, was, key)
        names = ("shaft", "insert", "fletching", "nock")
        places = st.columns(4)
        called = {
            one: place.text_input(
                f"{one.capitalize()}: which", getattr(build, one, "") if build else "",
                max_chars=_NAME, key=f"{key}_{one}",
            )
            for one, place in zip(names, places, strict=True)
        }  # fmt: skip
        notes = st.text_input("Notes", build.notes if build else "", max_chars=500, key=f"{key}_t")
        st.caption(f"A part that is not there has the mass 0. {MAKERS_FIRST}")
        if st.form_submit_button("Save this build" if build else "Keep this build", type="primary"):

            def act() -> None:
                values: dict[str, Any] = {
                    **read_fields(texts, was, spine=lambda: _number(spine, "Spine", float)),
                    **{one: text.strip() for one, text in called.items()},
                }
                entry = replace(
                    build or Build(name=name.strip()), name=name.strip(), shooter_id=owner,
                    notes=notes.strip(), **values,
                )  # fmt: skip
                number = save_build(store, entry)
                for choice in ("chosen_gear_build", *keep_as):
                    st.session_state[choice] = number

            save(act, "The build is kept.")


def head_form(store: Store, head: Head | None) -> None:
    """Ask for a head; a new one where none is given."""
    key = form_key("head", head)
    was = {name: getattr(head, name, None) for name in ("mass_g", "cut_mm")}
    with st.form(key):
        a, b = st.columns(2)
        name = a.text_input(
            "Name of the head", head.name if head else "", max_chars=_NAME, key=f"{key}_n"
        )
        kind = one_of(b, "Kind", HEAD_KINDS, head.kind if head else "", f"{key}_k")
        a, b, c = st.columns(3)
        mass = a.text_input("Mass of the head", field_text("mass_g", was["mass_g"]), key=f"{key}_m")
        cut = b.text_input("Cutting diameter", field_text("cut_mm", was["cut_mm"]), key=f"{key}_c")
        blades = c.text_input(
            "Blades", field_text("blades", head.blades if head else None), key=f"{key}_b"
        )
        if st.form_submit_button("Save this head" if head else "Keep this head", type="primary"):

            def act() -> None:
                values = read_fields(
                    {"mass_g": mass, "cut_mm": cut}, was,
                    blades=lambda: _number(blades, "Blades", int),
                )  # fmt: skip
                entry = replace(
                    head or Head(name=name.strip()), name=name.strip(), kind=kind, **values
                )
                save_head(store, entry)

            save(act, "The head is kept.")


def _fields(names: tuple[str, ...], was: Mapping[str, Any], key: str) -> dict[str, str]:
    """Ask for values of gear, four in a row on a wide page."""
    texts = {}
    for place, name in enumerate(names):
        if place % 4 == 0:  # a row at a time: on a phone they stand in this order
            places = st.columns(4)
        field = FIELDS[name]
        unit = {"n": "N"}.get(field.unit, field.unit)
        texts[name] = places[place % 4].text_input(
            f"{field.label} ({unit})", field_text(name, was.get(name)), key=f"{key}_{name}",
            max_chars=40, help=field.help or None,
        )  # fmt: skip
    return texts


def _owner(store: Store, place: Any, now: int | None, key: str) -> int | None:
    names = {int(row["id"]): str(row["name"]) for row in list_shooters(store).to_dict("records")}
    options = [0, *names]
    chosen = place.selectbox(
        "Whose", options, index=options.index(now) if now in names else 0, key=key,
        format_func=lambda one: names[one] if one else "shared",
    )  # fmt: skip
    return int(chosen) or None


def one_of(place: Any, label: str, options: Any, now: str, key: str) -> str:
    """Ask for one of several words; an empty one is shown as not said."""
    chosen = place.selectbox(
        label, list(options), index=list(options).index(now) if now in options else 0, key=key,
        format_func=lambda one: one or "not said",
    )  # fmt: skip
    return str(chosen)


def form_key(kind: str, entry: Any) -> str:
    """Return the key of a form: a saved entry begins a form anew."""
    if entry is None:
        return f"form_{kind}_new_{st.session_state.get('bench_news_count', 0)}"
    return f"form_{kind}_{entry.id}_{entry.revision}"


def _known(value: Any) -> float | None:
    return None if value is None or value != value else float(value)


def _text(row: Mapping[Any, Any] | None, name: str) -> str:
    return "" if row is None else str(row[name])


def _number(text: str, what: str, kind: Callable[[str], _N]) -> _N | None:
    if not text.strip():
        return None
    try:
        return kind(text)
    except ValueError as err:
        raise UnitError(f"{what}: {text!r} is no number") from err
