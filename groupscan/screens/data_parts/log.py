"""What was deleted, imported and corrected lately: taken back on a tap, told in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Final

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.frames import list_sessions
from groupscan.records.journal import IMPORT, counts_of
from groupscan.records.lately import Correction, Deleted, lately_corrected, lately_deleted
from groupscan.records.removal import restore_entry
from groupscan.screens.bench.saving import forget_undo
from groupscan.screens.chrome import plain, told
from groupscan.screens.data_parts.change_words import change_words
from groupscan.screens.data_parts.sessions import session_line
from groupscan.screens.data_parts.undo import draw_imports
from groupscan.screens.data_parts.wording import came, instant_text, many
from groupscan.screens.preferences import day_text, preferences

__all__ = ["draw_log"]

_STEP: Final = 200
_FEW: Final = 3
_DONE: Final = {
    "changed": "changed", "deleted": "deleted", "restored": "brought back", "imported": "done",
}  # fmt: skip


def draw_log(store: Store) -> None:
    """Draw what was deleted, then the imports and the corrections."""
    if said := st.session_state.pop("brought_back", ""):
        st.success(said, icon=":material/undo:")
    st.subheader("Deleted lately", anchor=False)
    deleted = lately_deleted(store, day_text=day_text)
    if not deleted:
        st.write("Nothing is deleted. What you delete stands here and can be brought back.")
    outings = {}
    if any(one.entry == "session" for one in deleted):
        rows = list_sessions(store, deleted=True).to_dict("records")
        outings = {int(row["id"]): session_line(row) for row in rows}
    for one in deleted:
        line = outings.get(one.id) if one.entry == "session" else None
        _deleted(store, one, plain(one.title) if line is None else f"Session: {line}")
    draw_imports(store)
    st.subheader("Corrections", anchor=False)
    lines = lately_corrected(
        store, last=_STEP * int(st.session_state.get("log_pages", 1)), day_text=day_text
    )
    if not lines:
        st.write("No correction yet. Every change of a saved entry leaves a line here.")
        return
    for when, acts in groupby(_acts(lines), key=lambda act: act[0]):
        st.markdown(f"**{plain(when)}**\n" + "\n".join(f"- {words}" for _, words in acts))
    if len(lines) == _STEP * int(st.session_state.get("log_pages", 1)) and st.button(
        "Show older ones", icon=":material/expand_more:"
    ):
        st.session_state["log_pages"] = int(st.session_state.get("log_pages", 1)) + 1
        st.rerun()


def _deleted(store: Store, one: Deleted, line: str) -> None:
    """Draw one that is deleted, told by a line of Markdown, with its way back."""
    words, button = st.columns([3, 1], vertical_alignment="center")
    words.markdown(f"{line}, deleted {plain(instant_text(one.at))}")
    if button.button(
        "Bring back", key=f"back_{one.entry}_{one.id}", icon=":material/undo:", width="stretch"
    ):
        done = False
        with told():
            restore_entry(store, one.entry, one.id)
            done = True
        if done:
            forget_undo()  # of the Rig bench, which may still say that it is deleted
            st.session_state["brought_back"] = f"{line} is back."
            st.rerun()


def _acts(lines: Iterable[Correction]) -> Iterator[tuple[str, str]]:
    """Yield the time and the words of each act; many alike ones of one moment are one."""
    prefer = preferences()
    for (at, action, entry, actor), same in groupby(
        lines, key=lambda line: (line.at, line.action, line.entry, line.actor)
    ):
        acts = list(same)
        when = instant_text(at) + (f", {actor}" if actor else "")
        if len(acts) > _FEW:
            what = sorted({name for act in acts for name in act.after})
            words = change_words(entry, {}, dict.fromkeys(what), prefer)
            alike = f"{many(len(acts), entry)} {_DONE.get(action, action)}"
            yield when, plain(alike + (f": {', '.join(words)}" if words else ""))
            continue
        for act in acts:
            if entry == IMPORT:
                done = f"{act.title} {_DONE.get(action, action)}"
                much = came(counts_of(act.after))
                yield when, plain(f"{done}: {much}" if much else done)
                continue
            words = change_words(entry, act.before, act.after, prefer)
            title = act.title or f"{entry} of other records"
            if words:
                yield when, f"{plain(title)}: {plain('; '.join(words))}"
            else:
                yield when, plain(f"{title} {_DONE.get(action, action)}")
