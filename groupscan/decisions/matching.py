"""Kinds of arrow overlaid about one aim: which shots can be compared, and all that is drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from groupscan.decisions.comparing import Compared, Tuned, compared
from groupscan.decisions.pooling import blocks_of, values_in, xy_of

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from groupscan.stats.intervals import Ellipse
    from groupscan.stats.offset import Look

__all__ = [
    "PARTED_BY",
    "Match",
    "after_each_end",
    "common_sessions",
    "comparable",
    "kinds_in",
    "match_of",
    "same_setup",
    "tuned_by_head",
    "usual_reference",
]

#: What may part shots into kinds that are compared.
PARTED_BY: Final = ("head", "build", "setup", "rig")
_CONFIDENCE: Final = 0.95
_MOST_LOOKS: Final = 40
"""More marks than this run into one another on a phone."""


@dataclass(frozen=True)
class Match:
    """Kinds of arrow against one of them, with the shots to draw.

    Attributes
    ----------
    compared : Compared
        Verdicts, tightness, advice, notes.
    shots : DataFrame
        The shots that were compared: ``kind``, ``right_mm``, ``high_mm``, ``called``.
    centres : dict of str to Ellipse
        Centre of each kind's shots, as they hit, with its 95 % region.
    left_out : int
        Shots of ends that hold one kind only, which say nothing of how the kinds differ.
    """

    compared: Compared
    shots: pd.DataFrame
    centres: dict[str, Ellipse]
    left_out: int

    @property
    def tolerance_mm(self) -> float | None:
        """The tolerance that the verdicts were held to; None where none was given."""
        if self.compared.planned is not None:
            return self.compared.planned.tolerance_mm
        if self.compared.centres is None:
            return None
        return next(iter(self.compared.centres.against.values())).tolerance_mm


def kinds_in(table: pd.DataFrame, by: str) -> dict[str, int]:
    """Return the kinds that a column parts shots into, with their shots, most shots first.

    Examples
    --------
    >>> import pandas as pd
    >>> kinds_in(pd.DataFrame({"head": ["field", "broad", "field", ""]}), "head")
    {'field': 2, 'broad': 1}
    """
    if by not in table:
        return {}
    counts = table[by].value_counts()
    return {str(name): int(count) for name, count in counts.items() if name}


def usual_reference(table: pd.DataFrame, by: str, names: Sequence[str]) -> str:
    """Return the kind that others are usually held against.

    A field point among heads, the setup before the others; else the one with the most shots.

    Parameters
    ----------
    table : DataFrame
    by : str
    names : sequence of str
        Kinds, most shots first; not empty.
    """
    if by == "setup":
        first = table.drop_duplicates(by).sort_values("day", kind="stable")[by]
        return next(str(name) for name in first if name in names)
    fields = [name for name in names if _kind_of(table, by, name) == "field point"]
    fields += [name for name in names if name.casefold().startswith("field")]
    return fields[0] if by == "head" and fields else names[0]


def _kind_of(table: pd.DataFrame, by: str, name: str) -> str:
    if "head_kind" not in table:
        return ""
    kinds = table.loc[table[by] == name, "head_kind"]
    return str(kinds.iloc[0]) if len(kinds) else ""


def tuned_by_head(table: pd.DataFrame, reference: str, names: Sequence[str]) -> dict[str, Tuned]:
    """Return which heads have rules of common practice against the reference.

    Broadheads have them against field points, bare shafts against fletched arrows.

    Parameters
    ----------
    table : DataFrame
        Of the records: ``head_kind`` says what each head is.
    reference : str
    names : sequence of str
        The other heads.
    """
    of_reference = _kind_of(table, "head", reference)
    is_field = of_reference == "field point" or reference.casefold().startswith("field")
    found: dict[str, Tuned] = {}
    for name in names:
        kind = _kind_of(table, "head", name)
        if kind == "bare shaft" and of_reference != "bare shaft":
            found[name] = "bare shaft"
        elif is_field and kind != "field point":
            found[name] = "head"
    return found


def comparable(table: pd.DataFrame, by: str) -> pd.DataFrame:
    """Return the shots of each shooter, rig, head and distance that have two kinds or more.

    Parameters
    ----------
    table : DataFrame
    by : str
        One of `PARTED_BY`.
    """
    import numpy as np

    if by not in table or table.empty:
        return table.iloc[:0]
    same = [name for name in ("shooter", "rig", "head") if name != by]
    table = table[table[by] != ""]
    # Distances typed in m and in yd are one distance: to within a hundredth, by the logarithm.
    metres = table["distance_m"].where(table["distance_m"] > 0)
    far = np.log(metres).round(2).fillna(-1.0)
    groups = table.groupby([*(table[name] for name in same), far])
    kept: pd.DataFrame = table[groups[by].transform("nunique") > 1]
    return kept


def common_sessions(table: pd.DataFrame, by: str) -> list[str]:
    """Return the sessions that hold two kinds or more, the latest first.

    Examples
    --------
    >>> import pandas as pd
    >>> shots = pd.DataFrame({"session": list("aabbb"), "head": ["x", "x", "x", "y", ""]})
    >>> common_sessions(shots, "head")
    ['b']
    """
    kinds = table[table[by] != ""].groupby("session", sort=False)[by].nunique()
    return [str(name) for name in kinds.index[kinds > 1]][::-1]


def same_setup(table: pd.DataFrame, sessions: Sequence[str]) -> list[str]:
    """Return those of the sessions with the setup of the first of them: since the last change.

    Parameters
    ----------
    table : DataFrame
    sessions : sequence of str
        The latest first; not empty.
    """
    if "setup" not in table:
        return list(sessions)
    setup = table.drop_duplicates("session").set_index("session")["setup"]
    return [name for name in sessions if setup[name] == setup[sessions[0]]]


def match_of(
    table: pd.DataFrame,
    *,
    by: str,
    reference: str,
    others: Sequence[str],
    tolerance_mm: float | None,
    looks: float | None = None,
    planned: bool = False,
    tuned: Mapping[str, Tuned] | None = None,
    bow: Literal["compound", "recurve"] | None = None,
    hand: Literal["right", "left"] = "right",
) -> Match:
    """Compare kinds of arrow with one of them and gather what is drawn.

    Parameters
    ----------
    table : DataFrame
        One row a shot; other kinds are left out.
    by : str
        One of `PARTED_BY`.
    reference : str
    others : sequence of str
        The kinds that are held against the reference.
    tolerance_mm, looks, planned, tuned, bow, hand
        As for `groupscan.decisions.comparing.compared`.

    Raises
    ------
    TableError, StatisticsError
        If the shots cannot be compared.
    """
    from groupscan.stats.intervals import centre_ellipse

    table = table[table[by].isin([reference, *others])]
    found = compared(
        table,
        by=by,
        reference=reference,
        tolerance_mm=tolerance_mm,
        looks=looks,
        planned=planned,
        tuned=dict(tuned or {}),
        bow=bow,
        hand=hand,
    )
    drawn = table
    if found.centres is not None and any(c.ends for c in found.centres.against.values()):
        blocks, _ = blocks_of(table)
        if blocks is not None:
            drawn = table[table.groupby(blocks)[by].transform("nunique") > 1]
    parts = {name: drawn[drawn[by] == name] for name in found.shots}
    shots = drawn.assign(kind=drawn[by], called=_names(drawn))
    return Match(
        compared=found,
        shots=shots[["kind", "right_mm", "high_mm", "called"]].reset_index(drop=True),
        centres={
            name: centre_ellipse(xy.mean(axis=0), _covariance(xy), len(xy), _CONFIDENCE)
            for name, xy in ((name, xy_of(part)) for name, part in parts.items())
            if len(xy)
        },
        left_out=len(table) - len(drawn),
    )


def _covariance(xy: NDArray[np.float64]) -> NDArray[np.float64]:
    import numpy as np

    return np.cov(xy, rowvar=False) if len(xy) > 1 else np.zeros((2, 2))


def _names(table: pd.DataFrame) -> list[str]:
    """Call each shot by its session, its end's place among those of the session, and its arrow."""
    counted: dict[str, dict[str, int]] = {}
    words = []
    columns = (table[name].tolist() for name in ("session", "end", "arrow", "name"))
    for session, end, arrow, name in zip(*columns, strict=True):
        ends = counted.setdefault(session, {})
        told = [session, f"end {ends.setdefault(end, len(ends) + 1)}" if end else ""]
        told.append(f"arrow {arrow}" if arrow else f"shot {name}" if name else "")
        words.append(", ".join(filter(None, told)))
    return words


