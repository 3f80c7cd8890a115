"""The photos on the desk: what was asked, found and corrected, kept at every change.

A photo that nobody has saved lives in a draft file; a saved one in the records. Either way the
browser holds nothing that a closed tab could lose.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime
from typing import Any

import streamlit as st

from groupscan.errors import StoreError
from groupscan.records.connect import Store
from groupscan.records.drafts import drop_draft, keep_draft, list_drafts
from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.store import (
    get_session,
    list_scans,
    list_sessions,
    load_scan,
    save_scan,
    save_session,
)
from groupscan.screens.corrections import aims_px, editor_points, fresh_ids, is_ordered
from groupscan.screens.hole_editor import EditorPoint, LabelDefaults

__all__ = ["Ask", "Desk", "Item", "Upload", "desk_of", "last_labels", "last_sheet", "remembered"]


@dataclass(frozen=True)
class Ask:
    """What the shooter told the scan; None where it was left to the scan or is not known."""

    sheet: str | None = None
    shaft_mm: float | None = None
    arrows: int | None = None
    distance_m: float | None = None


@dataclass(frozen=True)
class Upload:
    """A photo that waits for its scan; `place` among the `of` that came together, from 1."""

    name: str
    data: bytes = field(repr=False)
    place: int
    of: int


@dataclass(frozen=True)
class Item:
    """One photo on the desk.

    ``record`` is None while no scale could be trusted; ``trouble`` then says why and ``marks_px``
    are the scale marks set by hand so far. ``ids`` are the page's names of ``record.shots``.
    A record with an ``id`` is saved, otherwise its ``session_id`` is 0.
    """

    sha256: str
    name: str
    size_px: tuple[int, int]
    ask: Ask
    session: Session
    begun: str
    record: ScanRecord | None = None
    ids: tuple[str, ...] = ()
    trouble: str = ""
    marks_kind: str = "length"
    marks_px: tuple[tuple[float, float], ...] = ()

    @property
    def key(self) -> str:
        """Short name of the photo, for addresses and widgets."""
        return self.sha256[:12]

    @property
    def saved(self) -> bool:
        """Whether the records hold this scan."""
        return self.record is not None and self.record.id is not None

    def to_json(self) -> dict[str, Any]:
        """Return JSON-safe values from which `from_json` makes the same item."""
        values = asdict(self)
        values["session"]["held_on"] = self.session.held_on.isoformat()
        return values

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> Item:
        """Make an item of what `to_json` returned, read back from JSON.

        Raises
        ------
        KeyError, TypeError, ValueError
            The values are of another version or damaged.
        """
        session = dict(values["session"])
        session["held_on"] = date.fromisoformat(session["held_on"])
        record = values["record"]
        if record is not None:
            record = ScanRecord(
                **{
                    **record,
                    "image_size_px": tuple(record["image_size_px"]),
                    "mm_to_px": tuple(tuple(row) for row in record["mm_to_px"]),
                    "aim_mm": tuple(record["aim_mm"]),
                    "aims_mm": tuple(tuple(aim) for aim in record["aims_mm"]),
                    "warnings": tuple(record["warnings"]),
                    "shots": tuple(ShotRecord(**shot) for shot in record["shots"]),
                }
            )
        width, height = values["size_px"]
        return cls(
            **{
                **values,
                "size_px": (int(width), int(height)),
                "ask": Ask(**values["ask"]),
                "session": Session(**session),
                "record": record,
                "ids": tuple(values["ids"]),
                "marks_px": tuple((float(x), float(y)) for x, y in values["marks_px"]),
            }
        )


@dataclass
class Desk:
    """The photos on one reader's desk, by checksum, and what their editors started from.

    ``queue`` are photos not scanned yet, and ``asked`` what was said of them.
    """

    items: dict[str, Item] = field(default_factory=dict)
    current: str | None = None
    revs: dict[str, int] = field(default_factory=dict)
    lineages: dict[str, int] = field(default_factory=dict)
    started: dict[str, tuple[EditorPoint, ...]] = field(default_factory=dict)
    aims: dict[str, tuple[float, float]] = field(default_factory=dict)
    ordered: dict[str, bool] = field(default_factory=dict)
    news: list[tuple[str, str]] = field(default_factory=list)
    queue: list[Upload] = field(default_factory=list)
    asked: Ask = Ask()

    def put(self, store: Store, item: Item) -> Item:
        """Keep an item: a saved one in the records, any other in its draft. Return it as kept."""
        if item.record is not None and item.record.id is not None:
            kept = _as_loaded(item, load_scan(store, save_scan(store, item.record)))
            if kept.ids != item.ids:
                self.overrule(item.sha256)
            item = kept
        else:
            keep_draft(store, item.sha256, item.to_json())
        self.items[item.sha256] = item
        return item

    def overrule(self, sha256: str, *, renamed: bool = True) -> None:
        """Let the next page take Python's points in place of its own.

        Where they were `renamed`, the page forgets its steps: there is no way back to the names
        of before.
        """
        self.revs[sha256] = self.revs.get(sha256, 0) + 1
        if renamed:
            self.lineages[sha256] = self.lineages.get(sha256, 0) + 1

    def refresh(self, item: Item) -> None:
        """Take the present points as those from which a newly opened editor starts."""
        if item.record is not None:
            self.aims[item.sha256] = aims_px(item.record)[0]
            self.ordered[item.sha256] = is_ordered(item.record)
        points = editor_points(item.record, item.ids) if item.record is not None else []
        self.started[item.sha256] = tuple(points)

    def save(self, store: Store, item: Item, session: Session) -> Item:
        """Save an item's scan in a session, new or known, and drop its draft."""
        if item.record is None:
            raise ValueError("a photo without a scale has no scan to save")
        session_id = session.id if session.id is not None else save_session(store, session)
        scan_id = save_scan(store, replace(item.record, session_id=session_id))
        drop_draft(store, item.sha256)
        return self.open_scan(store, scan_id)

    def open_scan(self, store: Store, scan_id: int) -> Item:
        """Put a saved scan on the desk and make it the current one."""
        record = load_scan(store, scan_id)
        if record.photo_sha256 is None or record.image_size_px is None:
            raise StoreError(
                f"end {scan_id} was typed and has no photo: its shots are on the Group sheet"
            )
        sha256, size_px = record.photo_sha256, record.image_size_px
        shots = tuple(s for s in record.shots if not (s.removed and s.auto_x_mm is None))
        record = replace(record, shots=shots)
        item = Item(
            sha256=sha256,
            name=record.photo_name,
            size_px=size_px,
            ask=Ask(record.sheet, record.shaft_mm),
            session=get_session(store, record.session_id),
            begun=datetime.now().isoformat(),
            record=record,
            ids=fresh_ids(record),
        )
        self.items[item.sha256] = item
        self.current = item.sha256
        self.overrule(item.sha256)
        return item

    def put_aside(self, store: Store, item: Item) -> None:
        """Take an item off the desk; an unsaved one is forgotten, a saved one stays saved."""
        if not item.saved:
            drop_draft(store, item.sha256)
        self.items.pop(item.sha256, None)
        if self.current == item.sha256:
            self.current = None


