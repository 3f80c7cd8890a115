"""Numbered arrows over many ends: which fly apart, which scatter, how much of the group is theirs.

The model of a shot: the centre of its end, plus the offset of its arrow, plus scatter; arrows are
random draws from a bivariate normal, ends, if given, are fixed blocks, so that neither a moved
sight nor a bad end is laid at an arrow's door. Any arrow may be missing from any end.

===================  =============================================================================
number               what it is
===================  =============================================================================
between, within      covariance of the arrows' offsets and of the scatter of one arrow: REML, both
                     axes jointly
seen x, y            least squares offset from the home arrows, exact t interval
offset x, y          the same shrunken towards them, by how much arrows differ along that axis
                     (BLUP, REML of that axis); interval in which not knowing that is allowed for
share x, y           between-arrow share of the variance of a shot (ICC), exact interval of Wald
share                the same of both axes together; approximate
===================  =============================================================================

The *home* arrows are those that fly together (`groupscan.stats.arrows.astray`). No arrow and no
shot is left out of any number; what is flagged is flagged with its reason.

===================  =============================================================================
verdict of an arrow  said when
===================  =============================================================================
"together"           the confidence ellipse of its offset lies within what the shooter calls
                     enough to matter (one sigma of the scatter where nothing was said, and then
                     only if not found apart); false in at most 1 - `confidence` of arrows that
                     are not
"apart"              Hotelling's test finds an offset; on average at most `false_share` of the
                     arrows called so are false (Benjamini and Hochberg; simulated, since the
                     arrows share their reference)
"not enough arrows"  neither; `more_ends` says how many more
===================  =============================================================================
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri, stdtrit

from groupscan.errors import StatisticsError
from groupscan.stats.arrows.astray import Held, differ_p, ends_to_see, hold_against_home, scatter_p
from groupscan.stats.arrows.crossed import Crossed, Told, cross, tell
from groupscan.stats.arrows.mixed import blup, reml, share_limits, shrunken_limits
from groupscan.stats.arrows.quiver import Action, Arrow, Quiver, Verdict, flag_reason
from groupscan.stats.inputs import read_labels, read_level, read_shots
from groupscan.stats.intervals import Estimate
from groupscan.stats.multiplicity import benjamini_hochberg
from groupscan.telling import tied

__all__ = ["Arrow", "Quiver", "measure_arrows"]

# Scatter below a nanometre, or with an ellipse a millionth as wide as long, is rounding.
ROUNDING_MM = 1e-6
ROUNDING_SHARE = 1e-12

UNKNOWN = Estimate(math.nan)

Array = NDArray[np.float64]


def measure_arrows(
    xy_mm: ArrayLike,
    arrows: Sequence[object],
    *,
    ends: Sequence[object] | None = None,
    worth_mm: float | None = None,
    confidence: float = 0.95,
    false_share: float = 0.05,
) -> Quiver:
    """Measure a set of numbered arrows.

    Parameters
    ----------
    xy_mm : (n, 2) array_like, mm
        Shots from their point of aim.
    arrows : (n,) sequence
        Number or name of the arrow of each shot.
    ends : (n,) sequence, optional
        End of each shot, a label of its own for every end of every session. Left out, all shots
        count as one end.
    worth_mm : float, optional
        The smallest offset that matters to the shooter; left out, one sigma of the scatter.
    confidence : float, default 0.95
        Level of the intervals.
    false_share : float, default 0.05
        Share of false among the arrows flagged that is tolerated, 0 to 0.5.

    Returns
    -------
    Quiver

    Raises
    ------
    StatisticsError
        If there is no shot, a number is not finite, or the labels do not fit.

    References
    ----------
    Those of `crossed`, `mixed` and `astray`.

    Examples
    --------
    Six arrows over eight ends; the fifth flies 40 mm right and high:

    >>> rng = np.random.default_rng(1)
    >>> arrow, end = np.tile(np.arange(1, 7), 8), np.repeat(np.arange(8), 6)
    >>> shots = rng.normal(0, 10, (48, 2)) + np.where(arrow == 5, 40, 0)[:, None]
    >>> quiver = measure_arrows(shots, arrow, ends=end)
    >>> [(a.name, a.action) for a in quiver.arrows if a.verdict == "apart"]
    [('5', 're-index')]
    """
    xy = read_shots(xy_mm)
    level = read_level(confidence)
    if not 0 < false_share <= 0.5:
        raise StatisticsError(f"false_share {false_share!r} must lie between 0 and 0.5")
    if worth_mm is not None and not (math.isfinite(worth_mm) and worth_mm > 0):
        raise StatisticsError(f"worth_mm {worth_mm!r} must be more than zero and finite")
    names, arrow = read_labels(arrows, len(xy), "arrow")
    end = None if ends is None else read_labels(ends, len(xy), "end")[1]
    design = cross(arrow, end)
    told = tell(design, xy)
    measured = _Measured(names, design, told, hold_against_home(design, told, false_share))
    between, within = measured.covariances()
    worth = math.sqrt(float(np.trace(within)) / 2) if worth_mm is None else worth_mm
    found = tuple(_each(measured, within, worth, worth_mm is not None, level, false_share))
    shares = [_axis_share(measured, axis, level) for axis in (0, 1)]
    return Quiver(
        n=len(xy),
        ends=int(design.end.max()) + 1,
        home=tuple(name for name, home in zip(names, measured.held.home, strict=True) if home),
        between=_pairs(between),
        within=_pairs(within),
        share=_share(measured, between, within, level),
        share_x=shares[0],
        share_y=shares[1],
        differ_p=float(differ_p(told, design.df)) if measured.scatters else math.nan,
        worth_mm=worth,
        arrows=found,
        notes=tuple(_notes(measured, found, worth_mm)),
    )


@dataclass(frozen=True)
class _Measured:
    names: tuple[str, ...]
    design: Crossed
    told: Told
    held: Held

    @property
    def scatters(self) -> bool:
        """Whether the scatter is known in both axes, and is more than a line."""
        scatter, df = self.told.scatter, self.design.df
        trace = float(np.trace(scatter))
        line = float(np.linalg.det(scatter)) <= ROUNDING_SHARE * trace**2
        return df > 1 and trace > df * ROUNDING_MM**2 and not line

    def square(self, axis: int) -> float:
        """Return the sum of squares left over along an axis, 0 where it is rounding."""
        square = float(self.told.scatter[axis, axis])
        return square if square > max(self.design.df, 1) * ROUNDING_MM**2 else 0.0

    def covariances(self) -> tuple[Array, Array]:
        unknown = np.full((2, 2), math.nan)
        design, told = self.design, self.told
        if not self.scatters:
            return unknown, unknown
        if not len(design.weights):
            return unknown, told.scatter / design.df
        return reml(told.canonical, design.weights, told.scatter, design.df)


def _each(
    measured: _Measured,
    within: Array,
    worth: float,
    stated: bool,
    confidence: float,
    false_share: float,
) -> Iterator[Arrow]:
    design, told, held = measured.design, measured.told, measured.held
    count = len(measured.names)
    seen = [_seen(measured, axis, confidence) for axis in (0, 1)]
    shrunken = [_shrunken(measured, axis, confidence) for axis in (0, 1)]
    adjusted = held.adjusted if measured.scatters else np.full(count, math.nan)
    wide, p = np.full(count, math.nan), np.full(count, math.nan)
    if measured.scatters:
        for place in range(count):
            wide[place], p[place] = map(float, scatter_p(design, told, place))
    wide_p = np.where(np.isnan(p), math.nan, benjamini_hochberg(p))
    wanted, reach = None, np.full(count, math.inf)
    if measured.scatters and count > 1:
        longest = math.sqrt(float(np.linalg.eigvalsh(within)[1]))
        wanted = ends_to_see(worth, longest, count, false_share=false_share)
        widest = float(np.linalg.eigvalsh(told.scatter / design.df)[1])
        factor = 2 * design.df / (design.df - 1) * float(fdtri(2, design.df - 1, confidence))
        reach = np.hypot(*held.offsets.T) + np.sqrt(factor * widest * held.variance)
    for place, name in enumerate(measured.names):
        known = held.variance[place] > 0 and measured.scatters
        apart = known and adjusted[place] <= false_share
        verdict: Verdict = "not enough arrows"
        within_worth = known and reach[place] <= worth
        if apart and not (stated and within_worth):
            verdict = "apart"
        elif within_worth:
            verdict = "together"
        scatters = bool(wide_p[place] <= false_share)
        action: Action = "none"
        if scatters or verdict == "apart":
            action = "pull" if scatters else "re-index"
        more = None
        if verdict == "not enough arrows" and known and wanted is not None:
            more = max(1, wanted - int(design.shots[place]))
        arrow = Arrow(
            name=name,
            shots=int(design.shots[place]),
            seen_x=seen[0][place],
            seen_y=seen[1][place],
            offset_x=shrunken[0][place],
            offset_y=shrunken[1][place],
            p_value=float(adjusted[place]) if known else math.nan,
            scatter_ratio=float(wide[place]),
            scatter_p=float(wide_p[place]),
            verdict=verdict,
            action=action,
            reason="",
            more_ends=more,
        )
        yield replace(arrow, reason=flag_reason(arrow))


def _seen(measured: _Measured, axis: int, confidence: float) -> list[Estimate]:
    held, df, square = measured.held, measured.design.df, measured.square(axis)
    # An arrow that nothing can be compared with has no place: zero would look like one.
    values = np.where(held.variance > 0, held.offsets[:, axis], math.nan)
    if df < 1 or square == 0:
        return [Estimate(float(value)) for value in values]
    half = float(stdtrit(df, (1 + confidence) / 2)) * np.sqrt(square / df * held.variance)
    half = np.where(held.variance > 0, half, math.nan)
    return [Estimate(v, v - h, v + h) for v, h in zip(values.tolist(), half.tolist(), strict=True)]


def _shrunken(measured: _Measured, axis: int, confidence: float) -> list[Estimate]:
    design, held = measured.design, measured.held
    df, square = design.df, measured.square(axis)
    if df < 1 or square == 0 or not len(design.weights):
        return [UNKNOWN] * len(measured.names)
    canonical = measured.told.canonical[:, axis]
    between, within = reml(canonical[:, None], design.weights, np.array([[square]]), df)
    guess = blup(canonical[:, None], design.weights, design.axes, between, within)[:, 0]
    told = held.variance > 0
    asked = held.contrasts[told] @ design.axes
    low, high = shrunken_limits(
        canonical, design.weights, np.asarray(square), df, asked, confidence
    )
    found = np.full((len(told), 3), math.nan)
    found[told] = np.column_stack([(held.contrasts @ guess)[told], low, high])
    return [Estimate(*three) for three in found.tolist()]


def _axis_share(measured: _Measured, axis: int, confidence: float) -> Estimate:
    design, square = measured.design, measured.square(axis)
    if design.df < 1 or square == 0 or not len(design.weights):
        return UNKNOWN
    canonical = measured.told.canonical[:, axis : axis + 1]
    between, within = reml(canonical, design.weights, np.array([[square]]), design.df)
    low, high = share_limits(canonical, design.weights, np.asarray(square), design.df, confidence)
    value = float(between[0, 0] / (between[0, 0] + within[0, 0]))
    return Estimate(value, float(low), float(high))


def _share(measured: _Measured, between: Array, within: Array, confidence: float) -> Estimate:
    """Return the share of both axes together, its degrees of freedom after Satterthwaite."""
    design = measured.design
    if not np.isfinite(between).all():
        return UNKNOWN
    of_means = within + design.weights.mean() * between
    low, high = share_limits(
        measured.told.canonical,
        design.weights,
        np.trace(measured.told.scatter),
        design.df,
        confidence,
        worth=(_axes_worth(of_means), _axes_worth(within)),
    )
    whole = float(np.trace(between) + np.trace(within))
    return Estimate(float(np.trace(between)) / whole, float(low), float(high))


def _axes_worth(covariance: Array) -> float:
    """Return how many axes' worth of freedom a covariance has: 2 for a circle, 1 for a line."""
    return float(np.trace(covariance) ** 2 / (covariance**2).sum())


