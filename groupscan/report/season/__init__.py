"""A season: its picture on the screen and on paper, its line in a row, and its words."""

from groupscan.report.season.figures import draw_season
from groupscan.report.season.onscreen import plot_season, season_key
from groupscan.report.season.reading import Reading
from groupscan.report.season.scene import (
    SeasonScene,
    on_one_scale,
    season_scene,
    session_names,
)
from groupscan.report.season.spark import spark_svg, spark_words, svg_image
from groupscan.report.season.within import ColdScene, EndsScene, cold_scene, ends_scene
from groupscan.report.season.within_figures import draw_cold, draw_ends
from groupscan.report.season.within_onscreen import cold_key, ends_key, plot_cold, plot_ends
from groupscan.report.season.words import (
    Finding,
    findings,
    progress_words,
    season_sentence,
    session_rows,
    within_lines,
    work_on,
)

__all__ = [
    "ColdScene",
    "EndsScene",
    "Finding",
    "Reading",
    "SeasonScene",
    "cold_key",
    "cold_scene",
    "draw_cold",
    "draw_ends",
    "draw_season",
    "ends_key",
    "ends_scene",
    "findings",
    "on_one_scale",
    "plot_cold",
    "plot_ends",
    "plot_season",
    "progress_words",
    "season_key",
    "season_scene",
    "season_sentence",
    "session_names",
    "session_rows",
    "spark_svg",
    "spark_words",
    "svg_image",
    "within_lines",
    "work_on",
]
