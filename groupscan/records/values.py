"""What may be stored: entries turned into rows, and rows into entries.

Every value is checked here, with a message that names it, before a transaction begins. Numbers
become Python's own (numpy scalars would be stored as raw bytes), NaN becomes "not known".
"""

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from groupscan.errors import StoreError
from groupscan.records.entries import CUTS, STATES, ScanRecord, Session, ShotRecord

__all__ = [
    "scan_from_row",
    "scan_row",
    "session_from_row",
    "session_row",
    "shot_from_row",
    "shot_rows",
    "whole_number",
    "words",
]

_LARGEST = 2**31 - 1  # PostgreSQL's INTEGER


def words(value: str) -> str:
    """Return `value` as text that any database holds: no NUL, no half of a character pair."""
    return value.replace("\0", "\N{REPLACEMENT CHARACTER}").encode("utf-8", "replace").decode()


def whole_number(value: Any, what: str) -> int:
    """Return `value` as an int from 1, or raise StoreError naming `what`."""
    try:
        number = int(value)
    except (TypeError, ValueError, OverflowError):
        number = 0
    if number != value or not 1 <= number <= _LARGEST:
        raise StoreError(f"{what} is {value!r}: give a whole number from 1")
    return number


def session_row(entry: Session) -> dict[str, Any]:
    """Return the columns of a session, without those that the store itself keeps."""
    if isinstance(entry.held_on, datetime) or not isinstance(entry.held_on, date):
        raise StoreError(f"the day of the session is {entry.held_on!r}: give a date without a time")
    distance = _number(entry.distance_m, "distance of the session in m", may_miss=True)
    if distance is not None and distance <= 0:
        raise StoreError(f"the distance of the session is {distance} m: give one above zero")
    return {
        "held_on": entry.held_on,
        "place": words(entry.place),
        "shooter": words(entry.shooter),
        "rig": words(entry.rig),
        "distance_m": distance,
        "notes": words(entry.notes),
    }


def session_from_row(row: Mapping[str, Any]) -> Session:
    """Return the session of one row."""
    names = ("id", "revision", "held_on", "place", "shooter", "rig", "distance_m", "notes")
    return Session(**{name: row[name] for name in names})


def scan_row(record: ScanRecord) -> dict[str, Any]:
    """Return the columns of a scan, without its shots and those that the store itself keeps."""
    optional = ("mm_per_px", "mm_per_px_se", "tilt_deg", "residual_px", "shaft_mm")
    width, height = record.image_size_px
    aim_x, aim_y = _numbers(record.aim_mm, 2, "aim of the scan")
    matrix = [_numbers(row, 3, "mm_to_px of the scan") for row in record.mm_to_px]
    if len(matrix) != 3:
        raise StoreError(f"mm_to_px of the scan has {len(matrix)} rows: give 3 rows of 3 numbers")
    lens = record.lens
    return {
        "session_id": whole_number(record.session_id, "session_id of the scan"),
        "photo_sha256": words(record.photo_sha256),
        "photo_name": words(record.photo_name),
        "width_px": whole_number(width, "width of the scan's photo"),
        "height_px": whole_number(height, "height of the scan's photo"),
        "sheet": None if record.sheet is None else words(record.sheet),
        "scale_source": words(record.scale_source),
        **{
            name: _number(getattr(record, name), f"{name} of the scan", may_miss=True)
            for name in optional
        },
        "mm_to_px": matrix,
        "lens": None
        if lens is None
        else {words(key): _number(value, f"lens term {key}") for key, value in lens.items()},
        "bend": None
        if record.bend is None
        else {words(key): _nested(value, f"bend {key}") for key, value in record.bend.items()},
        "aim_x_mm": aim_x,
        "aim_y_mm": aim_y,
        "aims_mm": [_numbers(aim, 2, "aims of the scan") for aim in record.aims_mm],
        "warnings": [words(warning) for warning in record.warnings],
    }


