"""Intervals and false alarms over a season: ``python -m benchmarks.coverage trend``.

Columns are shots a session, or sessions where the row says so. Session sigmas wander by 20 %
from session to session unless the row says otherwise. A chart's stated rate is the chance of a
false alarm within the sessions on it, computed from its limit; where the chart learns mean and
wander on the way that is an approximation, and judged as one.
"""

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from benchmarks.coverage.rows import SIZES, Row, share_held
from groupscan.stats.trend import (
    Sessions,
    centre_changes,
    measure_cold_arrow,
    measure_fatigue,
    measure_progress,
    measure_sessions,
    read_season,
    sigma_changes,
)
from groupscan.stats.trend.baseline import predict_next
from groupscan.stats.trend.charts import (
    ARL,
    CUSUM_ALLOWANCE,
    EWMA_WEIGHT,
    cusum,
    ewma,
    vector_cusum,
)
from groupscan.stats.trend.effects import fit_effects, wander_interval
from groupscan.stats.trend.even import even_out
from groupscan.stats.trend.progress import FALSE_RATE
from groupscan.stats.trend.runlength import ChartKind, alarm_chance, limit_for
from groupscan.stats.trend.scores import START, own_scores, scatter_scores
from groupscan.stats.trend.sessions import log_bias, log_fourth, log_variance
from groupscan.stats.trend.slope import slope_of

LEVEL = 0.95
WANDER = 0.2
SESSIONS = 12
ON_CHART = 40
MIXED = (3, 31)
SLOPE = -0.05
STEP = 1.6
# Whole seasons through the one-season functions, and simulations inside simulations.
SLOWER, SLOWEST = 20, 100
CHUNK = 5000

Array = NDArray[np.float64]


def _chunks(groups: int) -> Iterator[int]:
    while groups > 0:
        yield min(groups, CHUNK)
        groups -= CHUNK


def _logs(rng: np.random.Generator, shots: Array, wander: float) -> tuple[Array, Array, Array]:
    """Return df, mean squares and unbiased log sigmas of sessions of so many shots, sigma 1."""
    df = 2.0 * (shots - 1)
    s2 = rng.chisquare(df) / df * np.exp(2 * wander * rng.standard_normal(df.shape))
    return df, s2, np.log(s2) / 2 - log_bias(df)


def _pooled(
    rng: np.random.Generator, groups: int, sessions: int, shots: int | None
) -> dict[str, float]:
    """Return coverage of what pools sessions; `shots` None for sessions of mixed length."""
    held: dict[str, list[Array]] = {}
    for count in _chunks(groups):
        shape = (count, sessions + 1)
        number = np.full(shape, shots) if shots else rng.integers(*MIXED, shape)
        df, _, y = _logs(rng, number, WANDER)
        v, now = log_variance(df), slice(0, sessions)
        fit = fit_effects(y[:, now], v[:, now])
        even = even_out(y, df, fit.coefficients[:, 0], fit.variance)
        middle, unit = predict_next(fit, v[:, now], v[:, -1])
        half = unit * stdtrit(fit.df, (1 + LEVEL) / 2)
        found = {
            "usual sigma": (0.0, *fit.limits(0, LEVEL)),
            "wander of sigma": (
                WANDER,
                *wander_interval(y[:, now], v[:, now], LEVEL, fourth=log_fourth(df[:, now])),
            ),
            "next session's sigma": (even[:, -1], middle - half, middle + half),
        }
        if sessions > 3:
            months = np.arange(sessions) / 4.0
            trend = slope_of(y[:, now] + SLOPE * months, v[:, now], months)
            found["slope of log sigma"] = (SLOPE, *trend.limits(1, LEVEL))
        for name, (truth, low, high) in found.items():
            held.setdefault(name, []).append((low <= truth) & (truth <= high))
    return {name: float(np.concatenate(parts).mean()) for name, parts in held.items()}


def alarmed(scores: Array, kind: ChartKind) -> Array:
    """Return which seasons' charts alarm; scores (k, seasons) or (k, 2, seasons)."""
    axes = 2 if scores.ndim == 3 else 1
    setting = EWMA_WEIGHT if kind == "EWMA" else CUSUM_ALLOWANCE
    limit = limit_for(kind, axes, setting, ARL)
    if kind == "EWMA":
        path = ewma(scores)
        reach = np.abs(path) if axes == 1 else np.hypot(path[:, 0], path[:, 1])
    elif axes == 1:
        reach = np.maximum(*cusum(scores))
    else:
        path = vector_cusum(scores)
        reach = np.hypot(path[:, 0], path[:, 1])
    return (reach > limit).any(axis=0)


