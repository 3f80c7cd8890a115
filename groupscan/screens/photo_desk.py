"""Photo desk: scan photos, correct the holes, read the group, save the end."""

from __future__ import annotations

import re
from dataclasses import replace

import streamlit as st

from groupscan.errors import GroupscanError, StoreError
from groupscan.records.connect import Store
from groupscan.records.entries import ScanRecord
from groupscan.screens.chrome import (
    CAUTIONS,
    asked_number,
    page_style,
    plain,
    records,
    told,
    unit_choice,
)
from groupscan.screens.corrections import (
    aims_px,
    group_of_record,
    hole_radius_px,
    outlines_px,
    take_edit,
    without_corrections,
)
from groupscan.screens.desk import Desk, Item, desk_of, last_labels
from groupscan.screens.hand_marks import mark_by_hand
from groupscan.screens.hole_editor import LabelDefaults, edit_from_state, hole_editor
from groupscan.screens.intake import intake, make_ready, scan_item, sheet_title
from groupscan.screens.numbers import FEW, group_notes, group_table
from groupscan.screens.picture import photo_of, picture_uri
from groupscan.screens.preferences import length_text, preferences
from groupscan.screens.session_form import session_form
from groupscan.screens.to_top import show_top
from groupscan.sheets.catalogue import load_catalogue

__all__ = ["draw", "keep_edit"]

_FIRST = """
**Start with a photo of a target you have shot.**

1. Stand square to the sheet, one to three steps away, the whole sheet in view, no flash.
2. Say how far you shot, and the shaft's diameter if you know it.
3. Scan. The holes come back marked and numbered; move, add or remove what the scan got wrong.
4. Save the end. The Group sheet then shows it alone or pooled with others.

No printed target? Ring faces, plain paper of a known size and anything with a known length on it
work too.
"""

_SOURCES = {
    "fiducials": "printed markers",
    "known-length": "known length",
    "corners": "four corners",
}


def draw() -> None:
    """Draw the Photo desk."""
    page_style()
    st.title("Photo desk", anchor=False)
    store = records()
    desk = desk_of(store)
    _open_asked(store, desk)
    show_top()
    intake(store, desk)
    item = _choose(desk)
    if item is None:
        st.query_params.clear()
        if not st.session_state.get("ready_for_next"):
            st.markdown(_FIRST)
        st.caption(CAUTIONS["range"])
        return
    address = {"scan": str(item.record.id)} if item.saved and item.record else {"photo": item.key}
    if dict(st.query_params) != address:
        st.query_params.from_dict(address)
    if item.record is None:
        mark_by_hand(store, desk, item)
        _scan_again(store, desk, item)
        _put_aside(store, desk, item)
        return
    if item.saved:
        with st.container(horizontal=True, vertical_alignment="center"):
            if st.button("Next end", type="primary", icon=":material/add_a_photo:"):
                make_ready(desk, store)
                st.rerun()
            _link_to_group(item)
    _recognised(item.record)
    desk.refresh(item)
    _correct(store, desk, item.sha256, last_labels(store, but=item.sha256))
    left, right = st.columns([3, 2])
    with left:
        session_form(store, desk, desk.items[item.sha256])
    with right:
        _second_thoughts(store, desk, desk.items[item.sha256])
    st.caption(CAUTIONS["range"])


def _link_to_group(item: Item) -> None:
    """Draw the link to the session on the Group sheet."""
    from groupscan.screens import group_sheet  # which opens ends on this screen

    page = st.Page(group_sheet.draw, url_path="group-sheet")
    asked = {"session": str(item.session.id)}
    st.page_link(page, label="See this group", icon=":material/adjust:", query_params=asked)


def _open_asked(store: Store, desk: Desk) -> None:
    """Open the saved scan that the address names, once."""
    asked = asked_number("scan")
    if asked is None or desk.current is not None:
        return
    try:
        desk.open_scan(store, asked)
    except StoreError as err:
        desk.news.append(("error", plain(str(err))))
        st.query_params.clear()


def _choose(desk: Desk) -> Item | None:
    """Return the photo to work on; with several on the desk, ask which."""
    order = sorted(desk.items, key=lambda sha: desk.items[sha].begun)
    if not order:
        return None
    if desk.current not in desk.items:
        desk.current = order[-1]
    if len(order) > 1:
        assert desk.current is not None
        desk.current = st.selectbox(
            "Photo on the desk",
            order,
            index=order.index(desk.current),
            format_func=lambda sha: _label(desk.items[sha], order.index(sha) + 1),
        )
    return desk.items[desk.current] if desk.current else None


def _label(item: Item, number: int) -> str:
    state = "saved" if item.saved else "needs a scale" if item.record is None else "not saved yet"
    return f"{number}. {item.name} ({state})"


def _recognised(record: ScanRecord) -> None:
    """Say in plain words what the scan saw."""
    parts = [f"**{plain(sheet_title(record.sheet) if record.sheet else 'Scale by hand')}**"]
    if record.mm_per_px:
        scale = f"one pixel is {length_text(record.mm_per_px)}"
        if record.mm_per_px_se:
            scale += f", sure to {record.mm_per_px_se / record.mm_per_px:.2%}"
        if record.scale_source:
            scale += f" (from the {_SOURCES.get(record.scale_source, plain(record.scale_source))})"
        parts.append(scale)
    if record.tilt_deg is not None:
        parts.append(f"photo taken {record.tilt_deg:.0f}° off square")
    st.markdown(" · ".join(parts))
    for warning in record.warnings:
        st.warning(plain(preferences().told(_in_words(warning))), icon=":material/visibility:")


