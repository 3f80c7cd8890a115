"""Pins: a picture of the sight, what each covers, and the chance of the circle by distance."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from groupscan.report.bench.reading import Reading
from groupscan.report.bench.scene import Chart, Curve, Dots, Label, Mark, Ribbon, Stretch

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from groupscan.rigs.sight import Band

__all__ = ["bands_chart", "chance_chart", "chances_sentence", "pins_sentence", "sight_chart"]

# A little air around the pins, and the least ring, mm.
_ROOM: Final = 5.0
_LEAST_RING: Final = 12.0
# Words closer than this, in rings, would meet.
_CLOSE: Final = 0.17
_BAR: Final = {"mm": (10.0, "10 mm"), "in": (12.7, "half an inch")}
# Share of the range at either end where words about the middle would be cut on a phone.
_EDGE: Final = 0.1


def sight_chart(
    pins_m: Sequence[float],
    position_mm: Sequence[float],
    read: Reading,
    *,
    unsure_mm: Sequence[tuple[float, float]] = (),
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out the sight as the archer sees it, all of it to one scale.

    Parameters
    ----------
    pins_m, position_mm : sequence of float
        Distances of the pins, and how far below the peep's line each lies.
    read : Reading
    unsure_mm : sequence of (low, high), optional
        Where each may belong.
    title, caution : str
    """
    top, low = position_mm[0], max(position_mm)
    middle = (min(position_mm) + low) / 2
    ring = max(_LEAST_RING, (low - min(position_mm)) / 2 + _ROOM)
    turn = np.linspace(0, 2 * np.pi, 90)
    marks: list[Mark] = [
        Curve(
            (ring * np.cos(turn)).tolist(), (top - middle + ring * np.sin(turn)).tolist(),
            "ring of the sight", "outer", "solid", 3,
        )
    ]  # fmt: skip
    aside = _asides(position_mm, ring)
    for number, (far, at) in enumerate(zip(pins_m, position_mm, strict=True)):
        y = top - at
        edge = float(np.sqrt(max(ring**2 - (at - middle) ** 2, 0.0)))
        marks.append(Curve([0, edge], [y, y], "pin", "inner", "solid", 2.4))
        words = f"{read.words('distance', far)}: {read.words('length', at)} below the peep's line"
        marks.append(
            Dots([0], [y], "where the aim is held", "moved", "circle", 11, hover=[words],
                 low=[top - unsure_mm[number][1]] if unsure_mm else (),
                 high=[top - unsure_mm[number][0]] if unsure_mm else ())
        )  # fmt: skip
        marks.append(Label(-aside[number] * ring, y, read.words("distance", far), "ink", "right"))
    gaps = [(a + b) / 2 for a, b in pairwise(position_mm)]
    for number, aside_gap in enumerate(_asides(gaps, ring)):
        gap = position_mm[number + 1] - position_mm[number]
        words = f"gap {read.words('length', gap)}"
        x = (1.05 + 1.6 * aside_gap) * ring
        marks.append(Label(x, top - gaps[number], words, "centre", "left"))
    long, name = _BAR[read.unit("length")]
    foot = top - middle - 1.12 * ring
    marks.append(Curve([-long / 2, long / 2], [foot, foot], "", "ink", "solid", 4))
    marks.append(Label(long / 2, foot, name, "ink", "left"))
    return Chart(
        tuple(marks),
        x_range=(-1.15 * ring, 2.1 * ring),
        y_range=(foot - 0.1 * ring, top - middle + 1.05 * ring),
        title=title,
        equal=True,
        caution=caution,
    )


def _asides(places_mm: Sequence[float], ring: float) -> list[float]:
    """Return how far aside words go, in rings, so that those of close neighbours do not meet."""
    aside: list[float] = []
    for number, at in enumerate(places_mm):
        close = number > 0 and abs(at - places_mm[number - 1]) < _CLOSE * ring
        aside.append(0.45 if close and aside[-1] == 0 else 0.0)
    return aside


