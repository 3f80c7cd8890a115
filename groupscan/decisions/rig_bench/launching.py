"""Launch speeds: chronograph readings by mass, the bow behind them, other arrows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from groupscan.errors import RigError
from groupscan.rigs.build import MAKERS_FIRST, light_warning, too_light
from groupscan.rigs.chronograph import RATINGS, Chronograph, measure_speed
from groupscan.rigs.energy import grains_per_pound, kinetic_energy_j, momentum_kgmps
from groupscan.rigs.launch import Launch, Predicted, fit_launch, launch_speed
from groupscan.units import g_to_grain

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LaunchBench", "launch_of", "ratings_frame", "speed_by_mass"]

_ALIKE_G: Final = 0.05


@dataclass(frozen=True)
class LaunchBench:
    """Chronograph readings, and what they say of the bow.

    Attributes
    ----------
    mass_g : tuple of float
        Masses of the arrows that were shot, g.
    speeds : tuple of Chronograph
        Launch speed of each.
    launch : Launch or None
        Energy and virtual mass; None from one mass.
    predicted : Predicted or None
        Arrows asked for.
    grains_per_pound : tuple of float
        Of the arrows asked for; NaN without a draw weight.
    warnings : tuple of str
        Of arrows, shot or asked for, that are too light for the draw weight.
    notes : tuple of str
    caution : str
        To be shown beside every number.
    """

    mass_g: tuple[float, ...]
    speeds: tuple[Chronograph, ...]
    launch: Launch | None
    predicted: Predicted | None
    grains_per_pound: tuple[float, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    caution: str = MAKERS_FIRST

    def readings_frame(self) -> pd.DataFrame:
        """Return one row a mass."""
        import pandas as pd

        return pd.DataFrame(
            {
                "mass_g": self.mass_g,
                "readings": [one.n for one in self.speeds],
                **{
                    name: [getattr(one, name) for one in self.speeds]
                    for name in ("speed_mps", "low_mps", "high_mps", "sd_mps")
                },
                "energy_j": [
                    float(kinetic_energy_j(mass, one.speed_mps))
                    for mass, one in zip(self.mass_g, self.speeds, strict=True)
                ],
            }
        )

    def bow_frame(self) -> pd.DataFrame:
        """Return energy and virtual mass: what, unit, value, low, high; empty from one mass."""
        import pandas as pd

        rows: list[tuple[Any, ...]] = []
        if (bow := self.launch) is not None:
            rows = [
                ("energy", "J", bow.energy_j, bow.energy_low_j, bow.energy_high_j),
                ("virtual mass", "g", bow.virtual_g, bow.virtual_low_g, bow.virtual_high_g),
            ]
        return pd.DataFrame(rows, columns=["what", "unit", "value", "low", "high"])

    def predicted_frame(self) -> pd.DataFrame:
        """Return one row for each mass asked for."""
        import pandas as pd

        names = ("mass_g", "speed_mps", "low_mps", "high_mps")
        one = self.predicted
        if one is None:
            return pd.DataFrame(columns=[*names, "energy_j", "momentum_kgmps", "grains_per_pound"])
        return pd.DataFrame(
            {
                **{name: getattr(one, name) for name in names},
                "energy_j": kinetic_energy_j(one.mass_g, one.speed_mps),
                "momentum_kgmps": momentum_kgmps(one.mass_g, one.speed_mps),
                "grains_per_pound": self.grains_per_pound,
                "outside": one.outside,
            }
        )


def launch_of(
    mass_g: Sequence[float],
    speed_mps: Sequence[float],
    *,
    predict_g: Sequence[float] = (),
    draw_weight_n: float | None = None,
    distance_m: float = 0.0,
    drag_per_m: float | Sequence[float] | None = None,
) -> LaunchBench:
    """Measure launch speeds, and the bow's virtual mass where two masses or more were shot.

    Parameters
    ----------
    mass_g, speed_mps : sequence of float
        One pair a reading of the chronograph.
    predict_g : sequence of float
        Masses of arrows that were not shot.
    draw_weight_n : float, optional
    distance_m : float
        From the string to the chronograph.
    drag_per_m : float or sequence of float, optional
        Of all arrows, or one a reading. With it what the air takes on that way is put back.

    Raises
    ------
    RigError
        If a number cannot be, or heavier arrows are not slower.

    Examples
    --------
    >>> told = launch_of([27.0, 27.0, 35.0], [95.0, 95.2, 84.7], predict_g=[31.0])
    >>> told.readings_frame()["readings"].tolist(), round(float(told.predicted.speed_mps[0]), 1)
    ([2, 1], 89.4)
    """
    mass, speed = np.asarray(mass_g, float), np.asarray(speed_mps, float)
    if mass.shape != speed.shape or not mass.size:
        raise RigError("mass_g and speed_mps: give one mass and one speed a reading, at least one")
    drag = (
        None if drag_per_m is None else np.broadcast_to(np.asarray(drag_per_m, float), mass.shape)
    )
    arrow = _arrows(mass)
    different = np.array([mass[arrow == one].mean() for one in range(arrow.max() + 1)])
    speeds = tuple(
        measure_speed(
            speed[arrow == one],
            distance_m=distance_m,
            drag_per_m=None if drag is None else float(drag[arrow == one].mean()),
        )
        for one in range(len(different))
    )
    launch = predicted = None
    notes = [note for one in speeds for note in one.notes]
    ratio: tuple[float, ...] = ()
    if len(different) > 1:
        back = 1.0 if drag is None else np.exp(drag * distance_m)
        launch = fit_launch(different[arrow], back * speed)
        notes += launch.notes
        if predict_g:
            predicted = launch.predict(np.asarray(predict_g, float))
            notes += predicted.notes
            ratio = tuple(
                float("nan") if draw_weight_n is None else float(grains_per_pound(m, draw_weight_n))
                for m in predict_g
            )
    else:
        notes.append(
            "One mass of arrow tells no virtual mass: shoot a second, heavier one, within the"
            " makers' limits, for speeds of other arrows."
        )
    every = dict.fromkeys((*different.tolist(), *predict_g))
    return LaunchBench(
        tuple(different.tolist()),
        speeds,
        launch,
        predicted,
        ratio,
        () if draw_weight_n is None else _light(tuple(every), draw_weight_n),
        tuple(dict.fromkeys(notes)),
    )


def _light(mass_g: Sequence[float], draw_weight_n: float) -> tuple[str, ...]:
    """Say which of the arrows are too light for the bow."""
    said = []
    for mass in mass_g:
        ratio = float(grains_per_pound(mass, draw_weight_n))
        if too_light(ratio):
            text = light_warning(ratio)
            said.append(f"{g_to_grain(mass):.0f} gr ({mass:.2f} g) is {text[0].lower()}{text[1:]}")
    return tuple(said)


def speed_by_mass(
    mass_g: float, speed_mps: float, virtual_g: float
) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Return launch speed as a function of mass, from one arrow's and the bow's virtual mass.

    Examples
    --------
    >>> more = speed_by_mass(27.0, 95.1, 10.0)
    >>> more(np.array([27.0, 35.0])).round(1).tolist()
    [95.1, 86.2]
    """
    energy = 1e-3 * (mass_g + virtual_g) * speed_mps**2 / 2
    return lambda mass: launch_speed(energy, virtual_g, mass)


def ratings_frame() -> pd.DataFrame:
    """Return the conditions under which published speeds of bows are rated."""
    import pandas as pd

    return pd.DataFrame([vars(one) for one in RATINGS])


def _arrows(mass: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return each reading's arrow, 0 the lightest: masses that a scale hardly parts are one."""
    order = np.argsort(mass, kind="stable")
    steps = np.diff(mass[order], prepend=mass[order][:1]) > _ALIKE_G
    arrow = np.empty(mass.shape, np.intp)
    arrow[order] = np.cumsum(steps)
    return arrow
