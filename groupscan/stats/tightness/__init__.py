"""Which build is tighter, by how much and how sure."""

from groupscan.stats.tightness.compare import WORTH_RATIO, compare_builds, compare_tightness

__all__ = ["WORTH_RATIO", "compare_builds", "compare_tightness"]
