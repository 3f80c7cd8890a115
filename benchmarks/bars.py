"""What the scan must reach, and whether it does."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["BARS", "Bar", "judge"]


@dataclass(frozen=True)
class Bar:
    """One figure to reach: of which sum, which number, and the bound.

    ``key`` is a path into the sum's dictionary, parts set apart by a dot.
    """

    sum: str
    key: str
    bound: float
    at_least: bool = True

    def measured(self, sums: Mapping[str, Mapping[str, Any]]) -> float:
        """Return the figure; NaN where nothing was there to measure it on."""
        value: Any = sums.get(self.sum, {})
        for part in self.key.split("."):
            value = value.get(part, math.nan) if isinstance(value, Mapping) else math.nan
        return float(value)


def _set(name: str, recall: float, precision: float, rmse: float, radius: float) -> list[Bar]:
    return [
        Bar(name, "recall", recall),
        Bar(name, "precision", precision),
        Bar(name, "rmse_mm", rmse, at_least=False),
        Bar(name, "mean_radius_pct_median", radius, at_least=False),
    ]


BARS: tuple[Bar, ...] = (
    *_set("easy and medium", 0.98, 0.98, 0.7, 1.5),
    *_set("difficulty hard", 0.88, 0.92, 1.2, 3.0),
    Bar("all", "cuts.recall", 0.90),
    Bar("all", "cuts.precision", 0.95),
    Bar("all", "cuts.rmse_mm", 1.5, at_least=False),
    Bar("new since before", "recall", 0.98),
    Bar("new since before", "precision", 0.98),
    Bar("new since before", "rmse_mm", 0.8, at_least=False),
    Bar("all", "sure_are_real", 0.90),
    Bar("all", "axis_2se", 0.95),
    Bar("all", "radial_2se", 0.95),
)


def judge(sums: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Set each bar beside what was measured; ``met`` is None where there was nothing to measure.

    Examples
    --------
    >>> rows = judge({"easy and medium": {"recall": 0.99}})
    >>> rows[0]["met"], rows[1]["met"]
    (True, None)
    """
    rows = []
    for bar in BARS:
        value = bar.measured(sums)
        met = None
        if not math.isnan(value):
            met = value >= bar.bound if bar.at_least else value <= bar.bound
        rows.append(
            {
                "of": bar.sum,
                "figure": bar.key,
                "bar": bar.bound,
                "at_least": bar.at_least,
                "measured": value,
                "met": met,
            }
        )
    return rows
