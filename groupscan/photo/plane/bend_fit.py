"""A sheet's plane and its bend together, and the focal length that they tell."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solve_triangular

from groupscan.photo.plane.bend import Bend, flat_bend
from groupscan.photo.plane.descent import cauchy_loss, cauchy_weights
from groupscan.photo.plane.fit import fit_flat, focal_of, plane_at, unit_covariance
from groupscan.photo.plane.marks_seen import Floats, Marks
from groupscan.photo.plane.pose import camera_place, tell_focal
from groupscan.photo.plane.residuals import Residuals
from groupscan.photo.plane.sheet_plane import Plane
from groupscan.photo.plane.square_on import square_on

__all__ = ["fit_sheet"]

#: Root of a thin plate's energy that sheets have, its deflection being in units of the marks'
#: reach: the range tried, the usual one, and its spread in natural logarithms. A sheet that is
#: rolled by a hundredth of its reach has 0.05. Found on photos with known truth; no source.
_ENERGIES = np.geomspace(2e-4, 1e-1, 9)
_USUAL_ENERGY, _ENERGY_SPREAD = 5e-3, 1.2
#: Stated errors contain what errs together over a part of the sheet; neighbours scatter by less,
#: down to this share (found on photos with known truth; no source).
_LEAST_SCATTER = 0.3
#: How far each printed circle may lie off its place as a whole: ink spreads, and a lens blurs
#: unequal tones unequally, px (found on photos with known truth; no source).
_CIRCLE_OFF_PX = 0.3
#: The mean height and its slopes belong to the plane: how firmly they are held, and how high any
#: part is lifted, one standard deviation, in units of the marks' reach (found on renders).
_HELD, _MOST_HEIGHT = 1e-4, 0.06
_ROUNDS, _SETTLED = 7, 3  # the bend's energy and the focal length settle in the first rounds
_STILL = 0.02  # mm of height: no step worth another


def fit_sheet(
    marks: Marks,
    *,
    image_size: tuple[int, int],
    focal_px: float | None = None,
    stiff: bool = False,
) -> Plane:
    """Fit the plane of a sheet that may bend, and tell the focal length.

    Parameters
    ----------
    marks : Marks
    image_size : (int, int)
        Width and height of the upright photo, px.
    focal_px : float, optional
        Focal length, px, as the photo's EXIF tells.
    stiff : bool
        Whether the sheet is known to be flat, as a block of foam is.

    Returns
    -------
    Plane

    Raises
    ------
    MarksError
        If the marks are too few, or contradict one another.

    Notes
    -----
    The height of the sheet over its plane is a smoothing spline with the energy of a thin plate
    as its penalty, fitted together with the plane and the lens. How much it may bend is what
    makes the marks likeliest, all heights considered (the restricted likelihood of the smoothing
    parameter), against what sheets usually do. Where the marks do not tell the height, as inside
    the paper's edges, it is the smoothest between them, and its uncertainty is in the plane's
    covariance.

    References
    ----------
    Wahba, G. (1985). A comparison of GCV and GML for choosing the smoothing parameter in the
    generalized spline smoothing problem. Annals of Statistics 13(4).
    Wood, S. N. (2011). Fast stable restricted maximum likelihood and marginal likelihood
    estimation of semiparametric generalized linear models. JRSS B 73(1).

    Examples
    --------
    >>> mm = np.stack(np.meshgrid(*[np.linspace(-200.0, 200.0, 9)] * 2), -1).reshape(-1, 2)
    >>> bulge = 1 + 3e-8 * (mm**2).sum(axis=1, keepdims=True)
    >>> px = mm * bulge * [4.0, -4.0] + [1000.0, 1000.0]
    >>> marks = Marks("grid", points_mm=mm, points_px=px, points_se_px=np.full(81, 0.1))
    >>> plane = fit_sheet(marks, image_size=(2001, 2001))
    >>> bool(np.abs(plane.to_mm(px) - mm).max() < 0.05)
    True
    """
    if len(marks.points_mm) == 2 and not len(marks.circles_px) and not len(marks.lines_px):
        return square_on(marks, image_size, focal_of(image_size, focal_px))
    model, p = fit_flat(marks, image_size=image_size, focal_px=focal_px)
    unit = unit_covariance(model, p)
    exif = focal_px is not None
    focal = _focal(model, p, unit[:8, :8], exif=exif)
    if stiff:
        return plane_at(model, p, model.residuals(p)[0], unit, focal_px=focal)
    return _bent(model, p, focal, exif=exif)


@dataclass(frozen=True, eq=False)
class _State:
    """Where a fit stands: parameters, offsets of the circles, px, and the bend."""

    p: Floats
    offsets: Floats
    bend: Bend


@dataclass(frozen=True, eq=False)
class _System:
    """Normal equations about a state: free parameters, offsets, heights, without heights' prior.

    `matrix`, `slope` and `square` belong to the marks, for errors of 1; `held` and `pull` to what
    is known of parameters and offsets before.
    """

    matrix: Floats
    slope: Floats
    square: float
    count: float
    scale: float
    held: Floats
    pull: Floats


def _bent(model: Residuals, p: Floats, focal: float, *, exif: bool) -> Plane:
    """Fit the heights beside the other parameters, by reweighted Gauss-Newton steps."""
    circles = _circles_of(model.marks)
    bend = flat_bend(model.reach_mm, camera_place(model.homography(p), focal, model.image_size))
    stiffness = bend.roughness() / bend.cell_mm**2
    held = _gauge(bend, model.length)
    state = _State(p, np.zeros(circles.shape[1]), bend)
    priors = [stiffness / energy**2 + held for energy in _ENERGIES]
    usual = [_log_root(p) - _unusual(e) for p, e in zip(priors, _ENERGIES, strict=True)]
    tried, best = range(len(priors)), 0
    for turn in range(_ROUNDS):
        system = _linearised(model, state, circles)
        if turn < _SETTLED:
            likelihood = {i: usual[i] + _likelihood(system, priors[i]) for i in tried}
            best = max(likelihood, key=lambda i: likelihood[i])
            tried = range(max(best - 1, 0), min(best + 2, len(priors)))
        prior = priors[best]
        state, moved = _step(model, state, circles, system, prior)
        if turn < _SETTLED:
            inverse = np.linalg.inv(_weighed(system, prior, system.scale**2))
            focal = _focal(model, state.p, inverse[:8, :8], exif=exif)
            place = camera_place(model.homography(state.p), focal, model.image_size)
            bend = replace(
                state.bend, camera_mm=(float(place[0]), float(place[1]), float(place[2]))
            )
            state = replace(state, bend=bend)
        elif moved < _STILL:
            break
    system = _linearised(model, state, circles)
    r = model.residuals(state.p, state.bend)[0] + circles @ state.offsets
    # The errors are the marks' stated ones, or larger where the marks scatter by more. Those of
    # lines contain the bend of a sheet's sides, which is told apart here.
    weights = cauchy_weights(r, system.scale)
    least = system.scale**2 if len(r) == len(model.lines_u) else 1.0
    noise = max(least, float(weights @ r**2) / max(system.count - model.free.sum(), 1.0))
    inverse = np.linalg.inv(_weighed(system, prior, noise))
    free = np.flatnonzero(model.free)
    first, heights = len(free), circles.shape[1] + len(free)
    use = np.concatenate([np.arange(first), np.arange(heights, len(inverse))])
    into = np.concatenate([free, np.arange(10, 10 + len(held))])
    unit = np.zeros((10 + len(held), 10 + len(held)))
    unit[np.ix_(into, into)] = inverse[np.ix_(use, use)]
    return plane_at(model, state.p, r, unit, focal_px=focal, bend=state.bend)


def _linearised(model: Residuals, state: _State, circles: Floats) -> _System:
    """Linearise the residuals about a state, those of no heights and offsets being the start."""
    r, jac = model.residuals(state.p, state.bend)
    places, lift = model.lifts(state.p, state.bend)
    by_height = lift[:, None] * state.bend.basis(places)
    design = np.hstack([jac[:, model.free], circles, by_height])
    start = r - by_height @ state.bend.heights_mm.ravel()
    now = r + circles @ state.offsets
    scale = max(_LEAST_SCATTER, 1.4826 * float(np.median(np.abs(now))))
    weights = cauchy_weights(now, scale)
    weighted = design * weights[:, None]
    prior, prior_jac = model.priors(state.p)
    prior_jac = prior_jac[:, model.free]
    n, own = design.shape[1], prior_jac.shape[1]
    held, pull = np.zeros((n, n)), np.zeros(n)
    held[:own, :own], pull[:own] = prior_jac.T @ prior_jac, prior_jac.T @ prior
    offsets = np.arange(own, own + circles.shape[1])
    held[offsets, offsets] = 1 / _CIRCLE_OFF_PX**2
    return _System(
        weighted.T @ design,
        weighted.T @ start,
        float(weights @ start**2),
        float(weights.sum()),
        scale,
        held,
        pull,
    )


def _weighed(system: _System, prior: Floats, noise: float) -> Floats:
    """Matrix of the normal equations for errors of this variance."""
    out = system.matrix / noise + system.held
    out[-len(prior) :, -len(prior) :] += prior
    return np.asarray(out)


def _likelihood(system: _System, prior: Floats) -> float:
    """Logarithm of how likely the marks are under a prior of the heights, up to its own part."""
    noise = system.scale**2
    for _ in range(2):
        lower = np.linalg.cholesky(_weighed(system, prior, noise))
        half = solve_triangular(lower, system.slope / noise, lower=True, check_finite=False)
        left = system.square / noise - float(half @ half)
        last, noise = noise, max(_LEAST_SCATTER**2, noise * left / system.count)
    return -left / 2 - system.count * float(np.log(last)) / 2 - float(np.log(np.diag(lower)).sum())


def _log_root(matrix: Floats) -> float:
    """Half the logarithm of a matrix's determinant."""
    return float(np.log(np.diag(np.linalg.cholesky(matrix))).sum())


