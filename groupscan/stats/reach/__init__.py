"""How far out the next arrow can be trusted to land inside a circle."""

from groupscan.stats.reach.measure import CAUTION, Reach, ReachPoint, measure_reach

__all__ = ["CAUTION", "Reach", "ReachPoint", "measure_reach"]
