"""Numbers of the bench in the reader's units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.units import (
    MM_PER_INCH,
    NEWTON_PER_LBF,
    format_estimate,
    g_to_grain,
    joule_to_ftlbf,
    kgmps_to_slugftps,
    m_to_yd,
    mps_to_fps,
)

if TYPE_CHECKING:
    from groupscan.records.preferences import Preferences

__all__ = ["Reading"]


#: Decimals beyond which nobody sets, weighs or measures: a tenth of a millimetre or of a grain.
_FINEST: Final[Mapping[tuple[str, str], int]] = {
    ("length", "mm"): 1, ("length", "in"): 3, ("mass", "gr"): 1, ("mass", "g"): 2,
    ("speed", "ft/s"): 1, ("speed", "m/s"): 2, ("share", "%"): 1, ("ratio", "gr/lb"): 2,
}  # fmt: skip


@dataclass(frozen=True)
class Reading:
    """Turns values in our units into the reader's, and writes them with their unit.

    Examples
    --------
    >>> from groupscan.records.preferences import Preferences
    >>> read = Reading(Preferences(length="in", distance="yd"))
    >>> read.words("speed", 85.344), read.words("length", 25.4), read.words("energy", 100.0)
    ('280 ft/s', '1 in', '73.8 ft-lbf')
    >>> read.words("mass", 35.0, 34.0, 36.0)
    '540 gr (525 to 556)'
    """

    preferences: Preferences

    @property
    def _scales(self) -> dict[str, tuple[Any, str]]:
        p = self.preferences
        trade = p.mass == "gr"
        return {
            "length": (lambda mm: mm / MM_PER_INCH if p.length == "in" else mm, p.length),
            "distance": (m_to_yd if p.distance == "yd" else float, p.distance),
            "speed": (mps_to_fps if p.speed == "ft/s" else float, p.speed),
            "mass": (g_to_grain if trade else float, p.mass),
            "energy": (joule_to_ftlbf, "ft-lbf") if trade else (float, "J"),
            "momentum": (kgmps_to_slugftps, "slug ft/s") if trade else (float, "kg m/s"),
            "force": (lambda n: n / NEWTON_PER_LBF, "lb") if trade else (float, "N"),
            "share": (lambda pct: pct, "%"),
            "ratio": (lambda one: one, "gr/lb"),
            "time": (lambda s: s, "s"),
            "angle": (lambda mrad: mrad, "mrad"),
        }

    def unit(self, kind: str) -> str:
        """Return the unit's name."""
        return self._scales[kind][1]

    def number(self, kind: str, value: float) -> float:
        """Return one value in the reader's unit."""
        return float(self._scales[kind][0](value))

    def numbers(self, kind: str, values: ArrayLike) -> list[float]:
        """Return values in the reader's unit."""
        return [self.number(kind, float(one)) for one in np.asarray(values, float).ravel()]

    def words(
        self, kind: str, value: float | None, low: float = math.nan, high: float = math.nan
    ) -> str:
        """Write a value, with its interval where it has one; a dash where it is not known."""
        if value is None or not math.isfinite(value):
            return "–"
        given = [self.number(kind, one) for one in (value, low, high)]
        unit = self.unit(kind)
        if math.isfinite(low) and math.isfinite(high) and high > low:
            return format_estimate(given[0], given[1], given[2], unit)
        number = given[0]
        whole = abs(number - round(number)) < 1e-6 * max(1.0, abs(number)) or abs(number) >= 100
        if whole:
            return f"{round(number):d} {unit}"
        finest = _FINEST.get((kind, unit), 6)
        return f"{float(f'{number:.3g}'):.{finest}f}".rstrip("0").rstrip(".") + f" {unit}"
