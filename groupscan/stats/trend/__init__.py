"""A season: what is usual, what changed and when, session by session and end by end."""

from groupscan.stats.trend.baseline import Baseline, Today, measure_baseline
from groupscan.stats.trend.change import Change, Changes, centre_changes, sigma_changes
from groupscan.stats.trend.charts import Chart, centre_chart, sigma_chart
from groupscan.stats.trend.cold import ColdArrow, measure_cold_arrow
from groupscan.stats.trend.fatigue import Fatigue, measure_fatigue
from groupscan.stats.trend.levels import Levels, centre_levels, sigma_levels
from groupscan.stats.trend.progress import Progress, ProgressWord, creep, measure_progress
from groupscan.stats.trend.season import Season, read_season
from groupscan.stats.trend.sessions import Sessions, measure_sessions
from groupscan.stats.trend.slope import Slope, measure_slope
from groupscan.stats.trend.summary import Trend, measure_trend

__all__ = [
    "Baseline",
    "Change",
    "Changes",
    "Chart",
    "ColdArrow",
    "Fatigue",
    "Levels",
    "Progress",
    "ProgressWord",
    "Season",
    "Sessions",
    "Slope",
    "Today",
    "Trend",
    "centre_changes",
    "centre_chart",
    "centre_levels",
    "creep",
    "measure_baseline",
    "measure_cold_arrow",
    "measure_fatigue",
    "measure_progress",
    "measure_sessions",
    "measure_slope",
    "measure_trend",
    "read_season",
    "sigma_changes",
    "sigma_chart",
    "sigma_levels",
]
