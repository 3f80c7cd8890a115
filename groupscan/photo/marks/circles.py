"""Circles about one centre, seen at a slant from afar, fitted to pixels on all of them at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from groupscan.photo.plane import Floats

__all__ = ["Border", "fit_circles"]

#: Trials; pixels of each border that all of them are judged by, and how many are judged by all.
_TRIALS, _FEW, _BEST = 400, 50, 24
#: How far a pixel may lie off, in units of the radii: where zones are one wide, half of one less
#: what a near view at a slant moves it.
_NEAR = 0.35
#: Most that circles are foreshortened: a tilt of 70 degrees.
_MOST_SLANT = 3.0


@dataclass(frozen=True, eq=False)
class Border:
    """Pixels (n, 2) on borders of zones, outward directions there, and the radii they belong to."""

    px: Floats
    out: Floats
    radius: Floats

    def __getitem__(self, chosen: Any) -> Border:
        return Border(self.px[chosen], self.out[chosen], self.radius[chosen])


def fit_circles(border: Border) -> tuple[Floats, Floats] | None:
    """Find the affine map that takes circles about the origin to a border.

    Parameters
    ----------
    border : Border
        Pixels on two circles at least, those on the smallest first.

    Returns
    -------
    linear : (2, 2) array
        The map's linear part, symmetric; with the centre, (2,) px. None where most pixels lie on
        no such circles.

    Notes
    -----
    A circle of radius r about the origin, seen at a slant from afar, is a conic q(x, y) = r² of
    which all but the right side is the same for all r. So several circles together are a linear
    least-squares problem in six unknowns, which arcs of a half turn determine well where each
    ellipse by itself would not be.

    References
    ----------
    M. A. Fischler and R. C. Bolles, "Random sample consensus", *Communications of the ACM* 24
    (1981) 381-395 (the choice of pixels by trial).
    D. Nister, "Preemptive RANSAC for live structure and motion estimation", *Machine Vision and
    Applications* 16 (2005) 321-329 (trials judged by a few pixels first).
    """
    origin, unit = border.px.mean(axis=0), float(np.std(border.px)) + 1e-9
    scaled = Border((border.px - origin) / unit, border.out, border.radius)
    base = _terms(scaled.px)
    weight = _agreeing(scaled, base)
    middle: Floats | None = None
    for _ in range(8):
        a, b = base * weight[:, None], border.radius**2 * weight
        if middle is not None:  # of the family, the circle of no radius is a point
            firm = 0.1 * float(weight.sum())
            a, b = np.vstack([a, firm * _terms(middle[None])]), np.append(b, 0.0)
        p = np.linalg.lstsq(a, b, rcond=None)[0]
        form = np.array([[p[0], p[1] / 2], [p[1] / 2, p[2]]])
        values, vectors = np.linalg.eigh(form)
        if values[0] <= 0 or values[1] > _MOST_SLANT**2 * values[0]:
            return None
        middle = np.linalg.solve(form, -p[3:5] / 2)
        off = np.sqrt(np.maximum(base @ p, 0.0)) - border.radius
        weight = np.where(np.abs(off) < _NEAR, 1 / border.radius, 0.0)
        if weight.sum() == 0:
            return None
    assert middle is not None
    linear = vectors @ np.diag(1 / np.sqrt(values)) @ vectors.T
    return linear * unit, middle * unit + origin


def _terms(px: Floats) -> Floats:
    x, y = px.T
    return np.column_stack([x * x, x * y, y * y, x, y, np.ones_like(x)])


def _agreeing(border: Border, base: Floats) -> Floats:
    """Return 1 for pixels of the border that agree with the likeliest circles, else 0."""
    # Three pixels with their directions tell the six unknowns.
    rng = np.random.default_rng(0)
    count = len(border.px)
    first = int((border.radius == border.radius.min()).sum())
    three = np.column_stack(
        [
            rng.integers(0, first, _TRIALS),
            rng.integers(first, count, _TRIALS),
            rng.integers(0, count, _TRIALS),
        ]
    )
    x, y = border.px[three].transpose(2, 0, 1)
    out_x, out_y = border.out[three].transpose(2, 0, 1)
    one, none = np.ones_like(x), np.zeros_like(x)
    on = np.stack([x * x, x * y, y * y, x, y, one], -1)
    # The gradient of the form lies along the direction out: their cross product is 0.
    along = np.stack(
        [2 * x * out_y, y * out_y - x * out_x, -2 * y * out_x, out_y, -out_x, none], -1
    )
    a = np.concatenate([on, along], axis=1)
    b = np.concatenate([border.radius[three] ** 2, np.zeros((_TRIALS, 3))], axis=1)
    normal = np.swapaxes(a, 1, 2) @ a + 1e-9 * np.eye(6)
    p = np.linalg.solve(normal, np.swapaxes(a, 1, 2) @ b[..., None])[..., 0]
    p = p[4 * p[:, 0] * p[:, 2] > p[:, 1] ** 2]
    if not len(p):
        return np.zeros(count)
    some = np.concatenate(
        [
            np.arange(0, first, first // _FEW + 1),
            np.arange(first, count, (count - first) // _FEW + 1),
        ]
    )
    merit = _merit(_good(border[some], base[some], p), border.radius[some])
    p = p[np.argsort(-merit, kind="stable")[:_BEST]]
    good = _good(border, base, p)
    return np.asarray(good[np.argmax(_merit(good, border.radius))], float)


def _good(border: Border, base: Floats, p: Floats) -> NDArray[np.bool_]:
    """Tell which pixels agree with each of k trials, (k, n)."""
    q = p @ base.T
    x, y = border.px.T
    up_x = 2 * p[:, :1] * x + p[:, 1:2] * y + p[:, 3:4]
    up_y = p[:, 1:2] * x + 2 * p[:, 2:3] * y + p[:, 4:5]
    level = (up_x * border.out[:, 0] + up_y * border.out[:, 1]) / np.maximum(
        np.hypot(up_x, up_y), 1e-9
    )
    near = np.abs(np.sqrt(np.maximum(q, 0)) - border.radius) < _NEAR
    return np.asarray(near & (level > 0.8))


def _merit(good: NDArray[np.bool_], radius: Floats) -> NDArray[np.intp]:
    """Both borders must be seen: the lesser of their counts decides."""
    inner = radius == radius.min()
    return np.asarray(np.minimum(good[:, inner].sum(axis=1), good[:, ~inner].sum(axis=1)))
