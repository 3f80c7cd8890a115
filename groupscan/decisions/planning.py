"""A comparison before it is shot: how many arrows, how many ends, in which order."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from groupscan.errors import TableError

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.stats.intervals import Estimate
    from groupscan.stats.plan import ArrowsNeeded, ShootingOrder

__all__ = [
    "Wanted",
    "chance_of",
    "kept_plan",
    "order_frame",
    "order_of",
    "read_arrows",
    "wanted_of",
]

_KIND: Final = "shooting order"
_MOST_ARROWS: Final = 100


@dataclass(frozen=True)
class Wanted:
    """How much a comparison takes.

    Attributes
    ----------
    needed : ArrowsNeeded
        At the scatter expected.
    if_wider : ArrowsNeeded or None
        At its upper limit, where it has one.
    ends : int
        Ends that make up `needed`, each arrow shot once in each; with heads that pass around, a
        multiple of their number, so that every arrow carries each equally often.
    """

    needed: ArrowsNeeded
    if_wider: ArrowsNeeded | None
    ends: int


def wanted_of(
    sigma: Estimate,
    *,
    offset_mm: float | None,
    tolerance_mm: float | None,
    builds: int,
    arrows: int,
    rotated: bool,
) -> Wanted:
    """Return how many arrows and ends a comparison takes.

    Parameters
    ----------
    sigma : Estimate
        Scatter expected, per axis, mm; its limits may be unknown.
    offset_mm, tolerance_mm : float, optional
        The offset to be seen, and the tolerance to be called together within; one at least.
    builds : int
        Heads or builds compared, 2 to 4.
    arrows : int
        Arrows at hand: all of them where heads pass around, of each build where they do not.
    rotated : bool
        Whether heads pass around.

    Raises
    ------
    StatisticsError
        If a number is not sensible.

    Examples
    --------
    >>> from groupscan.stats.intervals import Estimate
    >>> asked = {"offset_mm": 20.0, "tolerance_mm": None, "builds": 2, "rotated": True}
    >>> wanted_of(Estimate(20.0), arrows=6, **asked).ends
    8
    """
    from groupscan.stats.plan import plan_arrows

    asked: dict[str, Any] = {"offset_mm": offset_mm, "tolerance_mm": tolerance_mm}
    needed = plan_arrows(sigma.value, **asked, builds=builds)
    wider = None
    if math.isfinite(sigma.high) and sigma.high > sigma.value:
        wider = plan_arrows(sigma.high, **asked, builds=builds)
    if rotated:
        ends = math.ceil(needed.each * builds / arrows)
        ends = builds * math.ceil(ends / builds)
    else:
        ends = math.ceil(needed.each / arrows)
    return Wanted(needed, wider, ends)


def chance_of(
    order: ShootingOrder, sigma_mm: float, *, offset_mm: float | None, tolerance_mm: float | None
) -> dict[str, float]:
    """Return the chances of an order: ``"apart"`` at the offset, ``"together"`` if they are one.

    Parameters
    ----------
    order : ShootingOrder
    sigma_mm : float
    offset_mm, tolerance_mm : float, optional
        What is not given has no chance in the answer.

    Raises
    ------
    StatisticsError
        If the order has too few shots to show anything.
    """
    from groupscan.stats.plan import order_power

    found = {}
    if offset_mm is not None:
        found["apart"] = order_power(order, sigma_mm, offset_mm=offset_mm)
    if tolerance_mm is not None:
        found["together"] = order_power(order, sigma_mm, tolerance_mm=tolerance_mm)
    return found


def read_arrows(text: str) -> list[str]:
    """Read which arrows there are: how many, or their numbers.

    Raises
    ------
    TableError
        If there is none, or there are more than a hundred.

    Examples
    --------
    >>> read_arrows("3"), read_arrows("1, 4 7")
    (['1', '2', '3'], ['1', '4', '7'])
    """
    words = text.replace(",", " ").replace(";", " ").split()
    if len(words) == 1 and words[0].isdecimal():
        count = int(words[0][:6])
        words = [str(number) for number in range(1, min(count, _MOST_ARROWS + 1) + 1)]
    if not 1 <= len(words) <= _MOST_ARROWS:
        raise TableError(
            "say how many arrows there are, such as 6, or their numbers, such as 1 2 3 5 6 8; "
            f"{_MOST_ARROWS} at most"
        )
    return words


def order_frame(order: ShootingOrder) -> pd.DataFrame:
    """Return an order as a table to fill in: one row a shot, with room for where it landed.

    Parameters
    ----------
    order : ShootingOrder

    Returns
    -------
    DataFrame
        Columns ``number, end, arrow``, ``head`` or ``build``, ``right_mm``, ``high_mm``.
    """
    build = "head" if order.rotated else "build"
    table = order.to_frame().drop(columns="place").rename(columns={"build": build})
    return table.assign(right_mm="", high_mm="")


def kept_plan(order: ShootingOrder, *, tolerance_mm: float | None) -> dict[str, Any]:
    """Return an order as it is kept with a session.

    Parameters
    ----------
    order : ShootingOrder
    tolerance_mm : float, optional
        What was decided beforehand to call together.
    """
    return {"kind": _KIND, "tolerance_mm": tolerance_mm, **order.to_dict()}


def order_of(plan: Mapping[str, Any] | None) -> ShootingOrder | None:
    """Return the order that a session's plan holds; None where it holds none that can be read.

    Examples
    --------
    >>> from groupscan.stats.plan import rotate_heads
    >>> order = rotate_heads(["field", "broad"], 4, 2)
    >>> order_of(kept_plan(order, tolerance_mm=30.0)) == order
    True
    >>> order_of({"kind": "something else"}) is None
    True
    """
    from groupscan.stats.plan import PlannedShot, ShootingOrder

    if not isinstance(plan, Mapping) or plan.get("kind") != _KIND:
        return None
    try:
        return ShootingOrder(
            builds=_texts(plan["builds"]),
            arrows=_texts(plan["arrows"]),
            ends=int(plan["ends"]),
            rotated=bool(plan["rotated"]),
            seed=int(plan["seed"]),
            shots=tuple(
                PlannedShot(
                    int(shot["number"]), int(shot["end"]), int(shot["place"]),
                    str(shot["arrow"]), str(shot["build"]),
                )
                for shot in plan["shots"]
            ),
            notes=_texts(plan["notes"]),
        )  # fmt: skip
    except (KeyError, TypeError, ValueError):
        return None


def _texts(words: Sequence[object]) -> tuple[str, ...]:
    return tuple(map(str, words))
