"""A coach's students, each with their season and a word for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from groupscan.decisions.pooling import distances_of, xy_of
from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    import pandas as pd

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


def roster_frame(standings: Iterable[Standing], shooters: pd.DataFrame) -> pd.DataFrame:
    """Return the roster as a table for a file: one row a student.

    Parameters
    ----------
    standings : iterable of Standing
        From `roster_of`.
    shooters : DataFrame
        From `groupscan.records.store.list_shooters`: whose coach, goals and notes go along.

    Returns
    -------
    DataFrame
        Angles in mrad (mm where no distance is known, as the column unit says); the ratio of sigma
        and the drift of the centre are those from the first session to the last.
    """
    import pandas as pd

    from groupscan.units import to_mrad

    about = shooters.set_index("name")
    rows = []
    for one in standings:
        row: dict[str, object] = {
            "student": one.name, "coach": about.loc[one.name, "coach"], "word": one.word,
            "sessions": len(one.sessions.label) if one.sessions else 0, "shots": one.shots,
            "last_session": f"{one.last:%Y-%m-%d}" if one.last is not None else "",
        }  # fmt: skip
        if one.progress and one.sessions:
            angles = one.sessions.unit == "rad"
            factor = to_mrad(1.0) if angles else 1.0
            row["months"] = one.progress.months
            row["unit"] = "mrad" if angles else "mm"
            row["sigma_last"] = factor * float(one.sessions.sigma[-1])
            for name, estimate in (
                ("sigma_ratio", one.progress.sigma_ratio),
                ("drift_right", one.progress.drift_x.scaled(factor)),
                ("drift_high", one.progress.drift_y.scaled(factor)),
            ):
                row[name] = estimate.value
                row[f"{name}_low"], row[f"{name}_high"] = estimate.low, estimate.high
        row["left_out"] = " ".join(one.notes)
        row["goals"], row["notes"] = about.loc[one.name, "goals"], about.loc[one.name, "notes"]
        rows.append(row)
    return pd.DataFrame(rows)
