"""Who shoots with what at the demo club: all of it invented.

Entries that name another (a rig its owner, a setup its rig and build) do so by name here; the
numbers come from the store when they are saved.
"""

from dataclasses import replace
from datetime import date
from typing import Final

from groupscan.demo import effects as true
from groupscan.records.entries import Build, Head, Rig, Setup, Shooter
from groupscan.units import parse_quantity

__all__ = ["ARROWS", "BUILDS", "COACH", "HEADS", "REBUILT"]
__all__ += ["RIGS", "SETUPS", "SHOOTERS", "STATES"]


def _lbf(pounds: float) -> float:
    return parse_quantity(f"{pounds} lbf", "force")


COACH: Final = Shooter(
    name="Tamsin Orrell",
    hand="right",
    goals="Know before the season which head goes on which arrow, and how far out.",
    notes="Coaches on Tuesdays.",
)
SHOOTERS: Final = (
    Shooter(
        name="Wenna Marsh", hand="right", goals="Half the group by August.",
        notes="Holds the anchor since she has a string to feel it by.",
    ),
    Shooter(
        name="Edda Quist", hand="left", goals="Move from 20 to 30 yards.",
        notes="Went up 6 pounds in May; watch the release.",
    ),
    Shooter(
        name="Corin Vale", hand="right", goals="One sight mark for the whole season.",
        notes="Says the sight does not move. Look at the anchor and the sight screw.",
    ),
    Shooter(
        name="Bram Hollis", hand="right", goals="Six ends that look like the first one.",
        notes="Strong start; ask how he sleeps, and shorten the sessions.",
    ),
    Shooter(
        name="Isla Fenn", hand="left", goals="Enjoy it; a club badge in autumn.",
        notes="Same form every week.",
    ),
    Shooter(
        name="Jory Pell", hand="right", goals="Come more often.",
        notes="Two sessions only, both with photos.",
    ),
)  # fmt: skip
"""The six whom the coach coaches."""

HEADS: Final = (
    Head(name="field point", kind="field point", mass_g=6.48),
    Head(name="fixed-blade", kind="fixed-blade", blades=3, cut_mm=29.0, mass_g=6.48),
    Head(name="two-blade", kind="fixed-blade", blades=2, cut_mm=27.0, mass_g=6.51),
    Head(name="expandable", kind="expandable", blades=2, cut_mm=38.0, mass_g=6.48),
)

BUILDS: Final = (
    Build(
        name="Heron aluminium", shaft="carbon, 340", shaft_mm=6.2, length_mm=724.0, spine=340.0,
        shaft_g_per_m=20.1, insert="aluminium", insert_g=1.2, point_g=6.48,
        fletching="3 vanes, 51 mm", fletching_g=1.2, nock="press-fit", nock_g=0.6, mass_g=24.0,
        balance_mm=455.0,
    ),
    Build(
        name="Heron brass", shaft="carbon, 340", shaft_mm=6.2, length_mm=724.0, spine=340.0,
        shaft_g_per_m=20.1, insert="brass", insert_g=4.9, point_g=6.48,
        fletching="3 vanes, 51 mm", fletching_g=1.2, nock="press-fit", nock_g=0.6, mass_g=27.7,
        balance_mm=490.0,
    ),
    Build(
        name="Slate", shaft="carbon, 400", shaft_mm=6.7, length_mm=711.0, spine=400.0,
        shaft_g_per_m=17.9, insert="aluminium", insert_g=1.2, point_g=6.48,
        fletching="4 vanes, 46 mm", fletching_g=1.4, nock="press-fit", nock_g=0.6, mass_g=22.4,
        balance_mm=451.0,
    ),
)  # fmt: skip

RIGS: Final = (
    Rig(name="Heron", bow="compound", hand="right", notes="First hunting rig."),
    Rig(name="Slate", bow="compound", hand="right", notes="Second hunting rig, lighter to carry."),
    Rig(name="Tern", bow="compound", hand="right", notes="Spare bow, for trying arrows on."),
)

_HERON: Final = Setup(
    rig_id=0, since=date(2026, 3, 28), changed="first setup of the year",
    draw_weight_n=_lbf(62), draw_length_mm=724.0, sight_radius_mm=838.0, peep_height_mm=133.0,
    rest="fall-away, 20.6 mm from the riser", sight="five pins, 20 to 60 yd",
)  # fmt: skip
_MOVED: Final = replace(
    _HERON, since=true.REST_MOVED, changed="rest 1.1 mm to the right",
    rest="fall-away, 21.7 mm from the riser", notes="Sight left alone, to see what it does.",
)  # fmt: skip
_RESTRUNG: Final = replace(
    _MOVED,
    since=true.NEW_STRING,
    changed="new string",
    notes="The peep turns and is not tied in yet.",
)
_SLATE: Final = replace(
    _HERON, draw_weight_n=_lbf(55), sight_radius_mm=812.0, peep_height_mm=127.0,
    sight="one sliding pin",
)  # fmt: skip
_TERN: Final = replace(
    _SLATE, since=true.WALK_BACK, changed="spare bow, sighted in at 20 yd",
    draw_weight_n=_lbf(54), sight="one fixed pin",
)  # fmt: skip
SETUPS: Final = (
    ("Heron", "Heron aluminium", _HERON),
    ("Heron", "Heron aluminium", _MOVED),
    ("Heron", "Heron aluminium", _RESTRUNG),
    ("Slate", "Slate", _SLATE),
    ("Tern", "Slate", _TERN),
)
"""Rig, build that it shoots, and the setup; its ``rig_id`` is filled in when it is saved."""

ARROWS: Final = {
    "Heron aluminium": ("1", "2", "3", "4", "5", "6", "7", "8"),
    "Heron brass": ("9", "10", "11", "12"),
    "Slate": ("1", "2", "3", "4", "5", "6"),
}
"""Numbers of the arrows by build; 5 of the aluminium ones is built anew as a brass one."""
STATES: Final = {
    ("Heron aluminium", "4"): (
        "pulled", true.PULLED, "lands right of the others, and did so with the nock turned",
    ),
    ("Heron aluminium", "2"): (
        "broken", true.BROKEN, "cracked behind the insert; found when flexed",
    ),
}  # fmt: skip
"""State, since when, and why, of the arrows that are not in use any more."""
REBUILT: Final = ("Heron aluminium", "5", "Heron brass", date(2026, 8, 4), "brass insert")
"""Build, number, new build, day and reason."""
