"""What a comparison of two groups' centres holds, its sentence and its tables."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from groupscan.stats.intervals import Ellipse, Estimate
from groupscan.stats.offset.permutation import Permutation
from groupscan.stats.offset.verdict import ArrowsWanted, Verdict, arrows_wanted, direction_words
from groupscan.stats.plain import json_safe
from groupscan.telling import tied
from groupscan.units import format_estimate

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CentreTest", "Comparison", "Comparisons"]


@dataclass(frozen=True)
class CentreTest:
    """One test of "the centres are one"; NaN where the shots do not allow it.

    Attributes
    ----------
    t2, f : float
        Hotelling's T² and the F that it is referred to, with 2 and df - 1 degrees of freedom.
    df : float
        Degrees of freedom of the scatter.
    p : float
        Probability of an offset as clear as this one, were there none.
    """

    t2: float
    f: float
    df: float
    p: float


@dataclass(frozen=True)
class Comparison:
    """Where the second group's centre lies, seen from the first's; lengths in mm.

    Attributes
    ----------
    verdict : {'together', 'apart', 'not enough arrows'}
        See `groupscan.stats.offset.verdict`.
    tolerance_mm : float or None
        Centres closer than this count as together.
    x, y : Estimate
        The offset's coordinates, each with its own interval.
    distance : Estimate
        Its length; the interval that the verdict is read from.
    direction_rad : Estimate
        Where it points, anticlockwise from +x; limits where the distance's lower limit is not 0.
    ellipse : Ellipse
        Joint confidence region of the offset.
    sigma_mm : float
        Per-axis scatter of one shot, the two groups' variances averaged.
    test : CentreTest
        The test that the lower limit of the distance goes with (one look).
    pooled, yao : CentreTest
        Hotelling's T² for groups that scatter alike, and Yao's for groups that do not.
    permutation : Permutation
        Share of all splits of the shots that part the centres as far.
    first_n, second_n : int
        Shots that were compared.
    ends : int or None
        Ends that held both and were compared within; None where ends were not used.
    looks : float or None
        Most looks that the limits allow for; None for one.
    look_level : float
        Level of one look at the "apart" test; a plan for more arrows starts from it.
    confidence, distance_m
        As given.
    notes : tuple of str
        What these shots cannot say, and why.
    """

    verdict: Verdict
    tolerance_mm: float | None
    x: Estimate
    y: Estimate
    distance: Estimate
    direction_rad: Estimate
    ellipse: Ellipse
    sigma_mm: float
    test: CentreTest
    pooled: CentreTest
    yao: CentreTest
    permutation: Permutation
    first_n: int
    second_n: int
    ends: int | None
    looks: float | None
    look_level: float
    confidence: float
    distance_m: float | None
    notes: tuple[str, ...]

    @cached_property
    def more(self) -> ArrowsWanted:
        """How many more arrows would probably settle it; none where it is settled."""
        if self.verdict != "not enough arrows":
            return ArrowsWanted(0, 0)
        return arrows_wanted(
            self.distance.value,
            self.sigma_mm,
            self.tolerance_mm,
            (self.first_n, self.second_n),
            self.look_level,
        )

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        return self.sentence_of("the first", "the second")

    def sentence_of(self, first: str, second: str) -> str:
        """Return the verdict in one sentence that calls the two groups by name."""
        seen = self.distance
        away = format_estimate(seen.value, seen.low, seen.high, "mm")
        if self.verdict == "together":
            return (
                f"Together: the centres lie {away} apart, inside the tolerance of "
                f"{tied(f'{self.tolerance_mm:g}', 'mm')}."
            )
        if self.verdict == "apart":
            words = direction_words(self.x.value, self.y.value)
            return f"Apart: {second} hits {words}, its centre {away} from that of {first}."
        if self.more.first is None or self.more.second is None:
            return "Not enough arrows to say whether the centres are together or apart."
        if self.more.first == self.more.second:
            wanted = f"about {self.more.first} more of each"
        else:
            wanted = f"about {self.more.first} more of {first} and {self.more.second} of {second}"
        return f"Not enough arrows: {wanted} would probably settle it."

    def to_frame(self) -> "pd.DataFrame":
        """Return the offset: rows x, y, distance; columns mm, inch, moa and mrad with limits.

        Returns
        -------
        DataFrame
            Index ``offset``; columns ``mm, mm_low, mm_high, inch, ..., mrad_high``; NaN where not
            known. Angles need the distance.
        """
        import pandas as pd

        named = {"x": self.x, "y": self.y, "distance": self.distance}
        rows = {name: estimate.in_units(self.distance_m) for name, estimate in named.items()}
        frame = pd.DataFrame.from_dict(rows, orient="index", dtype=float)
        return frame.rename_axis(index="offset")

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison as JSON-safe values: None for what is not known."""
        plain: dict[str, Any] = json_safe(self)
        # JSON knows no infinity, and None stands for one look.
        looks = "any" if self.looks is not None and math.isinf(self.looks) else self.looks
        return plain | {
            "looks": looks,
            "more": json_safe(self.more),
            "sentence": json_safe(self.sentence),
        }


@dataclass(frozen=True)
class Comparisons:
    """Several groups against one reference, with the error rate of all of them together.

    Attributes
    ----------
    against : dict
        `Comparison` by the group's name; limits and verdict at the level that Holm's steps left
        to it.
    confidence : float
        One less the rate of any false "apart"; of any false "together" likewise.
    """

    against: dict[str, Comparison]
    confidence: float

    def to_frame(self) -> "pd.DataFrame":
        """Return one row a group: verdict, offset with limits (mm), arrows wanted.

        Returns
        -------
        DataFrame
            Index ``group``; columns ``verdict, x_mm, y_mm, distance_mm, distance_low_mm,
            distance_high_mm, more``.
        """
        import pandas as pd

        rows = {
            name: {
                "verdict": one.verdict,
                "x_mm": one.x.value,
                "y_mm": one.y.value,
                "distance_mm": one.distance.value,
                "distance_low_mm": one.distance.low,
                "distance_high_mm": one.distance.high,
                "more": math.nan if one.more.second is None else one.more.second,
            }
            for name, one in self.against.items()
        }
        return pd.DataFrame.from_dict(rows, orient="index").rename_axis(index="group")

    def to_dict(self) -> dict[str, Any]:
        """Return the comparisons as JSON-safe values."""
        return {
            "confidence": self.confidence,
            "against": {name: one.to_dict() for name, one in self.against.items()},
        }
