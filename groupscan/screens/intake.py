"""Photos in: upload, say what was shot, scan with a live status."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.errors import GroupscanError, MarksError, UnitError
from groupscan.records.connect import Store
from groupscan.records.entries import Session
from groupscan.records.photos import add_photo
from groupscan.records.preferences import Preferences
from groupscan.records.store import list_scans
from groupscan.screens.chrome import plain
from groupscan.screens.corrections import fresh_ids
from groupscan.screens.desk import Ask, Desk, Item, Upload, last_sheet, remembered
from groupscan.screens.preferences import preferences
from groupscan.screens.to_top import go_to_top
from groupscan.screens.waiting import wait_for
from groupscan.sheets.catalogue import load_catalogue
from groupscan.units import parse_distance, parse_length

if TYPE_CHECKING:
    from groupscan.photo.marks.hand import KnownLength, KnownRectangle
    from groupscan.photo.reading import Photo

__all__ = ["intake", "make_ready", "scan_item", "sheet_title"]

_LOG = logging.getLogger(__name__)

# What the scan takes; said at the field already, before any photo is scanned.
_SHAFTS_MM = (3.0, 12.0)
_SHAFT_MM = 5.4  # an example of what to type

_HELP = (
    "Stand square to the sheet, one to three steps away, whole sheet in view, no flash. On a phone "
    "this opens the camera or your pictures."
)


def sheet_title(sheet_id: str | None) -> str:
    """Return the plain words for a sheet."""
    sheet = load_catalogue().get(sheet_id or "")
    return sheet.title if sheet else (sheet_id or "Recognise it")


def intake(store: Store, desk: Desk) -> None:
    """Draw the upload with its few questions, and scan when asked.

    After `make_ready`, what was asked of the last end holds for the next: its photo is scanned as
    soon as it is chosen.
    """
    if desk.queue:
        _work_through(store, desk)
    ready = bool(st.session_state.get("ready_for_next"))
    if ready:
        st.info(
            "**Ready for the next end.** Choose its photo: it is scanned at once, as the last one "
            "was. Look over the questions first if something has changed.",
            icon=":material/photo_camera:",
        )
    with st.expander("Scan photos", expanded=not desk.items, icon=":material/add_a_photo:"):
        files = st.file_uploader(
            "Photos of your targets",
            type=["image", ".heic", ".heif"],
            accept_multiple_files=True,
            key=f"photos_{st.session_state.get('photos_round', 0)}",
            help=_HELP,
        )
        ask = _questions(store)
        if ask is not None:
            st.session_state["last_ask"] = ask
        asked = st.button(
            "Scan", type="primary", icon=":material/search:", disabled=not files or ask is None
        )
        if files and ask is not None and (asked or ready):
            desk.queue = [
                Upload(file.name, file.getvalue(), i, len(files)) for i, file in enumerate(files, 1)
            ]
            desk.asked = ask
            st.session_state["photos_round"] = st.session_state.get("photos_round", 0) + 1
            st.session_state["ready_for_next"] = False
            st.rerun()
    for level, text in desk.news:
        {"error": st.error, "warning": st.warning}.get(level, st.success)(text)
    desk.news.clear()


def make_ready(desk: Desk, store: Store) -> None:
    """Clear the desk of what is saved; with nothing left on it, take the next photo at once."""
    for item in [item for item in desk.items.values() if item.saved]:
        desk.put_aside(store, item)
    st.session_state["ready_for_next"] = not desk.items
    st.query_params.clear()
    go_to_top()


def _questions(store: Store) -> Ask | None:
    """Ask what was shot; None while an answer cannot be read."""
    prefer = preferences()
    if "ask_distance" not in st.session_state:  # a new visit, or back from another screen
        before: Ask | None = st.session_state.get("last_ask")
        if before is None:
            last, shaft_mm = remembered(store)
            before = Ask(shaft_mm=shaft_mm, distance_m=last.distance_m)
        st.session_state["ask_sheet"] = before.sheet or ""
        # With what they stand for: what is left as it is stays, to the last digit.
        st.session_state["asked_before"] = shown = (
            (prefer.distance_text(before.distance_m, alone=True), before.distance_m),
            (prefer.length_text(before.shaft_mm), before.shaft_mm),
        )
        (st.session_state["ask_distance"], _), (st.session_state["ask_shaft"], _) = shown
        st.session_state["ask_arrows"] = before.arrows
    a, b, c, d = st.columns(4)
    sheet = a.selectbox(
        "Sheet",
        ["", *load_catalogue()],
        format_func=sheet_title,
        key="ask_sheet",
        help="Leave it at “Recognise it” unless the scan takes the wrong one.",
    )
    distance = b.text_input("Distance", placeholder=prefer.far, key="ask_distance")
    shaft = c.text_input(
        "Shaft diameter", placeholder=prefer.length_text(_SHAFT_MM), key="ask_shaft",
        help="Outside diameter. It tells holes from dirt; leave it empty if you do not know it.",
    )  # fmt: skip
    arrows = d.number_input(
        "Arrows shot", min_value=1, max_value=200, value=None, placeholder="not counted",
        key="ask_arrows", help="The scan says so if it finds more holes or fewer.",
    )  # fmt: skip
    (far, far_m), (thick, thick_mm) = st.session_state["asked_before"]
    try:
        distance_m = far_m if distance == far else _far(distance, prefer.distance)
    except UnitError as err:
        b.error(plain(str(err)))
        return None
    try:
        shaft_mm = thick_mm if shaft == thick else _shaft(shaft, prefer)
    except UnitError as err:
        c.error(plain(str(err)))
        return None
    return Ask(sheet or None, shaft_mm, None if arrows is None else int(arrows), distance_m)


def _far(text: str, unit: str) -> float | None:
    """Read a distance, m; None where none is said."""
    return parse_distance(text, default_unit=unit) if text.strip() else None


def _shaft(text: str, prefer: Preferences) -> float | None:
    """Read a shaft's diameter, mm; None where none is said."""
    if not text.strip():
        return None
    shaft_mm = parse_length(text, default_unit=prefer.length)
    low, high = _SHAFTS_MM
    if not low <= shaft_mm <= high:
        raise UnitError(
            f"{text.strip()} is {prefer.length_text(shaft_mm)}, and shafts are "
            f"{prefer.length_text(low)} to {prefer.length_text(high)} thick: give the outside "
            "diameter, or leave it empty"
        )
    return shaft_mm


