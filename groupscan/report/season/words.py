"""What a season means and what to do about it, in a coach's words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from groupscan.report.season.reading import Reading
from groupscan.stats.intervals import Estimate
from groupscan.stats.trend import Change, Progress, Today, Trend
from groupscan.units import format_estimate

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Finding",
    "findings",
    "progress_words",
    "season_sentence",
    "session_rows",
    "within_lines",
    "work_on",
]

Kind = Literal["sigma", "centre", "slope", "drift", "ends", "first arrow", "last session"]

_FEW: Final = 4
_ABOUT: Final = {
    "sigma": "groups changed for good",
    "centre": "the centre moved",
    "slope": "groups change over the season",
    "drift": "the centre creeps",
    "ends": "groups open up from end to end",
    "first arrow": "the first arrow lands apart",
    "last session": "the last session",
}
_EPOCH: Final = date(1970, 1, 1)


@dataclass(frozen=True)
class Finding:
    """Something that the shots of a season show beyond chance.

    Attributes
    ----------
    kind : str
    what : str
        What changed, as part of a sentence; it may hold a user's text.
    todo : str
        What to do about it.
    """

    kind: Kind
    what: str
    todo: str

    @property
    def short(self) -> str:
        """What to do, and in brackets what it is about."""
        return f"{_capital(self.todo)} ({_ABOUT[self.kind]})."

    @property
    def change(self) -> str:
        """What changed, as a sentence of its own."""
        return f"{_capital(self.what)}."

    @property
    def sentence(self) -> str:
        """Both, as a sentence of its own."""
        return f"{_capital(self.what)}: {self.todo}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def findings(
    trend: Trend,
    progress: Progress,
    names: Sequence[str],
    reading: Reading,
    *,
    today: Today | None = None,
    gear: pd.DataFrame | None = None,
    order_known: bool = True,
) -> list[Finding]:
    """List what a season shows beyond chance, the weightiest first.

    Parameters
    ----------
    trend : Trend
    progress : Progress
        Of the same sessions.
    names : sequence of str
        What the sessions are called.
    reading : Reading
    today : Today, optional
        The last session against those before it.
    gear : DataFrame, optional
        Changes of gear: columns day, what and notes.
    order_known : bool
        Whether it is known which arrow was the first.

    Notes
    -----
    Each kind of finding is wrong in at most one season of twenty in which nothing changed. A
    change of gear is named where a lasting change may have begun with the first session after it:
    that the one made the other is for the reader to judge.
    """
    return [
        *_lasting(trend, progress, names, reading, gear),
        *_within(trend, reading, order_known),
        *_last(today, names),
    ]


def _lasting(
    trend: Trend, progress: Progress, names: Sequence[str], reading: Reading,
    gear: pd.DataFrame | None,
) -> list[Finding]:  # fmt: skip
    found = []
    for change in trend.sigma_changes.changes:
        since, suspect = _since(trend, change, names, gear)
        assert change.ratio is not None
        if change.ratio.value > 1:
            todo = (
                f"check what {suspect} changed, put it right and shoot three more sessions"
                if suspect
                else "look for what changed about then (string, rest, arrows, form) and note it"
            )
        else:
            todo = f"keep {suspect}" if suspect else "keep what you changed about then, and note it"
        # Gear changed just then speaks for one break; with nothing to go by, tell both readings.
        slowly = "" if suspect else _or_slowly(trend, change, progress)
        what = f"groups are {_times(change.ratio)} as wide {since}{slowly}"
        found.append(Finding("sigma", what, todo))
    for change in trend.centre_changes.changes:
        since, suspect = _since(trend, change, names, gear)
        assert change.shift_x is not None
        assert change.shift_y is not None
        moved = reading.sides(change.shift_x, change.shift_y)
        todo = (
            f"set the sight anew, unless you undo {suspect}"
            if suspect
            else "check sight screws, rest and anchor before you move the sight"
        )
        found.append(Finding("centre", f"the centre moved {moved} {since}", todo))
    if not trend.sigma_changes.changes and (progress.wider or progress.steadier):
        todo = (
            "look for what grows with time: a worn string, loose screws, tiredness, then form"
            if progress.wider
            else "go on as you do"
        )
        what = f"groups have come to be {_times(progress.sigma_ratio)} as wide over the season"
        found.append(Finding("slope", what, todo))
    if not trend.centre_changes.changes and progress.drifts:
        moved = reading.sides(progress.drift_x, progress.drift_y)
        todo = "check the anchor and the sight's screws before you move the sight"
        found.append(Finding("drift", f"the centre crept {moved} over the season", todo))
    return found


def _or_slowly(trend: Trend, change: Change, progress: Progress) -> str:
    """Say what the season comes to as a slope, where it shows that beside the break."""
    if not (progress.wider or progress.steadier):
        return ""
    slope = _times(progress.sigma_ratio)
    assert change.ratio is not None
    if len(trend.sigma_changes.changes) > 1 or (change.ratio.value > 1) != progress.wider:
        return f" (over the whole season {slope})"
    return f" if it was one break, and {slope} as wide as at the start if it came little by little"


def _times(ratio: Estimate) -> str:
    return format_estimate(ratio.value, ratio.low, ratio.high, "times")


def _since(
    trend: Trend, change: Change, names: Sequence[str],
    gear: pd.DataFrame | None,
) -> tuple[str, str]:  # fmt: skip
    """Say from when on, and which change of gear was made just before, in the user's words."""
    place = {label: i for i, label in enumerate(trend.sessions.label)}
    first, earliest, latest = (
        place[label] for label in (change.first_after, change.earliest, change.latest)
    )
    since = f"from {names[first]} on"
    if gear is None or gear.empty or not np.isfinite(trend.sessions.day).all():
        return since, ""
    days = np.floor(trend.sessions.day)
    made = [(row["day"].date(), str(row["what"])) for row in gear.to_dict("records")]
    after = [
        int(np.searchsorted(days, float((day - _EPOCH).days)))  # the first session with it
        for day, _ in made
    ]
    near = [
        (abs(at - first), -at, what)
        for at, (_, what) in zip(after, made, strict=True)
        if earliest <= at <= latest
    ]
    if not near:
        return since, ""
    what = f"“{min(near)[2]}”"
    return f"{since}, the first session after {what}", what


