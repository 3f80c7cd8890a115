"""Point match: do heads, builds or setups hit together, and what to do where they do not."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal, cast

import streamlit as st

from groupscan.decisions.comparing import Tuned
from groupscan.decisions.matching import (
    PARTED_BY,
    Match,
    common_sessions,
    comparable,
    kinds_in,
    match_of,
    same_setup,
    tuned_by_head,
    usual_reference,
)
from groupscan.decisions.planning import order_of
from groupscan.decisions.shot_bow import bow_of_shots
from groupscan.errors import GroupscanError
from groupscan.records.connect import Store
from groupscan.records.store import get_session
from groupscan.report.match.scene import MOST_KINDS
from groupscan.screens.choosing import (
    Asked,
    Chosen,
    ask_one,
    choose_table,
    on_screen,
    recorded_shots,
    records_key,
)
from groupscan.screens.chrome import page_style, plain, records, unit_choice
from groupscan.screens.links import link_to_desk
from groupscan.screens.match_asking import ask_tolerance
from groupscan.screens.match_next import view_key
from groupscan.screens.match_plan import draw_plan
from groupscan.screens.match_result import draw_result
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import length_text
from groupscan.screens.to_top import show_top

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw"]

_EMPTY: Final = """
**There is nothing to compare yet.**

This screen lays two or more heads, arrow builds, setups or rigs over one another about one aim. It
says whether they hit together, apart, or how many more arrows it takes to know, and what to move
first. It needs shots of at least two kinds from one distance, by one shooter.

