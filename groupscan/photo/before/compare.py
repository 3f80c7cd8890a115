"""What is new since an earlier photo of the same sheet: that photo is what is expected."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from groupscan.photo.before.change import Change
from groupscan.photo.before.register import Motion, pair_up, register
from groupscan.photo.expected import Flat
from groupscan.photo.holes import Hole, find_holes
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo
from groupscan.sheets.catalogue import Sheet

__all__ = ["Seen", "only_new"]

#: Farthest that a hole may seem to move between two photos of it, once they are aligned, mm; and
#: one in which an arrow stands in either photo, whose foot is less sure along the shaft.
_REACH_MM, _ARROW_REACH_MM = 3.0, 5.0
#: Mean of what is newly dark in a hole that lies over an earlier one and was not found by itself.
_FRESH_OVER_OLD = 0.2
#: Mean of what is newly dark in a hole that the later photo shows only against the earlier one,
#: and how far from the usual size it may be, in natural logarithms.
_FRESH_ALONE, _OTHER_SIZE = 0.45, 0.35
#: Darkness, of a usual hole's, above which a disc is dark throughout.
_FULL = 0.85
#: An earlier hole that is gone counts as patched if it was this sure.
_SURE = 0.8
#: Standard error of a hole that only shows beside an older one, mm, and how sure it is.
_BESIDE_SE_MM, _BESIDE_SURE = 0.7, 0.75


@dataclass(frozen=True)
class Seen:
    """A photo's holes, and the flat picture that they were found in."""

    photo: Photo
    holes: tuple[Hole, ...]
    flat: Flat
    plane: Plane

    @property
    def mm(self) -> Floats:
        """Places of the holes, (n, 2) mm."""
        return np.array([[h.x_mm, h.y_mm] for h in self.holes], float).reshape(-1, 2)


def only_new(
    after: Seen, before: Seen, *, sheet: Sheet
) -> tuple[tuple[Hole, ...], tuple[str, ...]]:
    """Take what an earlier photo shows out of a later one.

    Parameters
    ----------
    after, before : Seen
        Of the same sheet, each in its own photo's mm.
    sheet : Sheet

    Returns
    -------
    holes : tuple of Hole
        Those that are new; then, as ``"patched"``, earlier ones that have been covered since.
    notes : tuple of str
        What a person should know of the comparison.

    Notes
    -----
    The earlier photo is laid on the later by `register`; holes in both are paired so that the sum
    of distances is least (Hungarian method). The pictures then have their say where the lists of
    holes may be wrong: what no earlier hole explains, but was as dark before, is old; what is newly
    dark beside an old hole, in the shape of a shaft's part, is a new hole over it; and where an old
    hole is gone and the sheet looks whole, it was patched.
    """
    if not before.holes:
        return after.holes, ()
    motion, sure = register(after.mm, before.mm, now=after.flat, old=before.flat, sheet=sheet)
    old_mm = motion(before.mm)
    pairs = pair_up(after.mm, old_mm, _reach(after.holes, before.holes))
    change = Change.between(after.flat, before.flat, motion)
    if any(hole.state == "arrow" for hole in before.holes):
        change = change.behind_shafts(before.flat, motion)
    radius = _usual_radius((*after.holes, *before.holes))
    found = set(pairs[:, 0].tolist())
    own = [h for i, h in enumerate(after.holes) if i not in found]
    own_new = [h for h in own if not change.was_hole(h)]
    new, hidden = _without_hidden(own_new, change, len(after.holes))
    new += _unexpected(new, change, after, radius)
    new += _over_old([after.holes[i] for i in sorted(found)], new, change, after, radius)
    lost = np.setdiff1d(np.arange(len(before.holes)), pairs[:, 1])
    covered = [
        int(j) for j in lost if _sure(before.holes[j]) and change.shows_none(old_mm[j], radius)
    ]
    patched = [_patch(before.holes[j], old_mm[j], after.plane) for j in covered]
    return (*new, *patched), _notes(
        sure,
        motion,
        earlier=len(before.holes),
        lost=len(lost) - len(covered),
        covered=len(covered),
        known=len(own) - len(own_new),
        hidden=hidden,
    )


def _reach(after: tuple[Hole, ...], before: tuple[Hole, ...]) -> Floats:
    """How far apart one hole may seem in both photos, (n, m) mm."""
    stands = np.array([[h.state == "arrow" or g.state == "arrow" for g in before] for h in after])
    return np.where(stands.reshape(len(after), len(before)), _ARROW_REACH_MM, _REACH_MM)


def _sure(hole: Hole) -> bool:
    return hole.state == "open" and hole.confidence > _SURE


