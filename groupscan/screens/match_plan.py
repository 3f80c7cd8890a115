"""The shooting plan of a comparison: how many arrows, in which order, on paper and kept."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any, Final

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.decisions.planning import (
    Wanted,
    chance_of,
    kept_plan,
    order_frame,
    read_arrows,
    wanted_of,
)
from groupscan.decisions.questions import scatter_of
from groupscan.errors import GroupscanError
from groupscan.records.connect import Store
from groupscan.records.store import (
    Session,
    delete_entry,
    get_session,
    list_builds,
    list_heads,
    list_sessions,
    save_session,
)
from groupscan.report.pages.plan import plan_pdf
from groupscan.report.words import express
from groupscan.screens.choosing import Chosen, ask_one, choose_table, on_screen
from groupscan.screens.chrome import plain, told
from groupscan.screens.downloads import Download, csv_download, offer
from groupscan.screens.match_asking import ask_length, ask_tolerance
from groupscan.screens.match_next import next_to_plan
from groupscan.screens.preferences import (
    day_text,
    distance_text,
    length_text,
    preferences,
    round_length,
)
from groupscan.screens.report_button import ask_paper
from groupscan.stats.intervals import Estimate
from groupscan.stats.plan import ShootingOrder, alternate_builds, rotate_heads

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["draw_plan"]

_RECENT: Final = 20
_SCATTER_MM: Final = 20.0
_MOST_ENDS: Final = 60


def draw_plan(store: Store, table: pd.DataFrame | None) -> None:
    """Draw the plan.

    Parameters
    ----------
    store : Store
    table : DataFrame or None
        All shots of the records: the scatter to plan with comes from them.
    """
    st.markdown(
        "A comparison is worth what its order is worth: heads passed around the arrows and mixed "
        "within each end, so that no odd arrow, warm-up or sight change counts for one of them."
    )
    chosen = _whose(table)
    sigma = _scatter(chosen)
    if sigma is None:
        return
    left, right = st.columns(2)
    with left:
        offset_mm = ask_length(
            "plan_offset_mm", "Offset worth seeing", round_length(1.5 * _SCATTER_MM),
            help="If they are this far apart, the plan should show it.",
        )  # fmt: skip
    with right:
        tolerance_mm = ask_tolerance()
    if offset_mm is None and tolerance_mm is None:
        st.info("Give the offset worth seeing, or the tolerance: the plan is made for them.")
        return
    try:
        made = _order(store, sigma, offset_mm, tolerance_mm)
        if made is None:
            return
        order, wanted = made
        chances = chance_of(order, sigma.value, offset_mm=offset_mm, tolerance_mm=tolerance_mm)
    except GroupscanError as err:
        st.info(plain(on_screen(str(err))))
        return
    st.markdown(f"##### {plain(_sentence(order, wanted, chances, offset_mm, tolerance_mm))}")
    _show(order)
    _files(order, chosen, tolerance_mm)
    _keep(store, order, chosen, tolerance_mm)
    st.warning(plain(order.caution), icon=":material/warning:")


def _whose(table: pd.DataFrame | None) -> Chosen | None:
    if table is None:
        return None
    with st.expander("Planned from these shots", icon=":material/filter_alt:"):
        return choose_table(table, ("shooter", "rig", "distance"))


def _scatter(chosen: Chosen | None) -> Estimate | None:
    """Return the scatter to plan with: from the records, or as it was typed."""
    found: Estimate | None = None
    notes: tuple[str, ...] = ()
    if chosen is not None:
        try:
            found, notes = scatter_of(chosen.table)
        except GroupscanError:
            found = None  # too few shots: it is asked for
    if chosen is not None and found is not None:
        words = express(found, "inch" if preferences().length == "in" else "mm")
        st.caption(
            plain(
                f"Spread of one shot, from {chosen.words}{_when(chosen.table)}: {words}. "
                f"{' '.join(map(on_screen, notes))} The result has each kind by itself, of the "
                "sessions compared."
            )
        )
        if not st.toggle("Plan with another spread", key="ask_plan_spread"):
            return found
    typed = ask_length(
        "plan_spread_mm", "Spread of one shot (sigma, per axis)", round_length(_SCATTER_MM),
        help="From an earlier group at this distance: the Group sheet calls it sigma.",
    )  # fmt: skip
    return None if typed is None else Estimate(typed)


def _when(table: pd.DataFrame) -> str:
    """Say over which days shots were shot; nothing where no day is known."""
    days = table["day"].dropna()
    if days.empty:
        return ""
    first, last = day_text(days.min()), day_text(days.max())
    return f", {first}" if first == last else f", {first} to {last}"


def _order(
    store: Store, sigma: Estimate, offset_mm: float | None, tolerance_mm: float | None
) -> tuple[ShootingOrder, Wanted] | None:
    """Ask what is compared with how many arrows, and write the order."""
    kinds = {"heads": "Heads that change arrows", "builds": "Builds that keep their arrows"}
    left, right = st.columns([1, 2])
    with left:
        what = ask_one("plan_what", "Compare", list(kinds), show=lambda name: kinds[name])
    with right:
        names = _names(store, what)
    if len(names) < 2:
        st.info(f"Choose two {what} at least, four at most; the first is the reference.")
        return None
    asked: dict[str, Any] = {
        "offset_mm": offset_mm, "tolerance_mm": tolerance_mm, "builds": len(names),
    }  # fmt: skip
    if what == "heads":
        left, middle, right = st.columns([1, 1, 1], vertical_alignment="bottom")
        with left:
            arrows = _arrows("Arrows that the heads pass around", "heads", "6")
        wanted = wanted_of(sigma, arrows=len(arrows), rotated=True, **asked)
        with middle:
            ends = _ends(wanted, len(arrows))
        with right:
            seed = _seed()
        return rotate_heads(names, arrows, ends, seed=seed), wanted
    each = {}
    places = st.columns(min(len(names), 2))
    for i, name in enumerate(names):
        first = 6 * i
        start = " ".join(str(first + number) for number in range(1, 7))
        with places[i % len(places)]:
            each[name] = _arrows(f"Arrows of {name}", f"build_{i}", start)
    fewest = min(map(len, each.values()))
    wanted = wanted_of(sigma, arrows=fewest, rotated=False, **asked)
    return alternate_builds(each, _ends(wanted, fewest), seed=_seed()), wanted


def _names(store: Store, what: str) -> list[str]:
    listed = list_heads(store) if what == "heads" else list_builds(store)
    if what == "heads":  # field points are what others are held against
        listed = listed.sort_values("kind", key=lambda kind: kind != "field point", kind="stable")
    known = list(dict.fromkeys(map(str, listed["name"])))
    start = next_to_plan(what) or known[:2]
    kept = st.session_state.get(f"plan_{what}", start)
    names = st.multiselect(
        "Which, the reference first",
        list(dict.fromkeys([*known, *kept])),
        default=kept,
        accept_new_options=True,
        max_selections=4,
        key=f"ask_plan_{what}",
        placeholder="Choose known ones or type new ones",
    )
    if names == start:  # untouched: begin with what the next result leaves to be shot
        st.session_state.pop(f"plan_{what}", None)
    else:
        st.session_state[f"plan_{what}"] = names
    return [name.strip()[:120] for name in names if name.strip()]


def _arrows(title: str, name: str, start: str) -> list[str]:
    text = st.text_input(
        title, st.session_state.get(f"plan_arrows_{name}", start), key=f"ask_plan_arrows_{name}",
        help="How many, or the numbers written on them, such as 1 2 3 5 6 8.", max_chars=400,
    )  # fmt: skip
    st.session_state[f"plan_arrows_{name}"] = text
    return read_arrows(text)


def _ends(wanted: Wanted, arrows: int) -> int:
    start = min(wanted.ends, _MOST_ENDS)
    return int(
        st.number_input(
            "Ends",
            1,
            _MOST_ENDS,
            start,
            key=f"ask_plan_ends_{start}_{arrows}",
            help=f"{wanted.ends} ends are what the offset and the tolerance above take.",
        )
    )


def _seed() -> int:
    seed = int(st.session_state.get("plan_seed", 1))
    if st.button("Draw another order", icon=":material/shuffle:"):
        seed = seed % 9999 + 1
        st.session_state["plan_seed"] = seed
    return seed


def _sentence(
    order: ShootingOrder,
    wanted: Wanted,
    chances: dict[str, float],
    offset_mm: float | None,
    tolerance_mm: float | None,
) -> str:
    shots = {name: sum(shot.build == name for shot in order.shots) for name in order.builds}
    fewest = min(shots.values())
    parts = [f"{len(order.arrows)} arrows in {order.ends} ends: {fewest} shots of each."]
    told = []
    if "apart" in chances:
        told.append(f"{chances['apart']:.0%} to see an offset of {length_text(offset_mm)}")
    if "together" in chances:
        told.append(
            f"{chances['together']:.0%} to call them together within {length_text(tolerance_mm)} "
            "if they are one"
        )
    parts.append(f"The chance is {' and '.join(told)}.")
    if min(chances.values()) < wanted.needed.power - 0.05:
        parts.append(f"Better shoot {wanted.ends} ends.")
    if wanted.if_wider is not None and wanted.if_wider.each > fewest:
        parts.append(
            f"If your spread is as wide as it may be, shoot {wanted.if_wider.each} of each."
        )
    return " ".join(parts)


def _show(order: ShootingOrder) -> None:
    letters = dict(zip(order.builds, "ABCD", strict=False))
    named = " · ".join(f"**{letter}** {plain(name)}" for name, letter in letters.items())
    with st.container(border=True):
        st.markdown(f"{named}. Shoot from left to right.")
        for end in range(1, order.ends + 1):
            cells = [
                f"{plain(shot.arrow)}\u00a0**{letters[shot.build]}**"
                for shot in order.shots
                if shot.end == end
            ]
            st.markdown(f"End {end}: {' · '.join(cells)}")
    for note in order.notes:
        st.caption(plain(note))


def _files(order: ShootingOrder, chosen: Chosen | None, tolerance_mm: float | None) -> None:
    a, b = st.columns([1, 2], vertical_alignment="bottom")
    with a:
        paper = ask_paper("plan")
    particulars = [
        ("Shooter", chosen.shooter if chosen else ""),
        ("Rig", chosen.rig if chosen else ""),
        ("Distance", distance_text(chosen.distance_m) if chosen else ""),
        ("Tolerance", length_text(tolerance_mm)),
        ("Date", ""),
        ("Wind, light", ""),
    ]

    written = preferences().day_text

    def plan() -> bytes:
        return plan_pdf(
            order, paper=paper, particulars=particulars, made_on=date.today(), day_text=written,
        )  # fmt: skip

    files = [
        Download(
            "Plan to print (PDF)", f"shooting-plan-{paper}.pdf", "application/pdf", plan,
            icon=":material/print:", type="primary",
        ),
        csv_download("Plan as CSV", "shooting-plan", lambda: csv_bytes(order_frame(order))),
    ]  # fmt: skip
    with b:
        offer("plan", files)


def _keep(
    store: Store, order: ShootingOrder, chosen: Chosen | None, tolerance_mm: float | None
) -> None:
    """Keep the plan with a session, so that the result is read by its own fit."""
    with st.expander("Keep the plan with a session", icon=":material/bookmark:"):
        st.caption(
            "Scan the ends into that session and give each hole its arrow: the result is then "
            "read by the fit that belongs to this order."
        )
        sessions = list_sessions(store, last=_RECENT)
        titles = {
            int(row["id"]): " · ".join(
                part
                for part in (
                    day_text(row["held_on"].date()), row["shooter"], row["rig"], row["place"],
                    f"{row['shots']} shots",
                )
                if part
            )
            for row in sessions.to_dict("records")
        }  # fmt: skip
        picked = st.selectbox(
            "Session",
            [0, *titles],
            format_func=lambda key: titles[key] if key else "A new session, today",
            key="ask_plan_session",
        )
        done = st.session_state.get("plan_kept")
        if st.button("Keep the plan", icon=":material/save:"):
            plan = kept_plan(order, tolerance_mm=tolerance_mm)
            with told():
                st.session_state["plan_kept"] = _saved(store, int(picked), plan, order, chosen)
                st.rerun()
        if done:
            st.success(plain(f"The plan is kept with the session of {done['title']}."))
            if st.button("Undo", icon=":material/undo:"):
                with told():
                    _undone(store, done)
                    del st.session_state["plan_kept"]
                    st.rerun()


def _saved(
    store: Store, picked: int, plan: dict[str, Any], order: ShootingOrder, chosen: Chosen | None
) -> dict[str, Any]:
    """Save the plan with a session; return what it takes to undo that."""
    if picked:
        session = get_session(store, picked)
        save_session(store, replace(session, plan=plan))
        return {"id": picked, "was": session.plan, "title": day_text(session.held_on)}
    session = Session(
        held_on=date.today(),
        shooter=chosen.shooter if chosen else "",
        rig=chosen.rig if chosen else "",
        distance_m=chosen.distance_m if chosen else None,
        purpose=f"compare {', '.join(order.builds)}"[:120],
        plan=plan,
    )
    return {"id": save_session(store, session), "new": True, "title": "today"}


def _undone(store: Store, done: dict[str, Any]) -> None:
    if done.get("new"):
        delete_entry(store, "session", done["id"])
    else:
        save_session(store, replace(get_session(store, done["id"]), plan=done["was"]))
