"""How sure each disc is to be a hole, by its looks and by those of the others."""

from __future__ import annotations

import numpy as np
from scipy.special import expit, logit

from groupscan.photo.holes.discs import Discs
from groupscan.photo.plane import Floats

__all__ = ["WEIGHTS", "agree_on_size", "judge", "looks", "typical_radii", "typical_radius"]

#: Diameters of holes that shafts make, mm: 4 mm target shafts to 9.5 mm logs, less the paper's
#: spring-back (common practice, no source).
_LEAST_DIAMETER, _MOST_DIAMETER = 3.4, 10.5
#: Radii of holes to try where nothing tells, mm (common practice, no source).
_USUAL_RADII_MM = (2.3, 2.8, 3.3, 3.9)
#: Weights of `looks`, fitted to renders; benchmarks/confidence.py fits them anew and compares.
WEIGHTS = (-10.0, 13.2, -4.3, -5.6, 2.1, -2.9, -3.0, -0.6)
#: How many sure holes tell the size of all.
_ENOUGH = 3
#: Contrast from which a disc tells its size.
_TELLING = 15.0
#: Logarithm of how much likelier a hole is to have the size of the others than dirt is, whose size
#: may be any that is looked for.
_SIZE_TELLS = 1.2


def looks(fits: Discs) -> Floats:
    """Describe discs by what tells holes from other things.

    Parameters
    ----------
    fits : Discs

    Returns
    -------
    (n, 8) array
        One, the rim's share that has an edge, darkness around, how much paler than a hole, how far
        it stands out from noise, how much smaller and how much larger than any hole, and the rim's
        share that ink hides.

    Notes
    -----
    A hole is wholly dark; dirt, pencil and shade are not. How dark a hole looks is known less well
    where print is nearly as dark, and where the photo's blur is as wide as the hole.
    """
    diameter = 2 * fits.radius_mm
    slack = np.sqrt(0.08**2 + (1.5 / fits.contrast) ** 2 + (1.25 * fits.smear**2) ** 2)
    return np.column_stack(
        [
            np.ones(len(diameter)),
            fits.rim,
            np.clip(fits.outside, 0, 1),
            np.clip((0.95 - fits.inside / fits.full) / slack - 1, 0, 6),
            np.tanh((fits.strength - 8) / 4),
            np.clip((_LEAST_DIAMETER + 0.6 - diameter) / 0.6, 0, 4),
            np.clip((diameter - _MOST_DIAMETER + 1.0) / 1.0, 0, 4),
            1 - fits.told,
        ]
    )


def judge(fits: Discs, shaft_mm: float | None) -> Floats:
    """Probability that each fit is a shot."""
    score = looks(fits) @ np.array(WEIGHTS)
    if shaft_mm is not None:
        score -= np.clip(np.abs(2 * fits.radius_mm / shaft_mm - 0.93) / 0.12 - 1, 0, 4)
    return np.asarray(expit(score))


def agree_on_size(fits: Discs, sure: Floats, pinned: Floats) -> Floats:
    """Raise the confidence of holes of the sure ones' size, and lower that of others.

    One archer's shafts are of one size. The size of a hole in black ink is seen worse.
    """
    firm = _clean(fits, sure) & ~pinned
    if firm.sum() < _ENOUGH:
        return sure
    size = np.log(fits.radius_mm)
    typical = float(np.median(size[firm]))
    spread = np.where(fits.contrast > _TELLING, 0.12, 0.25)
    # A hole torn wide, or two in one, is larger; nothing makes one much smaller.
    off = np.where(size < typical, typical - size, 0.5 * (size - typical)) / spread
    penalty = np.clip(off - 1.0, 0, 6) * 1.6
    told = np.where(fits.contrast > _TELLING, _SIZE_TELLS * np.exp(-0.5 * off**2), 0.0)
    return np.asarray(expit(logit(np.clip(sure, 1e-6, 1 - 1e-6)) + told - penalty))


def _clean(fits: Discs, sure: Floats) -> Floats:
    """Tell which discs are surely one hole each, and well seen: two in one leave gaps."""
    whole = (fits.rim > 0.93) & (fits.outside < 0.15)
    return np.asarray(whole & (sure > 0.95) & (fits.contrast > _TELLING))


def typical_radius(fits: Discs, sure: Floats, order: list[int], pinned: Floats) -> float | None:
    """Radius that the sure holes of a photo have, mm; None where too few tell."""
    clean = _clean(fits, sure) & ~pinned
    sizes = fits.radius_mm[[i for i in order if clean[i]]]
    return float(np.median(sizes)) if len(sizes) >= _ENOUGH else None


def typical_radii(
    fits: Discs, sure: Floats, kept: list[int], shaft_mm: float | None
) -> tuple[float, ...]:
    """Radius of this photo's holes: of those that stand alone, else of the shaft, else any."""
    alone = [i for i in kept if sure[i] > 0.95 and fits.contrast[i] > 25]
    if alone:
        return (float(np.median(fits.radius_mm[alone])),)
    return (0.46 * shaft_mm,) if shaft_mm else _USUAL_RADII_MM