Make a shooting plan here with **Plan**, shoot it, scan each end on the Photo desk and give every
hole its head and arrow with the Label button there. The result then stands here.
"""

_TITLES: Final = {"head": "Heads", "build": "Arrow builds", "setup": "Setups", "rig": "Rigs"}
# Who parts by one thing holds the others still; builds may be pooled, which is told.
_ASKED: Final[dict[str, tuple[tuple[Asked, ...], tuple[Asked, ...]]]] = {
    "head": (("shooter", "rig", "distance", "build"), ("build",)),
    "build": (("shooter", "rig", "distance", "head"), ()),
    "setup": (("shooter", "rig", "distance", "head"), ()),
    "rig": (("shooter", "distance", "head"), ()),
}
_SINCE, _ALL = "*since", "*all"


@dataclass(frozen=True)
class _Asked:
    """What the reader wants compared."""

    by: str
    reference: str
    others: tuple[str, ...]
    tolerance_mm: float | None
    looks: float | None
    planned: bool


def draw() -> None:
    """Draw Point match."""
    page_style()
    st.title("Point match", anchor=False)
    show_top()
    store = records()
    table = recorded_shots(store)
    views = {"result": "Result", "plan": "Plan"}
    asked = st.query_params.get("show", "")
    kept = st.session_state.get("match_view", "result")
    view = one_of(
        "Show",
        list(views),
        start=asked if asked in views else kept,
        show=lambda name: views[name],
        key=view_key(),
        label_visibility="collapsed",
    )
    st.session_state["match_view"] = view
    st.query_params.from_dict({"show": view})
    if view == "plan":
        draw_plan(store, table)
    else:
        _result(store, table)


def _result(store: Store, table: pd.DataFrame | None) -> None:
    options = [] if table is None else [by for by in PARTED_BY if len(comparable(table, by))]
    if table is None or not options:
        st.markdown(_EMPTY)
        link_to_desk()
        return
    # Folded, so that the answer and its picture are what is seen first.
    with st.expander("What is compared, and how", icon=":material/tune:"):
        by = ask_one("match_by", "Compare", options, show=lambda name: _TITLES[name])
        shots = _shots(comparable(table, by), by)
        kinds = _kinds(shots[1], by) if shots is not None else None
        if shots is None or kinds is None:
            return
        chosen, rows = shots
        looks, planned = _how(store, rows, by)
        unit = unit_choice(angles=chosen.distance_m is not None)
    place, _ = st.columns([1, 2])
    with place:
        tolerance_mm = ask_tolerance()
    asked = _Asked(by, *kinds, tolerance_mm, looks, planned)
    whose = f"{chosen.shooter}/{chosen.rig}"
    recorded = bow_of_shots(store, rows)
    bow, hand = _bow(recorded, whose)
    key = _identity(store, chosen, rows, asked, bow, hand)
    try:
        match = _matched(rows, key, asked, bow, hand)
    except GroupscanError as err:
        st.info(plain(on_screen(str(err))))
        return
    draw_result(
        match, rows,
        unit=unit, distance_m=chosen.distance_m, words=_words(chosen, rows),
        bow=bow, hand=hand,
        asks=_unsaid(recorded) if _tuned(asked, rows) else (), whose=whose,
        looks=looks, planned=planned, key=key,
    )  # fmt: skip


def _shots(table: pd.DataFrame, by: str) -> tuple[Chosen, pd.DataFrame] | None:
    """Ask whose shots, from where and of which sessions; None where none is left."""
    names, any_of = _ASKED[by]
    chosen = choose_table(table, names, any_of=any_of)
    if chosen is None:
        return None
    rows = chosen.table
    if len(kinds_in(rows, by)) < 2:
        st.info(f"Of this choice there is one kind only. Choose other shots to compare {by}s.")
        return None
    sessions = common_sessions(rows, by)
    if sessions:
        since = same_setup(rows, sessions)
        titles = {
            _SINCE: f"since the setup last changed ({len(since)} sessions of two kinds)",
            _ALL: f"all of them ({rows['session'].nunique()} sessions)",
        }
        options = [*([_SINCE] if len(since) > 1 else []), *sessions]
        if set(since) != set(rows["session"]):
            options.append(_ALL)
        picked = ask_one(
            "match_sessions", "Sessions", options, show=lambda name: titles.get(name, name),
            help="A change of the bow moves the group: compare what was shot with one setup.",
        )  # fmt: skip
        if picked != _ALL:
            keep = since if picked == _SINCE else [picked]
            rows = rows[rows["session"].isin(keep)]
    marked = int(rows["flyer"].sum())
    if marked and st.toggle(f"Leave out {marked} marked as flyers", key="ask_match_flyers"):
        rows = rows[~rows["flyer"]]
    return chosen, rows


def _kinds(rows: pd.DataFrame, by: str) -> tuple[str, tuple[str, ...]] | None:
    """Ask for the reference and for what is held against it."""
    kinds = kinds_in(rows, by)
    names = list(kinds)
    if len(names) < 2:
        st.info("These sessions hold one kind only: choose others.")
        return None
    reference = ask_one(
        f"match_reference_{by}", "Reference", names, start=usual_reference(rows, by, names),
        show=lambda name: f"{name} ({kinds[name]})", help="The others are held against this one.",
    )  # fmt: skip
    others = [name for name in names if name != reference]
    picked = st.pills(
        "Held against it",
        others,
        selection_mode="multi",
        default=others[: MOST_KINDS - 1],
        format_func=lambda name: plain(f"{name} ({kinds[name]})"),
        key=f"ask_match_others_{hash((by, reference, tuple(others)))}",
    )
    if not picked:
        st.info("Choose at least one to hold against the reference.")
        return None
    if len(picked) >= MOST_KINDS:
        st.info(f"{MOST_KINDS} at a time can be told apart in one picture; the rest is left out.")
    return reference, tuple(picked[: MOST_KINDS - 1])


def _how(store: Store, rows: pd.DataFrame, by: str) -> tuple[float | None, bool]:
    """Ask how it is looked at: how many looks are allowed for, and whether by a written order."""
    if _planned(store, rows, by):
        return None, True
    every = st.toggle(
        "I look after every end and stop when it is settled",
        key="ask_match_looks",
        value=bool(st.session_state.get("match_looks", False)),
        help="Who looks again and again gives chance many tries. Switched on, the verdicts are "
        "right at the stated rate over all looks; they ask for more arrows.",
    )
    st.session_state["match_looks"] = every
    return (float("inf") if every else None), False


def _planned(store: Store, rows: pd.DataFrame, by: str) -> bool:
    """Ask whether the session's written order is to be followed, where it has one."""
    sessions = list(rows["session_id"].unique()) if "session_id" in rows else []
    if len(sessions) != 1:
        return False
    plan = get_session(store, int(sessions[0])).plan
    order = order_of(plan)
    if plan is None or order is None or by != ("head" if order.rotated else "build"):
        return False
    known = bool((rows["arrow"].astype(str) != "").all() and (rows["end"] != "").all())
    if not known:
        st.info(
            "This session follows a shooting plan, but not every shot says its arrow. Give each "
            "hole its arrow on the Photo desk, and the plan's own fit can be used."
        )
        return False
    if isinstance(before := plan.get("tolerance_mm"), int | float):
        st.caption(f"The tolerance that its plan set beforehand: {length_text(before)}.")
    return st.toggle(
        "Use the fit of the shooting plan",
        value=True,
        key=f"ask_match_planned_{int(sessions[0])}",
        help="Fits head, end and arrow together, as the written order allows: an odd arrow or a "
        "sight moved between ends then counts for nothing.",
    )


