"""How its reader likes to see the records: units, dates, and answers to keep for next time.

They stand in a small file of their own beside the records, so that they outlive the program, and
two readers of one database on a server keep their own. Nothing that is stored depends on them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final, Literal, get_args

from groupscan.errors import StoreError
from groupscan.records.connect import Store
from groupscan.records.files import disk_advice, whole_file
from groupscan.telling import retold
from groupscan.units import (
    express,
    g_to_grain,
    m_to_yd,
    mm_to_inch,
    mps_to_fps,
    to_moa,
    to_mrad,
)

__all__ = [
    "PREFERENCES_FILE",
    "AngleUnit",
    "DateStyle",
    "DistanceUnit",
    "LengthUnit",
    "MassUnit",
    "Preferences",
    "ReadUnit",
    "SpeedUnit",
    "read_preferences",
    "save_preferences",
]

PREFERENCES_FILE: Final = "preferences.json"
"""Its name in the folder of the records."""

LengthUnit = Literal["mm", "in"]
DistanceUnit = Literal["m", "yd"]
AngleUnit = Literal["moa", "mrad"]
SpeedUnit = Literal["ft/s", "m/s"]
MassUnit = Literal["gr", "g"]
DateStyle = Literal["2026-05-03", "3 May 2026", "05/03/2026"]
#: What groups are read in, as `groupscan.report.words` names it.
ReadUnit = Literal["mm", "inch", "moa", "mrad"]

_CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "length": get_args(LengthUnit),
    "distance": get_args(DistanceUnit),
    "angle": get_args(AngleUnit),
    "speed": get_args(SpeedUnit),
    "mass": get_args(MassUnit),
    "date_style": get_args(DateStyle),
}
_MONTHS: Final = (
    *("Jan", "Feb", "Mar", "Apr", "May", "Jun"),
    *("Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)  # not strftime's: those change with the machine's language
_PACES: Final[dict[str, Callable[[float], float]]] = {"m": float, "yd": m_to_yd}
_DIGITS: Final = 3  # as for any value without an interval: see units.decimals_supported
_WHOLE: Final = 1e-6  # of a unit: what conversions to and fro may leave of a round number


@dataclass(frozen=True, kw_only=True)
class Preferences:
    """Units and dates as their reader likes them.

    Attributes
    ----------
    length : str
        ``mm`` or ``in``. This and the next four are names that `groupscan.units.parse_quantity`
        and its like take as ``default_unit``.
    distance : str
        ``m`` or ``yd``.
    angle : str
        ``moa`` or ``mrad``.
    speed : str
        ``ft/s`` or ``m/s``.
    mass : str
        ``gr`` (grains) or ``g``.
    date_style : str
        The third of May 2026 in that style: ``2026-05-03``, ``3 May 2026`` or ``05/03/2026``.
    remembered : mapping
        Other answers to keep for next time, JSON-safe values by name.

    Examples
    --------
    >>> p = Preferences(length="in", distance="yd", date_style="3 May 2026")
    >>> p.distance_text(18.288), p.length_text(30.0), p.day_text(date(2026, 5, 3))
    ('20 yd', '1.18 in', '3 May 2026')
    >>> p.distance_text(18.0)
    '19.7 yd (18 m)'
    >>> p.angle_text(0.000873), p.speed_text(85.344), p.mass_text(6.479891)
    ('3 MOA', '280 ft/s', '100 gr')
    """

    length: LengthUnit = "mm"
    distance: DistanceUnit = "m"
    angle: AngleUnit = "moa"
    speed: SpeedUnit = "ft/s"
    mass: MassUnit = "gr"
    date_style: DateStyle = "2026-05-03"
    remembered: Mapping[str, Any] = field(default_factory=dict)

    def read_unit(self, *, angles: bool) -> ReadUnit:
        """Return what groups are read in; `angles` tells whether the distance is known."""
        if angles and self.remembered.get("read_in") == "angle":
            return self.angle
        return "inch" if self.length == "in" else "mm"

    def axis_unit(self, unit: ReadUnit) -> Literal["mm", "inch"]:
        """Return the length beside what is read in a unit: axes and sight pins have no angles."""
        return "inch" if unit == "inch" or (unit != "mm" and self.length == "in") else "mm"

    @property
    def far(self) -> str:
        """A distance as an example of what to type."""
        return "20 yd" if self.distance == "yd" else "18 m"

    def told(self, words: str) -> str:
        """Say the quantities that a sentence holds in the units preferred.

        It changes what `groupscan.telling.tied` wrote, and no word of a user.
        """
        return retold(words, {"mm": self.length, "m": self.distance})

    def length_text(self, mm: float | None) -> str:
        """Write a length, mm, in the unit preferred; empty where it is not known."""
        return _text(mm, mm_to_inch if self.length == "in" else float, self.length)

    def distance_text(self, metres: float | None, *, alone: bool = False) -> str:
        """Write a shooting distance, m, in the unit preferred; empty where it is not known.

        A distance that was paced in whole units of the other kind is known by that number: it
        stands behind, unless the text is to stand `alone`, as in a field to type in.
        """
        preferred, other = ("yd", "m") if self.distance == "yd" else ("m", "yd")
        text = _text(metres, _PACES[preferred], preferred)
        if alone or metres is None or not text:
            return text
        if _whole(_PACES[other](metres)) and not _whole(_PACES[preferred](metres)):
            text += f" ({_text(metres, _PACES[other], other)})"
        return text

    def angle_text(self, rad: float | None) -> str:
        """Write an angle, rad, in the unit preferred; empty where it is not known."""
        if self.angle == "moa":
            return _text(rad, to_moa, "MOA")
        return _text(rad, to_mrad, "mrad")

    def speed_text(self, metres_a_second: float | None) -> str:
        """Write a speed, m/s, in the unit preferred; empty where it is not known."""
        return _text(metres_a_second, mps_to_fps if self.speed == "ft/s" else float, self.speed)

    def wind_text(self, metres_a_second: float | None) -> str:
        """Write a wind, m/s, in m/s or, where arrows are told in feet a second, in mph."""
        if metres_a_second is None or not math.isfinite(metres_a_second):
            return ""
        return express(metres_a_second, "speed", self.wind, digits=_DIGITS)

    @property
    def wind(self) -> str:
        """The unit of winds, as `groupscan.units.parse_quantity` takes it."""
        return "mph" if self.speed == "ft/s" else "m/s"

    def mass_text(self, grams: float | None) -> str:
        """Write a mass, g, in the unit preferred; empty where it is not known."""
        return _text(grams, g_to_grain if self.mass == "gr" else float, self.mass)

    def day_text(self, day: date | None) -> str:
        """Write a day in the style preferred; empty where it is not known."""
        if day is None or day != day:  # as pandas' NaT is
            return ""
        if self.date_style == "3 May 2026":
            return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
        if self.date_style == "05/03/2026":
            return f"{day.month:02d}/{day.day:02d}/{day.year:04d}"
        return day.isoformat()[:10]


def _text(value: float | None, convert: Callable[[float], float], unit: str) -> str:
    """Write a number to three digits, or as a whole one where it is one or has more."""
    if value is None or not math.isfinite(value):
        return ""
    number = convert(value)
    if _whole(number) or abs(number) >= 100:
        return f"{number:.0f} {unit}"
    return f"{number:.{_DIGITS}g} {unit}"


def _whole(number: float) -> bool:
    return abs(number - round(number)) < _WHOLE * max(1.0, abs(number))


def read_preferences(store: Store) -> Preferences:
    """Return what is preferred; where the file says nothing that makes sense, what we prefer.

    Examples
    --------
    >>> from contextlib import closing
    >>> from tempfile import TemporaryDirectory
    >>> from groupscan.records.store import open_store
    >>> with TemporaryDirectory() as folder, closing(open_store(Path(folder))) as store:
    ...     save_preferences(store, Preferences(distance="yd", remembered={"tolerance_mm": 30}))
    ...     read_preferences(store).distance, read_preferences(store).remembered["tolerance_mm"]
    ('yd', 30)
    """
    try:
        told = json.loads(_path(store).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return Preferences()
    if not isinstance(told, dict):
        return Preferences()
    known = {name: told[name] for name, choices in _CHOICES.items() if told.get(name) in choices}
    remembered = told.get("remembered")
    return Preferences(**known, remembered=remembered if isinstance(remembered, dict) else {})


def save_preferences(store: Store, preferences: Preferences) -> None:
    """Keep what is preferred in place of what was.

    Raises
    ------
    StoreError
        The file cannot be written; the one before is left as it was.
    """
    text = json.dumps(asdict(preferences), indent=1, allow_nan=False) + "\n"
    path = _path(store)
    try:
        with whole_file(path) as file:
            file.write(text.encode())
    except OSError as err:
        advice = disk_advice(err, otherwise="keep the records elsewhere")
        raise StoreError(f"the preferences were not kept in {path}: {advice}") from err


def _path(store: Store) -> Path:
    return store.home / PREFERENCES_FILE