def _unusual(energy: float) -> float:
    """How far an energy is from what sheets usually have, as a loss."""
    return float(np.log(energy / _USUAL_ENERGY) / _ENERGY_SPREAD) ** 2 / 2


def _step(
    model: Residuals, state: _State, circles: Floats, system: _System, prior: Floats
) -> tuple[_State, float]:
    """Go towards the solution as far as the cost falls; also return how far, in mm of height."""
    noise = system.scale**2
    solution = np.linalg.solve(
        _weighed(system, prior, noise), -(system.slope / noise + system.pull)
    )
    own = int(model.free.sum())
    step = np.zeros(10)
    step[model.free] = solution[:own]
    offsets = solution[own : own + circles.shape[1]] - state.offsets
    shape = state.bend.heights_mm.shape
    heights = solution[-len(prior) :].reshape(shape) - state.bend.heights_mm
    before = _cost(model, state, circles, system.scale, prior)
    share = 1.0
    for _ in range(5):
        trial = _State(
            state.p + share * step,
            state.offsets + share * offsets,
            replace(state.bend, heights_mm=state.bend.heights_mm + share * heights),
        )
        if _cost(model, trial, circles, system.scale, prior) < before:
            return trial, share * float(np.abs(heights).max())
        share /= 4
    return state, 0.0


