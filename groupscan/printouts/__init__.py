"""From the records to a printed page: gathered here, drawn in `groupscan.report.pages`."""

from groupscan.printouts.common import paper_of
from groupscan.printouts.match import print_comparison, print_match
from groupscan.printouts.quiver import print_arrows, print_quiver
from groupscan.printouts.reach import print_distances, print_reach
from groupscan.printouts.session import print_session
from groupscan.printouts.student import print_student, student_named

__all__ = [
    "paper_of",
    "print_arrows",
    "print_comparison",
    "print_distances",
    "print_match",
    "print_quiver",
    "print_reach",
    "print_session",
    "print_student",
    "student_named",
]
