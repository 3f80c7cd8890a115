"""A coach's students, each with their season and a word for it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from groupscan.decisions.pooling import distances_of, xy_of
from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.stats.intervals import Estimate
    from groupscan.stats.trend import Progress, ProgressWord, Sessions

__all__ = ["WORDS", "Standing", "main_shots", "roster_frame", "roster_of", "standing_of"]

WORDS: Final = ("wider", "drifting", "too few arrows", "steady", "steadier")
"""In the order in which a coach looks at them."""


@dataclass(frozen=True)
class Standing:
    """How one student's season stands.

    Attributes
    ----------
    name : str
    sessions : Sessions or None
        None where there is no shot that can be measured.
    progress : Progress or None
        None together with `sessions`.
    shots : int
        Shots that it rests on.
    last : date or None
        Day of the last session, of any of the student's shots.
    notes : tuple of str
        What was left out, or why nothing can be measured.
    """

    name: str
    sessions: Sessions | None
    progress: Progress | None
    shots: int
    last: pd.Timestamp | None
    notes: tuple[str, ...]

    @property
    def word(self) -> ProgressWord:
        """What the season shows, in a word."""
        return self.progress.word if self.progress else "too few arrows"


def main_shots(table: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the shots of one shooter's most shot rig and head, and notes on the others.

    A season is of one rig and one kind of head: another bow, or broadheads among field points,
    would look like a change of form. Shots without a distance are left out where others have one.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"rig": "A", "head": ["x", "x", "y"], "distance_m": 18.0})
    >>> kept, notes = main_shots(table)
    >>> len(kept), notes
    (2, ('1 shot with other heads than x is left out.',))
    """
    notes = []
    for column, others in (("rig", "of other rigs"), ("head", "with other heads")):
        most = str(table[column].value_counts().index[0])
        left = int((table[column] != most).sum())
        if left:
            name = most or f"no {column} named"
            notes.append(f"{_shots(left)} {others} than {name} {_are(left)} left out.")
            table = table[table[column] == most]
    known = table["distance_m"].notna()
    if known.any() and not known.all():
        left = int((~known).sum())
        notes.append(f"{_shots(left)} without a distance {_are(left)} left out.")
        table = table[known]
    return table, tuple(notes)


def _shots(count: int) -> str:
    return f"{count} shot{'' if count == 1 else 's'}"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def standing_of(name: str, table: pd.DataFrame) -> Standing:
    """Measure how one student's season stands.

    Parameters
    ----------
    name : str
        Of the student.
    table : DataFrame
        The student's shots; see `groupscan.decisions.shot_table`.
    """
    from groupscan.stats.trend import measure_progress, measure_sessions, read_season

    if table.empty:
        return Standing(name, None, None, 0, None, ())
    last = table["day"].max()
    table, notes = main_shots(table)
    try:
        season = read_season(
            xy_of(table),
            table["session"].tolist(),
            distance_m=distances_of(table),
            day=table["day"].to_numpy("datetime64[s]"),
        )
        sessions = measure_sessions(season)
    except GroupscanError as err:
        return Standing(name, None, None, len(table), last, (*notes, str(err)))
    progress = measure_progress(sessions)
    return Standing(name, sessions, progress, len(table), last, notes)


def roster_of(table: pd.DataFrame | None, names: Iterable[str]) -> list[Standing]:
    """Measure how the seasons of several students stand, in the order of the names."""
    if table is None:
        return [Standing(name, None, None, 0, None, ()) for name in names]
    own = dict(tuple(table.groupby("shooter", sort=False)))
    return [standing_of(name, own.get(name, table[:0])) for name in names]


def roster_frame(
    standings: Iterable[Standing],
    shooters: pd.DataFrame,
    *,
    angle: Literal["moa", "mrad"] = "moa",
    length: Literal["mm", "in"] = "mm",
) -> pd.DataFrame:
    """Return the roster as a table for a file: one row a student.

    Parameters
    ----------
    standings : iterable of Standing
        From `roster_of`.
    shooters : DataFrame
        From `groupscan.records.store.list_shooters`: whose coach, goals and notes go along.
    angle, length : str
        Units of the reader: angles, or lengths for students whose distance is not known.

    Returns
    -------
    DataFrame
        The unit stands in the column's name; the digits are those that the interval supports. The
        ratio of sigma and the drift of the centre are those from the first session to the last.
    """
    import pandas as pd

    from groupscan.units import mm_to_inch, to_moa, to_mrad

    as_angle = ("MOA", to_moa(1.0)) if angle == "moa" else ("mrad", to_mrad(1.0))
    as_length = ("in", mm_to_inch(1.0)) if length == "in" else ("mm", 1.0)
    about = shooters.set_index("name")
    rows = []
    for one in standings:
        row: dict[str, object] = {
            "student": one.name, "coach": about.loc[one.name, "coach"], "word": one.word,
            "sessions": len(one.sessions.label) if one.sessions else 0, "shots": one.shots,
            "last_session": f"{one.last:%Y-%m-%d}" if one.last is not None else "",
        }  # fmt: skip
        if one.progress and one.sessions:
            unit, factor = as_angle if one.sessions.unit == "rad" else as_length
            last = len(one.sessions.label) - 1
            row["months"] = round(one.progress.months, 1)
            row |= _told("sigma_ratio", one.progress.sigma_ratio, "")
            for name, estimate in (
                ("sigma_last", one.sessions.sigma_of(last)),
                ("drift_right", one.progress.drift_x),
                ("drift_up", one.progress.drift_y),
            ):
                row |= _told(name, estimate.scaled(factor), f"_{unit}")
        row["left_out"] = " ".join(one.notes)
        row["goals"], row["notes"] = about.loc[one.name, "goals"], about.loc[one.name, "notes"]
        rows.append(row)
    table = pd.DataFrame(rows)
    words = ["left_out", "goals", "notes"]
    return table[[*(name for name in table if name not in words), *words]]


def _told(name: str, estimate: Estimate, unit: str) -> dict[str, object]:
    """Return a number and its limits under their names, with the digits that are worth having."""
    from groupscan.units import decimals_supported

    numbers = {"": estimate.value, "_low": estimate.low, "_high": estimate.high}
    if not math.isfinite(estimate.value):
        return {f"{name}{end}{unit}": math.nan for end in numbers}
    decimals = decimals_supported(estimate.value, estimate.low, estimate.high)
    return {f"{name}{end}{unit}": round(one, decimals) for end, one in numbers.items()}
