"""Groups against a reference: heads, shafts, builds, or shots of a written order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from groupscan.decisions.pooling import (
    NEVER_MIXED,
    POOLED,
    blocks_of,
    labelled,
    need,
    one_distance,
    pooling_notes,
    values_in,
    xy_of,
)
from groupscan.errors import TableError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.stats.moves import Advice
    from groupscan.stats.offset.comparison import Comparisons
    from groupscan.stats.plan.analysis import Analysis
    from groupscan.stats.tightness.builds import Builds

__all__ = ["Compared", "Tuned", "compared"]

Tuned = Literal["head", "bare shaft"]

ONE_LOOK = (
    "Only where they hit is safe to look at again and again: the verdicts on tightness are right "
    "at the rate stated for one look, after the last shot."
)


@dataclass(frozen=True)
class Compared:
    """Groups against a reference: where they hit, how tight they are, what to move.

    Attributes
    ----------
    by, reference : str
        The column that parts the shots, and the group that the others are held against.
    shots : dict
        Number of shots of each group, the reference first.
    centres : Comparisons or None
        Where the others hit; None where a written order was analysed.
    planned : Analysis or None
        The same by the fit that belongs to a written order.
    builds : Builds
        How tight they are, one against another.
    advice : dict
        What to move, by group, where that was asked.
    notes : tuple of str
    """

    by: str
    reference: str
    shots: dict[str, int]
    centres: Comparisons | None
    planned: Analysis | None
    builds: Builds
    advice: dict[str, Advice]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        return {
            "by": self.by,
            "reference": self.reference,
            "shots": self.shots,
            "centres": self.centres.to_dict() if self.centres else None,
            "planned": self.planned.to_dict() if self.planned else None,
            "tightness": self.builds.to_dict(),
            "moves": {name: one.to_dict() for name, one in self.advice.items()},
            "notes": list(self.notes),
        }


def compared(
    table: pd.DataFrame,
    *,
    by: str,
    reference: str | None,
    tolerance_mm: float | None,
    looks: float | None = None,
    planned: bool = False,
    tuned: Tuned | Mapping[str, Tuned] | None = None,
    bow: Literal["compound", "recurve"] | None = None,
    hand: Literal["right", "left"] = "right",
) -> Compared:
    """Compare the groups that a column parts the shots into with one of them.

    Parameters
    ----------
    table : DataFrame
    by : str
        The column.
    reference : str, optional
        The group to compare with; left out: the field point, where there is one.
    tolerance_mm, looks
        As for `groupscan.stats.offset.compare_with`.
    planned : bool
        Whether the shots follow a written order, so that its own fit is used.
    tuned : {'head', 'bare shaft'} or mapping of str to them, optional
        What parts the groups, for advice; of all, or by group, where those left out get none. Left
        out: heads, where the reference is a field point.
    bow, hand
        For advice; without a bow there is none.

    Raises
    ------
    TableError, StatisticsError
        If the shots cannot be compared.
    """
    from groupscan.stats.moves import what_to_move
    from groupscan.stats.offset import compare_with
    from groupscan.stats.tightness import compare_builds

    if by not in table.columns:
        raise TableError(f"the shots have no column {by!r}; choose one of: {_texts(table)}")
    table, notes = labelled(table, by)
    notes += pooling_notes(table.assign(**_free(by)))
    distance_m = one_distance(table)
    names = values_in(table, by)
    if len(names) < 2:
        raise TableError(
            f"all shots have the {by} {names[0]!r}: two different ones are needed to compare; "
            "give shots of another too, or part them by another column with --by"
        )
    reference = _reference(names, reference, by)
    names = [reference, *(name for name in names if name != reference)]
    blocks, more = blocks_of(table)
    parts = {name: table[table[by] == name] for name in names}
    shots = {name: xy_of(part) for name, part in parts.items()}
    ends = None
    if blocks is not None:
        ends = {name: blocks[(table[by] == name).to_numpy()].tolist() for name in names}
    others = names[1:]
    centres = analysis = None
    if planned:
        analysis = _planned(table, by, names, tolerance_mm)
        found = {one.build: (one.x, one.y, one.verdict) for one in analysis.offsets}
    else:
        se = {n: p["se_mm"].tolist() for n, p in parts.items() if p["se_mm"].notna().all()}
        centres = compare_with(
            shots[reference],
            {name: shots[name] for name in others},
            tolerance_mm=tolerance_mm,
            reference_end=ends[reference] if ends else None,
            other_ends={name: ends[name] for name in others} if ends else None,
            reference_se_mm=se.get(reference),
            other_se_mm={name: se[name] for name in others if name in se},
            distance_m=distance_m,
            looks=looks,
        )
        found = {name: (one.x, one.y, one.verdict) for name, one in centres.against.items()}
    if tuned is None and by == "head" and reference.casefold().startswith("field"):
        tuned = "head"
    if looks is not None and looks > 1:
        more += (ONE_LOOK,)
    advice = {}
    if bow is not None and tuned is not None:
        kinds = dict.fromkeys(found, tuned) if isinstance(tuned, str) else tuned
        for name, (x, y, verdict) in found.items():
            if name in kinds:
                advice[name] = what_to_move(x, y, verdict, compared=kinds[name], bow=bow, hand=hand)
    return Compared(
        by=by,
        reference=reference,
        shots={name: len(part) for name, part in parts.items()},
        centres=centres,
        planned=analysis,
        builds=compare_builds(shots, ends=ends),
        advice=advice,
        notes=notes + more,
    )


def _reference(names: Sequence[str], wanted: str | None, by: str) -> str:
    listed = ", ".join(names)
    if wanted is None:
        fields = [name for name in names if name.casefold().startswith("field")]
        if len(fields) != 1:
            raise TableError(f"say with --reference which {by} to compare with: {listed}")
        return fields[0]
    for name in names:
        if name.casefold() == wanted.strip().casefold():
            return name
    raise TableError(f"no shot has the {by} {wanted!r}: there is {listed}")


def _texts(table: pd.DataFrame) -> str:
    """Return the columns whose words can part the shots, those that the shots fill in."""
    texts = (name for name in table.columns if table[name].dtype.kind == "O")
    return ", ".join(str(name) for name in texts if values_in(table, name))


def _free(by: str) -> dict[str, str]:
    """Return what to blank so that the compared column may differ."""
    if by == "rig":
        return {"rig": "", "setup": ""}  # each has setups of its own
    return {by: ""} if by in (*NEVER_MIXED, *POOLED) else {}


def _planned(
    table: pd.DataFrame, by: str, names: Sequence[str], tolerance_mm: float | None
) -> Analysis:
    """Fit head or build, end and arrow together, as a written order was shot."""
    from groupscan.stats.plan import PlannedShot, ShootingOrder
    from groupscan.stats.plan.analysis import analyse_order

    need(table["end"] != "", "end")
    need(table["arrow"].astype(str) != "", "arrow")
    ends = {end: number for number, end in enumerate(dict.fromkeys(table["end"]), 1)}
    shots = tuple(
        PlannedShot(number, ends[end], number, str(arrow), str(build))
        for number, (end, arrow, build) in enumerate(
            zip(table["end"], table["arrow"], table[by], strict=True), 1
        )
    )
    builds_of: dict[str, set[str]] = {}
    for shot in shots:
        builds_of.setdefault(shot.arrow, set()).add(shot.build)
    order = ShootingOrder(
        builds=tuple(names),
        arrows=tuple(builds_of),
        ends=len(ends),
        rotated=any(len(builds) > 1 for builds in builds_of.values()),
        seed=0,
        shots=shots,
        notes=(),
    )
    return analyse_order(order, xy_of(table), tolerance_mm=tolerance_mm)
