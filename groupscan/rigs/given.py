"""Read numbers that a person gave: each that cannot be is refused by its name, with what to do."""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError

__all__ = [
    "Array",
    "check_alike",
    "read_angle",
    "read_distance",
    "read_drag",
    "read_mass",
    "read_number",
    "read_peep",
    "read_speed",
    "read_values",
    "read_wind",
    "together",
]

Array = NDArray[np.float64]

PRINTED: Final = "{:.6g}"

# From a child's cane to a fishing arrow; most grains given as grams fall outside.
LIGHTEST_G: Final = 5.0
HEAVIEST_G: Final = 150.0
# Nothing shot from a bow by hand leaves it at more than about 160 m/s: a greater number was
# most likely meant in feet a second.
FASTEST_MPS: Final = 200.0
FARTHEST_M: Final = 1000.0
# Readings of one arrow from one bow lie within some parts in a hundred of one another.
MOST_RATIO: Final = 1.3
# A flu-flu, made to be stopped by the air, has about 0.02 a metre.
MOST_DRAG_PER_M: Final = 0.1
FASTEST_WIND_MPS: Final = 60.0
# The eye is a hand's width above the arrow; a metre was most likely meant in other units.
HIGHEST_PEEP_M: Final = 1.0


def read_values(
    given: ArrayLike,
    field: str,
    unit: str,
    *,
    least: float = -math.inf,
    most: float = math.inf,
    positive: bool = False,
    advice: str = "",
) -> Array:
    """Return the values as a float array.

    Parameters
    ----------
    given : array_like
        Numbers.
    field, unit : str
        What they are called and what they are measured in, for the message.
    least, most : float
        Beyond these no value can be meant: most often another unit was.
    positive : bool
        Refuse zero too.
    advice : str
        What to do about a value that is refused.

    Raises
    ------
    RigError
        If a value is no number, not finite or beyond the limits.

    Examples
    --------
    >>> read_values([1, 2], "speed_mps", "m/s").tolist()
    [1.0, 2.0]
    """
    try:
        if np.iscomplexobj(given):
            raise TypeError("complex numbers measure nothing here")
        values = np.asarray(given, dtype=float)
    except (TypeError, ValueError) as err:
        raise RigError(f"{field} must be numbers in {unit}, but is {given!r}") from err
    wrong = ~np.isfinite(values) | (values < least) | (values > most)
    if positive:
        wrong |= values <= 0
    if wrong.any():
        shown = PRINTED.format(values[wrong].flat[0])
        raise RigError(
            f"{field} is {shown} {unit}: it must be {_wanted(least, most, positive)}"
            + (f"; {advice}" if advice else "")
        )
    return values


def together(**arrays: Array) -> list[Array]:
    """Return the arrays broadcast against one another, in their order.

    Raises
    ------
    RigError
        If their shapes do not go together.

    Examples
    --------
    >>> [array.shape for array in together(a=np.zeros(3), b=np.zeros((2, 1)))]
    [(2, 3), (2, 3)]
    """
    try:
        return list(np.broadcast_arrays(*arrays.values()))
    except ValueError as err:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in arrays.items() if array.ndim)
        raise RigError(
            f"these shapes do not go together: {shapes}; give one value, or as many"
        ) from err


def read_number(
    given: float,
    field: str,
    unit: str,
    *,
    least: float = -math.inf,
    most: float = math.inf,
    positive: bool = False,
    advice: str = "",
) -> float:
    """Return one value as a float; the arguments are those of `read_values`.

    Examples
    --------
    >>> read_number(3, "mass_g", "g")
    3.0
    """
    values = read_values(
        given, field, unit, least=least, most=most, positive=positive, advice=advice
    )
    if values.ndim:
        raise RigError(f"{field} must be one number in {unit}, but has shape {values.shape}")
    return float(values)


def read_mass(given: ArrayLike) -> Array:
    """Return masses of whole arrows, g."""
    return read_values(
        given, "mass_g", "g", least=LIGHTEST_G, most=HEAVIEST_G, advice="is it in grains?"
    )


def read_speed(given: ArrayLike) -> Array:
    """Return launch speeds, m/s."""
    return read_values(
        given, "speed_mps", "m/s", positive=True, most=FASTEST_MPS, advice="is it in ft/s?"
    )


def check_alike(speed_mps: Array, of: str) -> None:
    """Refuse readings that cannot be of one arrow from one bow.

    Raises
    ------
    RigError
        If the fastest is more than `MOST_RATIO` times the slowest.
    """
    if speed_mps.max() > MOST_RATIO * speed_mps.min():
        raise RigError(
            f"speed_mps holds {speed_mps.min():.1f} and {speed_mps.max():.1f} m/s for {of}, too"
            " far apart for one bow; are the units mixed, or was a digit lost?"
        )


def read_drag(given: ArrayLike) -> Array:
    """Return drags k of the flight, 1/m."""
    return read_values(
        given,
        "drag_per_m",
        "1/m",
        least=0.0,
        most=MOST_DRAG_PER_M,
        advice="an arrow's drag lies near 0.001; see drag_per_m() in drag.py",
    )


def read_distance(given: ArrayLike, *, positive: bool = False) -> Array:
    """Return distances, m."""
    return read_values(
        given,
        "distance_m",
        "m",
        least=0.0,
        most=FARTHEST_M,
        positive=positive,
        advice="is it in metres?",
    )


def read_peep(given: ArrayLike) -> Array:
    """Return heights of the eye above the arrow, m."""
    return read_values(
        given,
        "peep_m",
        "m",
        least=-HIGHEST_PEEP_M,
        most=HIGHEST_PEEP_M,
        advice="give the height of the eye above the arrow in metres, about 0.1",
    )


def read_angle(given: ArrayLike, field: str) -> Array:
    """Return angles, rad."""
    right_angle = math.pi / 2
    return read_values(
        given, field, "rad", least=-right_angle, most=right_angle, advice="is it in degrees?"
    )


def read_wind(given: ArrayLike, field: str) -> Array:
    """Return winds, m/s."""
    return read_values(
        given,
        field,
        "m/s",
        least=-FASTEST_WIND_MPS,
        most=FASTEST_WIND_MPS,
        advice="that is beyond any storm to shoot in",
    )


def _wanted(least: float, most: float, positive: bool) -> str:
    """Say within which limits a value must lie."""
    low = "more than zero" if positive and least <= 0 else ""
    if not low and math.isfinite(least):
        low = f"at least {PRINTED.format(least)}"
    high = f"at most {PRINTED.format(most)}" if math.isfinite(most) else ""
    return " and ".join(part for part in (low, high) if part) or "finite"
