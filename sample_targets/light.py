"""Light over a target: a sky and lamps, what throws a shadow on the sheet, and a gloss."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["LIGHTS", "Lighting", "Shade", "Source", "set_light"]

Floats = NDArray[np.float32]
Shade = Callable[["Source", Floats, Floats], Floats]
"""What else stands in a source's way: share of it that reaches points of the sheet's plane."""

LIGHTS = (
    "overcast", "sun", "sun_shadow", "sun_post", "foliage", "indoor", "glare", "lowlight",
)  # fmt: skip


@dataclass(frozen=True)
class Source:
    """The sun or a lamp.

    Attributes
    ----------
    towards : (float, float, float)
        Unit vector to it, on sheet axes.
    strength : (float, float, float)
        Light that it gives to the flat sheet, by colour; white paper in 1 is well exposed.
    softness : float
        Its radius as seen from the sheet, radians; the sun's is 0.0047.
    spot_mm : (float, float, float), optional
        A lamp so near that its light falls off: place over the sheet (x, y) and reach.
    """

    towards: tuple[float, float, float]
    strength: tuple[float, float, float]
    softness: float = 0.0047
    spot_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Lighting:
    """All the light on one photo's sheet.

    Attributes
    ----------
    name : str
        One of `LIGHTS`.
    sky : (float, float, float)
        Light from everywhere.
    sources : tuple of Source
    edge_mm : (float, float, float, float), optional
        A shadow of the first source with a straight edge: offset from the sheet's centre,
        direction, half the penumbra, width of the band (infinite for all beyond the edge).
    leaves : int, optional
        Seed of a shadow of twigs and leaves.
    leaf_mm : float
        Size of a picture of twigs on the sheet.
    gloss : (float, float, float, float), optional
        A shine on the paper: place (x, y), reach, strength.
    noise : float
        Noise at white, as a share of it.
    """

    name: str
    sky: tuple[float, float, float]
    sources: tuple[Source, ...] = ()
    edge_mm: tuple[float, float, float, float] | None = None
    leaves: int | None = None
    leaf_mm: float = 900.0
    gloss: tuple[float, float, float, float] | None = None
    noise: float = 0.008

    def __post_init__(self) -> None:
        pattern = None if self.leaves is None else _twigs(np.random.default_rng(self.leaves))
        object.__setattr__(self, "_pattern", pattern)

    def reaching(self, index: int, x: Floats, y: Floats, shade: Shade | None = None) -> Floats:
        """Return the share of a source that reaches points of the sheet's plane."""
        source = self.sources[index]
        share = np.ones(x.shape, np.float32)
        if index == 0 and self.edge_mm is not None:
            place, turn, soft, wide = self.edge_mm
            offset = x * np.cos(turn) + y * np.sin(turn) - place
            share *= 1 - _ramp(offset / soft) * _ramp((wide - offset) / soft)
        if index == 0 and self.leaves is not None:
            pattern = self._pattern  # type: ignore[attr-defined]
            scale = pattern.shape[0] / self.leaf_mm
            u, v = (np.ascontiguousarray(a * scale, np.float32) for a in (x, y))
            share *= cv2.remap(pattern, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
        if source.spot_mm is not None:
            sx, sy, reach = source.spot_mm
            share *= 1 / (1 + ((x - sx) ** 2 + (y - sy) ** 2) / reach**2)
        if shade is not None:
            share *= shade(source, x, y)
        return share

    def at(
        self,
        x: Floats,
        y: Floats,
        *,
        slope: tuple[Floats, Floats] | None = None,
        shade: Shade | None = None,
    ) -> Floats:
        """Return the light at points of the sheet's plane.

        Parameters
        ----------
        x, y : (h, w) arrays
            Sheet mm.
        slope : pair of (h, w) arrays, optional
            How steeply the paper rises along x and y.
        shade : callable, optional
            What else throws a shadow.

        Returns
        -------
        (h, w, 3) array
        """
        light = np.empty((*x.shape, 3), np.float32)
        light[:] = self.sky
        for index, source in enumerate(self.sources):
            share = self.reaching(index, x, y, shade)
            if slope is not None:
                lx, ly, lz = source.towards
                rise_x, rise_y = slope
                facing = (lz - rise_x * lx - rise_y * ly) / np.sqrt(1 + rise_x**2 + rise_y**2)
                share = share * np.maximum(facing / lz, 0).astype(np.float32)
            light += share[..., None] * np.array(source.strength, np.float32)
        return light

    def shine(self, x: Floats, y: Floats) -> Floats:
        """Return the gloss at points of the sheet, white light to be added."""
        if self.gloss is None:
            return np.zeros(x.shape, np.float32)
        gx, gy, reach, strength = self.gloss
        away = ((x - gx) ** 2 + (y - gy) ** 2) / reach**2
        return (strength / (1 + away) ** 2).astype(np.float32)

    def direct_share(self, x_mm: float, y_mm: float) -> tuple[float, tuple[float, float, float]]:
        """Return how much of the light at a point comes from a direction, and which."""
        at = np.full((1, 1), x_mm, np.float32), np.full((1, 1), y_mm, np.float32)
        total, towards = float(np.mean(self.sky)), np.zeros(3)
        for index, source in enumerate(self.sources):
            power = float(self.reaching(index, *at)[0, 0] * np.mean(source.strength))
            towards += power * np.array(source.towards)
            total += power
        length = float(np.linalg.norm(towards))
        if length < 1e-9:
            return 0.0, (0.0, 0.0, 1.0)
        return length / total, tuple(towards / length)


def _ramp(steps: Floats) -> Floats:
    """Return a smooth step from 0 to 1, half wide at 1."""
    t = np.clip(0.5 + 0.5 * steps, 0, 1)
    return t * t * (3 - 2 * t)


def _twigs(rng: np.random.Generator) -> Floats:
    """Return a tile of sunlight between twigs and leaves, 0 (shadow) to 1."""
    side = 256
    tile = np.zeros((side, side), np.float32)
    lean = rng.uniform(0, np.pi)
    for _ in range(rng.integers(5, 11)):
        turn = lean + rng.normal(0, 0.35)
        at, wide = rng.uniform(0, side, 2), rng.uniform(3, 22)
        step = np.array([np.cos(turn), np.sin(turn)]) * rng.uniform(0.3, 0.9) * side
        for sx in (-side, 0, side):
            for sy in (-side, 0, side):
                a, b = at - step / 2 + (sx, sy), at + step / 2 + (sx, sy)
                cv2.line(tile, tuple(a.astype(int).tolist()), tuple(b.astype(int).tolist()),
                         1.0, max(1, int(wide)), cv2.LINE_AA)  # fmt: skip
    wrapped = cv2.copyMakeBorder(tile, 64, 64, 64, 64, cv2.BORDER_WRAP)
    soft = cv2.GaussianBlur(wrapped, (0, 0), rng.uniform(3.5, 9.0))[64:-64, 64:-64]
    return (1 - rng.uniform(0.75, 1.0) * np.clip(soft, 0, 1)).astype(np.float32)


def _towards(azimuth: float, height: float) -> tuple[float, float, float]:
    """Return the unit vector at an azimuth on the sheet and an angle above it, radians."""
    flat = np.cos(height)
    return (
        float(flat * np.cos(azimuth)), float(flat * np.sin(azimuth)), float(np.sin(height)),
    )  # fmt: skip


def _noise(usual: float, rng: np.random.Generator) -> float:
    return float(usual * rng.uniform(0.75, 1.35))


def _times(colour: tuple[float, float, float], level: float) -> tuple[float, float, float]:
    return tuple(float(c * level) for c in colour)  # type: ignore[return-value]


def set_light(name: str, rng: np.random.Generator, half_mm: NDArray[np.float64]) -> Lighting:
    """Set a light by name; what the name leaves open is drawn.

    Parameters
    ----------
    name : str
        One of `LIGHTS`.
    rng : numpy.random.Generator
    half_mm : (2,) array
        Half the sheet's size, which shadows and shine keep to.

    Returns
    -------
    Lighting

    Raises
    ------
    ValueError
        If there is no such light.
    """
    reach = float(half_mm.max())
    level = float(rng.uniform(0.86, 1.04))
    azimuth = float(rng.uniform(0.15, 0.85) * np.pi)
    if name == "overcast":
        above = _towards(azimuth, rng.uniform(0.6, 1.2))
        brighter = Source(above, _times((1, 1, 1), 0.35 * level), 0.5)
        return Lighting(
            name, _times((0.98, 1.0, 1.02), 0.65 * level), (brighter,), noise=_noise(0.017, rng)
        )
    if name in ("sun", "sun_shadow", "sun_post", "foliage"):
        direct = float(rng.uniform(0.62, 0.78))
        sun = Source(
            _towards(azimuth, rng.uniform(0.45, 1.05)),
            _times((1.04, 1.0, 0.92), direct * level),
            float(rng.choice([0.0047, 0.0047, 0.02])),
        )
        sky = _times((0.90, 1.0, 1.14), (1 - direct) * level)
        turn = float(rng.uniform(0, 2 * np.pi))
        place = float(rng.uniform(-0.4, 0.6) * reach)
        soft = float(rng.uniform(0.01, 0.09) * reach)
        edge = None
        if name == "sun_shadow":
            edge = (place, turn, soft, np.inf)
        elif name == "sun_post":
            edge = (place - 0.3 * reach, turn, soft, float(rng.uniform(0.2, 0.7) * reach))
        leaves = int(rng.integers(2**31)) if name == "foliage" else None
        leaf = float(rng.uniform(1.6, 3.0) * reach)
        return Lighting(name, sky, (sun,), edge, leaves, leaf, noise=_noise(0.017, rng))
    if name in ("indoor", "glare", "lowlight"):
        warm = (1.05, 1.0, float(rng.uniform(0.80, 0.93)))
        lamps = []
        for k in range(int(rng.integers(1, 4))):
            turn = float(azimuth + k * rng.uniform(0.6, 1.6))
            power = float(rng.uniform(0.2, 0.5))
            spot = (
                float(rng.uniform(-1, 1) * reach), float(rng.uniform(-0.5, 1.3) * reach),
                float(rng.uniform(1.8, 4.0) * reach),
            )  # fmt: skip
            lamps.append(Source(_towards(turn, rng.uniform(0.5, 1.1)), _times(warm, power),
                                float(rng.uniform(0.01, 0.05)), spot))  # fmt: skip
        total = sum(lamp.strength[1] for lamp in lamps)
        dim = level * (float(rng.uniform(0.6, 0.85)) if name == "lowlight" else 0.97)
        share = float(rng.uniform(0.45, 0.7))
        lamps = [
            Source(s.towards, _times(s.strength, share * dim / total), s.softness, s.spot_mm)
            for s in lamps
        ]
        gloss = None
        if name == "glare":
            spot_x, spot_y = rng.uniform(-0.6, 0.6, 2) * half_mm
            gloss = (float(spot_x), float(spot_y), float(rng.uniform(0.25, 0.5) * reach),
                     float(rng.uniform(0.12, 0.35)))  # fmt: skip
        noise = _noise({"indoor": 0.024, "glare": 0.027, "lowlight": 0.058}[name], rng)
        return Lighting(name, _times(warm, (1 - share) * dim), tuple(lamps), gloss=gloss,
                        noise=noise)  # fmt: skip
    raise ValueError(f"there is no light called {name!r}; one of {', '.join(LIGHTS)}")
