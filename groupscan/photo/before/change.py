"""What has become dark between two photos of a sheet: the earlier one is what is expected."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from groupscan.photo.before.register import Motion, carry
from groupscan.photo.expected import Flat
from groupscan.photo.holes import Hole
from groupscan.photo.plane import Floats

__all__ = ["Change"]

#: How far curl and lens may leave two photos of one place apart, mm: so much around what was dark
#: already says nothing new.
_LOOSE_MM = 0.8
#: Share of a hole's darkness that must be new for it to be one.
_FRESH = 0.15
#: How dark the wider surroundings of a hole may be, of the hole itself.
_ALONE = 0.7
#: Darkness below which a place shows no hole.
_GONE = 0.35
#: How far what a shaft shows is from what is expected; how thin one may be and what is longer than
#: a cluster of holes, mm; the share of a hole that a shaft must hide for it not to be told.
_SHAFT_DARK, _SHAFT_MM, _LONG_MM, _HIDDEN = 0.2, 4.0, 45.0, 0.3


@dataclass(frozen=True)
class Change:
    """How dark the later photo is, and how much of that is new, on its flat picture.

    Attributes
    ----------
    flat : Flat
        Of the later photo.
    dark : (h, w) array, 0 to 1
    fresh : (h, w) array, 0 to 1
        0 where the earlier photo was as dark, or cannot tell.
    was : (h, w) array, 0 to 1
        How dark the earlier photo was about here.
    told : (h, w) array of bool
        Whether both photos can tell.
    shafts : (h, w) array of bool, optional
        Where a shaft or its shadow hid the sheet in the earlier photo.
    """

    flat: Flat
    dark: Floats
    fresh: Floats
    was: Floats
    told: Floats
    shafts: Floats | None = None

    @classmethod
    def between(cls, now: Flat, old: Flat, motion: Motion) -> Change:
        """Set the later flat picture against the earlier one, laid on it by a motion."""
        dark = np.clip(now.dark, 0, 1)
        was, trust = (carry(one, old, now, motion) for one in (old.dark, old.weight))
        size = 2 * round(_LOOSE_MM * now.px_per_mm) + 1
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        widened: Any = cv2.dilate(np.clip(was, 0, 1), disc)
        told: Any = (trust > 0.2) & (now.weight > 0.2)
        return cls(now, dark, np.clip(dark - widened, 0, 1) * told, widened, told)

    def behind_shafts(self, old: Flat, motion: Motion) -> Change:
        """Take into account that arrows stood in the earlier photo."""
        return replace(self, shafts=_shafts(old, self.flat, motion))

    def fresh_share(self, hole: Hole) -> float:
        """Share of a hole's darkness that was not there before; 1 where that cannot be told."""
        at = self._disc(np.array([hole.x_mm, hole.y_mm]), hole.diameter_mm / 2)
        dark, told = self.dark[at], self.told[at]
        if not told.any() or told.mean() < 0.5:
            return 1.0
        return float(self.fresh[at].sum() / max(float(dark[told].sum()), 1e-6))

    def was_hole(self, hole: Hole) -> bool:
        """Whether the earlier photo shows a hole at its place: as dark, and not so all around.

        Where more than a hole was dark, as black print is, a hole cannot be told from it.
        """
        if self.fresh_share(hole) >= _FRESH:
            return False
        place, radius = np.array([hole.x_mm, hole.y_mm]), hole.diameter_mm / 2
        core, wide = (
            self.was[self._disc(place, 0.8 * radius)],
            self.was[self._disc(place, 2 * radius)],
        )
        # Of a lone hole, which the widened picture shows up to `_LOOSE_MM` beyond its rim, at most
        # half of a disc of twice its radius is dark.
        return bool(wide.size and wide.mean() < _ALONE * core.mean())

    def was_hidden(self, hole: Hole) -> bool:
        """Whether a shaft stood before a part of a hole's place in the earlier photo."""
        if self.shafts is None:
            return False
        at = self._disc(np.array([hole.x_mm, hole.y_mm]), hole.diameter_mm / 2)
        return bool(len(at[0]) and self.shafts[at].mean() > _HIDDEN)

    def fresh_at(self, mm: Floats, radius: float) -> float:
        """Mean of what is newly dark in a disc; 0 where that cannot be told."""
        at = self._disc(mm, radius)
        return float(self.fresh[at].mean()) if len(at[0]) and self.told[at].mean() > 0.5 else 0.0

    def against_before(self) -> Flat:
        """Return the flat picture with the earlier photo as what is expected."""
        flat = self.flat
        depth = np.maximum(flat.expected - flat.hole_level * flat.light, 1.0)
        return replace(
            flat,
            expected=(flat.expected - self.was * depth).astype(np.float32),
            dark=self.fresh.astype(np.float32),
            weight=(flat.weight * self.told * (1.0 - self.was)).astype(np.float32),
        )

    def explained_by(self, mm: Floats, radius: float) -> Change:
        """Take out what a new hole explains."""
        fresh = self.fresh.copy()
        fresh[self._disc(mm, radius + _LOOSE_MM)] = 0
        return replace(self, fresh=fresh)

    def darkness(self, mm: Floats, radius: float) -> float:
        """Mean darkness of the later photo in the inner part of a disc."""
        at = self._disc(mm, 0.8 * radius)
        return float(self.dark[at].mean()) if len(at[0]) else 0.0

    def shows_none(self, mm: Floats, radius: float) -> bool:
        """Whether the later photo shows the sheet at a place, and no hole in it."""
        at = self._disc(mm, 0.8 * radius)
        seen = self.flat.weight[at] > 0.2
        return bool(seen.size and seen.mean() > 0.7 and self.dark[at][seen].mean() < _GONE)

    def _disc(self, mm: Floats, radius: float) -> tuple[Floats, Floats]:
        """Pixels of a disc that lie in the picture."""
        (u, v), reach = self.flat.to_px(mm[None])[0], radius * self.flat.px_per_mm
        h, w = self.dark.shape
        y, x = np.mgrid[
            max(0, int(v - reach)) : min(h, int(v + reach) + 2),
            max(0, int(u - reach)) : min(w, int(u + reach) + 2),
        ]
        inside = np.hypot(x - u, y - v) <= max(reach, 0.7)
        return y[inside], x[inside]


def _shafts(old: Flat, now: Flat, motion: Motion) -> Floats:
    """Find where shafts and shadows hid the sheet: what is odd and longer than any cluster."""
    size = 2 * round(_SHAFT_MM / 4 * old.px_per_mm) + 1
    dark: Any = (np.abs(old.dark) > _SHAFT_DARK).astype(np.uint8)
    dark = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(dark)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) / old.px_per_mm
    long = reach > _LONG_MM
    long[0] = False
    hid: Any = cv2.dilate(long[labels].astype(np.uint8), np.ones((size + 2, size + 2), np.uint8))
    return np.asarray(carry(hid.astype(np.float32), old, now, motion) > 0.5)
