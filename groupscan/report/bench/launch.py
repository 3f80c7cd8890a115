"""Launch speed against the mass of the arrow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from groupscan.report.bench.scene import Chart, Curve, Dots, Mark, Ribbon

if TYPE_CHECKING:
    from groupscan.report.bench.reading import Reading
    from groupscan.rigs.chronograph import Chronograph
    from groupscan.rigs.launch import Launch, Predicted

__all__ = ["launch_chart", "launch_sentence"]


def launch_chart(
    readings: Sequence[tuple[float, float]],
    speeds: Sequence[tuple[float, Chronograph]],
    launch: Launch | None,
    predicted: Predicted | None,
    read: Reading,
    *,
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out the readings of a chronograph, their means, and the curve through them.

    Parameters
    ----------
    readings : sequence of (mass_g, speed_mps)
        Each reading.
    speeds : sequence of (mass_g, Chronograph)
        The mean of each mass.
    launch : Launch or None
    predicted : Predicted or None
        Arrows that were not shot.
    read : Reading
    title, caution : str
    """
    masses = [mass for mass, _ in speeds]
    if predicted is not None:
        masses += predicted.mass_g.tolist()
    room = 0.08 * (max(masses) - min(masses)) or 0.05 * max(masses)
    low, high = min(masses) - room, max(masses) + room
    marks: list[Mark] = []
    if launch is not None:
        at = np.linspace(low, high, 41)
        curve = launch.predict(at)
        x = read.numbers("mass", at)
        if np.isfinite(curve.low_mps).all() and np.isfinite(curve.high_mps).all():
            marks.append(
                Ribbon(
                    x, read.numbers("speed", curve.low_mps), read.numbers("speed", curve.high_mps),
                    f"where it may lie ({launch.confidence:.0%} interval)", "found",
                )
            )  # fmt: skip
        marks.append(
            Curve(x, read.numbers("speed", curve.speed_mps), "speed by mass, from these readings")
        )
    marks.append(
        Dots(
            [read.number("mass", mass) for mass, _ in readings],
            [read.number("speed", speed) for _, speed in readings],
            "one reading", "outer", "line", 13,
            hover=[read.words("speed", speed) for _, speed in readings],
        )
    )  # fmt: skip
    marks.append(
        Dots(
            [read.number("mass", mass) for mass, _ in speeds],
            [read.number("speed", one.speed_mps) for _, one in speeds],
            "mean of an arrow", "moved", "circle", 12,
            hover=[
                f"{read.words('mass', mass)}: "
                f"{read.words('speed', one.speed_mps, one.low_mps, one.high_mps)}"
                for mass, one in speeds
            ],
        )
    )  # fmt: skip
    if predicted is not None:
        limits = np.isfinite(predicted.low_mps).all() and np.isfinite(predicted.high_mps).all()
        marks.append(
            Dots(
                read.numbers("mass", predicted.mass_g), read.numbers("speed", predicted.speed_mps),
                "an arrow not shot yet", "centre", "diamond", 13,
                low=read.numbers("speed", predicted.low_mps) if limits else (),
                high=read.numbers("speed", predicted.high_mps) if limits else (),
                hover=[
                    f"{read.words('mass', mass)}: {read.words('speed', speed)}"
                    for mass, speed in zip(predicted.mass_g, predicted.speed_mps, strict=True)
                ],
            )
        )  # fmt: skip
    return Chart(
        tuple(marks),
        x_title=f"mass of the arrow ({read.unit('mass')})",
        y_title=f"launch speed ({read.unit('speed')})",
        x_range=(read.number("mass", low), read.number("mass", high)),
        title=title,
        caution=caution,
    )


def launch_sentence(
    speeds: Sequence[tuple[float, Chronograph]], predicted: Predicted | None, read: Reading
) -> str:
    """Say how quick the arrows leave, and what another one would do."""
    said = []
    for mass, one in speeds:
        words = read.words("speed", one.speed_mps, one.low_mps, one.high_mps)
        spread = "" if math.isnan(one.sd_mps) else (
            f", with {read.words('speed', one.sd_mps)} of spread from shot to shot"
        )  # fmt: skip
        said.append(f"{read.words('mass', mass)} leaves at {words}{spread}")
    text = "; ".join(said) + "."
    if predicted is not None:
        text += " " + " ".join(
            f"{read.words('mass', mass)} would leave at {read.words('speed', speed, low, high)}."
            for mass, speed, low, high in zip(
                predicted.mass_g, predicted.speed_mps, predicted.low_mps, predicted.high_mps,
                strict=True,
            )
        )  # fmt: skip
    return text
