"""Read numbers that a person gave: each that cannot be is refused by its name, with what to do."""

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError

__all__ = ["Array", "read_number", "read_values"]

Array = NDArray[np.float64]

PRINTED: Final = "{:.6g}"


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


def _wanted(least: float, most: float, positive: bool) -> str:
    """Say within which limits a value must lie."""
    low = "more than zero" if positive and least <= 0 else ""
    if not low and math.isfinite(least):
        low = f"at least {PRINTED.format(least)}"
    high = f"at most {PRINTED.format(most)}" if math.isfinite(most) else ""
    return " and ".join(part for part in (low, high) if part) or "finite"
