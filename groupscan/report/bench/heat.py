"""A small table whose cells are shaded by what stands in them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from groupscan.report.palette import Theme, mix, palette

__all__ = ["heat_html"]

# The darkest cell keeps the text's contrast far above 4.5:1 on either ground.
_MOST = 0.34


def heat_html(
    corner: str,
    heads: Sequence[str],
    rows: Sequence[tuple[str, Sequence[str], Sequence[float], Sequence[bool]]],
    *,
    theme: Theme = "light",
    caption: str = "",
) -> str:
    """Return a table as HTML, its cells shaded from the least value to the largest.

    Parameters
    ----------
    corner : str
        What rows and columns are.
    heads : sequence of str
        Over the columns.
    rows : sequence of (head, texts, values, marked)
        The texts of the cells, what shades them, and which stands for the build as it is.
    theme : {"light", "dark"}
    caption : str
        What the shade means.
    """
    p = palette(theme)
    values = [value for _, _, own, _ in rows for value in own]
    low, span = min(values), (max(values) - min(values)) or 1.0
    cell = "padding:.45rem .3rem;text-align:center;border:1px solid " + p.hairline
    head = "".join(f'<th scope="col" style="{cell}">{escape(one)}</th>' for one in heads)
    body = []
    for name, texts, own, marked in rows:
        cells = []
        for text, value, now in zip(texts, own, marked, strict=True):
            ground = mix(p.found, p.ground, 0.04 + (_MOST - 0.04) * (value - low) / span)
            frame = f";outline:3px solid {p.moved};outline-offset:-3px" if now else ""
            words = "<br>".join(escape(line) for line in text.split("\n"))
            words = f"<b>{words}</b>" if now else words
            cells.append(f'<td style="{cell};background:{ground}{frame}">{words}</td>')
        body.append(f'<tr><th scope="row" style="{cell}">{escape(name)}</th>{"".join(cells)}</tr>')
    return (
        f'<div role="region" aria-label="{escape(corner)}" tabindex="0" style="overflow-x:auto">'
        f'<table style="width:100%;border-collapse:collapse;font-size:.875rem;color:{p.ink};'
        f'font-variant-numeric:tabular-nums"><caption style="text-align:left;color:{p.quiet};'
        f'caption-side:bottom;padding:.3rem 0">{escape(caption)}</caption>'
        f'<thead><tr><th scope="col" style="{cell}">{escape(corner)}</th>{head}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>"
    )
