"""Holes that touch or share paper: as many shafts of one size as the dark region needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.special import ndtr

from groupscan.photo.darkness import darkness
from groupscan.photo.expected import Flat
from groupscan.photo.holes.regions import Region
from groupscan.photo.plane import Floats, Plane
from groupscan.photo.reading import Photo

__all__ = ["Cluster", "split"]

_MARGIN_MM = 3.5
_MOST_SHAFTS = 9
#: A further shaft must explain this share of a disc that no other shaft does.
_LEAST_GAIN = 0.2
#: What two must explain beyond one disc of any radius, torn wide, as a share of a disc.
_LEAST_TWO = 0.1
#: What the shafts must explain of the dark, and the most that they may cover of the sheet.
_LEAST_EXPLAINED, _MOST_BARE = 0.75, 0.3
#: Darkness that counts for none: nothing at first; then that of shade, seams and paint that holes
#: lie in, which is less than a hole's.
_FLOORS = (0.0, 0.5)
_SOFT_MM = 0.25
_CELL_MM = 0.42  # a hole is a dozen cells wide
#: How far the soft edge of a disc reaches, standard deviations: beyond, less than 1e-4 is covered.
_TAIL = 3.8
#: How far off one line a row of discs may lie, root mean square, and how wide a bar may be, both as
#: shares of the radius.
_IN_ROW, _BAR_WIDTHS = 0.35, np.arange(0.5, 1.25, 0.1)
_ROUND = 0.88  # overlap with a disc of its area, as a share of both, that makes a region round


@dataclass(frozen=True)
class Cluster:
    """Shafts that together explain a dark region.

    Attributes
    ----------
    centre_mm : (k, 2) array
    radius_mm : float
    gain : (k,) array
        What each explains that the others do not, as a share of its disc.
    se_mm : (k,) array
        Standard error of each centre by the fit, per axis.
    """

    centre_mm: Floats
    radius_mm: float
    gain: Floats
    se_mm: Floats


def split(
    photo: Photo,
    plane: Plane,
    flat: Flat,
    region: Region,
    radii_mm: Sequence[float],
    *,
    few: bool = False,
) -> Cluster | None:
    """Explain a dark region by shafts of one radius.

    Parameters
    ----------
    photo : Photo
    plane : Plane
    flat : Flat
    region : Region
    radii_mm : sequence of float
        Radius of the holes, mm; where it is not known, several to choose from.
    few : bool
        Whether the region is a part of a larger dark one, such as a shaft or a mat: then a row of
        three is a part of it, and more than four must explain nearly all.

    Returns
    -------
    Cluster or None
        None where such discs do not explain the region: a patch, an arrow, a shadow.

    Notes
    -----
    Discs are added where they explain most that is dark and not yet explained; after each, all
    centres are fitted together by Gauss-Newton steps on the union of the discs; where none can
    be added, one is parted into two. A further disc must pay for itself (a penalty for each, as in
    the minimum description length principle,
    Rissanen 1978), and those that no longer do are taken out again.
    """
    low, high = region.box_mm[0] - _MARGIN_MM, region.box_mm[1] + _MARGIN_MM
    native = float(plane.mm_per_px(((low + high) / 2)[None])[0])
    step = max(_CELL_MM, native, float((high - low).max()) / 120)
    x = np.arange(low[0], high[0], step)
    y = np.arange(low[1], high[1], step)
    gx, gy = np.meshgrid(x, y)
    at = np.column_stack([gx.ravel(), gy.ravel()])
    dark, weight, _ = darkness(photo, plane, flat, at)
    px = np.rint(flat.to_px(at)).astype(int)
    px = np.clip(px, 0, np.array(flat.seen.shape[::-1]) - 1)
    weight = np.where(region.foreign[px[:, 1], px[:, 0]] > 0, 0, weight).reshape(gx.shape)
    # Darkness of this region's own deepest part: holes are not equally dark in every light.
    level = np.percentile(dark[dark > 0.45], 70) if (dark > 0.45).any() else 1.0
    for floor in _FLOORS:
        stretched = np.clip((dark / level - floor) / (1 - floor), 0, 1).reshape(gx.shape)
        best = _best_union(gx, gy, stretched, weight, radii_mm, step, few)
        if best is not None:
            return Cluster(best.centres, best.radius, best.gains(), best.errors())
    return None


def _best_union(
    gx: Floats,
    gy: Floats,
    dark: Floats,
    weight: Floats,
    radii_mm: Sequence[float],
    step: float,
    few: bool,
) -> _Union | None:
    """Discs of the radius that explains most; None where none does."""
    best: _Union | None = None
    for radius in radii_mm:
        fit = _Union(gx, gy, dark, weight, radius, step)
        if fit.is_hopeless() or fit.is_round_thing():
            continue
        for _ in range(_MOST_SHAFTS):
            if not (fit.add() or fit.part()):
                break
        fit.prune()
        if len(fit.centres) and fit.explains(few) and (best is None or fit.value() > best.value()):
            best = fit
    if (
        best is not None
        and len(best.centres) == 2
        and best.worth() - best.worth_of_one() < _LEAST_TWO * best.area
    ):
        best.centres = best.centres[:1]
        best.refine()
    return best


class _Union:
    """A union of discs of one radius, fitted to a picture of darkness."""

    def __init__(
        self, gx: Floats, gy: Floats, dark: Floats, weight: Floats, radius: float, step: float
    ) -> None:
        self.gx, self.gy, self.dark, self.weight = gx, gy, dark, weight
        self.radius, self.step = radius, step
        self.soft = float(np.hypot(_SOFT_MM, 0.6 * step))
        self.area = np.pi * radius**2 / step**2
        self.merit = weight * (2 * dark - 1)
        self.centres = np.zeros((0, 2))
        reach = int(np.ceil(radius / step))
        k = np.arange(-reach, reach + 1) * step
        distance = np.hypot(*np.meshgrid(k, k))
        self.kernel = ndtr((radius - distance) / self.soft).astype(np.float32)

    def is_hopeless(self) -> bool:
        """Whether the dark is more than the most shafts could explain."""
        solid = float((self.weight * np.where(self.dark > 0.4, self.dark, 0)).sum())
        return _LEAST_EXPLAINED * solid > 1.1 * _MOST_SHAFTS * self.area

    def is_round_thing(self) -> bool:
        """Whether one disc, larger than a hole, is all that it takes: a pin or a sticker."""
        solid = self.weight * (self.dark > 0.45)
        area = float(solid.sum()) * self.step**2
        radius = np.sqrt(area / np.pi)
        if radius < 1.25 * self.radius:
            return False
        x, y = (float((solid * g).sum() / solid.sum()) for g in (self.gx, self.gy))
        disc = self.weight * (np.hypot(self.gx - x, self.gy - y) < radius)
        both = float(np.minimum(solid, disc).sum())
        return both / float(np.maximum(solid, disc).sum()) > _ROUND

    def value(self) -> float:
        """Worth less what its discs cost, in mm², so that radii can be compared."""
        cost = _LEAST_GAIN * self.area * len(self.centres)
        return (self.worth() - cost) * self.step**2

    def boxes(self) -> tuple[list[tuple[slice, slice]], Floats, Floats]:
        """Rows and columns of the cells that each disc may reach; their x and y from its centre.

        All boxes have one size, so that all discs are worked out at once: x (k, 1, columns), y
        (k, rows, 1), mm.
        """
        cells = (self.radius + _TAIL * self.soft) / self.step
        size = np.minimum(int(2 * cells) + 3, self.dark.shape)
        most = np.array(self.dark.shape) - size
        at = (self.centres[:, ::-1] - [self.gy[0, 0], self.gx[0, 0]]) / self.step
        first = np.clip(np.floor(at - cells).astype(int), 0, most)
        y = self.gy[:, 0][first[:, :1] + np.arange(size[0])] - self.centres[:, 1:]
        x = self.gx[0][first[:, 1:] + np.arange(size[1])] - self.centres[:, :1]
        high, wide = size.tolist()
        spots = [(slice(r, r + high), slice(c, c + wide)) for r, c in first.tolist()]
        return spots, x[:, None, :], y[:, :, None]

    def covers(self) -> list[tuple[tuple[slice, slice], Floats]]:
        """Where each disc is, and what it covers there."""
        spots, x, y = self.boxes()
        cover = ndtr((self.radius - np.sqrt(x * x + y * y)) / self.soft)
        return list(zip(spots, cover, strict=True))

    def bare(self) -> Floats:
        """Tell what the discs leave bare, (h, w)."""
        return self.beside(self.covers())

    def beside(self, covers: list[tuple[tuple[slice, slice], Floats]]) -> Floats:
        """Tell what discs leave bare, (h, w)."""
        bare = np.ones(self.dark.shape)
        for at, cover in covers:
            bare[at] *= 1 - cover
        return bare

    def add(self) -> bool:
        """Add the disc that explains most, if it pays for itself."""
        worth = (self.merit * self.bare()).astype(np.float32)
        gain = cv2.filter2D(worth, -1, self.kernel, borderType=cv2.BORDER_CONSTANT)
        best = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if gain[best] < _LEAST_GAIN * self.area:
            return False
        self.centres = np.vstack([self.centres, [self.gx[best], self.gy[best]]])
        self.refine()
        return True

    def part(self) -> bool:
        """Part one disc into two, if the second pays for itself.

        The first disc of two that overlap settles between them, and leaves a crescent on either
        side that no whole disc would pay for.
        """
        if not 0 < len(self.centres) < 5:
            return False
        before, kept = self.worth(), self.centres
        if float(np.maximum(self.merit, 0).sum()) - before < _LEAST_GAIN * self.area:
            return False  # not even all that is left would pay
        best, parted = before + _LEAST_GAIN * self.area, None
        for i, centre in enumerate(kept):
            for turn in np.arange(3) * np.pi / 3:
                aside = 0.6 * self.radius * np.array([np.cos(turn), np.sin(turn)])
                rest = np.delete(kept, i, axis=0)
                self.centres = np.vstack([rest, centre + aside, centre - aside])
                self.refine(turns=3)
                if self.worth() > best:
                    best, parted = self.worth(), self.centres
        self.centres = kept if parted is None else parted
        self.refine(turns=0 if parted is None else 3)
        return parted is not None

    def worth(self) -> float:
        """Dark explained less sheet covered, grid cells."""
        return float((self.merit * (1 - self.bare())).sum())

    def worth_of_one(self) -> float:
        """Worth of one disc of any radius, as a hole torn wide would be."""
        x, y = np.mean(self.centres, axis=0)
        best = 0.0
        away = np.hypot(self.gx - x, self.gy - y)
        for radius in self.radius * np.arange(0.9, 1.5, 0.05):
            best = max(best, float((self.merit * ndtr((radius - away) / self.soft)).sum()))
        return best

    def refine(self, turns: int = 6) -> None:
        """Fit all centres together."""
        n = len(self.centres)
        for _ in range(turns):
            jac, rest, robust = self.linear()
            weighed = jac * robust
            normal = weighed @ jac.T + 0.5 * np.eye(2 * n)
            right = weighed @ rest
            move = np.clip(np.linalg.solve(normal, right), -0.7, 0.7)
            self.centres = self.centres + move.reshape(n, 2)

    def linear(self) -> tuple[Floats, Floats, Floats]:
        """Differentiate the union by each coordinate, (2k, cells); what it leaves; weights."""
        spots, x, y = self.boxes()
        away = np.maximum(np.sqrt(x * x + y * y), 1e-9)
        z = (self.radius - away) / self.soft
        cover = ndtr(z)
        bare = self.beside(list(zip(spots, cover, strict=True)))
        slope = np.exp(-0.5 * z * z) / (np.sqrt(2 * np.pi) * self.soft)
        slope /= away * np.maximum(1 - cover, 1e-6)
        jac = np.zeros((len(spots), 2, *self.dark.shape))
        for i, at in enumerate(spots):
            pull = bare[at] * slope[i]
            jac[i, 0][at] = pull * x[i]
            jac[i, 1][at] = pull * y[i]
        rest = (self.dark - (1 - bare)).ravel()
        robust = self.weight.ravel() / (1 + (rest / 0.3) ** 2)
        return jac.reshape(2 * len(spots), -1), rest, robust

    def gains(self) -> Floats:
        """Tell what each disc explains that the others do not, as a share of a disc."""
        covers = self.covers()
        bare = self.beside(covers)
        own = [
            (self.merit[at] * cover * bare[at] / np.maximum(1 - cover, 1e-6)).sum()
            for at, cover in covers
        ]
        return np.asarray(own) / self.area

    def prune(self) -> None:
        """Take out discs that no longer pay for themselves, the poorest first."""
        while len(self.centres) > 1:
            gain = self.gains()
            worst = int(np.argmin(gain))
            if gain[worst] >= 0.8 * _LEAST_GAIN:
                return
            self.centres = np.delete(self.centres, worst, axis=0)
            self.refine()

    def explains(self, few: bool) -> bool:
        """Whether the discs account for the dark without covering bare sheet."""
        cover = 1 - self.bare()
        solid = self.weight * np.where(self.dark > 0.4, self.dark, 0)
        explained = float((solid * cover).sum() / max(float(solid.sum()), 1e-9))
        weighed = self.weight * cover
        bare = float((weighed * (1 - self.dark)).sum() / max(float(weighed.sum()), 1e-9))
        if len(self.centres) > (4 if few else 6) and explained < 0.9:  # many discs can tile a patch
            return False
        return (
            explained > _LEAST_EXPLAINED and bare < _MOST_BARE and not self.is_bar(3 if few else 4)
        )

    def is_bar(self, least: int) -> bool:
        """So many discs or more in one straight row, no better than a bar: a shaft, not holes.

        Between the rims of holes in a row lie notches of sheet, which a bar covers.
        """
        if len(self.centres) < least:
            return False
        off = self.centres - self.centres.mean(axis=0)
        _, spread, turn = np.linalg.svd(off, full_matrices=False)
        if spread[1] > _IN_ROW * self.radius * np.sqrt(len(off)):
            return False
        ends = off @ turn[0]
        cells = np.stack([self.gx, self.gy], axis=-1) - self.centres.mean(axis=0)
        along, across = np.moveaxis(cells @ turn.T, -1, 0)
        away = np.hypot(along - np.clip(along, ends.min(), ends.max()), across)
        best = max(
            float((self.merit * ndtr((radius - away) / self.soft)).sum())
            for radius in self.radius * _BAR_WIDTHS
        )
        return best >= self.worth()

    def errors(self) -> Floats:
        """Estimate each centre's standard error, per axis, one reading each half millimetre."""
        jac, rest, robust = self.linear()
        normal = (jac * robust) @ jac.T + 1e-6 * np.eye(len(jac))
        variance = float((robust * rest**2).sum() / max(float(robust.sum()), 1e-9))
        reading = max(0.5 / self.step, 1.0) ** 2 * 0.5
        diagonal = np.diag(np.linalg.inv(normal)) * variance * reading
        return np.asarray(np.sqrt(diagonal.reshape(-1, 2).mean(axis=1)))
