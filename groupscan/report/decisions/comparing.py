"""Groups against a reference, as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from groupscan.report.decisions.layout import Part, Shown, bare, line, table, titled
from groupscan.report.match.scene import offsets_of
from groupscan.report.match.words import verdict_sentence
from groupscan.stats.intervals import Estimate
from groupscan.stats.moves import Advice
from groupscan.stats.offset.comparison import Comparisons
from groupscan.stats.plan.analysis import Analysis
from groupscan.stats.tightness.builds import Builds, Tightness

__all__ = ["compare_parts"]


def compare_parts(
    reference: str,
    shots: Mapping[str, int],
    *,
    centres: Comparisons | None,
    planned: Analysis | None,
    builds: Builds,
    advice: Mapping[str, Advice],
    advised: str,
    shown: Shown,
) -> list[Part]:
    """Lay a comparison out: verdicts, offsets, tightness, what to move, notes of each.

    Parameters
    ----------
    reference : str
        The group that the others are held against.
    shots : mapping of str to int
        Shots of each group.
    centres : Comparisons or None
    planned : Analysis or None
        One of the two.
    builds : Builds
    advice : mapping of str to Advice
        By group; empty for none.
    advised : str
        For whom the advice is, such as "compound, right-handed"; or why there is none.
    shown : Shown
    """
    parts = list(_verdicts(reference, centres, planned, shown))
    parts += _offsets(reference, shots, centres, planned, shown)
    parts += _tightness(builds)
    parts += _moves({name: one.said(shown.told) for name, one in advice.items()}, advised)
    return parts


def _verdicts(
    reference: str, centres: Comparisons | None, planned: Analysis | None, shown: Shown
) -> Iterator[Part]:
    yield titled(f"Where they hit, against {reference}")
    offsets = offsets_of(centres, planned)
    for one in offsets:
        yield line(verdict_sentence(one, reference, shown.unit, distance_m=shown.distance_m))
    if planned is not None:
        yield line(planned.how, "dim")
    answer = centres or planned
    level, m = 1 - (answer.confidence if answer is not None else 0.95), len(offsets)
    together = f", all {m} comparisons counted" if m > 1 else ""
    yield line(
        f"Of 100 such verdicts 'apart' at most {100 * level:.0f} are wrong, and as many of "
        f"'together'{together}.",
        "dim",
    )


def _offsets(
    reference: str,
    shots: Mapping[str, int],
    centres: Comparisons | None,
    planned: Analysis | None,
    shown: Shown,
) -> Iterator[Part]:
    rows: dict[str, tuple[Estimate, Estimate, Estimate]] = {}
    used, held = shots, f"{shots[reference]} shots"
    if centres is not None:
        rows = {name: (one.x, one.y, one.distance) for name, one in centres.against.items()}
        # Shots that share no end with the other group are left out of the comparison.
        used = {name: one.second_n for name, one in centres.against.items()}
        of_reference = sorted({one.first_n for one in centres.against.values()})
        if of_reference != [shots[reference]]:
            held = f"{' or '.join(map(str, of_reference))} of its {held}"
    elif planned is not None:
        rows = {one.build: (one.x, one.y, one.distance) for one in planned.offsets}
    yield table(
        f"Centres from that of {reference} ({held}), {shown.short}; in brackets the 95% interval",
        ("", "shots", "right +", "high +", "distance"),
        [
            (name, str(used[name]), *(shown.bare(one) for one in each))
            for name, each in rows.items()
        ],
    )
    if centres is not None:
        for note in _merged({name: one.notes for name, one in centres.against.items()}):
            yield line(f"- {shown.told(note)}")
    elif planned is not None:
        for note in planned.notes:
            yield line(f"- {shown.told(note)}")


def _merged(notes: Mapping[str, Sequence[str]]) -> list[str]:
    """Return each note once: those of all groups as they are, others with the group's name."""
    every = set.intersection(*(set(own) for own in notes.values()))
    told = [note if note in every else f"{name}: {note}" for name in notes for note in notes[name]]
    return list(dict.fromkeys(told))


def _tightness(builds: Builds) -> Iterator[Part]:
    yield titled("How tight they are")
    yield table(
        "Sigma of the first over sigma of the second; below 1 the first is tighter",
        ("first", "second", "verdict", "ratio", "more each"),
        [(p.first, p.second, p.verdict, bare(p.ratio), _more(p)) for p in builds.pairs],
        words=3,
    )
    notes = [note for pair in builds.pairs for note in pair.notes]
    for note in dict.fromkeys((*notes, *builds.notes)):
        yield line(f"- {note}")


def _more(pair: Tightness) -> str:
    return "" if pair.more_arrows is None else str(pair.more_arrows)


def _moves(advice: Mapping[str, Advice], advised: str) -> Iterator[Part]:
    yield titled("What to move")
    if not advice:
        yield line(advised)
        return
    yield line(f"For {advised}; common practice.", "dim")
    cautions: list[str] = []
    for name, one in advice.items():
        if one.first is None:
            yield line(f"{name}: {' '.join(one.notes)}")
            continue
        yield line(f"{name}, first: {one.first.words}")
        for move in one.later:
            yield line(f"{name}, later, if it is still wanted: {move.words}")
        for reading in one.readings:
            yield line(reading)
        cautions += one.notes
    for caution in dict.fromkeys(cautions):
        yield line(f"! {caution}", "yellow")