def after_each_end(
    table: pd.DataFrame,
    *,
    by: str,
    reference: str,
    others: Sequence[str],
    tolerance_mm: float | None,
    looks: float = float("inf"),
) -> dict[str, list[Look]]:
    """Return how each comparison stood after each end, as someone saw it who looked then.

    Parameters
    ----------
    table, by, reference, others, tolerance_mm
        As for `match_of`.
    looks : float
        Most looks that are taken; infinite for any number.

    Returns
    -------
    dict of str to list of Look
        By kind, one for each end that holds it and the reference, in the order shot; of very many
        ends, some evenly spread. The rate of false verdicts is that of one comparison: shared out
        among the others, over all looks. Empty where no ends are known.
    """
    from groupscan.stats.offset import look_after_each_end

    table = table[table[by].isin([reference, *others])]
    blocks, _ = blocks_of(table)
    if blocks is None:
        return {}
    order = {end: number for number, end in enumerate(dict.fromkeys(blocks), 1)}
    ends = table.assign(_end=[order[end] for end in blocks])
    found = {}
    for name in values_in(table[table[by].isin(list(others))], by):
        shared = ends[ends[by].isin([reference, name])]
        shared = shared[shared.groupby("_end")[by].transform("nunique") > 1]
        first, second = (shared[shared[by] == kind] for kind in (reference, name))
        if first.empty or second.empty:
            continue
        found[name] = look_after_each_end(
            xy_of(first),
            xy_of(second),
            first_end=first["_end"].tolist(),
            second_end=second["_end"].tolist(),
            tolerance_mm=tolerance_mm,
            confidence=1 - (1 - _CONFIDENCE) / len(others),
            looks=looks,
            most=_MOST_LOOKS,
        )
    return found
