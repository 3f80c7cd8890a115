"""Whether groups at several distances were aimed with one pin at one setting of the sight."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import fdtrc

from groupscan.decisions.pooling import values_in
from groupscan.rigs.flight import GRAVITY_MPS2
from groupscan.telling import tied

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.rigs.fit import Fitted

__all__ = [
    "ONE_PIN",
    "OWN_PINS",
    "moved_warnings",
    "off_curve_warning",
    "other_peep_warning",
    "seems_sighted",
]

ONE_PIN: Final = (
    "All shots are taken as aimed with one pin at one setting of the sight, on level ground and"
    " without wind: leave out sessions where that was not so."
)
OWN_PINS: Final = (
    "The groups hardly fall with distance, as if each had been aimed with a pin or setting of its"
    " own: the fit needs one pin, held on the aim at every distance"
)
# Quicker than any arrow from a bow drawn by hand, m/s.
_QUICKEST_MPS: Final = 120.0
# How well a ruler tells the height of a peep (common practice, no source).
_PEEP_SE_MM: Final = 5.0
# Standard errors that chance hardly ever passes (1 in 700 to one side).
_SURE: Final = 3.0
# Sessions from which on their own spread tells how sure their mean is.
_SEVERAL: Final = 5
# Chance of a false word about the sight, over all distances together.
_DOUBTFUL_P: Final = 0.01
_LISTED: Final = 4


def moved_warnings(table: pd.DataFrame, groups: pd.DataFrame) -> tuple[str, ...]:
    """Say where a sight may have moved, or has, between groups that are to be one curve.

    Parameters
    ----------
    table : DataFrame
        The shots.
    groups : DataFrame
        Of `groupscan.decisions.rig_bench.fitting.heights_of`, each session a group.

    Returns
    -------
    tuple of str
        Empty where nothing speaks for it.
    """
    said = []
    setups = values_in(table, "setup") if "setup" in table else []
    if len(setups) > 1:
        more = f", {len(setups) - _LISTED} more" if len(setups) > _LISTED else ""
        said.append(
            f"These shots are of {len(setups)} setups ({', '.join(setups[:_LISTED])}{more}). If the"
            " sight was set anew between them, they lie on different curves: choose one setup."
        )
    apart = _apart(groups)
    if apart:
        at = ", ".join(tied(far, "m", ".4g") for far in apart)
        said.append(
            f"Sessions from the same distance ({at}) differ in height by more than their shots"
            " scatter: the sight was moved between them, or they were aimed with different pins."
            " Choose the sessions of one setting."
        )
    return tuple(said)


def off_curve_warning(lack_of_fit_p: float) -> tuple[str, ...]:
    """Say plainly that the groups do not lie on the curve of any one arrow and pin."""
    if not lack_of_fit_p < _DOUBTFUL_P:
        return ()
    return (
        "The groups do not lie on the curve of one arrow and one pin, as where the sight was moved"
        " between distances: rely on no speed and no pin below until that is settled.",
    )


def other_peep_warning(fitted: Fitted, peep_mm: float | None) -> tuple[str, ...]:
    """Say where the groups ask for another peep height than the one that was measured.

    Parameters
    ----------
    fitted : Fitted
        Peep height from the groups alone, mm.
    peep_mm : float or None
        As the setup keeps it; None where it keeps none.
    """
    if peep_mm is None or _off(fitted, peep_mm) <= _SURE * _PEEP_SE_MM:
        return ()
    return (
        f"The groups ask for a peep height of {tied(fitted.value, 'mm')}, the setup keeps"
        f" {tied(peep_mm, 'mm')}: they were aimed with pins or settings of their own, a distance is"
        " wrong, or the peep height is. Rely on no pin below until that is settled.",
    )


def _off(fitted: Fitted, value: float) -> float:
    """Return how far a value lies outside an interval; 0 inside."""
    return max(fitted.low - value, value - fitted.high, 0.0)


def seems_sighted(
    groups: pd.DataFrame,
    peep_mm: float | None = None,
    speed_mps: tuple[float, float] | None = None,
) -> bool:
    """Return whether the groups curve less than those of the quickest arrow with one pin would.

    A free fall lies above the chord of its ends by g (d - a) (b - d) / (2 v^2); the least such arch
    is held against the one seen in the middle, three standard errors allowed for. They come from
    the angle of scatter of all groups together: that of two or three shots says little by itself.

    Parameters
    ----------
    groups : DataFrame
        Of `groupscan.decisions.rig_bench.fitting.heights_of`.
    peep_mm : float, optional
        Height of the peep: every arrow leaves that far below the line of sight, which is a third
        place of the curve where there are groups from two distances only.
    speed_mps : (float, float), optional
        Launch speed of a chronograph and its standard error: this arrow is no quicker.
    """
    quickest = _QUICKEST_MPS
    if speed_mps is not None:
        quickest = min(quickest, speed_mps[0] + _SURE * speed_mps[1])
    sigma, df = _angle(groups)
    by = groups.groupby(groups["distance_m"].round(1), sort=True).agg(
        height=("height_mm", "mean"), shots=("shots", "min"),
        spread=("height_mm", "std"), sessions=("height_mm", "size"),
    )  # fmt: skip
    if not df:
        return False
    at, height = by.index.to_numpy(float), by["height"].to_numpy(float)
    # Sessions of one distance may lie apart: several tell by how much, few count as one.
    se = np.where(
        by["sessions"] >= _SEVERAL,
        by["spread"] / np.sqrt(by["sessions"]),
        sigma * at / np.sqrt(by["shots"].to_numpy(float)),
    )
    if len(at) == 2 and peep_mm is not None:
        at, height, se = (
            np.concatenate(([first], rest))
            for first, rest in ((0.0, at), (-peep_mm, height), (_PEEP_SE_MM, se))
        )
    if len(at) < 3:
        return False
    share = (at - at[0]) / (at[-1] - at[0])
    arch = height - (height[0] + share * (height[-1] - height[0]))
    least = 1e3 * GRAVITY_MPS2 * (at - at[0]) * (at[-1] - at) / (2 * quickest**2)
    middle = int(least.argmax())
    of_chord = math.hypot((1 - share[middle]) * se[0], share[middle] * se[-1])
    return bool(arch[middle] + _SURE * math.hypot(se[middle], of_chord) < least[middle])


def _angle(groups: pd.DataFrame) -> tuple[float, int]:
    """Return the scatter of one shot in height, mm at 1 m, of all groups, and its freedom."""
    at, shots = groups["distance_m"].to_numpy(float), groups["shots"].to_numpy(int)
    angle = np.nan_to_num(groups["se_mm"].to_numpy(float)) * np.sqrt(shots) / at
    df = int((shots - 1).sum())
    return (math.sqrt(float(((shots - 1) * angle**2).sum()) / df) if df else math.nan), df


def _apart(groups: pd.DataFrame) -> list[float]:
    """Return the distances whose sessions differ by more than shots scatter (F test)."""
    sigma, df = _angle(groups)
    if not df or not sigma > 0:
        return []
    several = [
        (float(far), one) for far, one in groups.groupby(groups["distance_m"].round(1))
        if len(one) > 1
    ]  # fmt: skip
    found = []
    for far, one in several:
        weight = one["shots"].to_numpy(float)
        angle = one["height_mm"].to_numpy(float) / one["distance_m"].to_numpy(float)
        mean = (weight * angle).sum() / weight.sum()
        ratio = (weight * (angle - mean) ** 2).sum() / (len(one) - 1) / sigma**2
        if fdtrc(len(one) - 1, df, ratio) < _DOUBTFUL_P / len(several):
            found.append(far)
    return found