def bands_chart(
    bands: Sequence[Band],
    open_m: Sequence[tuple[float, float]],
    read: Reading,
    *,
    range_m: tuple[float, float],
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out over which distances each pin, or the gap between two, stays inside the circle."""
    marks: list[Mark] = [
        Stretch(
            read.number("distance", a), read.number("distance", b), "covered by no pin", "moved"
        )
        for a, b in open_m
    ]
    holds = sorted({band.hold for band in bands})
    first, last = (read.number("distance", at) for at in range_m)
    for band in bands:
        whole = band.hold == int(band.hold)
        near, far = (read.number("distance", at) for at in (band.near_m, band.far_m))
        y = -holds.index(band.hold)
        marks.append(
            Curve(
                [near, far], [y, y], "holding a pin" if whole else "half-way between two pins",
                "found" if whole else "added", "solid" if whole else "dot", 9 if whole else 6,
                hover=[f"{band.held}: {near:.3g} to {far:.3g} {read.unit('distance')}"] * 2,
            )
        )  # fmt: skip
        name = f"pin {int(band.hold) + 1}"
        if not whole:
            name += f" / {int(band.hold) + 2}"
        marks.append(_inside((near + far) / 2, y, name, (first, last)))
    return Chart(
        tuple(marks),
        x_title=f"distance ({read.unit('distance')})",
        x_range=(first, last),
        y_range=(0.5 - max(len(holds), 1), 0.9),
        title=title,
        caution=caution,
    )


def _inside(x: float, y: float, name: str, ends: tuple[float, float]) -> Label:
    """Return a label that no edge of a narrow picture cuts off."""
    near, far = ends
    if x < near + _EDGE * (far - near):
        return Label(near, y, name, "ink", "left", above=True)
    if x > far - _EDGE * (far - near):
        return Label(far, y, name, "ink", "right", above=True)
    return Label(x, y, name, "ink", above=True)


def chance_chart(
    distance_m: NDArray[np.float64],
    probability: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    held: Sequence[str],
    pins_m: Sequence[float],
    read: Reading,
    *,
    measured: bool,
    title: str = "",
    caution: str = "",
) -> Chart:
    """Lay out the chance of the circle against distance, with the hold that lands nearest."""
    x = read.numbers("distance", distance_m)
    marks: list[Mark] = []
    if measured:
        marks.append(
            Ribbon(x, 100 * low, 100 * high, "share of arrows in the long run", "found")  # type: ignore[arg-type]
        )
    marks.append(
        Curve(
            x, (100 * probability).tolist(), "chance that the next arrow is inside", "found",
            hover=[
                f"{at:.3g} {read.unit('distance')}: {100 * p:.0f} % inside, holding {hold}"
                for at, p, hold in zip(x, probability, held, strict=True)
            ],
        )
    )  # fmt: skip
    marks.append(
        Dots(read.numbers("distance", pins_m), [0.0] * len(pins_m), "a pin is right here",
             "centre", "triangle-up", 13)
    )  # fmt: skip
    return Chart(
        tuple(marks),
        x_title=f"distance ({read.unit('distance')})",
        y_title="inside (%)",
        x_range=(x[0], x[-1]),
        y_range=(0, 101),
        title=title,
        caution=caution,
    )


def pins_sentence(
    pins_m: Sequence[float],
    open_m: Sequence[tuple[float, float]],
    circle_mm: float,
    read: Reading,
    *,
    range_m: tuple[float, float],
) -> str:
    """Say what a set of pins covers, and where it leaves a hole."""
    count = len(pins_m)
    pins = "This pin keeps" if count == 1 else f"These {count} pins, and half-way between, keep"
    circle = f"a circle {read.words('length', circle_mm)} across"
    near, far = (read.words("distance", at) for at in range_m)
    if not open_m:
        return f"{pins} the middle of your arrows inside {circle} all the way from {near} to {far}."
    holes = " and ".join(
        f"{read.words('distance', a)} to {read.words('distance', b)}" for a, b in open_m
    )
    return (
        f"{pins} the middle of your arrows inside {circle}, but not from {holes}:"
        " move a pin there, add one, or do not shoot from there."
    )


def chances_sentence(
    distance_m: NDArray[np.float64],
    low: NDArray[np.float64],
    read: Reading,
    *,
    basis: str,
    share: float = 0.9,
) -> str:
    """Say over which distances that share of the arrows lands inside, as far as is known.

    Examples
    --------
    >>> from groupscan.records.preferences import Preferences
    >>> far, low = np.array([10.0, 20.0, 30.0]), np.array([1.0, 0.95, 0.3])
    >>> chances_sentence(far, low, Reading(Preferences()), basis="60 shots")
    'By 60 shots, nine arrows in ten or more land inside from 10 m to 20 m.'
    """
    good = low >= share
    starts = np.flatnonzero(good & ~np.r_[False, good[:-1]])
    ends = np.flatnonzero(good & ~np.r_[good[1:], False])
    if not len(starts):
        return f"By {basis}, nowhere in this range do nine arrows in ten surely land inside."
    spans = " and ".join(
        f"{read.words('distance', distance_m[a])} to {read.words('distance', distance_m[b])}"
        for a, b in zip(starts, ends, strict=True)
    )
    return f"By {basis}, nine arrows in ten or more land inside from {spans}."
