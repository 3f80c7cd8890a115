"""Read what the caller gave: shots, aim, standard errors, distance, level; or say what is wrong."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError

__all__ = [
    "read_aim",
    "read_distance",
    "read_distances",
    "read_labels",
    "read_level",
    "read_names",
    "read_noise_variance",
    "read_positive",
    "read_share",
    "read_shots",
]

FARTHEST_MM = 1e6

Array = NDArray[np.float64]


def _numbers(given: ArrayLike, what: str) -> Array:
    """Return a float array of its own, or raise StatisticsError that says what was wanted."""
    try:
        if np.iscomplexobj(given):
            raise TypeError("complex numbers are not places")
        return np.array(given, dtype=float)
    except (TypeError, ValueError) as err:
        raise StatisticsError(f"{what}: {err}") from err


def read_shots(xy_mm: ArrayLike) -> Array:
    """Return the shots as an (n, 2) float array of its own, mm, n >= 1."""
    xy = _numbers(xy_mm, "shots must be pairs of numbers (x, y) in mm")
    if xy.size == 0:
        raise StatisticsError("no shots: a group needs at least one; check that holes were found")
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise StatisticsError(f"shots have shape {xy.shape}; give one row (x, y) in mm a shot")
    _check_places(xy, "shot {}")
    return xy


def _check_places(xy: Array, what: str) -> None:
    wrong = np.flatnonzero(~(np.abs(xy) <= FARTHEST_MM).all(axis=1))
    if wrong.size:
        first = int(wrong[0])
        raise StatisticsError(
            f"{what.format(first + 1)} is at ({xy[first, 0]:g}, {xy[first, 1]:g}) mm: "
            "not finite, or more than a kilometre away; remove it or check the units"
        )


def read_aim(aim_mm: tuple[float, float]) -> tuple[float, float]:
    """Return the aim as two floats, mm."""
    aim = _numbers(aim_mm, "aim must be a pair of numbers (x, y) in mm")
    if aim.shape != (2,):
        raise StatisticsError(f"aim has shape {aim.shape}; give one pair (x, y) in mm")
    _check_places(aim[None], "the aim")
    return float(aim[0]), float(aim[1])


def read_noise_variance(se_mm: ArrayLike | None, n: int) -> float | None:
    """Return the mean square of the standard errors: what they add to s^2, whatever their mix."""
    if se_mm is None:
        return None
    se = _numbers(se_mm, "se_mm must be numbers in mm")
    if se.shape not in ((), (n,)):
        raise StatisticsError(f"se_mm has shape {se.shape}; give one number, or {n}: one a shot")
    if not ((se >= 0) & (se <= FARTHEST_MM)).all():
        raise StatisticsError("se_mm holds a number that is negative, not finite or beyond reason")
    return float((se**2).mean())


def read_distance(distance_m: float | None) -> float | None:
    """Return the distance, m, or None if none was given."""
    if distance_m is not None and not (math.isfinite(distance_m) and distance_m > 0):
        raise StatisticsError(f"distance {distance_m!r} m must be more than zero and finite")
    return None if distance_m is None else float(distance_m)


def read_distances(distance_m: ArrayLike, n: int) -> Array:
    """Return the distance of each of n shots, m, from one for all or one a shot."""
    distances = _numbers(distance_m, "distances must be numbers in m")
    if distances.shape not in ((), (n,)):
        raise StatisticsError(
            f"distances have shape {distances.shape}; give one number, or {n}: one a shot"
        )
    wrong = np.flatnonzero(~((distances > 0) & (distances <= FARTHEST_MM / 1000)))
    if wrong.size:
        raise StatisticsError(
            f"distance {distances.flat[wrong[0]]:g} m must be more than zero and at most a"
            " kilometre; remove the shot or check the units"
        )
    return np.full(n, distances) if distances.ndim == 0 else distances


def read_positive(number: float, what: str) -> float:
    """Return a number that must be more than zero and finite; `what` names it."""
    if not (math.isfinite(number) and number > 0):
        raise StatisticsError(f"{what} {number!r} must be more than zero and finite")
    return float(number)


def read_share(share: float, what: str, *, below: float = 1.0) -> float:
    """Return a share or probability, more than 0 and below a bound; `what` names it."""
    if not 0 < share < below:
        raise StatisticsError(f"{what} {share!r} must lie between 0 and {below:g}")
    return float(share)


def read_level(confidence: float) -> float:
    """Return the confidence level."""
    if not 0.5 <= confidence <= 0.9999:
        raise StatisticsError(f"confidence {confidence!r} must lie between 0.5 and 0.9999")
    return float(confidence)


def read_labels(
    labels: Sequence[object] | NDArray[np.generic], n: int, what: str
) -> tuple[tuple[str, ...], NDArray[np.intp]]:
    """Return the different labels, numbers in their order first, and each shot's place among them.

    Parameters
    ----------
    labels : (n,) sequence
        One a shot: numbers or words.
    n : int
        Number of shots.
    what : str
        What is labelled, for the message: "arrow", "end".

    Returns
    -------
    tuple of str
        The labels.
    (n,) array of int
        Index into them.

    Examples
    --------
    >>> read_labels([10, 2, 10, "spare"], 4, "arrow")
    (('2', '10', 'spare'), array([1, 0, 1, 2]))
    """
    given = list(labels)
    if len(given) != n:
        raise StatisticsError(f"{len(given)} {what} labels for {n} shots; give one a shot")
    words = []
    for place, label in enumerate(given, start=1):
        number = isinstance(label, int | float | np.integer | np.floating)
        if label is None or (number and not math.isfinite(float(label))):
            raise StatisticsError(
                f"shot {place} has no {what} label ({label!r}); label it or leave the shot out"
            )
        whole = number and float(label) == int(label)
        words.append(str(int(label)) if whole else str(label))
    names = tuple(sorted(set(words), key=_number_first))
    place_of = {name: place for place, name in enumerate(names)}
    return names, np.array([place_of[word] for word in words], dtype=np.intp)


def read_names(names: Sequence[object] | None, n: int) -> tuple[str, ...] | None:
    """Return what the shots are called, or None where they have no names."""
    if names is None:
        return None
    called = tuple(str(name) for name in names)
    if len(called) != n:
        raise StatisticsError(f"{len(called)} names for {n} shots; give one a shot")
    return called


def _number_first(word: str) -> tuple[int, float, str]:
    try:
        number = float(word)
    except ValueError:
        number = math.nan
    return (0, number, word) if math.isfinite(number) else (1, 0.0, word)
