"""Scale marks by hand, for a photo in which no scale can be trusted."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.errors import GroupscanError
from groupscan.records.connect import Store
from groupscan.screens.chrome import plain, told
from groupscan.screens.desk import Desk, Item
from groupscan.screens.hole_editor import (
    CORNER_MARKS,
    LENGTH_MARKS,
    EditorPoint,
    edit_from_state,
    hole_editor,
)
from groupscan.screens.intake import scan_item
from groupscan.screens.picture import photo_of, picture_uri
from groupscan.units import parse_length, parse_size

if TYPE_CHECKING:
    from groupscan.photo.marks.hand import HandMarks

__all__ = ["keep_marks", "mark_by_hand"]

_KINDS = {
    "length": "Two points a known length apart",
    "corners": "Four corners of a rectangle of known size",
}
_ADVICE = {
    "length": (
        "Take something on the sheet whose length you know: the 100 mm check bar, a ruler, the "
        "edge of the paper. The photo should be taken square on, because two points cannot tell "
        "its tilt."
    ),
    "corners": (
        "Take a flat rectangle whose size you know, such as the paper itself. Four corners also "
        "take out the photo's tilt, so they are the better choice."
    ),
}


def keep_marks(store: Store, desk: Desk, sha256: str, widget: str) -> None:
    """Take the marks that the page reports into the item and its draft."""
    state = st.session_state.get(widget)
    edit = edit_from_state(state["edit"] if state else None)
    item = desk.items.get(sha256)
    if edit is None or item is None or edit.image_id != item.key:
        return
    if edit.rev != desk.revs.get(sha256, 0):
        return
    with told(later=f"trouble_{item.key}"):
        desk.put(store, replace(item, marks_px=tuple((p.x, p.y) for p in edit.points)))


def mark_by_hand(store: Store, desk: Desk, item: Item) -> None:
    """Guide through setting the marks, and scan again with them."""
    st.warning(plain(item.trouble), icon=":material/straighten:")
    st.markdown("**Give the scale by hand.** It takes a moment, and the rest goes on as usual.")
    kind = st.radio(
        "What do you know on this photo?",
        list(_KINDS),
        index=list(_KINDS).index(item.marks_kind),
        format_func=lambda name: _KINDS[name],
        key=f"marks_kind_{item.key}",
    )
    if kind != item.marks_kind:
        with told():
            item = desk.put(store, replace(item, marks_kind=kind, marks_px=()))
            desk.overrule(item.sha256)
        if kind != item.marks_kind:
            return
    st.caption(_ADVICE[kind])
    example = "100 mm or 11.8 in" if kind == "length" else "210 x 297 mm or 8.5 x 11 in"
    size = st.text_input(
        "Its length" if kind == "length" else "Its width and height",
        placeholder=example,
        key=f"marks_size_{kind}_{item.key}",
    )
    _place(store, desk, item)

    # The editor lives in its own fragment; the button needs what it reported.
    if st.button("Scan with these marks", type="primary", icon=":material/search:"):
        _scan(store, desk, desk.items[item.sha256], size)


@st.fragment
def _place(store: Store, desk: Desk, item: Item) -> None:
    widget = f"marks_{item.marks_kind}_{item.key}"
    if trouble := st.session_state.pop(f"trouble_{item.key}", None):
        st.error(plain(trouble))
    hole_editor(
        picture_uri(store, item.sha256),
        [EditorPoint(f"u{i}", x, y) for i, (x, y) in enumerate(item.marks_px, 1)],
        key=widget,
        image_id=item.key,
        size_px=item.size_px,
        rev=desk.revs.get(item.sha256, 0),
        marks=LENGTH_MARKS if item.marks_kind == "length" else CORNER_MARKS,
        on_edit=lambda: keep_marks(store, desk, item.sha256, widget),
    )


def _scan(store: Store, desk: Desk, item: Item, size: str) -> None:
    needed = 2 if item.marks_kind == "length" else 4
    if len(item.marks_px) < needed:
        st.error(f"Set all {needed} marks on the photo first; {len(item.marks_px)} are there.")
        return
    try:
        marks = _marks(item, size)
        with st.status("Scanning with your marks", expanded=True):
            st.button("Stop", key=f"stop_{item.key}", help="Leaves your marks as they are.")
            line = st.empty()
            item = scan_item(
                store, desk, item, photo=photo_of(store, item.sha256, item.name),
                hand_marks=marks, tick=lambda seconds: line.write(f"{seconds:.0f} s"),
            )  # fmt: skip
    except GroupscanError as err:
        st.error(plain(str(err)))
        return
    st.rerun()


def _marks(item: Item, size: str) -> HandMarks:
    from groupscan.photo.marks.hand import KnownLength, KnownRectangle

    if item.marks_kind == "length":
        a, b = item.marks_px
        return KnownLength(parse_length(size, default_unit="mm"), (a, b))
    width_mm, height_mm = parse_size(size, default_unit="mm")
    top_left, top_right, bottom_right, bottom_left = item.marks_px
    return KnownRectangle(width_mm, height_mm, (top_left, top_right, bottom_right, bottom_left))