def _cost(model: Residuals, state: _State, circles: Floats, scale: float, prior: Floats) -> float:
    with np.errstate(all="ignore"):
        r = model.residuals(state.p, state.bend)[0] + circles @ state.offsets
        heights = state.bend.heights_mm.ravel()
        total = cauchy_loss(r, scale) + float((model.priors(state.p)[0] ** 2).sum())
        total += float(((state.offsets / _CIRCLE_OFF_PX) ** 2).sum() + heights @ prior @ heights)
    return total if np.isfinite(total) else np.inf


def _circles_of(marks: Marks) -> Floats:
    """All residuals' derivatives by an offset, px, of each printed circle."""
    key = np.column_stack([marks.circles_centre_mm, marks.circles_radius_mm, marks.circles_inset])
    circles, which = np.unique(key.round(3), axis=0, return_inverse=True)
    one = (which.reshape(-1, 1) == np.arange(len(circles))) / marks.circles_se_px[:, None]
    points, lines = 2 * len(marks.points_mm), len(marks.lines_px)
    return np.vstack([np.zeros((points, len(circles))), one, np.zeros((lines, len(circles)))])


def _gauge(bend: Bend, reach_mm: float) -> Floats:
    """Prior that leaves the mean height and its slopes to the plane."""
    mm = bend.inner()
    plane = np.column_stack([np.ones(len(mm)), mm / np.abs(mm).max(axis=0)])
    plane /= np.linalg.norm(plane, axis=0) * np.sqrt(len(mm))
    basis = bend.basis(mm)
    own = plane.T @ basis
    eye = np.eye(basis.shape[1])
    return np.asarray(own.T @ own / (_HELD * reach_mm) ** 2 + eye / (_MOST_HEIGHT * reach_mm) ** 2)


def _focal(model: Residuals, p: Floats, covariance: Floats, *, exif: bool) -> float:
    log, _ = tell_focal(np.append(p[:8], 1.0).reshape(3, 3), covariance, exif=exif)
    return float(model.focal * np.exp(log))
