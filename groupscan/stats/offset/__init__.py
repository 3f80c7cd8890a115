"""Where one group hits against another, and the verdict: together, apart, not enough arrows."""

from groupscan.stats.offset.compare import (
    Comparison,
    Comparisons,
    compare_after_each_end,
    compare_centres,
    compare_with,
)
from groupscan.stats.offset.looks import Look, look_after_each_end

__all__ = [
    "Comparison",
    "Comparisons",
    "Look",
    "compare_after_each_end",
    "compare_centres",
    "compare_with",
    "look_after_each_end",
]
