"""Sheet to holes: what is darker than the sheet should be, told as shots.

The line of the work: :mod:`~groupscan.photo.holes.candidates` proposes places,
:mod:`~groupscan.photo.holes.discs` fits a disc to each, :mod:`~groupscan.photo.holes.confidence`
judges it, :mod:`~groupscan.photo.holes.regions` gathers what touches, and
:mod:`~groupscan.photo.holes.shots` tells one hole from several
(:mod:`~groupscan.photo.holes.clusters`) and from the cuts of blades
(:mod:`~groupscan.photo.holes.cuts`). :mod:`~groupscan.photo.holes.finding` is the whole of it.
"""

from groupscan.photo.holes.cuts import CUT_NAMES
from groupscan.photo.holes.finding import Hole, find_holes, without_pins

__all__ = ["CUT_NAMES", "Hole", "find_holes", "without_pins"]
