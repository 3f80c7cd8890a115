"""A build of arrow: mass and balance, from parts and scale, and what they come to at a speed."""

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from groupscan.rigs.energy import (
    grains_per_pound,
    kinetic_energy_j,
    momentum_kgmps,
    trade_energy_ftlbf,
)
from groupscan.rigs.given import read_mass
from groupscan.rigs.parts import (
    USUAL_NOCK_MM,
    ArrowParts,
    balance_of,
    front_of_centre,
    place_parts,
)
from groupscan.telling import tied

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "LEAST_GRAINS_PER_POUND",
    "MAKERS_FIRST",
    "ArrowFigures",
    "light_warning",
    "measure_arrow",
    "too_light",
]

MAKERS_FIRST: Final = (
    "The limits that the makers of the bow and of the arrow give come before any number here."
)

#: The widely quoted floor, grains for each pound of peak draw weight.
LEAST_GRAINS_PER_POUND: Final = 5.0
# Masses and forces that were turned into SI and back miss the floor by their last digits.
_ROUNDING: Final = 1e-6
#: Front of centre as long used, per cent: common practice, no source.
USUAL_FOC_PCT: Final = (10.0, 12.0)
#: Parts and scale that differ by more than this share are worth a look: it is more than a scale
#: that reads to a grain, the glue and the shaft's tolerance explain together.
TELLING_SHARE: Final = 0.02

NAN: Final = math.nan


@dataclass(frozen=True)
class ArrowFigures:
    """What a build of arrow comes to; NaN where what was given cannot say, and `notes` say why.

    Attributes
    ----------
    parts_g, scale_g : float
        Mass of the whole from its parts, and as the scale reads it, g.
    difference_g : float
        The scale's less the parts', g.
    mass_g : float
        What all below rests on: the scale's, or without one the parts', g.
    length_mm : float
        Throat of the nock to front end of the shaft, mm.
    balance_mm, parts_balance_mm : float
        Balance point as measured, and from the parts, mm from the throat of the nock.
    foc_pct, parts_foc_pct : float
        Front of centre from each, per cent.
    energy_j, momentum_kgmps : float
        At the speed that was given.
    trade_energy_ftlbf : float
        Energy by the trade's rule (divisor 450240), which tells 0.0437 % more, foot-pounds.
    grains_per_pound : float
        Mass for each pound of peak draw weight, grains.
    warnings : tuple of str
        What could be unsafe, or was missing to tell. The makers' limits come first.
    notes : tuple of str
        Remarks.
    caution : str
        To be shown beside every number.
    """

    parts_g: float
    scale_g: float
    difference_g: float
    mass_g: float
    length_mm: float
    balance_mm: float
    parts_balance_mm: float
    foc_pct: float
    parts_foc_pct: float
    energy_j: float
    momentum_kgmps: float
    trade_energy_ftlbf: float
    grains_per_pound: float
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    caution: str = MAKERS_FIRST

    def to_frame(self) -> "pd.DataFrame":
        """Return the figures as a table: what, value, unit."""
        import pandas as pd

        rows = [(what, getattr(self, name), unit) for name, what, unit in FIGURES]
        return pd.DataFrame(rows, columns=["what", "value", "unit"])


FIGURES: Final = (
    ("mass_g", "mass", "g"),
    ("parts_g", "mass from the parts", "g"),
    ("scale_g", "mass on the scale", "g"),
    ("difference_g", "scale less parts", "g"),
    ("length_mm", "length", "mm"),
    ("balance_mm", "balance point", "mm"),
    ("parts_balance_mm", "balance point from the parts", "mm"),
    ("foc_pct", "front of centre", "%"),
    ("parts_foc_pct", "front of centre from the parts", "%"),
    ("grains_per_pound", "mass per pound of draw weight", "gr/lb"),
    ("energy_j", "kinetic energy", "J"),
    ("trade_energy_ftlbf", "kinetic energy, trade's rule (450240)", "ft-lbf"),
    ("momentum_kgmps", "momentum", "kg m/s"),
)


