"""What is known of a set of numbered arrows, and the words for those that are flagged."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from groupscan.stats.intervals import Estimate
from groupscan.stats.plain import json_safe
from groupscan.telling import chance, tied

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Action", "Arrow", "Quiver", "Verdict", "flag_reason"]

Verdict = Literal["together", "apart", "not enough arrows"]
Action = Literal["re-index", "pull", "none"]


@dataclass(frozen=True)
class Arrow:
    """One arrow; lengths in mm.

    Attributes
    ----------
    name : str
    shots : int
    seen_x, seen_y : Estimate
        Where it lands, from the home arrows' centre; right and up are positive. NaN where it was
        never shot beside another arrow.
    offset_x, offset_y : Estimate
        The same, shrunken: the best guess of where it will land.
    p_value : float
        Of "no offset", adjusted for the number of arrows.
    scatter_ratio, scatter_p : float
        Its sigma over that of all other arrows; p-value of "no wider", adjusted likewise.
    verdict : {'together', 'apart', 'not enough arrows'}
    action : {'re-index', 'pull', 'none'}
        Common practice: an arrow apart is re-indexed (its nock turned) and shot again before it
        is pulled; one that scatters is pulled and looked over.
    reason : str
        Why, in a coach's words; empty without an action.
    more_ends : int or None
        Ends more of the whole set until an offset that matters would be seen four times in five;
        None where the verdict stands or nothing can be said.
    """

    name: str
    shots: int
    seen_x: Estimate
    seen_y: Estimate
    offset_x: Estimate
    offset_y: Estimate
    p_value: float
    scatter_ratio: float
    scatter_p: float
    verdict: Verdict
    action: Action
    reason: str
    more_ends: int | None


@dataclass(frozen=True)
class Quiver:
    """A set of numbered arrows.

    Attributes
    ----------
    n, ends : int
        Shots; ends (1 where none were given).
    home : tuple of str
        The arrows that serve as reference.
    between, within : (2, 2) tuples of float, mm²
        Covariances; NaN where not known.
    share, share_x, share_y : Estimate
        Between-arrow share of the variance of a shot, 0 to 1.
    differ_p : float
        p-value of "no arrow differs from any other".
    worth_mm : float
        The offset that matters: the shooter's own, or else one sigma of the scatter.
    arrows : tuple of Arrow
    notes : tuple of str
    """

    n: int
    ends: int
    home: tuple[str, ...]
    between: tuple[tuple[float, float], tuple[float, float]]
    within: tuple[tuple[float, float], tuple[float, float]]
    share: Estimate
    share_x: Estimate
    share_y: Estimate
    differ_p: float
    worth_mm: float
    arrows: tuple[Arrow, ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return JSON-safe values: None for what is not known."""
        row: dict[str, Any] = json_safe(self)
        return row

    def to_frame(self) -> "pd.DataFrame":
        """Return one row an arrow; an estimate takes three columns (``seen_x_low``)."""
        import pandas as pd

        rows = []
        for arrow in self.arrows:
            row: dict[str, Any] = {}
            for name, value in vars(arrow).items():
                if isinstance(value, Estimate):
                    row |= {name: value.value, f"{name}_low": value.low, f"{name}_high": value.high}
                else:
                    row[name] = value
            rows.append(row)
        return pd.DataFrame(rows).set_index("name").astype({"more_ends": "Int64"})


def flag_reason(arrow: Arrow) -> str:
    """Return why an arrow is flagged and what to do, common practice (no source)."""
    words = []
    scatters = arrow.action == "pull"
    if scatters:
        words.append(
            f"Arrow {arrow.name} scatters {arrow.scatter_ratio:.1f} times as widely as the others "
            f"({chance(arrow.scatter_p)}): pull it, and look over shaft, point, nock and vanes."
        )
    if arrow.verdict == "apart":
        x, y = arrow.seen_x.value, arrow.seen_y.value
        where = f"{tied(abs(x), 'mm', '.0f')} {'right' if x > 0 else 'left'}"
        where += f" and {tied(abs(y), 'mm', '.0f')} {'high' if y > 0 else 'low'}"
        words.append(
            f"Arrow {arrow.name} lands {where} of the others ({chance(arrow.p_value)})"
            + (
                "."
                if scatters
                else ": turn its nock to the next vane and shoot it again; if it stays apart, "
                "pull it, and look over shaft, point, nock and vanes."
            )
        )
    return " ".join(words)
