"""A season's shots, read and sorted: sessions in the order of their days, distances as angles."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import StatisticsError
from groupscan.stats.inputs import read_labels, read_shots
from groupscan.units import angle_rad

__all__ = ["Season", "read_season"]

Array = NDArray[np.float64]
Labels = Sequence[object] | NDArray[np.generic]

ONE_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class Season:
    """Shots of several sessions, sorted by session and within each in the order given.

    Attributes
    ----------
    unit : {'rad', 'mm'}
        Unit of `at`: angles where distances were given.
    label : tuple of str
        The sessions, in the order of their days.
    day : (k,) array
        Day of each session; NaN where no days were given.
    at : (n, 2) array
        The shots from their point of aim, x right, y up.
    session, end, distance : (n,) array of int
        Index of each shot's session, its end's number within the session and its distance among
        those shot; all ends 0 where none were given.
    start : (k,) array of int
        Row of each session's first shot.
    has_ends : bool
        Whether ends were given.
    distances_m : tuple of float
        The distances shot, m; empty where none were given.
    """

    unit: Literal["rad", "mm"]
    label: tuple[str, ...]
    day: Array
    at: Array
    session: NDArray[np.intp]
    end: NDArray[np.intp]
    distance: NDArray[np.intp]
    start: NDArray[np.intp]
    has_ends: bool
    distances_m: tuple[float, ...]

    @property
    def sessions(self) -> int:
        """Number of sessions."""
        return len(self.label)

    def blocks(self, *, ends: bool) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return each shot's block (session and distance, and end if asked) and blocks' first rows.

        Examples
        --------
        >>> season = read_season([(0, 0), (1, 0), (2, 0)], ["a", "a", "b"], end=[1, 2, 1])
        >>> [codes.tolist() for codes in season.blocks(ends=True)]
        [[0, 1, 2], [0, 1, 2]]
        """
        code = self.session * max(1, len(self.distances_m)) + self.distance
        if ends:
            code = code * (int(self.end.max()) + 1) + self.end
        _, first, block = np.unique(code, return_index=True, return_inverse=True)
        return block, first


def read_season(
    xy_mm: ArrayLike,
    session: Labels,
    *,
    end: Labels | None = None,
    distance_m: ArrayLike | None = None,
    day: ArrayLike | None = None,
) -> Season:
    """Read a season's shots.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
        The shots from their point of aim, in the order in which they were shot in each session.
    session : (n,) sequence
        Label of each shot's session: numbers or words.
    end : (n,) sequence, optional
        Label of each shot's end within its session.
    distance_m : float or (n,) array_like, optional
        Shooting distance, m. With it everything is in angles, so that distances can be compared.
    day : (n,) array_like, optional
        Date of each shot: datetime64 or anything numpy reads as one, or a number of days.

    Returns
    -------
    Season
        Sessions in the order of their days; without days, in the order of their labels.

    Raises
    ------
    StatisticsError
        If the shots cannot be read, an array is not one a shot, a distance is not positive, or
        one session has shots of days apart.

    Examples
    --------
    >>> season = read_season([(0, 3), (4, 0), (1, 1)], [2, 2, 1], distance_m=18.0, day=[5, 5, 9])
    >>> season.label, season.unit
    (('2', '1'), 'rad')
    """
    xy = read_shots(xy_mm)
    n = len(xy)
    names, code = _labels(session, n, "session")
    days = np.zeros(n) if day is None else _days(day, n)
    earliest = np.full(len(names), np.inf)
    latest = np.full(len(names), -np.inf)
    np.minimum.at(earliest, code, days)
    np.maximum.at(latest, code, days)
    if day is not None and (latest - earliest > 1).any():
        wrong = names[int(np.argmax(latest - earliest > 1))]
        raise StatisticsError(
            f"session {wrong} has shots more than a day apart; give each day its own session"
        )
    order = np.argsort(earliest, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(order.size)
    code = place[code]
    rows = np.argsort(code, kind="stable")
    code = code[rows]
    at, distance, metres = _angles(xy, distance_m)
    ends = np.zeros(n, np.intp) if end is None else _labels(end, n, "end")[1]
    return Season(
        unit="mm" if distance_m is None else "rad",
        label=tuple(names[i] for i in order),
        day=earliest[order] if day is not None else np.full(len(names), np.nan),
        at=at[rows],
        session=code,
        end=_ranks(code, ends[rows]),
        distance=distance[rows],
        start=np.flatnonzero(np.diff(code, prepend=-1)),
        has_ends=end is not None,
        distances_m=metres,
    )


def _labels(given: Labels, n: int, what: str) -> tuple[tuple[str, ...], NDArray[np.intp]]:
    """Read labels; whole arrays of numbers or words by their different values only."""
    array = np.asarray(given)
    tidy = array.shape == (n,) and (
        array.dtype.kind in "iuU" or (array.dtype.kind == "f" and np.isfinite(array).all())
    )
    if not tidy or not isinstance(given, np.ndarray):
        return read_labels(given, n, what)
    values, code = np.unique(array, return_inverse=True)
    names, index = read_labels(values, len(values), what)
    return names, index[code]


def _days(day: ArrayLike, n: int) -> Array:
    """Return days as numbers; dates count from 1970."""
    array = np.asarray(day)
    if array.dtype.kind not in "iuf":
        try:
            array = array.astype("datetime64[s]")
        except (TypeError, ValueError) as err:
            raise StatisticsError(f"days must be dates or numbers of days: {err}") from err
        days = np.where(np.isnat(array), np.nan, (array - np.datetime64(0, "s")) / ONE_DAY)
    else:
        days = array.astype(float)
    if days.shape != (n,):
        raise StatisticsError(f"day has shape {days.shape}; give {n}: one a shot")
    wrong = np.flatnonzero(~(np.abs(days) <= 1e7))
    if wrong.size:
        raise StatisticsError(
            f"shot {int(wrong[0]) + 1} has no day that can be read; date it or leave the shot out"
        )
    return days


def _angles(
    xy: Array, distance_m: ArrayLike | None
) -> tuple[Array, NDArray[np.intp], tuple[float, ...]]:
    """Return the shots as angles, each shot's distance among those shot, and these."""
    n = len(xy)
    if distance_m is None:
        return xy, np.zeros(n, np.intp), ()
    try:
        metres = np.array(distance_m, dtype=float)
    except (TypeError, ValueError) as err:
        raise StatisticsError(f"distances must be numbers in m: {err}") from err
    if metres.shape not in ((), (n,)):
        raise StatisticsError(f"distance_m has shape {metres.shape}; give one, or {n}: one a shot")
    if not (np.isfinite(metres) & (metres > 0)).all():
        raise StatisticsError("distance_m holds a number that is not finite or not more than zero")
    different, code = np.unique(np.broadcast_to(metres, n), return_inverse=True)
    turned = np.frompyfunc(angle_rad, 2, 1)(xy, different[code][:, None]).astype(float)
    return turned, code, tuple(different.tolist())


def _ranks(session: NDArray[np.intp], end: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the number of each shot's end within its session, from 0."""
    code = session * (int(end.max()) + 1) + end
    values, index = np.unique(code, return_inverse=True)
    owner = values // (int(end.max()) + 1)
    first = np.searchsorted(owner, owner)
    ranks: NDArray[np.intp] = (np.arange(values.size) - first)[index]
    return ranks
