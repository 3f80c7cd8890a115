"""Numbered arrows over many ends: which of them land apart, and which scatter."""

from groupscan.stats.arrows.measure import Arrow, Quiver, measure_arrows

__all__ = ["Arrow", "Quiver", "measure_arrows"]