def _work_through(store: Store, desk: Desk) -> None:
    """Scan the photos that wait, one after another, until none is left or the reader stops it."""
    total = desk.queue[0].of
    words = "1 photo" if total == 1 else f"{total} photos"
    first = None
    with st.status(f"Scanning {words}", expanded=True) as status:
        bar = st.progress(0.0)
        st.button("Stop", icon=":material/stop_circle:", on_click=lambda: _stop(desk))
        st.caption("What is scanned by then is kept.")
        st.empty()  # else the button that stood here before stays until the scan is done
        while desk.queue:
            photo = desk.queue[0]
            name = plain(photo.name)
            done = (photo.place - 1) / total

            def tick(seconds: float, *, photo: Upload = photo, name: str = name) -> None:
                text = f"Photo {photo.place} of {total}: {name}, {seconds:.0f} s"
                bar.progress((photo.place - 1) / total, text=text)

            bar.progress(done, text=f"Photo {photo.place} of {total}: {name}")
            try:
                item = _take(store, desk, photo, tick)
                first = first or item.sha256
            except GroupscanError as err:
                desk.news.append(("error", f"{name}: {plain(str(err))}"))
            except Exception as err:  # one photo must not stop the others; the log has the rest
                _LOG.exception("scanning %r", photo.name)
                what = f"unexpected {type(err).__name__}: {err}: please report this photo"
                desk.news.append(("error", f"{name}: {plain(what)}"))
            desk.queue.pop(0)
        bar.progress(1.0)
        status.update(label=f"Scanned {words}", state="complete")
    desk.current = first or desk.current
    go_to_top()
    st.rerun()


