"""What is true of the invented season, and so what the statistics should find in it.

All lengths are angles in mrad, as they are the same at every distance (but for Slate, whose arrows
are made to lose more the farther they fly). ``docs/DEMO.md`` says which command finds which effect.
"""

from dataclasses import dataclass
from datetime import date
from typing import Final

__all__ = [
    "ASTRAY",
    "BRASS_RATIO",
    "BROADHEADS",
    "BROKEN",
    "BUILD_TEST",
    "COLD",
    "END",
    "FLYER",
    "FLYER_DAY",
    "HEADS",
    "HERON_SIGMA",
    "HERON_SPEED",
    "HERON_VIRTUAL_G",
    "HERON_YARDS",
    "NEW_STRING",
    "OFFSETS",
    "PIN_DRAG",
    "PULLED",
    "REST_MOVED",
    "REST_SHIFT",
    "SESSION",
    "SLATE_GROWTH",
    "SLATE_SIGMA",
    "SLATE_SPEED",
    "SLATE_YARDS",
    "SPEED_SD",
    "STRING_RATIO",
    "STUDENTS",
    "TERN_DRAG",
    "TERN_PIN_YARDS",
    "TERN_SIGMA",
    "TERN_SPEED",
    "WALK_BACK",
    "WALK_BACK_YARDS",
    "Student",
]

Pair = tuple[float, float]

SESSION: Final = 0.2
"""Standard deviation of a session's centre on each axis: light, wind, form of the day."""
END: Final = 0.12
"""Of an end's centre about its session's."""

# ------------------------------------------------------------------------------------------ Heron

HERON_SIGMA: Final = 0.7
COLD: Final[Pair] = (0.0, 1.7)
"""Where the first arrow of each session lands, from the rest."""

REST_MOVED: Final = date(2026, 5, 9)
REST_SHIFT: Final[Pair] = (1.5, 0.0)
"""How far the centre moved when the rest was moved."""

NEW_STRING: Final = date(2026, 6, 6)
STRING_RATIO: Final = 1.7
"""Sigma after the new string over sigma before: it was never served to the old peep height."""

ASTRAY: Final = {"4": (1.5, 0.6)}
"""Numbered arrows that fly apart from the others."""
PULLED: Final = date(2026, 8, 1)
"""First day without them: after the season's last practice, so that the season is of one set."""
BROKEN: Final = date(2026, 8, 1)
"""First day without arrow 2; spare 7 takes its place."""

BROADHEADS: Final = date(2026, 6, 27)
HEADS: Final = ("field point", "fixed-blade", "two-blade", "expandable")
OFFSETS: Final[dict[str, Pair]] = {
    "field point": (0.0, 0.0),
    "fixed-blade": (2.1, -1.7),
    "two-blade": (-0.1, 0.05),
    "expandable": (0.1, 0.05),
}
"""Where each head lands from the field points. Those within 0.15 mrad are together for any use."""

BUILD_TEST: Final = date(2026, 8, 8)
"""Both builds on one day, with the two-blade head on: a head is what a heavier front is for."""
BRASS_RATIO: Final = 1.7
"""Sigma with the aluminium insert over sigma with the brass one: the heavier front is tighter."""

FLYER_DAY: Final = date(2026, 5, 2)
FLYER: Final[Pair] = (-3.2, -4.2)

# ------------------------------------------------------------------------------------------ Slate

SLATE_YARDS: Final = (20, 30, 40, 50)
SLATE_SIGMA: Final = 1.0
"""At 32 yards, the geometric middle of the distances."""
SLATE_GROWTH: Final = 0.3
"""Share of the variance there that grows with the square of the distance, as what air and launch
speed do; the rest grows in proportion, as what the shooter's aim does."""

# ----------------------------------------------------------------- speeds, pins, and a walk back

HERON_SPEED: Final = 88.4
"""Launch speed of the aluminium build, m/s: 290 ft/s."""
HERON_VIRTUAL_G: Final = 10.0
"""Mass of Heron's moving parts, as felt: it tells the speed of the brass build."""
HERON_YARDS: Final = (20, 30, 40, 50, 60)
SLATE_SPEED: Final = 85.3
PIN_DRAG: Final = 0.0017
"""Loss of speed a metre by which the pins of Heron and Slate are set."""
SPEED_SD: Final = 0.3
"""Of one reading of the chronograph, m/s."""

WALK_BACK: Final = date(2026, 8, 15)
WALK_BACK_YARDS: Final = (10, 20, 30, 40, 50, 60)
TERN_SPEED: Final = 84.0
TERN_DRAG: Final = 0.0021
"""Loss of speed a metre: near what is published for turbulent flow."""
TERN_PIN_YARDS: Final = 20
TERN_SIGMA: Final = 0.5

# --------------------------------------------------------------------------------------- students


@dataclass(frozen=True)
class Student:
    """How a student shoots.

    Attributes
    ----------
    name : str
    sigma : float
        In the middle of the season, mrad.
    season_ratio : float
        Sigma in the last session over that in the first.
    drift : (float, float)
        How far the centre moves from the first session to the last, mrad.
    end_ratio : float
        Sigma of an end over that of the end before.
    """

    name: str
    sigma: float
    season_ratio: float = 1.0
    drift: Pair = (0.0, 0.0)
    end_ratio: float = 1.0


STUDENTS: Final = (
    Student("Wenna Marsh", 2.4, season_ratio=0.45),
    Student("Edda Quist", 2.2, season_ratio=2.2),
    Student("Corin Vale", 1.8, drift=(3.5, 0.0)),
    Student("Bram Hollis", 2.0, end_ratio=1.18),
    Student("Isla Fenn", 2.1),
)
"""The sixth, Jory Pell, has two sessions, of the sample photos: too few to tell a trend."""