def _unsaid(recorded: tuple[str, str]) -> tuple[str, ...]:
    """Return which of bow and hand are to be asked for; there are rules for two bows only."""
    bow, hand = recorded
    if bow and bow not in ("compound", "recurve"):
        return ()
    return tuple(name for name, said in (("bow", bow), ("hand", hand)) if not said)


def _bow(
    recorded: tuple[str, str], whose: str
) -> tuple[Literal["compound", "recurve"] | None, Literal["right", "left"] | None]:
    """Return bow and hand: from the records, or as the reader said on this screen of this rig."""
    said = st.session_state.get(f"match_bow_{whose}", ("", ""))
    bow, hand = (one or other for one, other in zip(recorded, said, strict=True))
    known = cast(Any, bow if bow in ("compound", "recurve") else None)
    return known, cast(Any, hand or None)


def _identity(
    store: Store,
    chosen: Chosen,
    rows: pd.DataFrame,
    asked: _Asked,
    bow: str | None,
    hand: str | None,
) -> tuple[Hashable, ...]:
    """Return what tells one comparison of unchanged records from another."""
    return (
        records_key(store), asked, bow, hand, len(rows),
        chosen.shooter, chosen.rig, chosen.build, chosen.head, chosen.distance_m,
        tuple(rows["session"].unique()),
    )  # fmt: skip


@st.cache_resource(max_entries=16, show_spinner="Comparing")
def _matched(
    _rows: pd.DataFrame,
    identity: tuple[Hashable, ...],
    _asked: _Asked,
    bow: Literal["compound", "recurve"] | None,
    hand: Literal["right", "left"] | None,
) -> Match:
    return match_of(
        _rows, by=_asked.by, reference=_asked.reference, others=_asked.others,
        tolerance_mm=_asked.tolerance_mm, looks=_asked.looks, planned=_asked.planned,
        tuned=_tuned(_asked, _rows), bow=bow if hand else None, hand=hand or "right",
    )  # fmt: skip


def _tuned(asked: _Asked, rows: pd.DataFrame) -> dict[str, Tuned]:
    """Return what rules of common practice there are for, by kind."""
    if asked.by != "head":
        return {}
    return tuned_by_head(rows, asked.reference, asked.others)


def _words(chosen: Chosen, rows: pd.DataFrame) -> str:
    sessions = list(rows["session"].unique())
    when = sessions[0] if len(sessions) == 1 else f"{len(sessions)} sessions"
    return " · ".join(part for part in (chosen.words, when) if part)
