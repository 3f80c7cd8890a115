"""What a comparison of kinds means, said as a coach would say it, in the reader's unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from groupscan.report.match.scene import MatchOffset
from groupscan.report.words import SIDES, Unit, express, express_sides
from groupscan.stats.intervals import Estimate
from groupscan.stats.moves import Advice
from groupscan.stats.offset.verdict import direction_words
from groupscan.stats.tightness.builds import Builds, Tightness
from groupscan.units import format_estimate

__all__ = [
    "match_sentence",
    "offset_cells",
    "tightness_rows",
    "tightness_sentence",
    "verdict_sentence",
]

NOT_KNOWN: Final = "cannot be told"


def verdict_sentence(
    offset: MatchOffset, reference: str, unit: Unit = "mm", *, distance_m: float | None = None
) -> str:
    """Say what is known of one kind against the reference.

    Parameters
    ----------
    offset : MatchOffset
    reference : str
        Name of the reference.
    unit : {"mm", "inch", "moa", "mrad"}
        Unit to speak in; angles need the distance.
    distance_m : float, optional
        Shooting distance, m.
    """
    away = express(offset.distance, unit, distance_m=distance_m)
    if offset.verdict == "apart":
        where = direction_words(offset.x.value, offset.y.value)
        return f"{offset.name} is apart from {reference}: it hits {where}, {away} away."
    if offset.verdict == "together":
        return f"{offset.name} hits together with {reference}: the centres lie {away} apart."
    return f"{offset.name}: not enough arrows to say. {_wanted(offset, reference)}"


def _wanted(offset: MatchOffset, reference: str) -> str:
    more = offset.more
    if more is None or more.first is None or more.second is None:
        return "Shoot more ends of both."
    if more.first == more.second:
        return f"About {more.first} more of each would probably settle it."
    parts = [
        f"{count} of {name}"
        for count, name in ((more.first, reference), (more.second, offset.name))
        if count
    ]
    return f"About {' and '.join(parts)} more would probably settle it."


def match_sentence(
    offsets: Sequence[MatchOffset],
    reference: str,
    advice: Mapping[str, Advice],
    *,
    tolerance: str = "",
    otherwise: str = "Aim off, set a mark of its own, or leave that one at home.",
) -> str:
    """Say in a few plain sentences what it means and what to do next.

    Parameters
    ----------
    offsets : sequence of MatchOffset
    reference : str
    advice : mapping of str to Advice
        What to move, by kind, where that is known.
    tolerance : str
        The tolerance in the reader's unit; empty for none.
    otherwise : str
        What to do where some are apart, and nothing is known that brings them together.
    """
    named: dict[str, list[MatchOffset]] = {}
    for one in offsets:
        named.setdefault(one.verdict, []).append(one)
    parts = []
    if apart := named.get("apart"):
        each = [f"{one.name} hits {direction_words(one.x.value, one.y.value)}" for one in apart]
        parts.append(f"{_listed(each)} of {reference}: apart.")
    if together := named.get("together"):
        verb = "hits" if len(together) == 1 else "hit"
        within = f", within {tolerance}" if tolerance else ""
        names = _listed([one.name for one in together])
        parts.append(f"{names} {verb} together with {reference}{within}.")
    if open_ := named.get("not enough arrows"):
        names = _listed([one.name for one in open_])
        parts.append(f"Not enough arrows to judge {names}.")
    parts.append(_next(named, reference, advice, otherwise))
    return " ".join(parts)


def _next(
    named: Mapping[str, Sequence[MatchOffset]],
    reference: str,
    advice: Mapping[str, Advice],
    otherwise: str,
) -> str:
    moves = [one.first for name, one in advice.items() if one.first is not None]
    if moves:
        # One change for all; what is said of the others stands below.
        first = moves[0]
        return f"Move first: the {first.part} {first.way}, {first.step}; then shoot both again."
    if named.get("apart"):
        return otherwise
    if open_ := named.get("not enough arrows"):
        return "Move nothing yet. " + _wanted(open_[0], reference)
    return "Leave the bow as it is."


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def offset_cells(
    offset: MatchOffset, unit: Unit, *, distance_m: float | None = None
) -> tuple[str, str]:
    """Return an offset for a table: sideways and in height, with intervals."""
    across, upward = (
        express_sides(estimate, unit, SIDES[name], distance_m=distance_m)
        for name, estimate in (("offset_x", offset.x), ("offset_y", offset.y))
    )
    return across, upward


def tightness_rows(
    builds: Builds, unit: Unit, *, distance_m: float | None = None
) -> list[tuple[str, str, str]]:
    """Return each kind with its sigma, and how it compares with the tightest seen.

    Parameters
    ----------
    builds : Builds
    unit : {"mm", "inch", "moa", "mrad"}
    distance_m : float, optional

    Returns
    -------
    list of (name, sigma, times)
        The tightest first; the sigma without an interval, then how many times as wide as the
        tightest it is, with one.
    """
    sigma: dict[str, float] = {}
    for pair in builds.pairs:
        sigma |= {pair.first: pair.sigma[0], pair.second: pair.sigma[1]}
    known = sorted((s for s in sigma.items() if s[1] == s[1]), key=lambda item: item[1])
    rows = []
    for place, (name, value) in enumerate(known):
        times = "tightest seen"
        if place:
            pair = next(p for p in builds.pairs if {p.first, p.second} == {name, known[0][0]})
            ratio = pair.ratio if pair.first == name else _turned(pair.ratio)
            times = format_estimate(ratio.value, ratio.low, ratio.high, "")
        # Three digits are more than any group of arrows knows of its spread.
        about = Estimate(value, 0.95 * value, 1.05 * value)
        rows.append((name, express(about, unit, distance_m=distance_m).split(" (")[0], times))
    return rows + [(name, NOT_KNOWN, "") for name, value in sigma.items() if value != value]


def _turned(ratio: Estimate) -> Estimate:
    return Estimate(1 / ratio.value, 1 / ratio.high, 1 / ratio.low)


def tightness_sentence(builds: Builds) -> str:
    """Say which is tighter, where that is sure."""
    sure = [pair for pair in builds.pairs if pair.verdict.endswith("is tighter")]
    if sure:
        said = [f"{pair.verdict} than {_wider(pair)}" for pair in sure]
        return f"{_listed(list(dict.fromkeys(said)))}."
    if all(pair.verdict == "together" for pair in builds.pairs):
        return "They are about equally tight."
    open_ = "No difference in tightness is sure with these arrows"
    wanting = [pair.more_arrows for pair in builds.pairs if pair.more_arrows is not None]
    if not wanting:
        return f"{open_}."
    return f"{open_}; about {max(wanting)} more of each would show one of a quarter."


def _wider(pair: Tightness) -> str:
    return pair.second if pair.verdict == f"{pair.first} is tighter" else pair.first
