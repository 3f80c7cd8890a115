"""How a sheet bends: its height over its own plane, and what that moves in the photo.

Paper bulges and curls by a few millimetres. A place raised by ``z`` towards a camera at ``C`` is
seen where the flat sheet's place ``m + (m - C) z / (C_z - z)`` would be, so that one smooth height,
a scalar, explains what two coordinates of every mark show. How much shorter a bent sheet looks
along itself is of second order, and left out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.ndimage import map_coordinates

from groupscan.photo.plane.marks_seen import Floats

__all__ = ["Bend", "Modes", "flat_bend"]

#: Cells along the longer side. Waves of a sheet are as long as a third of it or longer, and a
#: cubic spline follows a wave over three cells (found on photos with known truth; no source).
_CELLS = 8
#: How far beyond its marks a sheet is taken to go on, as a share of their reach.
_MARGIN = 1.15


@dataclass(frozen=True, eq=False)
class Bend:
    """Height of a sheet over its plane: a uniform bicubic B-spline.

    Attributes
    ----------
    heights_mm : (rows, columns) array
        Coefficients, mm towards the viewer. Beyond the outermost cells the height stays as it is
        at their edge.
    cell_mm : float
        Spacing of the knots.
    low_mm : (float, float)
        Lower left corner of the cells.
    camera_mm : (float, float, float)
        The camera's place over the sheet.
    turn_rad : float
        How far the axes of all these lie turned, anticlockwise, from the sheet's.

    References
    ----------
    de Boor, C. (2001). A Practical Guide to Splines, revised ed., chapters 9 and 17.
    """

    heights_mm: Floats
    cell_mm: float
    low_mm: tuple[float, float]
    camera_mm: tuple[float, float, float]
    turn_rad: float = 0.0

    def height_mm(self, mm: Floats) -> Floats:
        """Return the height over the plane at places of the sheet (n, 2), mm."""
        return self._height(self._own(mm))

    def shift(self, mm: Floats) -> Floats:
        """Return how far from their own place (n, 2) raised places are seen, (n, 2) mm."""
        own = self._own(mm)
        height = self._height(own)
        away = height / (self.camera_mm[2] - height)
        return np.asarray((own - self.camera_mm[:2]) * away[:, None] @ self._turn)

    def laid_flat(self, seen: Floats) -> Floats:
        """Return the sheet's places (n, 2) that are seen where these of its plane would be."""
        mm = seen
        # Paper leans by a few hundredths, so each round makes the error fifty times smaller.
        for _ in range(3):
            mm = seen - self.shift(mm)
        return mm

    def by_height(self, mm: Floats) -> Floats:
        """Return what a millimetre of height moves where places (n, 2) are seen, (n, 2) mm."""
        own = self._own(mm)
        return np.asarray((own - self.camera_mm[:2]) / self.camera_mm[2] @ self._turn)

    def basis(self, mm: Floats) -> Floats:
        """Return the height's derivatives by each coefficient, (n, rows x columns)."""
        at = self._cells(self._own(mm))
        rows, columns = self.heights_mm.shape
        y, x = _weights(at[1] - 1, rows), _weights(at[0] - 1, columns)
        return np.asarray((y[:, :, None] * x[:, None, :]).reshape(len(mm), rows * columns))

    def roughness(self) -> Floats:
        """Return the matrix of the thin plate's energy, in cells, per square of the heights."""
        rows, columns = self.heights_mm.shape
        x = [_gram(columns - 3, order) for order in range(3)]
        y = [_gram(rows - 3, order) for order in range(3)]
        return np.asarray(np.kron(y[0], x[2]) + 2 * np.kron(y[1], x[1]) + np.kron(y[2], x[0]))

    def modes(self) -> Modes:
        """Return the shapes that it can take besides a plane's, the smoothest first."""
        return _modes(*self.heights_mm.shape)

    def inner(self, count: int = 15) -> Floats:
        """Return places (count², 2) spread over the part that the marks reach, mm."""
        rows, columns = self.heights_mm.shape
        half = np.array([columns - 3, rows - 3]) * self.cell_mm / 2
        middle = np.array(self.low_mm) + half
        share = np.linspace(-1, 1, count) / _MARGIN
        x, y = np.meshgrid(share * half[0], share * half[1])
        return np.asarray((np.column_stack([x.ravel(), y.ravel()]) + middle) @ self._turn)

    def turned(self, angle_rad: float) -> Bend:
        """Describe the same bend in axes turned anticlockwise by an angle."""
        return replace(self, turn_rad=self.turn_rad - angle_rad)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers for a record; heights to a tenth of a micrometre."""
        return {
            "heights_mm": np.round(self.heights_mm, 4).tolist(),
            "cell_mm": self.cell_mm,
            "low_mm": list(self.low_mm),
            "camera_mm": list(self.camera_mm),
            "turn_rad": self.turn_rad,
        }

    @classmethod
    def from_dict(cls, record: dict[str, Any]) -> Bend:
        """Read what `to_dict` wrote."""
        x, y = record["low_mm"]
        a, b, c = record["camera_mm"]
        return cls(
            np.array(record["heights_mm"], float),
            float(record["cell_mm"]),
            (float(x), float(y)),
            (float(a), float(b), float(c)),
            float(record["turn_rad"]),
        )

    @property
    def _turn(self) -> Floats:
        """Own axes to the sheet's, to be multiplied from the right."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        return np.array([[c, s], [-s, c]])

    def _own(self, mm: Floats) -> Floats:
        return mm if self.turn_rad == 0 else np.asarray(mm @ self._turn.T)

    def _cells(self, own: Floats) -> Floats:
        """Places in cells from the first coefficient, x and y, (2, n)."""
        rows, columns = self.heights_mm.shape
        most = np.array([[columns - 3.0], [rows - 3.0]])
        return np.asarray(np.clip((own - self.low_mm).T / self.cell_mm, 0.0, most) + 1.0)

    def _height(self, own: Floats) -> Floats:
        at = self._cells(own)
        found = map_coordinates(
            self.heights_mm, at[::-1], order=3, prefilter=False, mode="constant"
        )
        return np.asarray(found)


