"""Pictures of the rig bench: arrows, speeds, flights, pins, what they cover and what groups fit."""

from groupscan.report.bench.figures import draw_chart
from groupscan.report.bench.heat import heat_html
from groupscan.report.bench.onscreen import chart_key, plot_chart
from groupscan.report.bench.reading import Reading
from groupscan.report.bench.scene import Chart

__all__ = ["Chart", "Reading", "chart_key", "draw_chart", "heat_html", "plot_chart"]
