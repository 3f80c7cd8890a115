"""The drag of arrows: published coefficients, the Reynolds number, k of the flight.

A drag coefficient here rests on the cross-section of the shaft, pi d^2 / 4, as arrow drag is
published. Where the layer of air along the shaft stays smooth (laminar) it is half of what it is
where the layer is turbulent, and which of the two an arrow has hangs on its point and on how it
leaves the bow.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from groupscan.errors import RigError
from groupscan.rigs.given import Array, read_mass, read_speed, read_values

__all__ = [
    "LAMINAR",
    "PUBLISHED",
    "TURBULENT",
    "DragCoefficient",
    "drag_per_m",
    "reynolds",
]


@dataclass(frozen=True)
class DragCoefficient:
    """A drag coefficient that was measured on arrows.

    Attributes
    ----------
    value : float
        Cd on the cross-section of the shaft.
    reynolds : float
        Reynolds number on the diameter of the shaft at which it was measured.
    what : str
        Of which arrow or layer of air.
    source : str
        Where it was published.
    """

    value: float
    reynolds: float
    what: str
    source: str


_GRANT: Final = "T. Miyazaki, report on grant 18K03943, 2020 (abstract)"
_STRAIGHT_VANES: Final = (
    "J. C. Ortiz Enriquez and co-workers, Experimental and computational study of archery arrows"
    " fletched with straight vanes, Proceedings 49 (2020) 56 (abstract)"
)

LAMINAR: Final = DragCoefficient(1.3, 2e4, "laminar layer, target arrow", _GRANT)
TURBULENT: Final = DragCoefficient(2.6, 2e4, "turbulent layer, target arrow", _GRANT)

PUBLISHED: Final = (
    LAMINAR,
    TURBULENT,
    DragCoefficient(1.56, 1.2e4, "short straight vanes, wind tunnel", _STRAIGHT_VANES),
    DragCoefficient(2.05, 1.2e4, "large straight vanes, wind tunnel", _STRAIGHT_VANES),
)

# An arrow is a straw to a thumb thick; inches given for mm fall outside.
THINNEST_MM: Final = 2.0
THICKEST_MM: Final = 20.0
DENSEST_AIR: Final = 2.0
MOST_CD: Final = 20.0
# A rod along the wind drags more than this by its blunt front alone; less is a loss per metre.
LEAST_CD: Final = 0.5
WIDEST_HEAD_MM2: Final = 5000.0


def drag_per_m(
    *,
    mass_g: ArrayLike,
    diameter_mm: ArrayLike,
    cd: ArrayLike,
    density: ArrayLike,
    head_area_mm2: ArrayLike = 0.0,
) -> Array:
    """Return k of the flight: air takes k v^2 from the speed v every second.

    Parameters
    ----------
    mass_g : array_like
        Mass of the whole arrow, g.
    diameter_mm : array_like
        Outside diameter of the shaft, mm.
    cd : array_like
        Drag coefficient on the cross-section of the shaft: 0, or 0.5 and more.
    density : array_like
        Density of the air, kg/m^3.
    head_area_mm2 : array_like
        Drag area (Cd times area) that the head adds to a field point's, mm^2. No published value
        is known here: it is to be fitted, or guessed and said to be a guess.

    Returns
    -------
    ndarray
        k = density (Cd pi d^2 / 4 + head_area) / (2 mass), 1/m. After x metres of flat fire the
        speed is exp(-k x) of what it was.

    Raises
    ------
    RigError
        If an argument cannot be.

    Examples
    --------
    535 grains, 6 mm, Cd 2.0 at sea level:

    >>> k = drag_per_m(mass_g=34.66741685, diameter_mm=6, cd=2.0, density=1.225)
    >>> round(1e4 * float(k), 6)
    9.990955
    """
    mass = read_mass(mass_g)
    coefficient = read_values(
        cd, "cd", "(a pure number)", least=0.0, most=MOST_CD, advice="arrows have 1.3 to 2.6"
    )
    slight = coefficient[(coefficient > 0) & (coefficient < LEAST_CD)]
    if slight.size:
        raise RigError(
            f"cd is {slight[0]:g}: arrows have 1.3 to 2.6, and 0 flies without air; a loss per"
            f" metre is written with its unit, {slight[0]:g}/m"
        )
    air = _density(density)
    head = read_values(
        head_area_mm2,
        "head_area_mm2",
        "mm^2",
        least=0.0,
        most=WIDEST_HEAD_MM2,
        advice="give Cd times the area that the head adds, 0 for a field point",
    )
    area_mm2 = coefficient * math.pi / 4 * _diameter(diameter_mm) ** 2 + head
    k: Array = np.asarray(air * (1e-6 * area_mm2) / (2 * 1e-3 * mass))
    return k


def reynolds(
    speed_mps: ArrayLike, diameter_mm: ArrayLike, density: ArrayLike, viscosity_pas: ArrayLike
) -> Array:
    """Return the Reynolds number on the diameter of the shaft.

    Parameters
    ----------
    speed_mps : array_like
        Speed through the air, m/s.
    diameter_mm : array_like
        Outside diameter of the shaft, mm.
    density : array_like
        Density of the air, kg/m^3.
    viscosity_pas : array_like
        Dynamic viscosity of the air, Pa s.

    Raises
    ------
    RigError
        If an argument cannot be.

    Examples
    --------
    >>> round(float(reynolds(85.344, 6.0, 1.225, 1.7894e-5)), -1)
    35060.0
    """
    speed = read_speed(speed_mps)
    viscosity = read_values(
        viscosity_pas,
        "viscosity_pas",
        "Pa s",
        least=1e-6,
        most=1e-4,
        advice="air has about 1.8e-5",
    )
    number: Array = np.asarray(
        _density(density) * speed * 1e-3 * _diameter(diameter_mm) / viscosity
    )
    return number


def _density(given: ArrayLike) -> Array:
    return read_values(
        given,
        "density",
        "kg/m^3",
        least=0.0,
        most=DENSEST_AIR,
        advice="air at sea level has about 1.2",
    )


def _diameter(given: ArrayLike) -> Array:
    return read_values(
        given,
        "diameter_mm",
        "mm",
        least=THINNEST_MM,
        most=THICKEST_MM,
        advice="give the shaft's outside diameter; is it in inches?",
    )