def scan_from_row(row: Mapping[str, Any], shots: Sequence[ShotRecord]) -> ScanRecord:
    """Return the scan of one row and its shots."""
    same = (
        *("id", "revision", "session_id", "photo_sha256", "photo_name", "sheet", "scale_source"),
        *("mm_per_px", "mm_per_px_se", "tilt_deg", "residual_px", "lens", "bend", "shaft_mm"),
    )
    return ScanRecord(
        **{name: row[name] for name in same},
        image_size_px=(row["width_px"], row["height_px"]),
        mm_to_px=tuple((a, b, c) for a, b, c in row["mm_to_px"]),
        aim_mm=(row["aim_x_mm"], row["aim_y_mm"]),
        aims_mm=tuple((x, y) for x, y in row["aims_mm"]),
        warnings=tuple(row["warnings"]),
        shots=tuple(shots),
    )


def shot_rows(shots: Sequence[ShotRecord]) -> list[dict[str, Any]]:
    """Return the columns of the shots of one scan, id included."""
    live = [shot.number for shot in shots if not shot.removed]
    if twice := sorted({number for number in live if live.count(number) > 1}):
        raise StoreError(
            f"shot number {twice[0]} stands twice in the scan: give each shot its own number"
        )
    ids = [shot.id for shot in shots if shot.id is not None]
    if len(set(ids)) < len(ids):
        raise StoreError("a shot stands twice in the scan: give a copied shot id=None")
    return [_shot_row(shot) for shot in shots]


def shot_from_row(row: Mapping[str, Any]) -> ShotRecord:
    """Return the shot of one row."""
    return ShotRecord(**{name: row[name] for name in ShotRecord.__dataclass_fields__})


def _shot_row(shot: ShotRecord) -> dict[str, Any]:
    number = whole_number(shot.number, "number of a shot")
    needed = {
        name: _number(getattr(shot, name), f"{name} of shot {number}") for name in ("x_mm", "y_mm")
    }
    optional = {
        name: _number(getattr(shot, name), f"{name} of shot {number}", may_miss=True)
        for name in (
            *("auto_x_mm", "auto_y_mm", "auto_se_mm", "auto_shared_se_mm", "x_px", "y_px"),
            *("se_mm", "diameter_mm", "confidence"),
        )
    }
    if (optional["auto_x_mm"] is None) != (optional["auto_y_mm"] is None):
        raise StoreError(f"shot {number} has half an automatic position: give x and y, or neither")
    confidence = optional["confidence"]
    if confidence is not None and not 0 <= confidence <= 1:
        raise StoreError(f"confidence of shot {number} is {confidence}: give one from 0 to 1")
    for name, choices in (("cut", CUTS), ("state", STATES)):
        if getattr(shot, name) not in choices:
            raise StoreError(
                f"{name} of shot {number} is {getattr(shot, name)!r}: give one of "
                f"{', '.join(choices)}"
            )
    return {
        "id": None if shot.id is None else whole_number(shot.id, f"id of shot {number}"),
        "number": number,
        **needed,
        **optional,
        "cut": shot.cut,
        "state": shot.state,
        "head": words(shot.head),
        "arrow": words(shot.arrow),
        "removed": bool(shot.removed),
    }


def _number(value: Any, what: str, *, may_miss: bool = False) -> float | None:
    if may_miss and (value is None or value != value):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError) as err:
        raise StoreError(f"{what} is {value!r}: give a number") from err
    if not math.isfinite(number):
        raise StoreError(f"{what} is {value!r}: give a finite number")
    return number


def _nested(value: Any, what: str) -> Any:
    """Return a number, or a list of numbers or of such lists."""
    if isinstance(value, list | tuple):
        return [_nested(item, what) for item in value]
    return _number(value, what)


def _numbers(values: Any, count: int, what: str) -> list[float | None]:
    numbers = [_number(value, what) for value in values]
    if len(numbers) != count:
        raise StoreError(f"{what} has {len(numbers)} numbers in a row: give {count}")
    return numbers
