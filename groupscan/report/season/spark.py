"""A season as a small line, for a row among others."""

from __future__ import annotations

import base64
import html
from typing import Final

import numpy as np
from numpy.typing import NDArray

from groupscan.report.palette import Theme, palette
from groupscan.stats.trend import Progress, Sessions, creep

__all__ = ["spark_svg", "spark_words", "svg_image"]

Array = NDArray[np.float64]

_WIDTH: Final = 180
_HEIGHT: Final = 44
_PAD: Final = 6
_MOST_DOTS: Final = 40
# A season within a quarter of its usual sigma stays a flat line instead of filling the height.
_LEAST: Final = 0.25


def spark_words(progress: Progress | None) -> str:
    """Return what `spark_svg` shows, in a word or a few: what the season's own word is about.

    Examples
    --------
    >>> spark_words(None)
    'sigma'
    """
    return "how far the centre came" if _drifts(progress) else "sigma"


def spark_svg(
    sessions: Sessions | None, progress: Progress | None = None, *, theme: Theme = "light"
) -> str:
    """Return the season of one student as a small SVG.

    Parameters
    ----------
    sessions : Sessions or None
    progress : Progress, optional
        Of a season that drifts: the line is how far the centre has come along the drift, the dashed
        level where it began. Otherwise it is sigma about its middle; up is wider.
    theme : {"light", "dark"}

    Examples
    --------
    >>> "<circle" in spark_svg(None)
    False
    """
    p = palette(theme)
    drawn = ""
    if sessions is not None:
        day = sessions.day
        if not np.isfinite(day).all():
            day = np.arange(float(day.size))
        value, level, low, high = _told(sessions, progress)
        known = np.isfinite(value)
        if known.any():
            x = _across(day[known])
            *y, dashed = _up(np.append(value[known], level), low, high)
            drawn = (
                f'<line x1="{_PAD}" x2="{_WIDTH - _PAD}" y1="{dashed:.1f}" y2="{dashed:.1f}" '
                f'stroke="{p.outer}" stroke-width="1" stroke-dasharray="4 3"/>'
            )
            line = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
            drawn += f'<polyline points="{line}" fill="none" stroke="{p.found}" stroke-width="2"/>'
            if len(x) <= _MOST_DOTS:
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


def _drifts(progress: Progress | None) -> bool:
    return progress is not None and progress.word == "drifting"


def _told(sessions: Sessions, progress: Progress | None) -> tuple[Array, float, float, float]:
    """Return what the line is drawn through, the dashed level, and what fills the height."""
    if progress is not None and _drifts(progress):
        come = creep(sessions, progress)
        return come, 0.0, min(0.0, float(come.min())), max(0.0, float(come.max()))
    logs = np.log(sessions.sigma)
    known = logs[np.isfinite(logs)]
    middle = float(np.median(known)) if known.size else 0.0
    half = max(float(np.abs(known - middle).max()), _LEAST) if known.size else _LEAST
    return logs, middle, middle - half, middle + half


def _across(day: Array) -> list[float]:
    reach = float(day[-1] - day[0]) or 1.0
    x: list[float] = (_PAD + (_WIDTH - 2 * _PAD) * (day - day[0]) / reach).tolist()
    return x


def _up(value: Array, low: float, high: float) -> list[float]:
    y: list[float] = (
        _HEIGHT - _PAD - (_HEIGHT - 2 * _PAD) * (value - low) / max(high - low, 1e-300)
    ).tolist()
    return y