def _without_hidden(new: list[Hole], change: Change, shots: int) -> tuple[list[Hole], int]:
    """Weigh holes at places that arrows hid before by how many of the others are new.

    Returns those that are more likely new than old, and how many are not.
    """
    hid = [change.was_hidden(h) for h in new]
    told = shots - sum(hid)
    share = (len(new) - sum(hid)) / told if told > 0 else 0.5
    weighed = [
        replace(h, confidence=share * h.confidence) if u else h
        for h, u in zip(new, hid, strict=True)
    ]
    kept = [h for h, u in zip(weighed, hid, strict=True) if not u or h.confidence >= 0.5]
    return kept, len(new) - len(kept)


def _usual_radius(holes: tuple[Hole, ...]) -> float:
    sizes = [h.diameter_mm / 2 for h in holes if h.state == "open" and h.cut == "round"]
    return float(np.median(sizes)) if sizes else 2.8


def _unexpected(new: list[Hole], change: Change, after: Seen, radius: float) -> list[Hole]:
    """Find holes anew, the earlier photo being what is expected.

    Among many old holes a new one may have been missed, or taken for a part of one of them; against
    the earlier photo it stands alone.
    """
    out: list[Hole] = []
    for hole in find_holes(after.photo, after.plane, change.against_before()):
        place = np.array([hole.x_mm, hole.y_mm])
        near = [float(np.hypot(*(place - [h.x_mm, h.y_mm]))) for h in (*new, *out)]
        usual = abs(np.log(hole.diameter_mm / (2 * radius))) < _OTHER_SIZE
        fresh = change.fresh_at(place, radius) if usual and hole.cut == "round" else 0.0
        if fresh > _FRESH_ALONE and min(near, default=np.inf) > 1.2 * radius:
            out.append(hole)
    return out


def _over_old(
    old: list[Hole], new: list[Hole], change: Change, after: Seen, radius: float
) -> list[Hole]:
    """Find new holes that show only as fresh darkness beside an old one."""
    out: list[Hole] = []
    places = [np.array([hole.x_mm, hole.y_mm]) for hole in old]
    usual = float(np.median([change.darkness(at, radius) for at in places])) if old else 1.0
    for hole in new:
        change = change.explained_by(np.array([hole.x_mm, hole.y_mm]), hole.diameter_mm / 2)
    for hole, place in zip(old, places, strict=True):
        if hole.cut != "round":
            continue
        found = _best_disc(change, place, radius, usual)
        if found is None:
            continue
        change = change.explained_by(found, radius)
        x, y, u, v = (float(value) for value in (*found, *after.plane.to_px(found[None])[0]))
        out.append(
            replace(
                hole,
                x_mm=x,
                y_mm=y,
                x_px=u,
                y_px=v,
                se_mm=float(np.hypot(_BESIDE_SE_MM, hole.se_mm)),
                diameter_mm=2 * radius,
                confidence=_BESIDE_SURE,
                state="open",
            )
        )
    return out


def _best_disc(change: Change, place: Floats, radius: float, usual: float) -> Floats | None:
    """Find the disc about a place that is dark throughout and holds most fresh darkness."""
    if change.fresh_at(place, 2.8 * radius) * 2.8**2 < _FRESH_OVER_OLD:
        return None  # not enough anywhere near
    axis = np.arange(-1.8 * radius, 1.8 * radius + 0.1, 0.3)
    best, at_best = 0.0, None
    for x in axis:
        for y in axis:
            if np.hypot(x, y) > 1.8 * radius:
                continue
            centre = place + [x, y]
            fresh, full = change.fresh_at(centre, radius), change.darkness(centre, radius) / usual
            gain = fresh - 2.0 * max(1.0 - full, 0.0)
            if fresh > _FRESH_OVER_OLD and full > _FULL and gain > best:
                best, at_best = gain, centre
    return at_best


def _patch(hole: Hole, mm: Floats, plane: Plane) -> Hole:
    """Give an earlier hole its place on the later photo, where a patch covers it."""
    px = plane.to_px(mm[None])[0]
    x, y, u, v = (float(value) for value in (*mm, *px))
    return replace(hole, x_mm=x, y_mm=y, x_px=u, y_px=v, state="patched")


def _notes(
    sure: bool, motion: Motion, *, earlier: int, lost: int, covered: int, known: int, hidden: int
) -> tuple[str, ...]:
    notes = []
    if not sure:
        notes.append(
            f"How the sheet is turned since the earlier photo is not sure; {motion.angle_deg:.0f}° "
            "was taken. Check which holes are new."
        )
    if lost:
        notes.append(f"{lost} of {earlier} earlier holes were not found again.")
    if covered:
        notes.append(f"{covered} of {earlier} earlier holes have been patched since.")
    if known:
        notes.append(f"{known} more holes show in the earlier photo too, though less surely.")
    if hidden:
        notes.append(
            f"{hidden} holes lie where arrows hid the sheet in the earlier photo and were taken "
            "for old ones: add those that are new."
        )
    return tuple(notes)
