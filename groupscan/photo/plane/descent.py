"""Robust least squares for a flat sheet: where the sum of Cauchy losses is least."""

from __future__ import annotations

import numpy as np

from groupscan.photo.plane.marks_seen import Floats
from groupscan.photo.plane.residuals import Residuals, up_angle

__all__ = ["cauchy_loss", "cauchy_weights", "minimised", "spread"]

_CAUCHY = 2.385  # 95 % efficiency at the normal distribution (Holland and Welsch 1977)


def minimised(model: Residuals, homography: Floats, k1: float) -> Floats:
    """Return the parameters that make the sum of Cauchy losses least."""
    unit = model.to_unit @ homography @ np.diag([model.length, model.length, 1.0])
    p = np.append((unit / unit[2, 2]).ravel()[:8], [k1, 0.6 if model.free[9] else 0.0])
    if not model.count and not len(model.lines_d):
        model.up = up_angle(p)
    damping = 1e-3
    free = model.free
    inner = np.ix_(free, free)
    seen = model.at(p)
    for _ in range(40):
        r, jac = seen.values, seen.jacobian()
        prior, prior_jac = model.priors(p)
        scale = spread(r)
        weighted = jac * (cauchy_weights(r, scale) / scale**2)[:, None]
        normal = (weighted.T @ jac + prior_jac.T @ prior_jac)[inner]
        slope = (weighted.T @ r + prior_jac.T @ prior)[free]
        cost = _cost(model, r, p, scale)
        for _ in range(8):
            ridge = damping * np.diag(np.diag(normal) + 1e-12)
            trial = p.copy()
            trial[free] -= np.linalg.solve(normal + ridge, slope)
            with np.errstate(all="ignore"):
                there = model.at(trial)
            new = _cost(model, there.values, trial, scale)
            if new < cost:
                break
            damping *= 10
        else:
            break
        damping = max(damping / 10, 1e-9)
        p, seen = trial, there
        if cost - new < 1e-5 * (1 + new):
            break
    return p


def _cost(model: Residuals, r: Floats, p: Floats, scale: float) -> float:
    with np.errstate(all="ignore"):
        total = cauchy_loss(r, scale) + float((model.priors(p)[0] ** 2).sum())
    return total if np.isfinite(total) else np.inf


def spread(r: Floats) -> float:
    """Scale of residuals: it follows the data, never below their stated errors."""
    return max(1.0, 1.4826 * float(np.median(np.abs(r))))


def cauchy_weights(r: Floats, scale: float) -> Floats:
    """Weights of reweighted least squares for residuals of this scale."""
    return np.asarray(1.0 / (1.0 + (r / (_CAUCHY * scale)) ** 2))


def cauchy_loss(r: Floats, scale: float) -> float:
    """Twice the negative log likelihood of residuals, up to a constant, in squared scales."""
    return float(_CAUCHY**2 * np.log1p((r / (_CAUCHY * scale)) ** 2).sum())
