"""Launch speed from a chronograph, and the conditions under which makers rate their bows."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from groupscan.errors import RigError
from groupscan.rigs.given import check_alike, read_drag, read_number, read_speed
from groupscan.rigs.line import student
from groupscan.telling import tied
from groupscan.units import grain_to_g, inch_to_mm, lbf_to_newton

__all__ = ["RATINGS", "Chronograph", "SpeedRating", "measure_speed"]

# A chronograph stands in front of the bow, not at the target.
FARTHEST_M: Final = 10.0


@dataclass(frozen=True)
class Chronograph:
    """What a chronograph says of an arrow.

    Attributes
    ----------
    speed_mps, low_mps, high_mps : float
        Mean launch speed at the bow and its interval, m/s; limits NaN from one reading.
    sd_mps, sd_low_mps, sd_high_mps : float
        Standard deviation of one reading and its interval, m/s.
    n : int
        Number of readings.
    added_mps : float
        What the air took before the chronograph, put back, m/s.
    confidence : float
        Level of the intervals.
    notes : tuple of str
        What the readings cannot say.
    """

    speed_mps: float
    low_mps: float
    high_mps: float
    sd_mps: float
    sd_low_mps: float
    sd_high_mps: float
    n: int
    added_mps: float
    confidence: float
    notes: tuple[str, ...]


def measure_speed(
    speed_mps: ArrayLike,
    *,
    distance_m: float = 0.0,
    drag_per_m: float | None = None,
    confidence: float = 0.95,
) -> Chronograph:
    """Return the launch speed from a chronograph's readings of one arrow, or of arrows of one mass.

    Parameters
    ----------
    speed_mps : array_like, (n,)
        Readings, m/s.
    distance_m : float
        From where the arrow leaves the string to the middle of the chronograph, m.
    drag_per_m : float, optional
        k of ``drag.drag_per_m``, 1/m; with it the speed at the bow is told, v exp(k distance).
    confidence : float
        Level of the intervals.

    Raises
    ------
    RigError
        If a reading cannot be, or readings cannot be of one arrow.

    Notes
    -----
    Student's t for the mean, chi-square for the standard deviation: exact for normal readings. An
    error that all readings share, as of a chronograph that stands askew, is in no interval.

    Examples
    --------
    >>> shot = measure_speed([85.1, 85.4, 85.3, 85.6], distance_m=1.5, drag_per_m=1e-3)
    >>> round(shot.speed_mps, 2), round(shot.low_mps, 2), round(shot.high_mps, 2)
    (85.48, 85.15, 85.81)
    """
    speed = np.atleast_1d(read_speed(speed_mps))
    if speed.ndim != 1 or not speed.size:
        raise RigError("speed_mps: no readings; give one speed a shot")
    check_alike(speed, "one arrow")
    distance = read_number(
        distance_m, "distance_m", "m", least=0.0, most=FARTHEST_M, advice="is it in feet?"
    )
    level = read_number(confidence, "confidence", "(0 to 1)", least=0.5, most=0.9999)
    notes = []
    if drag_per_m is None and distance:
        notes.append(
            f"The speed is that at the chronograph, {tied(distance, 'm', 'g')} from the bow:"
            " give the arrow's drag to tell the speed at the bow, about a thousandth"
            " more for each metre."
        )
    factor = 1.0 if drag_per_m is None else math.exp(float(read_drag(drag_per_m)) * distance)
    n, seen = speed.size, float(speed.mean())
    mean, sd = factor * seen, math.nan
    low = high = sd_low = sd_high = math.nan
    if n == 1:
        notes.append("One reading tells no scatter and no interval: shoot at least three.")
    else:
        sd = factor * float(speed.std(ddof=1))
        half = student(n - 1, level) * sd / math.sqrt(n)
        low, high = mean - half, mean + half
        tail = (1 - level) / 2
        sd_low, sd_high = (
            sd * math.sqrt((n - 1) / float(chdtri(n - 1, side))) for side in (tail, 1 - tail)
        )
        if sd == 0:
            notes.append("All readings are the same: the chronograph rounds more than they differ.")
    return Chronograph(
        speed_mps=mean,
        low_mps=low,
        high_mps=high,
        sd_mps=sd,
        sd_low_mps=sd_low,
        sd_high_mps=sd_high,
        n=n,
        added_mps=mean - seen,
        confidence=level,
        notes=tuple(notes),
    )


@dataclass(frozen=True)
class SpeedRating:
    """The conditions behind a published speed of a bow.

    Attributes
    ----------
    name : str
        As ratings are called.
    draw_weight_n, draw_length_mm, arrow_g : float
        Peak draw weight, N, draw length, mm, and mass of the arrow, g, of the rating.
    what : str
        Further conditions.
    source : str
        Where they are published, or that they are from memory.
    """

    name: str
    draw_weight_n: float
    draw_length_mm: float
    arrow_g: float
    what: str
    source: str


#: Another arrow, draw length or weight gives another speed: a rating says what a bow could do, not
#: what an archer's own will.
RATINGS: Final = (
    SpeedRating(
        "IBO",
        lbf_to_newton(70.0),
        inch_to_mm(30.0),
        grain_to_g(350.0),
        "5 grains a pound. Tests of the trade join it to ASTM F1544-04: 70 +- 1 lb, a shooting"
        " machine, five shots or more within 2 ft/s, first gate 36 in in front of the handle.",
        "a rule of competition, not a standard; several secondary texts, the test practice in one",
    ),
    SpeedRating(
        "AMO/ATA",
        lbf_to_newton(60.0),
        inch_to_mm(30.0),
        grain_to_g(540.0),
        "9 grains a pound.",
        "ASTM F1544, Rated Initial Velocity of a Shot Arrow: from memory",
    ),
    SpeedRating(
        "AMO/ATA, light arrow",
        lbf_to_newton(60.0),
        inch_to_mm(30.0),
        grain_to_g(360.0),
        "6 grains a pound.",
        "ASTM F1544, Rated Initial Velocity of a Shot Arrow: from memory",
    ),
)