def _within(trend: Trend, reading: Reading, order_known: bool) -> list[Finding]:
    found = []
    tired = trend.fatigue
    if tired.percent.low > 0:
        percent = format_estimate(tired.percent.value, tired.percent.low, tired.percent.high, "%")
        found.append(
            Finding(
                "ends",
                f"groups open up by {percent} from each end to the next",
                "shoot fewer ends, or rest between them",
            )
        )
    cold = trend.cold_arrow
    if order_known and cold.offset_p < 0.05:
        found.append(
            Finding(
                "first arrow",
                f"the first arrow lands {reading.sides(cold.x, cold.y)} of the rest",
                "practise cold first arrows, and hold for where they land",
            )
        )
    return found


def _last(today: Today | None, names: Sequence[str]) -> list[Finding]:
    if today is None or today.verdict not in ("wider", "tighter"):
        return []
    what = f"the last session, {names[-1]}, was {today.verdict} than usual"
    return [
        Finding("last session", what, "one session is no trend; shoot another before you act on it")
    ]


def season_sentence(found: Sequence[Finding], trend: Trend, *, todo: bool = True) -> str:
    """Say in one sentence what changed and what to do.

    Parameters
    ----------
    found : sequence of Finding
        From `findings`; the first is said, the others are for a list below.
    trend : Trend
        Of the same season.
    todo : bool, default True
        Whether to say what to do; not where `work_on` stands below.
    """
    if found:
        return found[0].sentence if todo else found[0].change
    sessions = trend.baseline.sessions
    if sessions < _FEW:
        held = {0: "No session yet tells", 1: "One session tells"}.get(
            sessions, f"{sessions} sessions tell"
        )
        return (
            f"{held} too little to say what changes: shoot the same rig, head and aim on "
            f"{_FEW} different days."
        )
    return (
        "Nothing changed that chance would not explain: leave the rig as it is, and go on "
        "recording sessions."
    )


def work_on(found: Sequence[Finding]) -> tuple[str, ...]:
    """List what to work on, below a sentence that says what the first finding is.

    Parameters
    ----------
    found : sequence of Finding
        From `findings`.

    Examples
    --------
    >>> work_on([Finding("drift", "the centre crept 9 mm low", "check the anchor")])
    ('Check the anchor (the centre creeps).',)
    """
    if not found:
        return ("Nothing that these shots show. Go by the goals.",)
    return (found[0].short, *(one.sentence for one in found[1:]))


def progress_words(progress: Progress | None, reading: Reading) -> str:
    """Say what a word of progress rests on.

    Examples
    --------
    >>> progress_words(None, Reading("mm", 18.0))
    'no shots yet'
    """
    if progress is None:
        return "no shots yet"
    ratio = progress.sigma_ratio
    if not math.isfinite(ratio.low):
        return "sessions on four different days are needed"
    parts = []
    if progress.wider or progress.steadier or not progress.drifts:
        little = "became little by little " if progress.wider or progress.steadier else ""
        parts.append(f"groups {little}{_times(ratio)} as wide as at the start")
    if progress.drifts:
        parts.append(f"centre crept {reading.sides(progress.drift_x, progress.drift_y)}")
    if progress.word == "too few arrows":
        parts.append("too open to call it steady")
    return "; ".join(parts)


def session_rows(
    trend: Trend, names: Sequence[str], reading: Reading, *, last: int | None = None
) -> list[tuple[str, ...]]:
    """Return the sessions as rows of a table, the newest first.

    Each has its name, its shots, sigma, and the centre to the right and up, with their intervals
    and without the unit, which is ``reading.where``.
    """
    s = trend.sessions
    rows = []
    for i in reversed(range(len(names))):
        x, y = s.centre_of(i)
        rows.append(
            (names[i], str(int(s.n[i])), *(reading.bare(one) for one in (s.sigma_of(i), x, y)))
        )
    return rows[:last]


def within_lines(trend: Trend, reading: Reading, *, order_known: bool) -> tuple[str, str]:
    """Say how a session goes, whether clear or not: from end to end, and its first arrow."""
    tired = trend.fatigue
    if math.isnan(tired.percent.low):
        ends = "too few ends to tell a change."
    else:
        told = tired.percent.value, tired.percent.low, tired.percent.high
        if tired.percent.low > 0:
            ends = f"groups open up by {format_estimate(*told, '%')} an end."
        elif tired.percent.high < 0:
            less = (-told[0], -told[2], -told[1])
            ends = f"groups tighten by {format_estimate(*less, '%')} an end."
        else:
            ends = f"no steady change shows; sigma {format_estimate(*told, '%')} an end."
    cold = trend.cold_arrow
    if not order_known:
        first = "First arrow: a photo does not tell which arrow was shot first."
    elif math.isnan(cold.x.low):
        first = "First arrow: too few sessions to tell."
    else:
        apart = "apart from the rest" if cold.offset_p < 0.05 else "with the rest, as far as seen"
        place = reading.sides(cold.x, cold.y)
        first = f"First arrow of {cold.sessions} sessions: {apart}; {place}."
    return f"From end to end: {ends}", first
