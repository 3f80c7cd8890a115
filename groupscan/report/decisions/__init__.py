"""Decisions as a person reads them in a terminal: sentences first, then tables, then notes."""

from groupscan.report.decisions.arrows import arrow_parts
from groupscan.report.decisions.comparing import compare_parts
from groupscan.report.decisions.layout import Part, Shown, notes_part
from groupscan.report.decisions.planning import needed_parts, order_parts
from groupscan.report.decisions.reach import nice_distances, reach_parts
from groupscan.report.decisions.rigs import caution_part, rig_table, shown_amount
from groupscan.report.decisions.season import season_parts

__all__ = [
    "Part",
    "Shown",
    "arrow_parts",
    "caution_part",
    "compare_parts",
    "needed_parts",
    "nice_distances",
    "notes_part",
    "order_parts",
    "reach_parts",
    "rig_table",
    "season_parts",
    "shown_amount",
]
