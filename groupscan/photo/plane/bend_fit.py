"""A sheet's plane and its bend together, and the focal length that they tell."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from groupscan.photo.plane.bend import Bend, flat_bend
from groupscan.photo.plane.descent import cauchy_loss, cauchy_weights
from groupscan.photo.plane.fit import fit_flat, focal_of, plane_at, unit_covariance
from groupscan.photo.plane.marks_seen import Floats, Marks
from groupscan.photo.plane.pose import camera_place, tell_focal
from groupscan.photo.plane.residuals import Raised, Residuals, Seen
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
#: How high any part is lifted, one standard deviation, in units of the marks' reach (found on
#: renders).
_MOST_HEIGHT = 0.06
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
    seen = model.at(p)
    unit = unit_covariance(model, p, seen)
    exif = focal_px is not None
    focal = _focal(model, p, unit[:8, :8], exif=exif)
    if stiff:
        return plane_at(model, p, seen.values, unit, focal_px=focal)
    return _bent(model, p, focal, exif=exif)


@dataclass(frozen=True, eq=False)
class _State:
    """Where a fit stands: parameters, offsets of the circles, px, and how much of each mode."""

    p: Floats
    offsets: Floats
    amounts: Floats


@dataclass(frozen=True, eq=False)
class _Sheet:
    """A sheet and its marks.

    Attributes
    ----------
    circles : (residuals, circles) array
        Derivatives by the circles' offsets.
    flat : Bend
        The sheet without height, before the camera.
    basis : (residuals, modes) array
        Heights at the marks by the modes' amounts, a row for each residual.
    """

    model: Residuals
    circles: Floats
    flat: Bend
    basis: Floats

    @classmethod
    def of(cls, model: Residuals, p: Floats, camera: Floats) -> _Sheet:
        flat = flat_bend(model.reach_mm, camera)
        return cls(model, _circles_of(model.marks), flat, np.zeros((0, 0))).placed(model.at(p))

    def placed(self, seen: Seen) -> _Sheet:
        """Take the marks to be where these are on the sheet."""
        basis = self.flat.basis(seen.places_mm) @ self.flat.modes().heights
        return replace(self, basis=basis[self.model.of_mark] if self.model.count else basis)

    def before(self, camera: Floats) -> _Sheet:
        """Put it before a camera elsewhere."""
        x, y, z = (float(v) for v in camera)
        return replace(self, flat=replace(self.flat, camera_mm=(x, y, z)))

    def at(self, state: _State) -> Seen:
        twice = 2 * self.model.count  # a point has two residuals
        heights = self.basis @ state.amounts
        heights = np.append(heights[:twice:2], heights[twice:])
        return self.model.at(state.p, Raised(heights, np.array(self.flat.camera_mm)))

    def bend(self, state: _State) -> Bend:
        heights = self.flat.modes().heights @ state.amounts
        return replace(self.flat, heights_mm=heights.reshape(self.flat.heights_mm.shape))


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
    sheet = _Sheet.of(model, p, camera_place(model.homography(p), focal, model.image_size))
    modes = sheet.flat.modes()
    most = 1 / (_MOST_HEIGHT * model.length) ** 2
    priors = [modes.energies / (sheet.flat.cell_mm * energy) ** 2 + most for energy in _ENERGIES]
    usual = [
        float(np.log(prior).sum()) / 2 - _unusual(energy)
        for prior, energy in zip(priors, _ENERGIES, strict=True)
    ]
    tried, best = range(len(priors)), 0
    state = _State(p, np.zeros(sheet.circles.shape[1]), np.zeros(len(modes.energies)))
    seen = sheet.at(state)
    for turn in range(_ROUNDS):
        system = _linearised(sheet, state, seen)
        if turn < _SETTLED:
            likelihood = {i: usual[i] + _likelihood(system, priors[i]) for i in tried}
            best = max(likelihood, key=lambda i: likelihood[i])
            tried = range(max(best - 1, 0), min(best + 2, len(priors)))
        last = state
        state, seen = _step(sheet, state, seen, system, priors[best])
        if turn < _SETTLED:
            weighed = _weighed(system, priors[best], system.scale**2)
            covariance = np.linalg.solve(weighed, np.eye(len(weighed), 8))[:8]
            focal = _focal(model, state.p, covariance, exif=exif)
            sheet = sheet.before(camera_place(model.homography(state.p), focal, model.image_size))
            # The first and the last of these rounds move the marks on the sheet.
            if turn in (0, _SETTLED - 1):
                sheet = sheet.placed(seen)
            seen = sheet.at(state)
        elif np.abs(modes.heights @ (state.amounts - last.amounts)).max() < _STILL:
            break
    system = _linearised(sheet, state, seen)
    r = seen.values + sheet.circles @ state.offsets
    # The errors are the marks' stated ones, or larger where the marks scatter by more. Those of
    # lines contain the bend of a sheet's sides, which is told apart here.
    weights = cauchy_weights(r, system.scale)
    least = system.scale**2 if len(r) == len(model.lines_d) else 1.0
    noise = max(least, float(weights @ r**2) / max(system.count - model.free.sum(), 1.0))
    inverse = np.linalg.inv(_weighed(system, priors[best], noise))
    return plane_at(
        model, state.p, r, _by_height(inverse, model.free, modes.heights),
        focal_px=focal, bend=sheet.bend(state),
    )  # fmt: skip


def _by_height(inverse: Floats, free: NDArray[np.bool_], heights: Floats) -> Floats:
    """Covariance of the ten parameters and all heights from that of what was fitted."""
    own, modes = int(free.sum()), heights.shape[1]
    use = np.r_[:own, len(inverse) - modes : len(inverse)]
    into = np.zeros((10 + len(heights), own + modes))
    into[np.flatnonzero(free), np.arange(own)] = 1.0
    into[10:, own:] = heights
    return np.asarray(into @ inverse[np.ix_(use, use)] @ into.T)


def _linearised(sheet: _Sheet, state: _State, seen: Seen) -> _System:
    """Linearise the residuals about a state, those of no heights and offsets being the start."""
    model, circles = sheet.model, sheet.circles
    r = seen.values
    now = r + circles @ state.offsets
    scale = max(_LEAST_SCATTER, 1.4826 * float(np.median(np.abs(now))))
    weights = cauchy_weights(now, scale)
    root = np.sqrt(weights)
    lift = seen.lifts(np.array(sheet.flat.camera_mm))
    # All in units of the weights' roots, so that the matrix is a product with itself.
    own = int(model.free.sum())
    heights = own + circles.shape[1]
    n = heights + sheet.basis.shape[1]
    design = np.empty((len(r), n))
    np.multiply(seen.jacobian()[:, model.free], root[:, None], out=design[:, :own])
    np.multiply(circles, root[:, None], out=design[:, own:heights])
    np.multiply(sheet.basis, (lift * root)[:, None], out=design[:, heights:])
    start = root * r - design[:, heights:] @ state.amounts
    prior, prior_jac = model.priors(state.p)
    prior_jac = prior_jac[:, model.free]
    held, pull = np.zeros((n, n)), np.zeros(n)
    held[:own, :own], pull[:own] = prior_jac.T @ prior_jac, prior_jac.T @ prior
    offsets = np.arange(own, heights)
    held[offsets, offsets] = 1 / _CIRCLE_OFF_PX**2
    return _System(
        design.T @ design,
        design.T @ start,
        float(start @ start),
        float(weights.sum()),
        scale,
        held,
        pull,
    )


def _weighed(system: _System, prior: Floats, noise: float) -> Floats:
    """Matrix of the normal equations for errors of this variance."""
    out = system.matrix / noise + system.held
    own = np.arange(len(out) - len(prior), len(out))
    out[own, own] += prior
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


def _unusual(energy: float) -> float:
    """How far an energy is from what sheets usually have, as a loss."""
    return float(np.log(energy / _USUAL_ENERGY) / _ENERGY_SPREAD) ** 2 / 2


def _step(
    sheet: _Sheet, state: _State, seen: Seen, system: _System, prior: Floats
) -> tuple[_State, Seen]:
    """Go towards the solution as far as the cost falls."""
    noise = system.scale**2
    free = sheet.model.free
    solution = np.linalg.solve(
        _weighed(system, prior, noise), -(system.slope / noise + system.pull)
    )
    own, modes = int(free.sum()), len(prior)
    step = np.zeros(10)
    step[free] = solution[:own]
    offsets = solution[own:-modes] - state.offsets
    amounts = solution[-modes:] - state.amounts
    before = _cost(sheet, state, seen, system.scale, prior)
    share = 1.0
    for _ in range(5):
        trial = _State(
            state.p + share * step, state.offsets + share * offsets, state.amounts + share * amounts
        )
        with np.errstate(all="ignore"):
            there = sheet.at(trial)
        if _cost(sheet, trial, there, system.scale, prior) < before:
            return trial, there
        share /= 4
    return state, seen


def _cost(sheet: _Sheet, state: _State, seen: Seen, scale: float, prior: Floats) -> float:
    with np.errstate(all="ignore"):
        r = seen.values + sheet.circles @ state.offsets
        total = cauchy_loss(r, scale) + float((sheet.model.priors(state.p)[0] ** 2).sum())
        total += float(((state.offsets / _CIRCLE_OFF_PX) ** 2).sum() + prior @ state.amounts**2)
    return total if np.isfinite(total) else np.inf


def _circles_of(marks: Marks) -> Floats:
    """All residuals' derivatives by an offset, px, of each printed circle."""
    key = np.column_stack([marks.circles_centre_mm, marks.circles_radius_mm, marks.circles_inset])
    circles, which = np.unique(key.round(3), axis=0, return_inverse=True)
    one = (which.reshape(-1, 1) == np.arange(len(circles))) / marks.circles_se_px[:, None]
    points, lines = 2 * len(marks.points_mm), len(marks.lines_px)
    return np.vstack([np.zeros((points, len(circles))), one, np.zeros((lines, len(circles)))])


def _focal(model: Residuals, p: Floats, covariance: Floats, *, exif: bool) -> float:
    log, _ = tell_focal(np.append(p[:8], 1.0).reshape(3, 3), covariance, exif=exif)
    return float(model.focal * np.exp(log))
