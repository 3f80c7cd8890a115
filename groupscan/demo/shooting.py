"""The shots of the invented season, drawn from what `groupscan.demo.effects` says is true.

Every session draws from a generator of its own, by the season's seed and what the session is
called, so that a change of one leaves the others as they were.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from groupscan.demo import effects as true

__all__ = ["SEED", "DrawnSession", "DrawnShot", "draw_season"]

SEED: Final = 41
"""One of those whose season shows all that is true of it and nothing that is not."""
M_PER_YARD: Final = 0.9144
COACH: Final = "Tamsin Orrell"
# The heads of each end. Broadheads come after two ends of field points, as the first arrow is cold.
_PRACTICE: Final = 6 * [true.HEADS[:1]]
_SIX: Final = ("1", "2", "3", "4", "5", "6")
_TUNING: Final = [*2 * [true.HEADS[:1]], *8 * [true.HEADS]]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class DrawnShot:
    """One shot: its end (from 1), its place in the session, and where it is from the aim, mm."""

    end: int
    order: int
    head: str
    arrow: str
    right_mm: float
    high_mm: float
    flyer_why: str = ""


@dataclass(frozen=True)
class DrawnSession:
    """One outing and its shots, in the order shot.

    Attributes
    ----------
    called : str
        Its name among the season's, from which its identity is made.
    held_on : date
    shooter, rig, build, purpose : str
        `build` is empty where the setup of the day says it.
    distance : str
        As an archer writes it.
    distance_m : float
    weather : str
    temperature_c, wind_m_s : float
    shots : tuple of DrawnShot
    """

    called: str
    held_on: date
    shooter: str
    rig: str
    build: str
    purpose: str
    distance: str
    distance_m: float
    weather: str
    temperature_c: float
    wind_m_s: float
    shots: tuple[DrawnShot, ...]


@dataclass(frozen=True)
class _Model:
    """How the shots of one session scatter, mrad."""

    sigma: float
    centre: tuple[float, float] = (0.0, 0.0)
    end_ratio: float = 1.0
    cold: tuple[float, float] = (0.0, 0.0)
    astray: dict[str, tuple[float, float]] = field(default_factory=dict)
    flyer: tuple[float, float] | None = None


def draw_season(seed: int = SEED) -> tuple[DrawnSession, ...]:
    """Draw the season.

    Parameters
    ----------
    seed : int
        The same seed gives the same season.

    Returns
    -------
    tuple of DrawnSession
        In the order of their days.

    Examples
    --------
    >>> season = draw_season()
    >>> season[0].rig, season[0].distance, len(season[0].shots)
    ('Heron', '20 yd', 18)
    >>> draw_season() == season
    True
    """
    drawn = [*_heron(seed), *_builds(seed), *_slate(seed), *_students(seed)]
    return tuple(sorted(drawn, key=lambda session: session.held_on))


def _heron(seed: int) -> Iterator[DrawnSession]:
    for week in range(16):
        day = date(2026, 4, 11) + timedelta(days=7 * week)
        tuning = day >= true.BROADHEADS
        moved = day >= true.REST_MOVED
        yield _session(
            seed, f"Heron {day}", day, rig="Heron", yards=30 if week % 3 == 2 else 20,
            purpose="broadheads against field points" if tuning else "practice",
            arrows=_SIX, ends=_TUNING if tuning else _PRACTICE[:3],
            model=_Model(
                sigma=true.HERON_SIGMA * (true.STRING_RATIO if day >= true.NEW_STRING else 1.0),
                centre=true.REST_SHIFT if moved else (0.0, 0.0),
                cold=true.COLD,
                astray=true.ASTRAY,
                flyer=true.FLYER if day == true.FLYER_DAY else None,
            ),
        )  # fmt: skip


def _builds(seed: int) -> Iterator[DrawnSession]:
    wide = true.HERON_SIGMA * true.STRING_RATIO
    for build, arrows, sigma in (
        ("Heron aluminium", ["1", "3", "6", "7", "8"], wide),
        ("Heron brass", ["5", "9", "10", "11", "12"], wide / true.BRASS_RATIO),
    ):
        yield _session(
            seed, f"{build} {true.BUILD_TEST}", true.BUILD_TEST, rig="Heron", yards=40, build=build,
            purpose="brass insert against aluminium", ends=10 * [("two-blade",)],
            arrows=arrows,
            model=_Model(sigma=sigma, centre=true.REST_SHIFT, cold=true.COLD),
        )  # fmt: skip


def _slate(seed: int) -> Iterator[DrawnSession]:
    middle = math.exp(np.log(true.SLATE_YARDS).mean())
    for week in range(8):
        yards = true.SLATE_YARDS[week % 4]
        square = (yards / middle) ** 2
        sigma = true.SLATE_SIGMA * math.sqrt(1 - true.SLATE_GROWTH + true.SLATE_GROWTH * square)
        day = date(2026, 5, 14) + timedelta(days=7 * week)
        yield _session(
            seed, f"Slate {day}", day, rig="Slate", yards=yards, purpose="how far out",
            ends=_PRACTICE[:4], arrows=_SIX, model=_Model(sigma=sigma),
        )  # fmt: skip


def _students(seed: int) -> Iterator[DrawnSession]:
    lessons = 6
    for lesson in range(lessons):
        at = lesson / (lessons - 1)
        day = date(2026, 4, 14) + timedelta(days=21 * lesson)
        for student in true.STUDENTS:
            yield _session(
                seed, f"{student.name} {day}", day, shooter=student.name, yards=20,
                purpose="lesson", ends=_PRACTICE, arrows=[""] * 6,
                model=_Model(
                    sigma=student.sigma * student.season_ratio ** (at - 0.5),
                    centre=(student.drift[0] * (at - 0.5), student.drift[1] * (at - 0.5)),
                    end_ratio=student.end_ratio,
                ),
            )  # fmt: skip


def _session(
    seed: int,
    called: str,
    day: date,
    *,
    yards: int,
    purpose: str,
    ends: Sequence[tuple[str, ...]],
    arrows: Sequence[str],
    model: _Model,
    rig: str = "",
    shooter: str = COACH,
    build: str = "",
) -> DrawnSession:
    rng = np.random.default_rng([seed, *called.encode()])
    metres = yards * M_PER_YARD
    here = np.array(model.centre) + rng.normal(0, true.SESSION, 2)
    shots: list[DrawnShot] = []
    for end, heads in enumerate(ends, 1):
        centre = here + rng.normal(0, true.END, 2)
        # The ends before the middle of the session are as much tighter as those after are wider.
        sigma = model.sigma * model.end_ratio ** (end - (len(ends) + 1) / 2)
        for arrow in rng.permutation(len(arrows)).tolist():
            order = len(shots) + 1
            # Heads pass around the arrows from end to end, so that each arrow carries each.
            head = heads[(arrow + end) % len(heads)]
            at = centre + true.OFFSETS[head] + rng.normal(0, sigma, 2)
            at += model.astray.get(arrows[arrow], (0.0, 0.0))
            at += model.cold if order == 1 else (0.0, 0.0)
            why = ""
            if model.flyer is not None and (end, order) == (2, 8):
                at, why = at + model.flyer, "bow arm dropped"
            right, high = (at * metres).round(1).tolist()
            shots.append(DrawnShot(end, order, head, arrows[arrow], right, high, why))
    wind = round(float(rng.gamma(2, 0.8)), 1)
    # Mornings in spring and summer: 11 degrees in April, 19 in July.
    warm = 15 - 4 * math.cos(2 * math.pi * (day - date(2026, 4, 10)).days / 200)
    return DrawnSession(
        called=called,
        held_on=day,
        shooter=shooter,
        rig=rig,
        build=build,
        purpose=purpose,
        distance=f"{yards} yd",
        distance_m=metres,
        weather="calm" if wind < 1 else "light wind" if wind < 3 else "gusty",
        temperature_c=round(float(rng.normal(warm, 2)), 1),
        wind_m_s=wind,
        shots=tuple(shots),
    )