def _charts(
    rng: np.random.Generator, groups: int, shots: int | None
) -> dict[tuple[str, ChartKind], float]:
    alarms: dict[tuple[str, ChartKind], list[Array]] = {}
    for count in _chunks(groups):
        shape = (count, ON_CHART)
        number = np.full(shape, shots) if shots else rng.integers(*MIXED, shape)
        df, s2, _ = _logs(rng, number, 0.0)
        scores = {"sigma, no wander": scatter_scores(s2, df).T}
        df, _, y = _logs(rng, number, WANDER)
        fit = fit_effects(y, log_variance(df))
        even = even_out(y, df, fit.coefficients[:, 0], fit.variance)
        scores["sigma"] = own_scores(even, log_variance(df)).T
        variance = np.repeat(1.0 / number[:, None], 2, axis=1)
        centres = np.sqrt(variance + WANDER**2) * rng.standard_normal(variance.shape)
        scores["centre"] = np.moveaxis(own_scores(centres, variance), -1, 0).swapaxes(1, 2)
        for name, z in scores.items():
            for kind in ("EWMA", "CUSUM"):
                alarms.setdefault((name, kind), []).append(alarmed(z, kind))
    return {name: float(np.concatenate(parts).mean()) for name, parts in alarms.items()}


def _chart_rows(groups: int, rng: np.random.Generator) -> Iterator[Row]:
    sizes: dict[int | str, int | None] = {**{n: n for n in SIZES}, "mixed": None}
    columns = {size: _charts(rng, groups, shots) for size, shots in sizes.items()}
    for name, kind in columns["mixed"]:
        axes = 2 if name == "centre" else 1
        setting = EWMA_WEIGHT if kind == "EWMA" else CUSUM_ALLOWANCE
        limit = limit_for(kind, axes, setting, ARL)
        scored = ON_CHART - (1 if "no wander" in name else START)
        stated = alarm_chance(kind, axes, setting, limit, scored)
        by_size: dict[int | str, float] = {size: c[name, kind] for size, c in columns.items()}
        judged = "rate" if (name, kind) == ("sigma, no wander", "EWMA") else "approximate"
        yield Row(f"false alarm, {kind} of {name}", judged, stated, by_size)


def _season(
    rng: np.random.Generator, sessions: int, shots: int, *, step: int = 0, size: float = 1.0
) -> Sessions:
    """Return a season whose sigma grows by a factor at a session, and its centre moves."""
    session = np.repeat(np.arange(sessions), shots)
    sigma = np.exp(WANDER / 2 * rng.standard_normal(sessions))
    centre = WANDER / 2 * rng.standard_normal((sessions, 2))
    if step:
        sigma[step:] *= size
        centre[step:] += (size - 1, 0.0)
    shot = sigma[session, None] * rng.standard_normal((session.size, 2))
    return measure_sessions(read_season(shot + centre[session], session))


