"""What to move, by common practice: rest, nocking point, plunger or sight, one at a time.

Every rule here is common practice of the trade (no source), and stands once, in `RULES`. The
statistics only say whether there is anything to move for: nothing is advised unless the verdict is
"apart", and along an axis only where the interval of the offset along that axis leaves out 0.

Which way is mirrored for a left-handed shooter and which is not:

- *Chasing* rules do not mirror: the rest, the sight and the nocking point move towards something
  that is seen on the target.
- *Spine* rules mirror: a stiff shaft leaves a right-handed bow to the left, a left-handed one to
  the right.

For a head or shaft offset the sight is never the first to move: it would bring one kind of arrow
to the aim by taking the other away, and leave what parts them as it is.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

from groupscan.errors import StatisticsError
from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.telling import tied

__all__ = ["CAUTION", "RULES", "Advice", "Move", "Rule", "what_to_move"]

Compared = Literal["head", "bare shaft", "aim"]
Bow = Literal["compound", "recurve"]
Hand = Literal["right", "left"]

MIRRORED = {"left": "right", "right": "left"}

CAUTION = (
    "Common practice, not a measurement of your bow: the makers' manuals of bow, rest, arrow and "
    "head, and a qualified technician, come first. Never shoot a cracked shaft; broadheads cut.",
    "Change one thing at a time, one small step, then shoot both again before the next.",
)
NOT_THE_SIGHT = (
    "Leave the sight alone until they land together: it moves both, and parts them no less."
)
WHICH_WAY_UNSURE = (
    "The centres are apart, but along neither axis alone is it sure which way: shoot on."
)


@dataclass(frozen=True)
class Rule:
    """One rule of common practice.

    Attributes
    ----------
    compared : {'head', 'bare shaft', 'aim'}
        Which offset it is for: broadheads less field points, bare shafts less fletched, or group
        centre less aim.
    bow : {'compound', 'recurve', 'any'}
    seen : {'left', 'right', 'low', 'high'}
        Side on which the first lands, for a right-handed shooter.
    part : str
        What is moved.
    way : str
        Where to, for a right-handed shooter.
    else_way : str
        What does the same where the part cannot be moved; empty if nothing.
    step : str
        One small step.
    mirrors : bool
        Whether a left-handed shooter reads `seen` the other way round.
    """

    compared: Compared
    bow: Literal["compound", "recurve", "any"]
    seen: Literal["left", "right", "low", "high"]
    part: str
    way: str
    else_way: str
    step: str
    mirrors: bool


_FINE = tied("0.5 to 1", "mm")
_TURN = "a quarter to half a turn"
_STIFF = "to a softer spring"
_WEAK = "to a harder spring"
_STIFF_ELSE = "or heavier point, longer or weaker shaft, a little more draw weight within its limit"
_WEAK_ELSE = "or lighter point, shorter or stiffer shaft, a little less draw weight"
_LOWER_NOCK = "or the nocking point down by the same"
_HIGHER_NOCK = "or the nocking point up by the same"
_RAISE_REST = "or the rest up by the same"
_LOWER_REST = "or the rest down by the same"

# fmt: off
RULES: tuple[Rule, ...] = (
    # Broadheads against field points, compound: the rest moves the way the broadheads should go.
    Rule("head", "compound", "low", "rest", "up", _LOWER_NOCK, _FINE, False),
    Rule("head", "compound", "high", "rest", "down", _HIGHER_NOCK, _FINE, False),
    Rule("head", "compound", "left", "rest", "right", "", _FINE, False),
    Rule("head", "compound", "right", "rest", "left", "", _FINE, False),
    # The same with a recurve: height at the string; sideways the shaft's spine is read.
    Rule("head", "recurve", "low", "nocking point", "down", _RAISE_REST, _FINE, False),
    Rule("head", "recurve", "high", "nocking point", "up", _LOWER_REST, _FINE, False),
    Rule("head", "recurve", "left", "plunger", _STIFF, _STIFF_ELSE, _TURN, True),
    Rule("head", "recurve", "right", "plunger", _WEAK, _WEAK_ELSE, _TURN, True),
    # Bare shafts against fletched ones.
    Rule("bare shaft", "any", "low", "nocking point", "down", _RAISE_REST, _FINE, False),
    Rule("bare shaft", "any", "high", "nocking point", "up", _LOWER_REST, _FINE, False),
    Rule("bare shaft", "compound", "left", "rest", "right", "", _FINE, False),
    Rule("bare shaft", "compound", "right", "rest", "left", "", _FINE, False),
    Rule("bare shaft", "recurve", "left", "plunger", _STIFF, _STIFF_ELSE, _TURN, True),
    Rule("bare shaft", "recurve", "right", "plunger", _WEAK, _WEAK_ELSE, _TURN, True),
    # The group against the aim: the sight follows the group.
    Rule("aim", "any", "low", "sight", "down", "", "one mark", False),
    Rule("aim", "any", "high", "sight", "up", "", "one mark", False),
    Rule("aim", "any", "left", "sight", "left", "", "one mark", False),
    Rule("aim", "any", "right", "sight", "right", "", "one mark", False),
)
# fmt: on

_KINDS = {
    "head": "The broadheads land {how} of the field points",
    "bare shaft": "The bare shafts land {how} of the fletched ones",
    "aim": "The group's centre lies {how} of the aim",
}


@dataclass(frozen=True)
class Move:
    """One thing to move.

    Attributes
    ----------
    part : str
    way : str
    step : str
        One small step; of the sight by its geometry where that was given.
    seen : {'left', 'right', 'low', 'high'}
        What it is for.
    words : str
        The whole advice in a sentence.
    """

    part: str
    way: str
    step: str
    seen: str
    words: str


@dataclass(frozen=True)
class Advice:
    """What to move.

    Attributes
    ----------
    first : Move or None
        The one thing to do now.
    later : tuple of Move
        What may follow, after shooting again shows that it is still wanted.
    readings : tuple of str
        What the pattern usually means.
    notes : tuple of str
        Cautions, and why nothing is advised where nothing is.
    """

    first: Move | None
    later: tuple[Move, ...]
    readings: tuple[str, ...]
    notes: tuple[str, ...]

    def said(self, tell: Callable[[str], str]) -> "Advice":
        """Return the same with each sentence as `tell` says it, such as in the reader's units."""

        def retell(move: Move) -> Move:
            return replace(move, step=tell(move.step), words=tell(move.words))

        return replace(
            self,
            first=None if self.first is None else retell(self.first),
            later=tuple(map(retell, self.later)),
        )

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values."""
        row: dict[str, Any] = json_safe(self)
        return row


def what_to_move(
    offset_x: Estimate,
    offset_y: Estimate,
    verdict: str,
    *,
    compared: Compared,
    bow: Bow = "compound",
    hand: Hand = "right",
    distance_m: float | None = None,
    sight_radius_m: float | None = None,
) -> Advice:
    """Return what to move, by common practice.

    Parameters
    ----------
    offset_x, offset_y : Estimate, mm
        Offset to the right and up, with intervals: broadheads less field points, bare shafts less
        fletched ones, or group centre less aim.
    verdict : str
        "together", "apart" or "not enough arrows"; nothing is moved unless "apart".
    compared : {'head', 'bare shaft', 'aim'}
    bow : {'compound', 'recurve'}
    hand : {'right', 'left'}
        The shooter's.
    distance_m, sight_radius_m : float, optional
        Shooting distance, and eye (peep) to sight pin; both given, the sight's move is computed.

    Returns
    -------
    Advice
        Height before left and right: a wrong nocking height also throws arrows sideways.

    Raises
    ------
    StatisticsError
        If a word is not one of those above, or a length is not more than zero.

    Examples
    --------
    >>> left, level = Estimate(-60.0, -90.0, -30.0), Estimate(5.0, -20.0, 30.0)
    >>> advice = what_to_move(left, level, "apart", compared="head")
    >>> advice.first.part, advice.first.way, advice.later
    ('rest', 'right', ())
    >>> what_to_move(left, level, "not enough arrows", compared="head").first is None
    True
    """
    _check(verdict, ("together", "apart", "not enough arrows"), "verdict")
    _check(compared, ("head", "bare shaft", "aim"), "compared")
    _check(bow, ("compound", "recurve"), "bow")
    _check(hand, ("right", "left"), "hand")
    for length, what in ((distance_m, "distance"), (sight_radius_m, "sight radius")):
        if length is not None and not 0 < length < float("inf"):
            raise StatisticsError(f"{what} {length!r} m must be more than zero and finite")
    if verdict != "apart":
        return Advice(None, (), (), (_why_not(verdict),))
    leverage = sight_radius_m / distance_m if distance_m and sight_radius_m else None
    moves, readings = [], []
    for offset, seen in _sides(offset_x, offset_y):
        rule = _rule(compared, bow, hand, seen)
        moves.append(_move(rule, seen, offset, leverage))
        reading = _spine_reading(compared, hand, seen)
        readings += [reading] if reading else []
    if not moves:
        return Advice(None, (), (), (WHICH_WAY_UNSURE,))
    notes = CAUTION if compared == "aim" else (*CAUTION, NOT_THE_SIGHT)
    return Advice(moves[0], tuple(moves[1:]), tuple(readings), notes)


def _sides(x: Estimate, y: Estimate) -> list[tuple[Estimate, str]]:
    """Return the axes whose interval leaves out 0, height first."""
    sides = ((y, ("low", "high")), (x, ("left", "right")))
    return [
        (offset, names[offset.low > 0])
        for offset, names in sides
        if offset.low > 0 or offset.high < 0
    ]


def _rule(compared: Compared, bow: Bow, hand: Hand, seen: str) -> Rule:
    for rule in RULES:
        reads = MIRRORED.get(seen, seen) if rule.mirrors and hand == "left" else seen
        if rule.compared == compared and rule.bow in (bow, "any") and rule.seen == reads:
            return rule
    raise AssertionError(f"no rule for {compared}, {bow}, {seen}")


def _move(rule: Rule, seen: str, offset: Estimate, leverage: float | None) -> Move:
    step = rule.step
    if rule.part == "sight" and leverage is not None:
        step = tied(abs(offset.value) * leverage, "mm", ".1f")
    how = f"{tied(abs(offset.value), 'mm', '.0f')} {seen}"
    words = f"{_KINDS[rule.compared].format(how=how)}: {rule.part} {rule.way}, {step}"
    words += f"; {rule.else_way}." if rule.else_way else "."
    return Move(rule.part, rule.way, step, seen, words)


def _spine_reading(compared: Compared, hand: Hand, seen: str) -> str:
    """Return what a sideways bare shaft usually says of the spine, by the shooter's hand."""
    if compared != "bare shaft" or seen not in MIRRORED:
        return ""
    stiff = seen == ("left" if hand == "right" else "right")
    return (
        f"Bare shafts {seen} of fletched ones, {hand}-handed: the shaft acts "
        f"{'stiff' if stiff else 'weak'} (common practice)."
    )


def _why_not(verdict: str) -> str:
    if verdict == "together":
        return "They land together: leave everything as it is."
    return "Not enough arrows to say that anything is off: move nothing, shoot more."


def _check(word: str, words: tuple[str, ...], what: str) -> None:
    if word not in words:
        raise StatisticsError(f"{what} {word!r} is not known; say one of {', '.join(words)}")
