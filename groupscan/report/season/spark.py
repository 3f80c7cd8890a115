"""A season as a small line, for a row among others."""

from __future__ import annotations

import base64
import html
from typing import Final

import numpy as np

from groupscan.report.palette import Theme, palette
from groupscan.stats.trend import Sessions

__all__ = ["spark_svg", "svg_image"]

_WIDTH: Final = 180
_HEIGHT: Final = 44
_PAD: Final = 6
# A season within a quarter of its usual sigma stays a flat line instead of filling the height.
_LEAST: Final = 0.25


def spark_svg(sessions: Sessions | None, *, theme: Theme = "light") -> str:
    """Return sigma over the sessions as a small SVG; up is wider.

    Parameters
    ----------
    sessions : Sessions or None
    theme : {"light", "dark"}

    Examples
    --------
    >>> "<circle" in spark_svg(None)
    False
    """
    p = palette(theme)
    drawn = ""
    if sessions is not None:
        known = np.isfinite(sessions.sigma)
        sigma, day = sessions.sigma[known], sessions.day[known]
        if not np.isfinite(day).all():
            day = np.arange(float(day.size))
        if sigma.size:
            x, y, level = _places(day, sigma)
            drawn = (
                f'<line x1="{_PAD}" x2="{_WIDTH - _PAD}" y1="{level:.1f}" y2="{level:.1f}" '
                f'stroke="{p.outer}" stroke-width="1" stroke-dasharray="4 3"/>'
            )
            line = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
            drawn += f'<polyline points="{line}" fill="none" stroke="{p.found}" stroke-width="2"/>'
            if sigma.size <= 40:
                drawn += "".join(
                    f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.6" fill="{p.found}"/>'
                    for a, b in zip(x, y, strict=True)
                )
            drawn += f'<circle cx="{x[-1]:.1f}" cy="{y[-1]:.1f}" r="4.5" fill="{p.centre}"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" '
        f'width="{_WIDTH}" height="{_HEIGHT}">{drawn}</svg>'
    )


def svg_image(svg: str, words: str) -> str:
    """Return an SVG as an HTML picture: a page that takes no SVG of its own shows it so.

    Parameters
    ----------
    svg : str
        The whole SVG; it may name its own width and height.
    words : str
        What it says, for those who do not see it; empty where words beside it say the same.
    """
    data = base64.b64encode(svg.encode()).decode("ascii")
    return (
        f'<img alt="{html.escape(words)}" style="max-width:100%" '
        f'src="data:image/svg+xml;base64,{data}">'
    )


def _places(
    day: np.ndarray[tuple[int], np.dtype[np.float64]],
    sigma: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[list[float], list[float], float]:
    """Return where the sessions stand in the picture, and the height of their middle."""
    reach = float(day[-1] - day[0]) or 1.0
    x = _PAD + (_WIDTH - 2 * _PAD) * (day - day[0]) / reach
    logs = np.log(sigma)
    middle = float(np.median(logs))
    half = max(float(np.abs(logs - middle).max()), _LEAST)
    y = _HEIGHT / 2 - (_HEIGHT / 2 - _PAD) * (logs - middle) / half
    return x.tolist(), y.tolist(), _HEIGHT / 2
