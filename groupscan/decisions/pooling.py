"""Which shots may be pooled, and what the reader should know where they are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from groupscan.decisions.shot_table import listed_distances
from groupscan.errors import TableError

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

__all__ = [
    "NEVER_MIXED",
    "POOLED",
    "blocks_of",
    "distances_of",
    "labelled",
    "need",
    "one_distance",
    "pooling_notes",
    "values_in",
    "xy_of",
]

# Shots of these are never one group: another bow, or another shooter, is another question.
NEVER_MIXED: Final = ("rig", "shooter")
# Shots of these may be, since a season or a reach goes over them; but the reader is told, for a
# tuner moves the group with each of them.
POOLED: Final = ("head", "build", "setup")
_LISTED: Final = 6
_SAME_DISTANCE: Final = 1.01


def pooling_notes(table: pd.DataFrame) -> tuple[str, ...]:
    """Return what the reader should know about shots that are pooled; refuse what cannot be.

    Raises
    ------
    TableError
        If there is no shot, or shots of several rigs or shooters.
    """
    if table.empty:
        raise TableError("no shot is left: choose fewer conditions")
    for column in NEVER_MIXED:
        there = values_in(table, column)
        if len(there) > 1:
            raise TableError(
                f"the shots are of {len(there)} {column}s ({', '.join(there)}), which one answer "
                f"cannot be about: choose one with --{column}"
            )
    notes = [_pooled(table, column) for column in POOLED if column in table]
    marked = int(table["flyer"].sum())
    if marked:
        notes.append(
            f"{marked} of {len(table)} shots are marked as flyers and count like the others; "
            "--without-flyers leaves them out."
        )
    if gone := table.attrs.get("flyers_left_out"):
        notes.append(f"{gone} shots that are marked as flyers are left out.")
    return tuple(filter(None, notes))


def _pooled(table: pd.DataFrame, column: str) -> str:
    counts = table[column].replace("", f"no {column} named").value_counts()
    if len(counts) < 2:
        return ""
    listed = ", ".join(f"{name} {count}" for name, count in counts.head(_LISTED).items())
    if len(counts) > _LISTED:
        listed += f", {len(counts) - _LISTED} more"
    word = "with" if column == "head" else "of"
    return f"Shots {word} {len(counts)} {column}s are pooled ({listed}); --{column} chooses one."


def xy_of(table: pd.DataFrame) -> NDArray[np.float64]:
    """Return the shots' places from their aim, (n, 2), mm."""
    return table[["right_mm", "high_mm"]].to_numpy(float)


def values_in(table: pd.DataFrame, column: str) -> list[str]:
    """Return the different words of a column, in the order in which they come."""
    return [text for text in dict.fromkeys(table[column]) if text != ""]


def labelled(table: pd.DataFrame, column: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the shots whose column is filled, and a note on the others."""
    table = table.assign(**{column: table[column].astype(str).str.strip()})
    filled = table[column] != ""
    if not filled.any():
        raise TableError(f"no shot says its {column}: fill in the column {column}")
    left = int((~filled).sum())
    notes = (f"{left} shots do not say their {column} and are left out.",) if left else ()
    return table[filled], notes


def blocks_of(table: pd.DataFrame) -> tuple[NDArray[np.object_] | None, tuple[str, ...]]:
    """Return each shot's end, or its session where no ends are known; None without either."""
    if (table["end"] != "").all():
        return table["end"].to_numpy(object), ()
    notes = ("Some shots have no end: ends are not used.",) if (table["end"] != "").any() else ()
    sessions = table["session"]
    if (sessions != "").all() and len(sessions.unique()) > 1:
        return sessions.to_numpy(object), (*notes, "Each session counts as one end.")
    return None, notes


def need(known: pd.Series[bool], what: str) -> None:
    """Raise a TableError that counts the shots that do not have what is needed of all."""
    missing = int((~known).sum())
    if missing:
        raise TableError(
            f"{missing} of {len(known)} shots have no {what}: fill it in, or leave these shots out"
        )


def distances_of(table: pd.DataFrame) -> NDArray[np.float64] | None:
    """Return each shot's distance, m; None where none has one."""
    if table["distance_m"].isna().all():
        return None
    need(table["distance_m"].notna(), "distance")
    return table["distance_m"].to_numpy(float)


def one_distance(table: pd.DataFrame) -> float | None:
    """Return the one distance of all shots; refuse several."""
    distances = distances_of(table)
    if distances is None:
        return None
    if distances.max() > _SAME_DISTANCE * distances.min():
        there = listed_distances(distances.tolist())
        raise TableError(
            f"the shots are from several distances ({there}), where the same rig scatters "
            "differently: choose one with --distance, such as --distance 20yd"
        )
    return float(distances[0])