@dataclass(frozen=True, eq=False)
class Modes:
    """Shapes of a sheet: coefficients (rows x columns, modes), and energies (modes,), in cells.

    They are orthonormal, also with respect to the energy, and none has a mean height or slope.

    References
    ----------
    Demmler, A. and Reinsch, C. (1975). Oscillation matrices with spline smoothing. Numerische
    Mathematik 24.
    """

    heights: Floats
    energies: Floats


@lru_cache(maxsize=32)
def _modes(rows: int, columns: int) -> Modes:
    bend = Bend(np.zeros((rows, columns)), 1.0, (0.0, 0.0), (0.0, 0.0, 1.0))
    mm = bend.inner()
    planes = np.column_stack([np.ones(len(mm)), mm])
    level = np.linalg.svd(planes.T @ bend.basis(mm))[2][3:].T
    energies, shapes = np.linalg.eigh(level.T @ bend.roughness() @ level)
    return Modes(level @ shapes, energies)


def flat_bend(reach_mm: Floats, camera_mm: Floats) -> Bend:
    """Return a bend without height for marks that reach so far from the centre, (2,) mm."""
    half = reach_mm * _MARGIN
    cell = float(2 * half.max() / _CELLS)
    count = np.maximum(np.ceil(2 * half / cell - 1e-9), 1).astype(int)
    low = -count * cell / 2
    x, y, z = (float(v) for v in camera_mm)
    heights = np.zeros((count[1] + 3, count[0] + 3))
    return Bend(heights, cell, (float(low[0]), float(low[1])), (x, y, z))


def _weights(at: Floats, count: int) -> Floats:
    """Weight of each of `count` coefficients at places in cells, (n, count)."""
    cell = np.minimum(np.floor(at), count - 4).astype(int)
    out = np.zeros((len(at), count))
    np.put_along_axis(out, cell[:, None] + np.arange(4), _pieces(at - cell, 0), axis=1)
    return out


def _pieces(t: Floats, order: int) -> Floats:
    """Weights of a cell's four coefficients at shares of it, or their derivatives, (n, 4)."""
    power = np.stack([t**3, t**2, t, np.ones_like(t)], axis=-1)
    if order == 1:
        power = np.stack([3 * t**2, 2 * t, np.ones_like(t), np.zeros_like(t)], axis=-1)
    if order == 2:
        power = np.stack([6 * t, np.full_like(t, 2.0), np.zeros_like(t), np.zeros_like(t)], axis=-1)
    cubic = np.array([[-1, 3, -3, 1], [3, -6, 3, 0], [-3, 0, 3, 0], [1, 4, 1, 0]]) / 6
    return np.asarray(power @ cubic)


def _gram(cells: int, order: int) -> Floats:
    """Integrals of products of the splines' derivatives, (cells + 3, cells + 3)."""
    # Gauss's four points are exact up to the seventh power; the products have the sixth.
    at, weight = np.polynomial.legendre.leggauss(4)
    piece = _pieces((at + 1) / 2, order)
    one = (piece * (weight / 2)[:, None]).T @ piece
    out = np.zeros((cells + 3, cells + 3))
    for i in range(cells):
        out[i : i + 4, i : i + 4] += one
    return out
