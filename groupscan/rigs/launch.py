"""The speed with which arrows leave a bow: as a chronograph saw it, and for arrows not yet shot.

Klopsteg found that a bow hands the same energy to arrows of different mass, once a mass that goes
along with the arrow (string, limbs) is added to it: E = (m + K) v^2 / 2, K the virtual mass. Then
1 / v^2 is a straight line in m, with slope 1 / (2 E) and intercept K / (2 E).
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from groupscan.errors import RigError
from groupscan.rigs.given import Array, check_alike, read_mass, read_number, read_speed, read_values
from groupscan.rigs.line import fit_line, ratio_limits, student

__all__ = ["Launch", "Predicted", "fit_launch", "launch_speed"]

NAN: Final = math.nan
#: What a scale tells apart.
LEAST_APART_G: Final = 0.1
#: Below this chance the masses lie apart from one curve by more than the readings' own scatter.
ASTRAY: Final = 0.01


def launch_speed(energy_j: ArrayLike, virtual_g: ArrayLike, mass_g: ArrayLike) -> Array:
    """Return the launch speed, m/s, of arrows from a bow of known energy and virtual mass.

    Examples
    --------
    >>> round(float(launch_speed(137.0, 3.0, 34.67)), 1)
    85.3
    """
    energy = read_values(energy_j, "energy_j", "J", positive=True, most=1000.0)
    virtual = read_values(
        virtual_g, "virtual_g", "g", least=0.0, most=100.0, advice="is it in grains?"
    )
    speed: Array = np.sqrt(2 * energy / (1e-3 * (read_mass(mass_g) + virtual)))
    return speed


@dataclass(frozen=True)
class Predicted:
    """Launch speeds of arrows that were not shot.

    Attributes
    ----------
    mass_g : ndarray
        Their masses, g.
    speed_mps, low_mps, high_mps : ndarray
        Mean launch speed and its interval, m/s; limits are NaN where the readings cannot say.
    outside : ndarray of bool
        Lighter or heavier than every arrow that was measured: the law may bend there.
    notes : tuple of str
        What was extrapolated.
    """

    mass_g: Array
    speed_mps: Array
    low_mps: Array
    high_mps: Array
    outside: NDArray[np.bool_]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Launch:
    """What a bow gives to arrows.

    Attributes
    ----------
    energy_j, energy_low_j, energy_high_j : float
        Energy that arrow and virtual mass take together, J, and its interval.
    virtual_g, virtual_low_g, virtual_high_g : float
        Virtual mass, g, and its interval.
    lightest_g, heaviest_g : float
        Masses that were measured.
    readings, masses : int
        Number of readings, and of different masses.
    sd_mps : float
        Scatter of one reading about the curve, m/s; NaN where nothing tells it.
    confidence : float
        Level of the intervals.
    notes : tuple of str
        What the readings cannot say, in plain words.
    line, covariance : ndarray
        Intercept and slope of 1/v^2 (s^2/m^2) over mass (g), and their covariance.
    quantile : float
        Of Student's t, for the level and the degrees of freedom.
    """

    energy_j: float
    energy_low_j: float
    energy_high_j: float
    virtual_g: float
    virtual_low_g: float
    virtual_high_g: float
    lightest_g: float
    heaviest_g: float
    readings: int
    masses: int
    sd_mps: float
    confidence: float
    notes: tuple[str, ...]
    line: Array
    covariance: Array
    quantile: float

    def predict(self, mass_g: ArrayLike) -> Predicted:
        """Return the mean launch speed of arrows of other masses, with its interval.

        Raises
        ------
        RigError
            If a mass cannot be.

        Examples
        --------
        >>> shot = fit_launch([27.0, 27.0, 35.0, 35.0], [95.0, 95.2, 84.6, 84.8])
        >>> float(shot.predict(31.0).speed_mps.round(1)), bool(shot.predict(40.0).outside)
        (89.4, True)
        """
        mass = np.asarray(read_mass(mass_g))
        design = np.stack([np.ones_like(mass), mass])
        level = np.tensordot(self.line, design, 1)
        spread = np.einsum("i...,ij,j...->...", design, self.covariance, design)
        half = self.quantile * np.sqrt(np.maximum(spread, 0.0))
        if (level <= 0).any():
            raise RigError("mass_g is too light for this line: no speed; measure lighter arrows")
        with np.errstate(invalid="ignore"):  # no upper limit where the line may pass zero
            low, high = (level + half) ** -0.5, (level - half) ** -0.5
        outside = np.asarray((mass < self.lightest_g) | (mass > self.heaviest_g))
        notes: tuple[str, ...] = ()
        if outside.any():
            notes = (
                f"Only arrows of {self.lightest_g:.1f} to {self.heaviest_g:.1f} g were measured;"
                " beyond these the virtual mass may be another, and the interval does not know it."
                " A lighter arrow also loads the bow more: the makers' limits come first.",
            )
        return Predicted(mass, level**-0.5, low, high, outside, notes)

    def speed_of(self, mass_g: Array) -> Array:
        """Return the mean launch speeds alone, m/s, from masses, g."""
        return self.predict(mass_g).speed_mps


def fit_launch(
    mass_g: ArrayLike,
    speed_mps: ArrayLike,
    *,
    sd_mps: float | None = None,
    confidence: float = 0.95,
) -> Launch:
    """Return energy and virtual mass of a bow from speeds of arrows of two masses or more.

    Parameters
    ----------
    mass_g, speed_mps : array_like, (n,)
        Mass of the arrow and its launch speed, one pair for each reading; several readings of an
        arrow are several pairs.
    sd_mps : float, optional
        Known scatter of one reading, m/s; without it the readings themselves tell it, as far as
        there are more of them than two.
    confidence : float
        Level of the intervals.

    Raises
    ------
    RigError
        If a number cannot be, all masses are one, or heavier arrows are not slower.

    Notes
    -----
    Least squares of the speeds, whose scatter is taken to be the same at every mass; in terms of
    1/v^2 the line is fitted with weights v^6. Two masses are met exactly, and the scatter between
    readings of one arrow carries the interval. Limits of the virtual mass are Fieller's, those of
    a predicted speed are Student's t of the line. Simulated, 95 % intervals cover 94.5 to 95.5 %
    (``python -m benchmarks.coverage launch``). Masses are taken as exact, and an error common to
    all readings of a chronograph stays in the energy.

    References
    ----------
    P. E. Klopsteg, "Physics of bows and arrows", American Journal of Physics 11 (1943) 175-192.
    E. C. Fieller, "Some problems in interval estimation", Journal of the Royal Statistical Society
    B 16 (1954) 175-185.

    Examples
    --------
    Two arrows, each as fast as a bow of 137 J and a virtual mass of 3 g makes it:

    >>> shot = fit_launch([27.0, 35.0], launch_speed(137.0, 3.0, [27.0, 35.0]))
    >>> round(shot.energy_j, 6), round(shot.virtual_g, 6)
    (137.0, 3.0)
    """
    mass, speed = np.atleast_1d(read_mass(mass_g)), np.atleast_1d(read_speed(speed_mps))
    if mass.ndim != 1 or mass.shape != speed.shape:
        raise RigError(
            f"mass_g and speed_mps must be one mass and one speed a reading, but have shapes"
            f" {mass.shape} and {speed.shape}"
        )
    own = None if sd_mps is None else read_number(sd_mps, "sd_mps", "m/s", positive=True, most=20.0)
    level = read_number(confidence, "confidence", "(0 to 1)", least=0.5, most=0.9999)
    different = np.unique(mass)
    if different[-1] - different[0] < LEAST_APART_G:
        raise RigError("mass_g: all arrows have one mass; measure arrows of two masses or more")
    for one in different:
        check_alike(speed[mass == one], f"an arrow of {one:.1f} g")
    line, unscaled, square = fit_line(mass, speed)
    if not line[1] > 0:
        raise RigError(
            "speed_mps does not fall with mass_g: check which speed belongs to which arrow, or"
            " measure arrows that differ more in mass"
        )
    df = mass.size - 2
    sd = own if own is not None else (math.sqrt(float(square) / df) if df else NAN)
    covariance = unscaled * sd**2
    quantile = student(df if own is None else math.inf, level)
    low, high = ratio_limits(line, covariance, quantile)
    slope_half = quantile * math.sqrt(covariance[1, 1])
    slope_low, slope_high = float(line[1]) - slope_half, float(line[1]) + slope_half
    return Launch(
        energy_j=_energy(float(line[1])),
        energy_low_j=_energy(slope_high),
        energy_high_j=_energy(slope_low),
        virtual_g=float(line[0] / line[1]),
        virtual_low_g=float(low),
        virtual_high_g=float(high),
        lightest_g=float(different[0]),
        heaviest_g=float(different[-1]),
        readings=mass.size,
        masses=different.size,
        sd_mps=sd,
        confidence=level,
        notes=_notes(mass, speed, line, float(low), sd, own),
        line=line,
        covariance=covariance,
        quantile=quantile,
    )


def _energy(slope: float) -> float:
    """Return E, J, from the slope of 1/v^2 over grams; NaN where the slope may be nothing."""
    return 1e-3 / (2 * slope) if slope > 0 else NAN


def _notes(
    mass: Array, speed: Array, line: Array, low: float, sd: float, own: float | None
) -> tuple[str, ...]:
    """Say what the readings cannot tell."""
    said = []
    if math.isnan(sd):
        said.append(
            "Two readings, two numbers: nothing is left to tell their scatter. Shoot each arrow"
            " several times, or give the scatter of your chronograph."
        )
    elif math.isnan(low):
        said.append(
            "These masses lie too close together, or the readings too far apart, to tell the"
            " virtual mass: measure a lighter and a heavier arrow, within the makers' limits."
        )
    if line[0] < 0:
        said.append(
            "The virtual mass comes out below zero, which cannot be: check masses and speeds."
        )
    labels, place = np.unique(mass, return_inverse=True)
    inside = mass.size - labels.size
    if labels.size > 2 and (inside or own is not None):
        means = np.bincount(place, speed) / np.bincount(place)
        pure = float(((speed - means[place]) ** 2).sum())
        curve = (line[0] + line[1] * labels) ** -0.5
        lack = float((np.bincount(place) * (means - curve) ** 2).sum())
        extra = labels.size - 2
        scatter = own**2 if own is not None else pure / inside
        freedom = 1e9 if own is not None else inside
        if scatter > 0 and fdtrc(extra, freedom, lack / extra / scatter) < ASTRAY:
            said.append(
                "The masses do not lie on one curve within the scatter of the readings: this bow"
                " does not follow a virtual mass closely, or an arrow's mass or speed is wrong."
            )
    return tuple(said)