def _change_rows(groups: int, rng: np.random.Generator) -> Iterator[Row]:
    fewer = max(1, groups // SLOWEST)
    whats = ("sigma", sigma_changes), ("centre", centre_changes)
    sessions, shots = 24, 12
    for what, find in whats:
        by_size: dict[int | str, float] = {}
        for n in SIZES:
            found = [len(find(_season(rng, sessions, n), seed=i).changes) for i in range(fewer)]
            by_size[n] = float(np.mean(np.array(found) > 0))
        yield Row(f"a change of {what} where none is", "rate", 0.05, by_size, fewer)
    for what, find in whats:
        extra, place, shift = [], [], []
        for i in range(fewer):
            season = _season(rng, sessions, shots, step=10, size=STEP)
            changes = find(season, seed=i).changes
            extra.append(len(changes) > 1)
            if len(changes) == 1:
                change = changes[0]
                place.append(int(change.earliest) <= 10 <= int(change.latest))
                seen = change.ratio or change.shift_x
                assert seen is not None
                truth = STEP if change.ratio else STEP - 1
                shift.append(seen.low <= truth <= seen.high)
        name = f"{sessions} sessions"
        yield Row(f"a second change of {what} where one is", "rate", 0.05, {name: _m(extra)}, fewer)
        yield Row(f"place of a change of {what}", "approximate", LEVEL, {name: _m(place)}, fewer)
        missed = {name: 1 - _m(shift)}
        yield Row(f"size of a change of {what} missed", "rate", 1 - LEVEL, missed, fewer)


def _m(values: list[bool]) -> float:
    return float(np.mean(values)) if values else math.nan


def _per_season(
    groups: int, sizes: tuple[int, ...], one: Callable[[int], dict[str, bool]]
) -> dict[str, dict[int | str, float]]:
    """Return the share of seasons that hold, by name and number of sessions."""
    shares: dict[str, dict[int | str, float]] = {}
    for sessions in sizes:
        held: dict[str, list[bool]] = {}
        for _ in range(groups):
            for name, holds in one(sessions).items():
                held.setdefault(name, []).append(holds)
        for name, values in held.items():
            shares.setdefault(name, {})[sessions] = _m(values)
    return shares


def _cold_rows(groups: int, rng: np.random.Generator) -> Iterator[Row]:
    fewer, shots, ratio, high = max(1, groups // SLOWER), 9, 1.5, 0.8

    def one(sessions: int) -> dict[str, bool]:
        centre = rng.standard_normal((sessions, 1, 2))
        shot = centre + rng.standard_normal((sessions, shots, 2))
        session = np.repeat(np.arange(sessions), shots)
        same = measure_cold_arrow(read_season(shot.reshape(-1, 2), session))
        shot[:, 0] = centre[:, 0] + ratio * rng.standard_normal((sessions, 2)) + (0, high)
        moved = measure_cold_arrow(read_season(shot.reshape(-1, 2), session))
        return {
            "cold arrow's offset": moved.y.low <= high <= moved.y.high,
            "cold arrow's scatter ratio": moved.scatter_ratio.low
            <= ratio
            <= moved.scatter_ratio.high,
            "a cold offset where none is": same.offset_p < 1 - LEVEL,
            "a cold scatter where none is": same.scatter_p < 1 - LEVEL,
        }

    for name, by_size in _per_season(fewer, SIZES, one).items():
        wrong = "none is" in name
        kind, stated = ("rate", 1 - LEVEL) if wrong else ("approximate", LEVEL)
        named = {f"{size} sessions": share for size, share in by_size.items()}
        yield Row(name, kind, stated, named, fewer)


def _fatigue_rows(groups: int, rng: np.random.Generator) -> Iterator[Row]:
    fewer, ends, shots, steeper, drift = max(1, groups // SLOWER), 8, 4, 0.03, 0.05
    number = np.arange(ends)

    def one(sessions: int) -> dict[str, bool]:
        slope = steeper + 0.02 * rng.standard_normal(sessions)
        sigma = np.exp(slope[:, None] * number + WANDER * rng.standard_normal((sessions, 1)))
        centre = 0.3 * rng.standard_normal((sessions, ends, 2))
        centre[..., 0] += drift * number
        shot = centre[:, :, None] + sigma[:, :, None, None] * rng.standard_normal(
            (sessions, ends, shots, 2)
        )
        session = np.repeat(np.arange(sessions), ends * shots)
        end = np.tile(np.repeat(number, shots), sessions)
        seen = measure_fatigue(read_season(shot.reshape(-1, 2), session, end=end))
        return {
            "slope of log sigma by end": seen.log_sigma.low <= steeper <= seen.log_sigma.high,
            "drift of the centre by end": seen.x.low <= drift <= seen.x.high,
        }

    for name, by_size in _per_season(fewer, (1, *SIZES), one).items():
        named: dict[int | str, float] = {f"{k} sessions": share for k, share in by_size.items()}
        yield Row(name, "approximate", LEVEL, named, fewer)


def _progress_rows(groups: int, rng: np.random.Generator) -> Iterator[Row]:
    fewer, shots = max(1, groups // SLOWER), 12

    def one(sessions: int) -> dict[str, bool]:
        sigma = np.exp(WANDER * rng.standard_normal(sessions))
        centre = WANDER * rng.standard_normal((sessions, 2))
        session = np.repeat(np.arange(sessions), shots)
        shot = sigma[session, None] * rng.standard_normal((session.size, 2)) + centre[session]
        seen = measure_progress(measure_sessions(read_season(shot, session, day=7 * session)))
        return {"a word of change where none is": seen.wider or seen.steadier or seen.drifts}

    for name, by_size in _per_season(fewer, (6, 12, 24), one).items():
        named: dict[int | str, float] = {f"{k} sessions": share for k, share in by_size.items()}
        yield Row(name, "rate", FALSE_RATE, named, fewer)


def _session_sigma(rng: np.random.Generator, groups: int, shots: int) -> float:
    held = []
    for count in _chunks(groups):
        session = np.repeat(np.arange(count), shots)
        sessions = measure_sessions(read_season(rng.standard_normal((session.size, 2)), session))
        held.append(share_held(1.0, sessions.sigma_low, sessions.sigma_high) * count)
    return sum(held) / groups


def rows(groups: int, seed: int) -> list[Row]:
    """Return the coverage of a season's intervals and the rates of its false alarms."""
    rng = np.random.default_rng(seed)
    found = [
        Row("a session's sigma", "exact", LEVEL, {n: _session_sigma(rng, groups, n) for n in SIZES})
    ]
    by_shots = {n: _pooled(rng, groups, SESSIONS, n) for n in SIZES}
    for name in by_shots[SIZES[0]]:
        by_size: dict[int | str, float] = {n: by_shots[n][name] for n in SIZES}
        found.append(Row(f"{name}, {SESSIONS} sessions", "approximate", LEVEL, by_size))
    by_sessions = {k: _pooled(rng, groups, k, None) for k in SIZES}
    for name in by_sessions[SIZES[-1]]:
        named: dict[int | str, float] = {
            f"{k} sessions": c[name] for k, c in by_sessions.items() if name in c
        }
        found.append(Row(f"{name}, mixed sessions", "approximate", LEVEL, named))
    return [
        *found,
        *_chart_rows(groups, rng),
        *_change_rows(groups, rng),
        *_cold_rows(groups, rng),
        *_fatigue_rows(groups, rng),
        *_progress_rows(groups, rng),
    ]
