"""What was changed on the gear during a season, and when: to hold against what the shots show."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["gear_changes"]


def gear_changes(table: pd.DataFrame, setups: pd.DataFrame | None = None) -> pd.DataFrame:
    """List the changes of setup and of arrows within a season.

    Parameters
    ----------
    table : DataFrame
        Shots of the records, of one rig; see `groupscan.decisions.shot_table`.
    setups : DataFrame, optional
        From `groupscan.records.store.list_setups`: of all rigs.

    Returns
    -------
    DataFrame
        Columns day, what and notes, the earliest first. A setup counts from the day that it was
        noted for; one that was there before the first session is no change. Arrows count as
        changed from the first session on that was shot mostly with another build.

    Examples
    --------
    >>> import pandas as pd
    >>> days = pd.to_datetime(["2026-05-01", "2026-05-01", "2026-05-08", "2026-05-08"])
    >>> shots = pd.DataFrame({"day": days, "session": [1, 1, 2, 2], "rig": "Heron"})
    >>> shots["build"] = ["light", "light", "heavy", "heavy"]
    >>> gear_changes(shots)[["day", "what"]].astype(str).values.tolist()
    [['2026-05-08', 'arrows: heavy, after light']]
    """
    import pandas as pd

    changes = [*_setups(table, setups), *_builds(table)]
    frame = pd.DataFrame(changes, columns=["day", "what", "notes"])
    return frame.sort_values("day", kind="stable", ignore_index=True)


def _setups(
    table: pd.DataFrame, setups: pd.DataFrame | None
) -> list[tuple[pd.Timestamp, str, str]]:
    days = table["day"].dropna()
    if setups is None or setups.empty or days.empty:
        return []
    own = setups[setups["rig"].isin([name for name in table["rig"].unique() if name])]
    if "setup_id" in table:
        # Two shooters may each have a rig of this name: the sessions say whose it is.
        used = own[own["id"].isin(table["setup_id"].dropna())]["rig_id"].unique()
        own = own[own["rig_id"].isin(used)] if len(used) else own
    own = own[(own["since"] > days.min()) & (own["since"] <= days.max())]
    return [
        (row["since"], str(row["changed"] or "setup noted anew"), str(row["notes"] or ""))
        for row in own.to_dict("records")
    ]


def _builds(table: pd.DataFrame) -> list[tuple[pd.Timestamp, str, str]]:
    named = table[(table["build"] != "") & table["day"].notna()] if "build" in table else table[:0]
    if named["build"].nunique() < 2:
        return []
    by_session = named.groupby("session", sort=False)
    mostly = by_session["build"].agg(lambda builds: builds.value_counts().index[0])
    day = by_session["day"].first().sort_values(kind="stable")
    mostly = mostly[day.index]
    before = mostly.shift()
    changed = before.notna() & (mostly != before)
    return [
        (day[key], f"arrows: {mostly[key]}, after {before[key]}", "")
        for key in mostly.index[changed]
    ]
