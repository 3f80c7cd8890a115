"""Imports taken back in one tap, and brought back in one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.exchange.undoing import (
    Import,
    bring_back_import,
    list_imports,
    undo_import,
)
from groupscan.screens.chrome import plain, told
from groupscan.screens.data_parts.wording import came, instant_text
from groupscan.screens.to_top import go_to_top

__all__ = ["draw_imports", "forget_import", "imported", "just_imported", "offer_undo"]

_LAST: Final = "import_done"
_SAID: Final = "import_undone"


def imported(words: str, uid: str, key: str) -> None:
    """Note an import that was just made of the file given as `key`, for `offer_undo`."""
    st.session_state[_LAST] = (words, uid, key, False)
    go_to_top()


def just_imported(key: str) -> bool:
    """Return whether the file given as `key` is what was just imported, and not undone."""
    *_, last, undone = st.session_state.get(_LAST, ("", "", "", False))
    return bool(last == key and not undone)


def forget_import() -> None:
    """Speak no more of the last import: the reader went on."""
    st.session_state.pop(_LAST, None)


def offer_undo(store: Store) -> None:
    """Say what was just imported, with the way back."""
    if _LAST not in st.session_state:
        return
    words, uid, key, undone = st.session_state[_LAST]
    said, button = st.columns([3, 1], vertical_alignment="center")
    said.success(words, icon=":material/check:")
    label = "Bring it back" if undone else "Undo this import"
    if button.button(label, icon=":material/undo:", key="undo_last_import", width="stretch"):
        done = _bring_back(store, uid, "It") if undone else _undo(store, uid)
        if done:
            st.session_state[_LAST] = (done, uid, key, not undone)
            go_to_top()
            st.rerun()


def draw_imports(store: Store) -> None:
    """Draw the list of what was imported, each with its way back."""
    st.subheader("Imports", anchor=False)
    if said := st.session_state.pop(_SAID, ""):
        st.success(said, icon=":material/undo:")
    found = list_imports(store)
    if not found:
        st.write("No file was imported yet. Each one stands here and can be undone in one step.")
    for one in found:
        _row(store, one)


def _row(store: Store, one: Import) -> None:
    undone = one.undone_at is not None
    when = instant_text(one.at) + (f", {one.actor}" if one.actor else "")
    title = f"{one.file}, {when}: {came(one.new)}"
    if one.undone_at is not None:
        title += f"; undone {instant_text(one.undone_at)}"
    words, button = st.columns([3, 1], vertical_alignment="center")
    words.markdown(plain(title))
    label = "Bring back" if undone else "Undo this import"
    if button.button(
        label, key=f"import_{one.id}", icon=":material/undo:", width="stretch",
        help=f"Bring back what came with {plain(one.file)}" if undone else
        f"Take back what came with {plain(one.file)}",
    ):  # fmt: skip
        done = _bring_back(store, one.uid, one.file) if undone else _undo(store, one.uid)
        if done:
            st.session_state[_SAID] = done
            st.rerun()


def _undo(store: Store, uid: str) -> str:
    """Return what to say, empty where it failed and the reader was told."""
    return _tried(lambda: f"Undone: {came(undo_import(store, uid))} are taken away. Nothing is "
                  "lost: it can be brought back with all corrections.")  # fmt: skip


def _bring_back(store: Store, uid: str, what: str) -> str:
    def back() -> str:
        stays = ", ".join(map(plain, bring_back_import(store, uid)))
        left = f" Still deleted, since another has its place by now: {stays}." if stays else ""
        return f"{plain(what)} is back, with the corrections made before it was undone.{left}"

    return _tried(back)


def _tried(act: Callable[[], str]) -> str:
    done: list[str] = []
    with told(), st.spinner("Changing the records"):
        done.append(act())
    return "".join(done)
