"""Tables of shots: read from CSV files or from the records, checked, and chosen from.

Whatever they come from, the table has one row a shot and at least these columns:

==================  ==============================================================================
column              what it holds; empty text or NaN where not known
==================  ==============================================================================
right_mm, high_mm   position from the point of aim
session, day        the session's label, and its date
end                 the end's label, one of its own for every end of every session
order               place in the session in the order shot; a photo does not tell it
first               whether it is the first shot of its session, where that is known
name                what the shot is called in its end
distance_m          distance shot from
rig, shooter, head, arrow
flyer               whether the shooter marked it as a flyer
se_mm               standard error of the position in each axis
==================  ==============================================================================

Shots of the records, and of files that have them, come with ``build``, ``setup`` and ``purpose``
too; those of the records with ``shaft``: what one arrow is, whatever it was built into.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from groupscan.decisions.shot_csv import read_files
from groupscan.decisions.shot_records import read_records
from groupscan.errors import TableError
from groupscan.units import m_to_yd

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.connect import Store

__all__ = [
    "choose_shots",
    "listed_distances",
    "read_shot_csv",
    "shots_of_records",
    "shots_of_store",
]

# Distances typed as 18.29 m and as 20 yd are one distance.
_SAME_DISTANCE: Final = 0.01
_YES: Final = ("true", "1", "yes", "y", "x")


def read_shot_csv(paths: Sequence[Path]) -> pd.DataFrame:
    r"""Read shots from CSV files: those that the app writes, or typed by hand.

    Parameters
    ----------
    paths : sequence of Path
        Files with one shot a row and a first row of column names: ``right_mm, high_mm`` (or
        ``x_mm, y_mm``) from the point of aim, and any of ``session, date, end, order, number,
        distance_m`` (or ``distance``, such as 20 yd), ``rig, shooter, head, arrow``. Commas,
        semicolons or tabs between them; with semicolons a decimal comma is read, too.

    Returns
    -------
    DataFrame
        The module's columns, and every other column of the files as text.

    Raises
    ------
    TableError
        If a file cannot be read, lacks a column, has no shot or a cell that makes no sense; the
        message names the file and the row, as a spreadsheet counts them.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "shots.csv")
    ...     _ = path.write_text("end,right_mm,high_mm,head\n1,12,-7,field point\n1,-5,10,'=x\n")
    ...     read_shot_csv([path])[["right_mm", "high_mm", "head"]].values.tolist()
    [[12.0, -7.0, 'field point'], [-5.0, 10.0, '=x']]
    """
    return _finished(read_files(paths))


def shots_of_records(home: Path | None = None) -> pd.DataFrame:
    """Return all shots that the records hold.

    Parameters
    ----------
    home : Path, optional
        Folder of the records; left out: the user's own.

    Returns
    -------
    DataFrame
        The module's columns and those of `groupscan.records.store.shots_frame`.

    Raises
    ------
    TableError
        If they hold none.
    StoreError
        If they cannot be opened.
    """
    from groupscan.records.store import open_store

    with closing(open_store(home)) as store:
        return shots_of_store(store)


def shots_of_store(
    store: Store, *, day_text: Callable[[date], str] = date.isoformat
) -> pd.DataFrame:
    """Return all shots of records that are open; see `shots_of_records`.

    Sessions and setups are called by their days: `day_text` writes these as the reader likes them.
    """
    return _finished(read_records(store, day_text), day_text)


def choose_shots(
    table: pd.DataFrame,
    *,
    rig: str | None = None,
    shooter: str | None = None,
    head: str | None = None,
    build: str | None = None,
    setup: str | None = None,
    sessions: Sequence[str] = (),
    distance_m: float | None = None,
    without_flyers: bool = False,
    day_text: Callable[[date], str] = date.isoformat,
) -> pd.DataFrame:
    """Return the shots that were asked for.

    Parameters
    ----------
    table : DataFrame
        From `read_shot_csv` or `shots_of_records`.
    rig, shooter, head, build, setup : str, optional
        Only these, whatever the case of the letters; a setup also by its day.
    sessions : sequence of str
        Only these, by label or by date; empty: all.
    distance_m : float, optional
        Only shots from here, to within 1 %; where no shot has a distance, the distance of all.
    without_flyers : bool
        Leave out the shots that the shooter marked as flyers.
    day_text : callable
        Writes the days that tell arrows apart as the reader likes them.

    Returns
    -------
    DataFrame
        Different arrows that have the same number on them are told apart by their build, or by
        the day from which they were shot.

    Raises
    ------
    TableError
        If there is none, the message then says what there is; or if a distance is asked for and
        only some shots have one.
    """
    asked = {"rig": rig, "shooter": shooter, "head": head, "build": build, "setup": setup}
    for column, wanted in asked.items():
        if wanted is not None:
            table = _only(table, column, [wanted])
    if sessions:
        table = _only(table, "session", sessions)
    if distance_m is not None:
        table = _from_distance(table, distance_m)
    if without_flyers:
        marked = int(table["flyer"].sum())
        table = table[~table["flyer"]]
        table.attrs["flyers_left_out"] = marked
    return _with_own_arrows(table, day_text)


def _from_distance(table: pd.DataFrame, distance_m: float) -> pd.DataFrame:
    if table["distance_m"].isna().all():
        return table.assign(distance_m=distance_m)
    unknown = int(table["distance_m"].isna().sum())
    if unknown:
        raise TableError(
            f"{unknown} of {len(table)} shots have no distance, so that nobody can say whether "
            "they are from there: fill it in, or choose sessions with --session"
        )
    near = (table["distance_m"] / distance_m - 1).abs() <= _SAME_DISTANCE
    if not near.any():
        there = listed_distances(table["distance_m"].dropna().tolist())
        raise TableError(
            f"no shot from {listed_distances([distance_m])}: there are shots from {there}"
        )
    return table[near].assign(distance_m=distance_m)


def listed_distances(distances_m: Iterable[float]) -> str:
    """Return the different distances in words, in metres and in yards, the nearest first.

    Examples
    --------
    >>> listed_distances([27.432, 18.288, 18.288])
    '18.29 m (20 yd), 27.43 m (30 yd)'
    """
    return ", ".join(f"{d:.4g} m ({m_to_yd(d):.4g} yd)" for d in sorted(set(distances_m)))


def _only(table: pd.DataFrame, column: str, wanted: Sequence[str]) -> pd.DataFrame:
    if column not in table:
        raise TableError(f"the shots have no column {column}: fill it in, or ask without it")
    asked = {text.strip().casefold() for text in wanted}
    has = table[column].str.strip().str.casefold()
    keep = has.isin(asked)
    found = set(has[keep])
    if column == "session":
        days = table["day"].dt.strftime("%Y-%m-%d")
        keep |= days.isin(asked)
        found |= set(days[keep].dropna())
    if column == "setup":
        days = _setup_days(table)
        keep |= days.isin(asked)
        found |= set(days[keep].dropna())
    missing = [text for text in wanted if text.strip().casefold() not in found]
    if missing:
        there = ", ".join(list(dict.fromkeys(table[column]))[:20])
        raise TableError(f"no shot has the {column} {missing[0]!r}: there is {there or 'none'}")
    return table[keep]


def _setup_days(table: pd.DataFrame) -> pd.Series[str]:
    """Return the day in each setup's label: the first after the rig's name, which may hold one."""
    import pandas as pd

    rigs = table["rig"].str.strip() if "rig" in table else [""] * len(table)
    labels = [
        text.strip().removeprefix(name) for text, name in zip(table["setup"], rigs, strict=True)
    ]
    said = pd.Series(labels, index=table.index, dtype=object)
    return said.str.extract(r"(\d{4}-\d\d-\d\d)", expand=False)


def _finished(
    table: pd.DataFrame, day_text: Callable[[date], str] = date.isoformat
) -> pd.DataFrame:
    """Label sessions by their day and ends by their session; sort each session as it was shot."""
    own_end = table["end"] != ""
    end = (table["session"] + "/" + table["end"]).where(own_end, "")
    table = table.assign(end=end, session=_session_labels(table, day_text), flyer=_marked(table))
    order = table["session"].map({s: i for i, s in enumerate(table["session"].unique())})
    # Counted within each end where the numbers repeat: then an end goes before the next.
    known = table["order"].notna()
    again = known & table.duplicated(["session", "order"], keep=False)
    within = table["session"].isin(table.loc[again, "session"])
    ends = table["end"].map({e: i for i, e in enumerate(table["end"].unique())})
    place = table["order"].fillna(0)
    # Stable, so that rows without an order keep the one they have.
    table = table.assign(_at=order, _end=ends.where(within, 0), _place=place).sort_values(
        ["_at", "_end", "_place"], kind="stable", ignore_index=True
    ).drop(columns=["_at", "_end", "_place"])  # fmt: skip
    told = table["order"].notna().groupby(table["session"]).transform("all")
    return table.assign(first=told & ~table.duplicated("session"))


def _marked(table: pd.DataFrame) -> pd.Series[bool]:
    """Return which shots are marked as flyers; in a file by a word for yes."""
    import pandas as pd

    if "flyer" not in table:
        return pd.Series(False, index=table.index)
    if table["flyer"].dtype.kind == "b":
        return table["flyer"]
    return table["flyer"].astype(str).str.strip().str.lower().isin(_YES)


def _with_own_arrows(table: pd.DataFrame, day_text: Callable[[date], str]) -> pd.DataFrame:
    """Give each arrow a name of its own where several have the same number on them."""
    if "shaft" not in table:
        return table
    known = table[(table["arrow"] != "") & table["shaft"].notna()]
    by_shaft = known.groupby("shaft", sort=False)
    number = by_shaft["arrow"].first()
    number = number[number.duplicated(keep=False)]
    if number.empty:
        return table
    built = by_shaft["build"].agg(lambda builds: "/".join(dict.fromkeys(filter(None, builds))))
    built = built[number.index].replace("", "no build")
    since = _days_said(by_shaft["day"].min()[number.index], day_text)
    name = number + " (" + built + ")"
    for more in (", from " + since + ")", ", id " + number.index.astype(str) + ")"):
        name = name.where(~name.duplicated(keep=False), name.str.slice(stop=-1) + more)
    own = table["shaft"].map(name)
    return table.assign(arrow=own.where(own.notna(), table["arrow"]).astype(object))


def _session_labels(table: pd.DataFrame, day_text: Callable[[date], str]) -> pd.Series[str]:
    """Call a session that has only a number by its day; two of a day by both."""
    seen = table[["session", "day"]].drop_duplicates("session")
    days = _days_said(seen["day"], day_text)
    alone = ~days.duplicated(keep=False)
    labels = {
        session: (day if single else f"{day} ({session})")
        for session, day, single in zip(seen["session"], days, alone, strict=True)
        if isinstance(day, str) and session.isdigit()
    }
    return table["session"].map(lambda session: labels.get(session, session))


def _days_said(days: pd.Series[Any], day_text: Callable[[date], str]) -> pd.Series[Any]:
    """Write days, and leave those that are not known."""
    return days.map(lambda day: day_text(day.date()), na_action="ignore").astype(object)