def _stop(desk: Desk) -> None:
    if not desk.queue:
        return
    left = len(desk.queue)
    words = "1 photo was" if left == 1 else f"{left} photos were"
    desk.news.append(("warning", f"Stopped: {words} not scanned. Choose them again to go on."))
    desk.queue = []


def _take(store: Store, desk: Desk, upload: Upload, tick: Callable[[float], None]) -> Item:
    """Read, scan and keep one photo; nothing is kept of one that cannot be read or scanned."""
    from groupscan.photo.reading import read_photo

    name, data, ask = upload.name, upload.data, desk.asked
    photo = read_photo(data, name=name)
    height, width = photo.rgb.shape[:2]
    known = list_scans(store, photo_sha256=photo.sha256)["id"]
    if len(known):
        desk.news.append(("ok", f"{plain(name)} is in the records already; here it is."))
        return desk.open_scan(store, int(known.iloc[-1]))
    if photo.sha256 in desk.items:
        desk.news.append(("ok", f"{plain(name)} is on the desk already, with your corrections."))
        return desk.items[photo.sha256]
    last, _ = remembered(store)
    taken = photo.taken_at.date() if photo.taken_at is not None else last.held_on
    session = Session(
        held_on=taken, place=last.place, shooter=last.shooter, rig=last.rig,
        distance_m=ask.distance_m,
    )  # fmt: skip
    item = Item(
        sha256=photo.sha256, name=name, size_px=(width, height), ask=ask, session=session,
        begun=datetime.now().isoformat(),
    )  # fmt: skip
    item = _scanned(store, item, photo, None, tick)
    add_photo(store, data, name=name, size_px=(width, height))
    desk.overrule(item.sha256)
    return desk.put(store, item)


def scan_item(
    store: Store,
    desk: Desk,
    item: Item,
    *,
    photo: Photo,
    hand_marks: KnownLength | KnownRectangle | None = None,
    tick: Callable[[float], None] = lambda _: None,
) -> Item:
    """Scan the photo of an item and keep the result, or the reason why there is none.

    Corrections made so far on this photo are replaced. `tick` is that of
    `groupscan.screens.waiting.wait_for`: while it runs nothing is changed yet.
    """
    item = desk.put(store, _scanned(store, item, photo, hand_marks, tick))
    desk.overrule(item.sha256)
    return item


def _scanned(
    store: Store,
    item: Item,
    photo: Photo,
    hand_marks: KnownLength | KnownRectangle | None,
    tick: Callable[[float], None],
) -> Item:
    """Return the item with its scan, or with the reason why there is none."""
    from groupscan.photo.scan import scan_photo
    from groupscan.pipeline import record_of

    ask = item.ask
    # Ring faces of all sizes look alike: what was shot last is the likelier one.
    likely = last_sheet(store, but=item.sha256) if ask.sheet is None else None
    try:
        scan = wait_for(
            lambda: scan_photo(
                photo,
                sheet=ask.sheet,
                shaft_mm=ask.shaft_mm,
                arrows=ask.arrows,
                hand_marks=hand_marks,
                likely=likely,
            ),
            tick,
        )
    except MarksError as err:
        return replace(item, record=None, ids=(), trouble=str(err))
    # A patched hole is no shot of this end; it stays on record, and can be put back.
    patched = [i for i, hole in enumerate(scan.holes) if hole.state == "patched"]
    record = record_of(
        scan, session_id=0, photo_sha256=item.sha256, shaft_mm=ask.shaft_mm, removed=patched
    )
    record = replace(record, photo_name=item.name)
    return replace(item, record=record, ids=fresh_ids(record), trouble="")
