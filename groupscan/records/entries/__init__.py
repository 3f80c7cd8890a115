"""What is kept, as plain frozen values.

Lengths are in mm, masses in g, forces in N and distances in m; positions on the sheet have their
origin at the sheet's centre, x right and y up; pixel positions are those of the upright photo, x
right and y down.
"""

from groupscan.records.entries.bench import Pin, Speed
from groupscan.records.entries.gear import (
    ARROW_STATES,
    BOWS,
    HANDS,
    HEAD_KINDS,
    Arrow,
    Build,
    Head,
    Rig,
    Setup,
    Shooter,
)
from groupscan.records.entries.shooting import CUTS, STATES, ScanRecord, Session, ShotRecord

__all__ = [
    "ARROW_STATES",
    "BOWS",
    "CUTS",
    "HANDS",
    "HEAD_KINDS",
    "STATES",
    "Arrow",
    "Build",
    "Head",
    "Pin",
    "Rig",
    "ScanRecord",
    "Session",
    "Setup",
    "Shooter",
    "ShotRecord",
    "Speed",
]
