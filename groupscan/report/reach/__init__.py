"""Reach as a picture, chance against distance, on the screen and on paper, and in words."""

from groupscan.report.reach.figures import draw_reach, fill_reach_axes
from groupscan.report.reach.onscreen import plot_reach, reach_key
from groupscan.report.reach.scene import FEW, DistanceUnit, ReachScene, curve_distances, reach_scene
from groupscan.report.reach.words import few_words, reach_rows, reach_sentence, share_words

__all__ = [
    "FEW",
    "DistanceUnit",
    "ReachScene",
    "curve_distances",
    "draw_reach",
    "few_words",
    "fill_reach_axes",
    "plot_reach",
    "reach_key",
    "reach_rows",
    "reach_scene",
    "reach_sentence",
    "share_words",
]
