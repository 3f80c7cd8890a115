"""Launch speed, drag and peep height from groups shot at several distances."""

from groupscan.rigs.fit.measure import ANY_ARROW_PER_M, fit_groups
from groupscan.rigs.fit.result import Fitted, FlightFit, PredictedPins

__all__ = ["ANY_ARROW_PER_M", "Fitted", "FlightFit", "PredictedPins", "fit_groups"]
