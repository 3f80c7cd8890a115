"""What the sections of the bench share: the rig at hand, and answers that it remembers."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, TypeVar

import streamlit as st

from groupscan.decisions.rig_bench import KnownRig, rig_of_store
from groupscan.errors import GroupscanError, StoreError, UnitError
from groupscan.records.connect import Store
from groupscan.records.store import get_rig, list_builds, list_rigs
from groupscan.report.bench import Reading
from groupscan.screens.bench.fields import in_words
from groupscan.screens.choosing import ask_one
from groupscan.screens.chrome import plain
from groupscan.screens.preferences import preferences, recall, remember
from groupscan.several import parse_distances

__all__ = [
    "Bench",
    "answer",
    "ask_rig",
    "build_choice",
    "choose_build",
    "distances",
    "drafted",
    "forget_answer",
    "keep_answer",
    "reading",
    "refused",
    "tell",
    "today",
    "typed",
]

_T = TypeVar("_T")
_MOST_DISTANCES: Final = 9


@dataclass(frozen=True)
class Bench:
    """The rig at hand.

    Attributes
    ----------
    store : Store
    rig_id : int
    known : KnownRig
        As it is set up today, with the build that its setup names.
    build_id : int, optional
        Of that build.
    """

    store: Store
    rig_id: int
    known: KnownRig
    build_id: int | None


def reading() -> Reading:
    """Return the reader's units."""
    return Reading(preferences())


@contextmanager
def refused() -> Iterator[None]:
    """Tell the reader what could not be reckoned or saved, and let the page go on."""
    try:
        yield
    except StoreError as err:
        st.error(plain(str(err)))
    except GroupscanError as err:
        tell(err)


def tell(err: GroupscanError) -> None:
    """Tell the reader what could not be reckoned, in the screen's words."""
    st.info(plain(_sentence(in_words(str(err)))), icon=":material/info:")


