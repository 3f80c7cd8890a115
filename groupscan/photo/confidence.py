"""How sure each disc is to be a hole, by its looks and by those of the others."""

from __future__ import annotations

import numpy as np
from scipy.special import expit, logit

from groupscan.photo.discs import Discs
from groupscan.photo.plane import Floats

__all__ = ["agree_on_size", "judge", "typical_radii"]

#: Diameters of holes that shafts make, mm: 4 mm target shafts to 9.5 mm logs, less the paper's
#: spring-back (common practice, no source).
_LEAST_DIAMETER, _MOST_DIAMETER = 3.4, 10.5
#: Radii of holes to try where nothing tells, mm (common practice, no source).
_USUAL_RADII_MM = (2.3, 2.8, 3.3, 3.9)


def judge(fits: Discs, shaft_mm: float | None) -> Floats:
    """Probability that each fit is a shot."""
    diameter = 2 * fits.radius_mm
    below = np.clip((_LEAST_DIAMETER + 0.6 - diameter) / 0.6, 0, 4)
    above = np.clip((diameter - _MOST_DIAMETER + 1.0) / 1.0, 0, 4)
    # On paper a hole is wholly dark, dirt and pencil are not; on black ink noise blurs the two.
    inside = fits.inside / fits.full
    pale = np.clip((0.92 - inside) / 0.12, 0, 4) * np.clip((fits.contrast - 20) / 20, 0, 1)
    score = (
        -9.0
        - 2.5 * pale
        + 6.0 * np.clip(inside, 0, 1)
        + 8.0 * fits.rim
        - 4.0 * np.clip(fits.outside, 0, 1)
        + 2.0 * np.tanh((fits.strength - 8) / 6)
        - 3.0 * below
        - 3.0 * above
    )
    if shaft_mm is not None:
        score -= np.clip(np.abs(diameter / shaft_mm - 0.93) / 0.12 - 1, 0, 4)
    return np.asarray(expit(score))


def agree_on_size(fits: Discs, sure: Floats, pinned: Floats) -> Floats:
    """Lower the confidence of holes whose size differs from that of the sure ones.

    One archer's shafts are of one size. The size of a hole in black ink is seen worse.
    """
    firm = (sure > 0.95) & (fits.contrast > 25) & ~pinned
    if firm.sum() < 3:
        return sure
    size = np.log(fits.radius_mm)
    typical = float(np.median(size[firm]))
    spread = np.where(fits.contrast > 25, 0.12, 0.25)
    # A hole torn wide, or two in one, is larger; nothing makes one much smaller.
    off = np.where(size < typical, typical - size, 0.5 * (size - typical)) / spread
    penalty = np.clip(off - 1.0, 0, 6) * 1.6
    return np.asarray(expit(logit(np.clip(sure, 1e-6, 1 - 1e-6)) - penalty))


def typical_radii(
    fits: Discs, sure: Floats, kept: list[int], shaft_mm: float | None
) -> tuple[float, ...]:
    """Radius of this photo's holes: of those that stand alone, else of the shaft, else any."""
    alone = [i for i in kept if sure[i] > 0.95 and fits.contrast[i] > 25]
    if alone:
        return (float(np.median(fits.radius_mm[alone])),)
    return (0.46 * shaft_mm,) if shaft_mm else _USUAL_RADII_MM
