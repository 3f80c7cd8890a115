"""One group of shots: where it sits, how tight it is, what shape it has, and how sure that is."""

from groupscan.stats.group.measure import Centre, Ellipse, Estimate, Group, Offset, measure_group

__all__ = ["Centre", "Ellipse", "Estimate", "Group", "Offset", "measure_group"]
