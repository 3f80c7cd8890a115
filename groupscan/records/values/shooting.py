"""Rows of sessions, scans and shots."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from groupscan.errors import StoreError
from groupscan.records.entries.shooting import CUTS, STATES, ScanRecord, Session, ShotRecord
from groupscan.records.values.checks import (
    choice,
    day,
    nested,
    number,
    numbers,
    plain_json,
    positive,
    reference,
    uid,
    whole_number,
    words,
)

__all__ = [
    "scan_from_row",
    "scan_row",
    "session_from_row",
    "session_row",
    "shot_from_row",
    "shot_rows",
]

_TEXTS = ("place", "purpose", "weather", "notes")


def session_row(entry: Session) -> dict[str, Any]:
    """Return the columns of a session, without those that the store itself keeps.

    ``shooter`` and ``rig`` are still names.
    """
    humidity = number(entry.humidity, "humidity of the session", may_miss=True)
    if humidity is not None and not 0 <= humidity <= 1:
        raise StoreError(f"the humidity of the session is {humidity:g}: give one from 0 to 1")
    temperature = number(entry.temperature_c, "temperature of the session", may_miss=True)
    if temperature is not None and temperature <= -273.15:
        raise StoreError(f"the temperature of the session is {temperature:g} °C: give a real one")
    return {
        "held_on": day(entry.held_on, "the day of the session"),
        "shooter": words(entry.shooter).strip(),
        "rig": words(entry.rig).strip(),
        **{name: words(getattr(entry, name)) for name in _TEXTS},
        "distance_m": positive(entry.distance_m, "the distance of the session in m"),
        "temperature_c": temperature,
        "pressure_pa": positive(entry.pressure_pa, "the air pressure of the session in Pa"),
        "humidity": humidity,
        "wind_m_s": positive(entry.wind_m_s, "the wind of the session in m/s", zero=True),
        "plan": plain_json(entry.plan, "the plan of the session"),
        "setup_id": reference(entry.setup_id, "setup_id of the session"),
        "build_id": reference(entry.build_id, "build_id of the session"),
        **uid(entry.uid),
    }


def session_from_row(row: Mapping[str, Any]) -> Session:
    """Return the session of one row."""
    return Session(**{name: row[name] for name in Session.__dataclass_fields__ if name != "uid"})


def scan_row(record: ScanRecord) -> dict[str, Any]:
    """Return the columns of a scan, without its shots and those that the store itself keeps."""
    optional = ("mm_per_px", "mm_per_px_se", "tilt_deg", "residual_px", "shaft_mm")
    aim_x, aim_y = numbers(record.aim_mm, 2, "aim of the scan")
    lens = record.lens
    return {
        "label": words(record.label),
        **_photo_columns(record),
        "photo_name": words(record.photo_name),
        "sheet": None if record.sheet is None else words(record.sheet),
        "scale_source": words(record.scale_source),
        **{
            name: None if value is None else number(value, f"{name} of the scan", may_miss=True)
            for name, value in ((name, getattr(record, name)) for name in optional)
        },
        "lens": None
        if lens is None
        else {words(key): number(value, f"lens term {key}") for key, value in lens.items()},
        "bend": None
        if record.bend is None
        else {words(key): nested(value, f"bend {key}") for key, value in record.bend.items()},
        "aim_x_mm": aim_x,
        "aim_y_mm": aim_y,
        "aims_mm": [numbers(aim, 2, "aims of the scan") for aim in record.aims_mm],
        "warnings": [words(warning) for warning in record.warnings],
        **uid(record.uid),
    }


def _photo_columns(record: ScanRecord) -> dict[str, Any]:
    """Return what a photographed end has and a typed one has not: all of it, or nothing."""
    parts = (record.photo_sha256, record.image_size_px, record.mm_to_px)
    if parts == (None, None, None):
        return dict.fromkeys(("photo_sha256", "width_px", "height_px", "mm_to_px"))
    if record.photo_sha256 is None or record.image_size_px is None or record.mm_to_px is None:
        raise StoreError(
            "the scan has part of a photo: give photo_sha256, image_size_px and mm_to_px, or none "
            "of them for an end without a photo"
        )
    matrix = [numbers(row, 3, "mm_to_px of the scan") for row in record.mm_to_px]
    if len(matrix) != 3:
        raise StoreError(f"mm_to_px of the scan has {len(matrix)} rows: give 3 rows of 3 numbers")
    width, height = record.image_size_px
    return {
        "photo_sha256": words(record.photo_sha256),
        "width_px": whole_number(width, "width of the scan's photo"),
        "height_px": whole_number(height, "height of the scan's photo"),
        "mm_to_px": matrix,
    }


def scan_from_row(row: Mapping[str, Any], shots: Sequence[ShotRecord]) -> ScanRecord:
    """Return the scan of one row and its shots."""
    same = (
        *("id", "revision", "session_id", "label", "photo_sha256", "photo_name", "sheet"),
        "scale_source",
        *("mm_per_px", "mm_per_px_se", "tilt_deg", "residual_px", "lens", "bend", "shaft_mm"),
    )
    return ScanRecord(
        **{name: row[name] for name in same},
        image_size_px=None if row["width_px"] is None else (row["width_px"], row["height_px"]),
        mm_to_px=row["mm_to_px"] and tuple((a, b, c) for a, b, c in row["mm_to_px"]),
        aim_mm=(row["aim_x_mm"], row["aim_y_mm"]),
        aims_mm=tuple((x, y) for x, y in row["aims_mm"]),
        warnings=tuple(row["warnings"]),
        shots=tuple(shots),
    )


def shot_rows(shots: Sequence[ShotRecord]) -> list[dict[str, Any]]:
    """Return the columns of the shots of one scan, id included; head and arrow are still names."""
    live = [shot.number for shot in shots if not shot.removed]
    if len(set(live)) < len(live):
        twice = sorted(number for number, times in Counter(live).items() if times > 1)
        raise StoreError(
            f"shot number {twice[0]} stands twice in the scan: give each shot its own number"
        )
    ids = [shot.id for shot in shots if shot.id is not None]
    if len(set(ids)) < len(ids):
        raise StoreError("a shot stands twice in the scan: give a copied shot id=None")
    return [_shot_row(shot) for shot in shots]


def shot_from_row(row: Mapping[str, Any]) -> ShotRecord:
    """Return the shot of one row."""
    fields = (name for name in ShotRecord.__dataclass_fields__ if name != "order")
    return ShotRecord(order=row["shot_order"], **{name: row[name] for name in fields})


_NEEDED = ("x_mm", "y_mm")
_OPTIONAL = (
    *("auto_x_mm", "auto_y_mm", "auto_se_mm", "auto_shared_se_mm", "x_px", "y_px"),
    *("se_mm", "diameter_mm", "confidence"),
)


def _measured(shot: ShotRecord, name: str, own: int, *, may_miss: bool = False) -> float | None:
    value = getattr(shot, name)
    if (value is None and may_miss) or (type(value) is float and math.isfinite(value)):
        return value  # nearly all, of very many
    return number(value, f"{name} of shot {own}", may_miss=may_miss)


def _shot_row(shot: ShotRecord) -> dict[str, Any]:
    own = whole_number(shot.number, "number of a shot")
    needed = {name: _measured(shot, name, own) for name in _NEEDED}
    optional = {name: _measured(shot, name, own, may_miss=True) for name in _OPTIONAL}
    if (optional["auto_x_mm"] is None) != (optional["auto_y_mm"] is None):
        raise StoreError(f"shot {own} has half an automatic position: give x and y, or neither")
    confidence = optional["confidence"]
    if confidence is not None and not 0 <= confidence <= 1:
        raise StoreError(f"confidence of shot {own} is {confidence}: give one from 0 to 1")
    return {
        "id": None if shot.id is None else whole_number(shot.id, f"id of shot {own}"),
        "number": own,
        **needed,
        **optional,
        "shot_order": None
        if shot.order is None
        else whole_number(shot.order, f"order of shot {own}"),
        "cut": choice(shot.cut, CUTS, f"cut of shot {own}"),
        "state": choice(shot.state, STATES, f"state of shot {own}"),
        "head": words(shot.head).strip(),
        "arrow": words(shot.arrow).strip(),
        "flyer": bool(shot.flyer),
        "flyer_why": words(shot.flyer_why),
        "removed": bool(shot.removed),
    }
