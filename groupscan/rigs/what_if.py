"""What an arrow would come to with other inserts and points."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.errors import RigError
from groupscan.rigs.build import MAKERS_FIRST, too_light
from groupscan.rigs.energy import grains_per_pound, kinetic_energy_j, momentum_kgmps
from groupscan.rigs.given import Array, read_mass, read_values
from groupscan.rigs.parts import MOST_G, ArrowParts, balance_of, front_of_centre, place_parts

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["WhatIf", "what_if"]


@dataclass(frozen=True)
class WhatIf:
    """What a build would come to with other inserts and points: arrays (inserts, points).

    Attributes
    ----------
    insert_g, point_g : ndarray
        Masses tried, g, along the first and the second axis.
    mass_g, foc_pct : ndarray
        Of the whole arrow, from its parts; with the scale's difference spread over the parts.
    grains_per_pound, speed_mps, energy_j, momentum_kgmps : ndarray
        NaN where draw weight or speeds were not given.
    too_light : ndarray of bool
        Below 5 grains a pound: common practice keeps above, and the makers' limits come first.
    caution : str
        To be shown beside the table.
    """

    insert_g: Array
    point_g: Array
    mass_g: Array
    foc_pct: Array
    grains_per_pound: Array
    speed_mps: Array
    energy_j: Array
    momentum_kgmps: Array
    too_light: NDArray[np.bool_]
    caution: str = MAKERS_FIRST

    def to_frame(self) -> "pd.DataFrame":
        """Return one row for each insert and point, units in the names.

        ``too_light`` is None where no draw weight was given.
        """
        import pandas as pd

        inserts, points = np.meshgrid(self.insert_g, self.point_g, indexing="ij")
        columns = {"insert_g": inserts, "point_g": points}
        columns |= {
            name: getattr(self, name)
            for name in (
                *("mass_g", "foc_pct", "grains_per_pound"),
                *("speed_mps", "energy_j", "momentum_kgmps"),
            )
        }
        light = self.too_light.astype(object)
        light[np.isnan(self.grains_per_pound)] = None
        columns["too_light"] = light
        return pd.DataFrame({name: values.ravel() for name, values in columns.items()})


def what_if(
    parts: ArrowParts,
    insert_g: ArrayLike,
    point_g: ArrayLike,
    *,
    draw_weight_n: float | None = None,
    speed_of: Callable[[Array], Array] | None = None,
) -> WhatIf:
    """Return what a build would come to with other inserts and points.

    Parameters
    ----------
    parts : ArrowParts
        The build. Where the scale's reading is known, its difference to the parts (glue, a
        shaft heavier than its label) is kept, laid on the shaft.
    insert_g, point_g : array_like, (m,) and (n,)
        Masses to try, g.
    draw_weight_n : float, optional
        Peak draw weight of the bow, N.
    speed_of : callable, optional
        Launch speed, m/s, from the mass of the arrow, g: arrays in, arrays out.

    Raises
    ------
    RigError
        If parts are missing, or a number cannot be.

    Examples
    --------
    >>> arrow = ArrowParts(
    ...     shaft_g_per_m=24.0, cut_mm=720.0, nock_g=0.6, fletching_g=1.2, insert_g=3.0, point_g=8.0
    ... )
    >>> table = what_if(arrow, [2.0, 4.0], [6.5, 8.1], draw_weight_n=320.0)
    >>> table.mass_g.round(1).tolist(), table.foc_pct.round(1).tolist()
    ([[27.6, 29.2], [29.6, 31.2]], [[12.9, 15.1], [15.3, 17.1]])
    """
    inserts = _tried(insert_g, "insert_g")
    points = _tried(point_g, "point_g")
    # Both stand in the list, so that their places are there, whatever the build has now.
    placed = place_parts(replace(parts, insert_g=1.0, point_g=1.0))
    shape = (inserts.size, points.size)
    grid = {"insert": inserts[:, None], "point": points}
    masses = [
        np.broadcast_to(np.asarray(grid.get(part.what, part.mass_g), float), shape)
        for part in placed
    ]
    at = np.array([part.at_mm for part in placed])
    if parts.mass_g is not None:
        own, _ = balance_of([p.mass_g for p in place_parts(parts)], [0.0] * len(place_parts(parts)))
        shaft = [part.what for part in placed].index("shaft")
        masses[shaft] = masses[shaft] + (parts.mass_g - float(own))
    mass, balance = balance_of(np.stack(masses), at[:, None, None])
    read_mass(mass)
    empty = np.full(shape, math.nan)
    speed = empty if speed_of is None else np.broadcast_to(speed_of(mass), shape)
    ratio = empty if draw_weight_n is None else grains_per_pound(mass, draw_weight_n)
    return WhatIf(
        insert_g=inserts,
        point_g=points,
        mass_g=mass,
        foc_pct=front_of_centre(balance, parts.length_mm or math.nan),
        grains_per_pound=ratio,
        speed_mps=speed,
        energy_j=empty if speed_of is None else kinetic_energy_j(mass, speed),
        momentum_kgmps=empty if speed_of is None else momentum_kgmps(mass, speed),
        too_light=too_light(ratio),
    )


def _tried(given: ArrayLike, field: str) -> Array:
    """Return masses to try, one or several."""
    values = read_values(
        given, field, "g", least=0.0, most=MOST_G[field], advice="is it in grains?"
    )
    if values.ndim > 1 or not values.size:
        raise RigError(f"{field} must be one mass or a row of masses in g, not {values.shape}")
    return np.atleast_1d(values)
