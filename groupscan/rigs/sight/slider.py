"""The scale of a single movable pin."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError
from groupscan.rigs.given import Array
from groupscan.rigs.sight.places import Sight, pin_positions, read_distances, turning_distance
from groupscan.units import distance_text, m_to_yd

__all__ = ["SliderScale", "slider_scale"]


@dataclass(frozen=True)
class SliderScale:
    """The scale of one movable pin.

    Attributes
    ----------
    distance_m : (n,) array
    mark_mm : (n,) array
        How far below the reference mark; negative is above it.
    reference_m : float
        Distance of the reference mark.
    turning_m : float
        The distance of the highest mark.
    """

    distance_m: Array
    mark_mm: Array
    reference_m: float
    turning_m: float

    @property
    def doubtful(self) -> NDArray[np.bool_]:
        """Whether a mark is nearer than the highest one, so that a farther mark is the same."""
        near: NDArray[np.bool_] = self.distance_m < self.turning_m
        return near


def slider_scale(sight: Sight, distance_m: ArrayLike, *, reference_m: float) -> SliderScale:
    """Return the marks of a movable pin's scale, from a reference mark down.

    Parameters
    ----------
    sight : Sight
        `radius_mm` is taken for the same all along the slider.
    distance_m : (n,) array_like, m
        Distances to mark.
    reference_m : float, m
        Distance at which the slider is sighted in.

    Returns
    -------
    SliderScale

    Raises
    ------
    RigError
        If a distance is not positive and finite, or out of the arrow's reach, or the reference is
        nearer than the highest mark: a farther distance has the same mark, so that the slider
        does not tell which of the two it was sighted in at.

    Examples
    --------
    >>> sight = Sight(85.344, 0.0, 101.6, 863.6)
    >>> scale = slider_scale(sight, [18.288, 27.432], reference_m=18.288)
    >>> scale.mark_mm.round(3).tolist(), scale.doubtful.tolist()
    ([0.0, 3.721], [False, False])
    """
    distance = np.atleast_1d(read_distances(distance_m, "distance_m"))
    reference = float(read_distances(reference_m, "reference_m"))
    turning = turning_distance(sight)
    if reference < turning:
        raise RigError(
            f"reference_m is {distance_text(reference)}, nearer than {turning:.1f} m"
            f" ({m_to_yd(turning):.1f} yd), where the pin stands highest: begin farther out"
        )
    mark = pin_positions(sight, distance) - float(pin_positions(sight, reference))
    return SliderScale(distance, mark, reference, turning)
