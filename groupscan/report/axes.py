"""What the pictures on the screen share: axes that a thumb cannot drag, and keys that wrap."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from groupscan.report.palette import Palette

__all__ = ["CHART_CONFIG", "axis_style", "flat_layout", "key_row", "rgba"]

#: Settings of Plotly in the page: no buttons over the picture, no zoom under a scrolling thumb.
CHART_CONFIG: Final = {"displaylogo": False, "scrollZoom": False, "displayModeBar": False}


def axis_style(p: Palette, **more: Any) -> dict[str, Any]:
    """Return the settings of one Plotly axis in the house's style."""
    return {
        "gridcolor": p.hairline, "zeroline": False, "color": p.quiet, "linecolor": p.hairline,
        "ticks": "outside", "tickcolor": p.hairline, "mirror": True, "showline": True,
        "tickangle": 0, "fixedrange": True, "nticks": 7, **more,
    }  # fmt: skip


# Both ways together alike, so that in a square place a picture of space leaves no strip empty.
_SQUARE: Final = {"l": 58, "r": 6, "t": 8, "b": 56}


def flat_layout(figure: Any, p: Palette, *, height_px: int | None = None, **more: Any) -> None:
    """Lay a Plotly figure out: ground, text, margins, and nothing that moves under a thumb.

    Without a height it is a picture of space, as high as its place on the page.
    """
    margin = {"l": 62, "r": 10, "t": 8, "b": 46} if height_px else _SQUARE
    figure.update_layout(
        paper_bgcolor=p.ground, plot_bgcolor=p.ground, font={"color": p.ink, "size": 13},
        margin=margin, dragmode=False, showlegend=False,
        hoverlabel={"bgcolor": p.panel, "font": {"color": p.ink}}, height=height_px, **more,
    )  # fmt: skip


def rgba(colour: str, share: float) -> str:
    """Return a colour of the palette that lets some of what is behind it through.

    Examples
    --------
    >>> rgba("#0a4678", 0.2)
    'rgba(10,70,120,0.2)'
    """
    r, g, b = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({r},{g},{b},{share})"


def key_row(p: Palette, rows: Iterable[tuple[str, str, str]]) -> str:
    """Return a key as HTML that wraps with the page.

    Parameters
    ----------
    p : Palette
    rows : iterable of (style, sign, words)
        The CSS of the sample, the character in it, and what it stands for; a user's text escaped.
    """
    cells = "".join(
        '<span style="display:inline-flex;align-items:center;vertical-align:middle;gap:.4rem;'
        'margin-right:1.1rem;max-width:100%">'
        f'<span style="display:inline-block;flex:none;{style}">{sign}</span>'
        f'<span style="overflow-wrap:anywhere">{words}</span></span>'
        for style, sign, words in rows
    )
    return f'<div style="font-size:.875rem;line-height:1.7;color:{p.ink}">{cells}</div>'