def _in_words(warning: str) -> str:
    """Call the sheets that a warning names by their titles, as the rest of the screen does."""
    known = load_catalogue()
    return re.sub(
        r"[a-z0-9]+(?:-[a-z0-9]+)+",
        lambda name: known[name[0]].title if name[0] in known else name[0],
        warning,
    )


@st.fragment
def _correct(store: Store, desk: Desk, sha256: str, labels: LabelDefaults) -> None:
    """Draw the editor with the live numbers beside it."""
    item = desk.items[sha256]
    record = item.record
    assert record is not None
    widget = f"holes_{item.key}"
    left, right = st.columns([5, 2], gap="medium")
    with left:
        # What the page gets must stay as it was while it is edited, or the photo travels again.
        started = desk.started[sha256]
        hole_editor(
            picture_uri(store, sha256),
            started,
            key=widget,
            image_id=item.key,
            size_px=item.size_px,
            rev=desk.revs.get(sha256, 0),
            lineage=desk.lineages.get(sha256, 0),
            ordered=desk.ordered[sha256],
            aim_px=desk.aims[sha256],
            aims_px=aims_px(record)[1],
            radius_px=hole_radius_px(record),
            expected=item.ask.arrows,
            heads=sorted({name for name in (labels.head, *(p.head for p in started)) if name}),
            defaults=labels,
            outlines_px=outlines_px(record),
            on_edit=lambda: keep_edit(store, desk, sha256, widget),
        )
    with right:
        if trouble := st.session_state.pop(f"trouble_{item.key}", None):
            st.error(plain(trouble))
        group = group_of_record(record, item.session.distance_m)
        if group is None:
            st.info("No holes to measure yet. Add them on the photo.")
            return
        unit = unit_choice(angles=item.session.distance_m is not None)
        group_table(group, unit, names=FEW)
        group_notes(group, unit)
        if flyers := sum(shot.flyer and not shot.removed for shot in record.shots):
            st.caption(_flyers_count(flyers))
        if len(record.aims_mm) > 1:
            st.caption(
                "This sheet has several aims, and each hole counts from its nearest. Drag the aim "
                "away from the printed ones to count all holes from there."
            )
        st.caption("Every correction is kept as you make it.")


def _flyers_count(flyers: int) -> str:
    """Say that marked flyers count: a mark is the shooter's word, and takes no hole away."""
    if flyers == 1:
        return "1 hole is marked as a flyer and counts here. The Group sheet can leave it out."
    return (
        f"{flyers} holes are marked as flyers and count here. The Group sheet can leave them out."
    )


def keep_edit(store: Store, desk: Desk, sha256: str, widget: str) -> None:
    """Take the page's last edit into the item, and keep it before anything else happens."""
    state = st.session_state.get(widget)
    edit = edit_from_state(state["edit"] if state else None)
    item = desk.items.get(sha256)
    if edit is None or item is None or item.record is None or edit.image_id != item.key:
        return
    if edit.rev != desk.revs.get(sha256, 0):
        return  # it began from points that Python has replaced since
    record, ids = take_edit(item.record, item.ids, edit)
    with told(later=f"trouble_{item.key}"):
        desk.put(store, replace(item, record=record, ids=ids))


def _second_thoughts(store: Store, desk: Desk, item: Item) -> None:
    """Offer the ways back."""
    assert item.record is not None
    with st.popover("Start over", icon=":material/restart_alt:", width="stretch"):
        st.write(
            "Back to the holes as the scan found them. Labels and aim stay, and Undo brings your "
            "corrections back."
        )
        if st.button("Drop all corrections"):
            shots = zip(item.ids, item.record.shots, strict=True)
            ids = tuple(name for name, shot in shots if shot.auto_x_mm is not None)
            record = without_corrections(item.record)
            with told():
                desk.put(store, replace(item, record=record, ids=ids))
                desk.overrule(item.sha256, renamed=False)
                st.rerun()
    if not item.saved:
        _scan_again(store, desk, item)
    _put_aside(store, desk, item)


def _scan_again(store: Store, desk: Desk, item: Item) -> None:
    with st.popover("Scan again", icon=":material/refresh:", width="stretch"):
        st.write(
            "Scans this photo with the sheet, shaft and arrows that now stand under “Scan photos”. "
            "Corrections made on it are replaced."
        )
        if not st.button("Scan it again", key=f"again_{item.key}"):
            return
        ask = st.session_state.get("last_ask", item.ask)
        try:
            with st.status("Scanning again", expanded=True):
                st.button("Stop", key=f"stop_{item.key}", help="Leaves everything as it was.")
                line = st.empty()
                photo = photo_of(store, item.sha256, item.name)
                scan_item(
                    store, desk, replace(item, ask=ask), photo=photo,
                    tick=lambda seconds: line.write(f"{seconds:.0f} s"),
                )  # fmt: skip
        except GroupscanError as err:
            st.error(plain(str(err)))
            return
        st.rerun()


def _put_aside(store: Store, desk: Desk, item: Item) -> None:
    with st.popover("Put this photo aside", icon=":material/close:", width="stretch"):
        if item.saved:
            st.write("It leaves the desk and stays in the records.")
        else:
            st.write("It leaves the desk, and what you corrected on it is forgotten.")
        if st.button("Put aside", key=f"aside_{item.key}"):
            desk.put_aside(store, item)
            st.query_params.clear()
            st.rerun()
