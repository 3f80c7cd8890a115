"""Saving from the bench, deleting, and the bar that takes the last of it back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import streamlit as st

from groupscan.errors import GroupscanError
from groupscan.records.removal import Entry
from groupscan.records.store import delete_entry, restore_entry
from groupscan.screens.bench.fields import in_words
from groupscan.screens.chrome import plain, told
from groupscan.screens.to_top import go_to_top

if TYPE_CHECKING:
    from groupscan.records.connect import Store

__all__ = ["added", "delete_button", "forget_undo", "save", "undo_bar"]

_UNDO: Final = "bench_undoes"


@dataclass(frozen=True)
class _Undo:
    """What the bar says, and what its button deletes or brings back."""

    said: str
    kind: Entry
    keys: tuple[int, ...]
    restore: bool


def undo_bar(store: Store) -> None:
    """Offer to take the last deletion, or what was kept last, back."""
    undo = st.session_state.get(_UNDO)
    if undo is None:
        return
    with st.container(horizontal=True, vertical_alignment="center"):
        st.info(plain(undo.said), icon=f":material/{'delete' if undo.restore else 'check'}:")
        if st.button("Undo", key="bench_undo", icon=":material/undo:"):
            with told():
                (restore_entry if undo.restore else delete_entry)(store, undo.kind, *undo.keys)
                forget_undo()
                st.rerun()


def forget_undo() -> None:
    """Speak no more of the last deed: the reader went on, or it holds no longer."""
    st.session_state.pop(_UNDO, None)


def save(act: Callable[[], object], news: str = "") -> None:
    """Save, and begin the page anew; tell what was refused.

    Parameters
    ----------
    act : callable
    news : str
        What to say of it; empty where the bar says it.
    """
    try:
        act()
    except GroupscanError as err:
        st.error(plain(in_words(str(err))))
        return
    st.session_state["bench_news"] = news
    st.rerun()


def added(kind: Entry, keys: Sequence[int], said: str) -> None:
    """Let the bar offer to take back what was just kept."""
    st.session_state[_UNDO] = _Undo(said, kind, tuple(keys), restore=False)


def delete_button(
    store: Store, kind: Entry, keys: Sequence[int], title: str, *, label: str, key: str
) -> None:
    """Offer to delete entries; what was shot with them stays, and they can be brought back."""
    with st.popover(label, icon=":material/delete:"):
        st.write(
            f"{plain(title)}. What was shot with it stays. It can be brought back at any time."
        )
        sure = st.button("Delete it" if len(keys) == 1 else "Delete them", key=key)
    if sure:
        with told():
            delete_entry(store, kind, *keys)
            verb = "are" if len(keys) > 1 else "is"
            st.session_state[_UNDO] = _Undo(f"{title} {verb} deleted.", kind, tuple(keys), True)
            go_to_top()  # there stands the way back
            st.rerun()