def _pairs(matrix: Array) -> tuple[tuple[float, float], tuple[float, float]]:
    (a, b), (c, d) = matrix.tolist()
    return (a, b), (c, d)


def _notes(measured: _Measured, found: tuple[Arrow, ...], worth_mm: float | None) -> Iterator[str]:
    design, names = measured.design, measured.names
    if len(names) == 1:
        yield "Only one arrow: there is none to compare it with."
        return
    if design.df < 1:
        yield (
            "No arrow was shot often enough beside the others: where each landed is shown, but "
            "nothing tells an arrow's offset from scatter. Shoot two ends or more."
        )
        return
    if not measured.scatters:
        yield (
            "The arrows' own scatter is nothing, on one line, or known from one shot only: "
            "nothing bounds an offset."
        )
    alone = [name for name, linked in zip(names, design.linked, strict=True) if linked.sum() == 1]
    if alone:
        yield f"Never shot in an end with another arrow: {', '.join(alone)}; no offset for it."
    if len({tuple(row) for row in design.linked.tolist()}) - len(alone) > 1:
        yield (
            "Some arrows were never shot in the same ends as the others: each is held against "
            "those of its own ends only."
        )
    if (
        any(arrow.verdict == "apart" for arrow in found)
        and 2 * int(measured.held.home.sum()) <= len(names) + 2
    ):
        yield (
            "Nearly half of the arrows fly apart: which of them are the odd ones is not sure; "
            "sort by build, weight and spine first."
        )
    wanting = [arrow for arrow in found if arrow.more_ends is not None]
    if wanting:
        about = "as large as the arrows' own sigma"
        if worth_mm is not None:
            about = f"of {tied(worth_mm, 'mm', 'g')}"
        most = max(arrow.more_ends or 0 for arrow in wanting)
        yield (
            f"Of {len(wanting)} arrows nothing can be said yet: up to {most} more ends to see an "
            f"offset {about} four times in five."
        )
    if any(arrow.action != "none" for arrow in found):
        yield (
            "What to do with a flagged arrow is common practice; a cracked or bent shaft is never "
            "shot again, and a qualified technician comes before this advice."
        )