def measure_arrow(
    parts: ArrowParts, *, draw_weight_n: float | None = None, speed_mps: float | None = None
) -> ArrowFigures:
    """Return what a build of arrow comes to.

    Parameters
    ----------
    parts : ArrowParts
        What is known of it.
    draw_weight_n : float, optional
        Peak draw weight of the bow, N.
    speed_mps : float, optional
        Launch speed, m/s.

    Returns
    -------
    ArrowFigures
        NaN where what was given cannot say.

    Raises
    ------
    RigError
        If neither the scale nor the parts give a mass, or a number cannot be.

    Examples
    --------
    >>> arrow = ArrowParts(mass_g=34.67, cut_mm=730.0, balance_mm=447.0)
    >>> figures = measure_arrow(arrow, draw_weight_n=355.86, speed_mps=85.344)
    >>> round(figures.foc_pct, 1), round(figures.energy_j), round(figures.grains_per_pound, 2)
    (10.7, 126, 6.69)
    """
    if parts.mass_g is None or not parts.missing:
        placed = place_parts(parts)
        total, balance = balance_of(
            [part.mass_g for part in placed], [part.at_mm for part in placed]
        )
        parts_g, parts_balance = float(total), float(balance)
    else:
        parts_g = parts_balance = NAN
    scale_g = NAN if parts.mass_g is None else parts.mass_g
    mass = parts_g if parts.mass_g is None else parts.mass_g
    read_mass(mass)
    length = NAN if parts.length_mm is None else parts.length_mm
    measured = NAN if parts.balance_mm is None else parts.balance_mm
    ratio = NAN if draw_weight_n is None else float(grains_per_pound(mass, draw_weight_n))
    figures = ArrowFigures(
        parts_g=parts_g,
        scale_g=scale_g,
        difference_g=scale_g - parts_g,
        mass_g=mass,
        length_mm=length,
        balance_mm=measured,
        parts_balance_mm=parts_balance,
        foc_pct=_foc(measured, length),
        parts_foc_pct=_foc(parts_balance, length),
        energy_j=NAN if speed_mps is None else float(kinetic_energy_j(mass, speed_mps)),
        momentum_kgmps=NAN if speed_mps is None else float(momentum_kgmps(mass, speed_mps)),
        trade_energy_ftlbf=(
            NAN if speed_mps is None else float(trade_energy_ftlbf(mass, speed_mps))
        ),
        grains_per_pound=ratio,
        warnings=(),
        notes=(),
    )
    return replace(figures, warnings=_warnings(figures), notes=_notes(figures, parts))


def too_light(grains_per_pound: ArrayLike) -> NDArray[np.bool_]:
    """Return whether arrows lie below the floor; one whose ratio is not known (NaN) does not.

    Examples
    --------
    >>> too_light([4.99, 5.0 - 1e-9, 5.2, float("nan")]).tolist()
    [True, False, False, False]
    """
    floor = LEAST_GRAINS_PER_POUND * (1 - _ROUNDING)
    light: NDArray[np.bool_] = np.asarray(np.asarray(grains_per_pound, float) < floor)
    return light


def light_warning(grains_per_pound: float) -> str:
    """Return what to say of an arrow below the floor."""
    return (
        f"Very light for this bow: {grains_per_pound:.2f} grains a pound of draw weight, where"
        f" common practice keeps at least {LEAST_GRAINS_PER_POUND:g}. A light arrow loads a bow"
        " towards a dry shot, which can break bow and arrow and hurt the archer."
        f" {MAKERS_FIRST}"
    )


def _foc(balance: float, length: float) -> float:
    """Return front of centre where both are known."""
    if math.isnan(balance) or math.isnan(length):
        return NAN
    return float(front_of_centre(balance, length))


def _warnings(figures: ArrowFigures) -> tuple[str, ...]:
    """Say what could be unsafe, or cannot be told."""
    said = []
    ratio = figures.grains_per_pound
    if math.isnan(ratio):
        said.append(
            "Without a draw weight nobody can tell whether this arrow is too light for the bow:"
            f" give the peak draw weight. {MAKERS_FIRST}"
        )
    elif too_light(ratio):
        said.append(light_warning(ratio))
    if abs(figures.difference_g) > TELLING_SHARE * figures.scale_g:
        said.append(
            f"The scale reads {figures.difference_g:+.2f} g against the sum of the parts: a part"
            " is missing, counted twice or in another unit."
        )
    return tuple(said)


def _notes(figures: ArrowFigures, parts: ArrowParts) -> tuple[str, ...]:
    """Say what the figures rest on."""
    said = []
    if math.isnan(figures.parts_g):
        said.append(
            f"No sum of the parts: {', '.join(parts.missing)} not given. The scale's reading is"
            " used."
        )
    absent = [name for name in ("insert_g", "collar_g", "wrap_g") if getattr(parts, name) is None]
    if absent and not math.isnan(figures.parts_g):
        said.append(f"{', '.join(absent)} not given: taken as none.")
    if parts.cut_mm is not None and parts.nock_mm is None:
        said.append(
            f"The throat of the nock is taken as {tied(USUAL_NOCK_MM, 'mm', 'g')} behind the shaft;"
            " each mm that it lies elsewhere moves front of centre by 0.1 points or less."
        )
    if math.isnan(figures.foc_pct):
        said.append(
            "No measured front of centre: give balance_mm and cut_mm."
            + ("" if math.isnan(figures.parts_foc_pct) else " That from the parts is an estimate.")
        )
    foc = figures.parts_foc_pct if math.isnan(figures.foc_pct) else figures.foc_pct
    low, high = USUAL_FOC_PCT
    if foc < low or foc > high:
        said.append(
            f"Front of centre of {foc:.1f} % lies outside the {low:g} to {high:g} % long used:"
            " a remark, neither good nor bad by itself."
        )
    return tuple(said)
