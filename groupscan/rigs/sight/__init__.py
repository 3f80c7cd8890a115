"""Pins: where they belong, where an arrow lands holding them, what they cover, the best of them."""

from groupscan.rigs.sight.bands import Band, bands_held, uncovered
from groupscan.rigs.sight.best import PinPlan, best_pins
from groupscan.rigs.sight.landing import Landing, landing
from groupscan.rigs.sight.places import (
    Sight,
    pin_distances,
    pin_gaps,
    pin_positions,
    turning_distance,
)
from groupscan.rigs.sight.slider import SliderScale, slider_scale

__all__ = [
    "Band",
    "Landing",
    "PinPlan",
    "Sight",
    "SliderScale",
    "bands_held",
    "best_pins",
    "landing",
    "pin_distances",
    "pin_gaps",
    "pin_positions",
    "slider_scale",
    "turning_distance",
    "uncovered",
]
