"""Numbered arrows as a picture true to scale, on the screen and on paper, and in words."""

from groupscan.report.quiver.figures import draw_quiver, fill_quiver_axes
from groupscan.report.quiver.onscreen import plot_quiver, quiver_key
from groupscan.report.quiver.scene import (
    KINDS,
    ArrowMark,
    QuiverScene,
    history_scene,
    quiver_scene,
)
from groupscan.report.quiver.words import (
    arrow_numbers,
    arrow_rows,
    quiver_sentence,
    todo_lines,
    told_of,
)

__all__ = [
    "KINDS",
    "ArrowMark",
    "QuiverScene",
    "arrow_numbers",
    "arrow_rows",
    "draw_quiver",
    "fill_quiver_axes",
    "history_scene",
    "plot_quiver",
    "quiver_key",
    "quiver_scene",
    "quiver_sentence",
    "todo_lines",
    "told_of",
]