def _sentence(text: str) -> str:
    """Begin with a capital letter and end with a stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def ask_rig(store: Store) -> Bench | None:
    """Ask which rig is on the bench; None where the records have none."""
    rows = list_rigs(store)
    if rows.empty:
        return None
    names = {
        int(row["id"]): f"{row['name']} ({row['shooter']})" if row["shooter"] else str(row["name"])
        for row in rows.to_dict("records")
    }
    by_name = {str(row["name"]): int(row["id"]) for row in reversed(rows.to_dict("records"))}
    start = by_name.get(str(st.session_state.get("chosen_rig", "")))
    rig_id = ask_one("bench_rig", "Rig", list(names), show=lambda key: names[key], start=start)
    if len(names) == 1:
        st.caption(plain(f"Rig: {names[rig_id]}"))
    known = rig_of_store(store, rig_id)
    builds = list_builds(store)
    own = builds[builds["name"] == known.build] if known.build else builds[:0]
    owner = get_rig(store, rig_id).shooter_id
    mine = own[own["shooter_id"] == owner]  # others may call a build of theirs the same
    own = mine if len(mine) else own
    return Bench(store, rig_id, known, int(own["id"].iloc[0]) if len(own) else None)


def build_choice(bench: Bench) -> str:
    """Return what the chosen arrow build of this rig is remembered under."""
    return f"chosen_bench_build_{bench.rig_id}"


def choose_build(bench: Bench) -> KnownRig | None:
    """Ask which arrow build is meant; None where there is none at all.

    It begins with today's; where the setup says none, with the newest of the rig's owner.
    """
    builds = list_builds(bench.store)
    if builds.empty:
        return None
    owner = get_rig(bench.store, bench.rig_id).shooter_id
    mine = builds["shooter_id"].isna() | (builds["shooter_id"] == owner)
    rows = (builds[mine] if mine.any() else builds).to_dict("records")
    names = {int(row["id"]): str(row["name"]) for row in rows}
    if bench.build_id is not None and bench.build_id not in names:
        names[bench.build_id] = bench.known.build
    if len(names) == 1:
        st.caption(plain(f"Arrow build: {next(iter(names.values()))}"))
    today = bench.build_id
    owned = (builds["shooter_id"] == owner).fillna(False)
    own = [int(one) for one in builds.loc[owned.astype(bool), "id"]]
    chosen = ask_one(
        f"bench_build_{bench.rig_id}",
        "Arrow build",
        list(names),
        show=lambda one: names[one] + (" (in today's setup)" if one == today else ""),
        start=today or max(own or names),
    )
    return rig_of_store(bench.store, bench.rig_id, build_id=chosen)


def answer(bench: Bench, name: str, default: str) -> str:
    """Return what was answered for this rig, as it was typed."""
    kept = recall(f"bench_{bench.rig_id}", {}).get(name, default)
    return kept if isinstance(kept, str) else default


def keep_answer(bench: Bench, name: str, text: str) -> None:
    """Keep an answer for this rig over restarts."""
    kept = recall(f"bench_{bench.rig_id}", {})
    if kept.get(name, "") != text:
        remember(f"bench_{bench.rig_id}", {**kept, name: text})


def forget_answer(bench: Bench, name: str) -> None:
    """Keep an answer no longer: the field begins as it would anew."""
    kept = recall(f"bench_{bench.rig_id}", {})
    if name in kept:
        left = {one: text for one, text in kept.items() if one != name}
        remember(f"bench_{bench.rig_id}", left)


def drafted(ask: Callable[..., _T], label: str, start: _T, *, key: str, **more: Any) -> _T:
    """Ask for a part of something to save; what is typed outlasts a look at another section.

    Parameters
    ----------
    ask : callable
        The widget, such as ``st.text_input``.
    label : str
    start : object
        What it begins with.
    key : str
        Of the widget: another one begins anew.
    **more
        As the widget takes it.
    """
    kept = f"draft_{key}"
    if key not in st.session_state:  # Streamlit drops it with the section
        st.session_state[key] = st.session_state.get(kept, start)
    return ask(label, key=key, on_change=_keep_draft, args=(key, kept), **more)


def _keep_draft(key: str, kept: str) -> None:
    """Keep what was typed before the page is drawn: a tap on another section may leave it out."""
    st.session_state[kept] = st.session_state[key]


def typed(
    bench: Bench,
    name: str,
    label: str,
    default: str,
    read: Callable[[str], _T],
    *,
    place: Any = None,
    help: str | None = None,
    empty: _T | None = None,
) -> _T | None:
    """Ask for a value in any unit; what cannot be read is told, and the last good one stands.

    Parameters
    ----------
    bench : Bench
    name : str
        What the answer is remembered under, for this rig.
    label, default : str
    read : callable
        Turns the text into the value, or raises GroupscanError.
    place : container, optional
    help : str, optional
    empty : optional
        What an empty field means.
    """
    place = st if place is None else place
    kept = answer(bench, name, default)
    key = f"bench_{name}_{bench.rig_id}"
    text = place.text_input(label, kept, key=key, help=help, max_chars=60).strip()
    if not text:
        keep_answer(bench, name, "")
        return empty
    try:
        value = read(text)
    except (GroupscanError, ValueError) as err:
        place.warning(plain(_sentence(in_words(str(err)))))
        try:
            return read(kept) if kept else empty
        except (GroupscanError, ValueError):
            return empty
    keep_answer(bench, name, text)
    return value


def distances(text: str) -> list[float]:
    """Read distances between commas; a unit given once at the end goes for all before it.

    Examples
    --------
    >>> [round(one, 3) for one in distances("20, 30, 40 yd")]
    [18.288, 27.432, 36.576]
    """
    found = sorted({*parse_distances(text, default_unit=preferences().distance)})
    if len(found) > _MOST_DISTANCES:
        raise UnitError("give one to nine distances between commas, such as 20, 30, 40 yd")
    return found


def today() -> date:
    """Return the day."""
    return date.today()