def _as_loaded(item: Item, kept: ScanRecord) -> Item:
    """Return the item with the ids and the revision that the records gave its shots."""
    assert item.record is not None
    known = [s for s in kept.shots if not (s.removed and s.auto_x_mm is None)]
    if [(s.auto_x_mm, s.x_mm, s.y_mm) for s in known] == [
        (s.auto_x_mm, s.x_mm, s.y_mm) for s in item.record.shots
    ]:
        return replace(item, record=replace(kept, shots=tuple(known)))
    fresh = replace(kept, shots=tuple(known))
    return replace(item, record=fresh, ids=fresh_ids(fresh))


def desk_of(store: Store) -> Desk:
    """Return this reader's desk, filled from drafts and the address when the page is opened."""
    if "desk" not in st.session_state:
        items = {}
        for sha256, values in list_drafts(store).items():
            try:
                items[sha256] = Item.from_json(values)
            except (KeyError, TypeError, ValueError):
                continue  # of another version; its photo is still in the records
        st.session_state["desk"] = Desk(items)
    desk: Desk = st.session_state["desk"]
    asked = st.query_params.get("photo", "")
    if asked and desk.current is None:
        desk.current = next((sha for sha in desk.items if sha.startswith(asked)), None)
    return desk


def remembered(store: Store) -> tuple[Session, float | None]:
    """Return the last session's particulars, dated today, and the last shaft diameter, mm."""
    sessions, scans = list_sessions(store, last=1), list_scans(store, last=1)
    shaft_mm = load_scan(store, int(scans["id"].iloc[-1])).shaft_mm if len(scans) else None
    if sessions.empty:
        return Session(held_on=date.today()), shaft_mm
    last = get_session(store, int(sessions["id"].iloc[0]))
    fresh = Session(
        held_on=date.today(), place=last.place, shooter=last.shooter, rig=last.rig,
        distance_m=last.distance_m,
    )  # fmt: skip
    return fresh, shaft_mm


def last_labels(store: Store, *, but: str = "") -> LabelDefaults:
    """Return how the end saved last was labelled, one of the photo `but` left out.

    Its head, where all its shots had the same, and its arrows in the order shot.
    """
    scans = list_scans(store, last=9)
    others = scans.loc[scans["photo_sha256"] != but, "id"]
    if not len(others):
        return LabelDefaults()
    shots = [shot for shot in load_scan(store, int(others.iloc[-1])).shots if not shot.removed]
    heads = {shot.head for shot in shots}
    arrows = tuple(shot.arrow for shot in shots if shot.arrow)
    return LabelDefaults(heads.pop() if len(heads) == 1 else "", arrows)


def last_sheet(store: Store, *, but: str = "") -> str | None:
    """Return the sheet of the scan that was saved last, one of the photo `but` left out."""
    scans = list_scans(store, last=9)  # a photo seldom has a second scan
    sheets = scans.loc[scans["photo_sha256"] != but, "sheet"]
    return (str(sheets.iloc[-1]) or None) if len(sheets) else None
