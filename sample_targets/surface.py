"""Paper that hangs as paper hangs: rolled a little, waved, and curled up at a corner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_targets.camera import Bend

__all__ = ["Curl", "hang_paper"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Curl:
    """A rolled sheet with waves and corners that stand off.

    The roll keeps lengths along the paper; waves and corners are so low that they change them by
    less than a part in a thousand over a whole sheet.

    Attributes
    ----------
    bend : Bend
        The roll.
    corners : tuple of (x_mm, y_mm, lift_mm, reach_mm)
        Corner, how far it stands off, and how far from it the curl begins.
    waves : tuple of (per_mm_x, per_mm_y, phase_rad, height_mm)
        Wave vectors in radians a millimetre.
    """

    bend: Bend
    corners: tuple[tuple[float, float, float, float], ...] = ()
    waves: tuple[tuple[float, float, float, float], ...] = ()

    @property
    def sag_mm(self) -> float:
        """Height of the roll."""
        return self.bend.sag_mm

    def ripple(self, x: Floats, y: Floats) -> Floats:
        """Return the height of waves and corners over (x, y)."""
        total = np.zeros(np.broadcast(x, y).shape)
        for cx, cy, lift, reach in self.corners:
            away = np.hypot(x - cx, y - cy) / reach
            total = total + lift * np.maximum(1 - away, 0) ** 2
        for kx, ky, phase, height in self.waves:
            total = total + height * np.sin(kx * x + ky * y + phase)
        return total

    def lift(self, xy_mm: Floats) -> Floats:
        """Return the place in space, (..., 3) mm, of points of the flat sheet, (..., 2) mm."""
        placed = self.bend.lift(xy_mm)
        placed[..., 2] += self.ripple(placed[..., 0], placed[..., 1])
        return placed

    def height(self, x: Floats, y: Floats) -> Floats:
        """Return the height in mm over the point (x, y) in space."""
        return self.bend.height(x, y) + self.ripple(x, y)

    def flatten(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return the flat sheet's coordinates of the points in space over (x, y)."""
        return self.bend.flatten(x, y)

    def slope(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return how steeply the paper rises along x and along y."""
        step = 0.5
        along_x = self.height(x + step, y) - self.height(x - step, y)
        along_y = self.height(x, y + step) - self.height(x, y - step)
        return along_x / (2 * step), along_y / (2 * step)


def hang_paper(rng: np.random.Generator, half_mm: Floats, curl_mm: float) -> Curl:
    """Hang a sheet with a curl of about `curl_mm` at its worst corner.

    Parameters
    ----------
    rng : numpy.random.Generator
    half_mm : (2,) array
        Half the sheet's size.
    curl_mm : float
        0 for a board or a foam face.

    Returns
    -------
    Curl
    """
    reach = float(np.hypot(*half_mm))
    if curl_mm == 0:
        return Curl(Bend(0.0, reach, 0.0))
    roll = Bend(
        float(rng.uniform(0.25, 0.7) * curl_mm * rng.choice([-1, 1])),
        reach,
        float(rng.uniform(0, np.pi)),
    )
    corners = []
    for sx, sy in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
        if rng.random() < 0.6:
            lift = curl_mm * rng.uniform(0.3, 1.0)
            # Pins hold the corners, so that only what is outside them comes loose.
            away = rng.uniform(0.25, 0.5) * half_mm.min() + 4.0 * lift
            corners.append((sx * float(half_mm[0]), sy * float(half_mm[1]), lift, float(away)))
    waves = []
    for _ in range(3):
        length = rng.uniform(0.5, 1.4) * reach
        turn = rng.uniform(0, 2 * np.pi)
        k = 2 * np.pi / length
        height = rng.uniform(0.03, 0.14) * curl_mm
        waves.append((k * np.cos(turn), k * np.sin(turn), rng.uniform(0, 2 * np.pi), float(height)))
    return Curl(roll, tuple(corners), tuple(waves))
