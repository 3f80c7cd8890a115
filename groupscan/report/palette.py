"""The colours of groupscan: one set for the screen, for files and for paper.

Roles, not hues: a chart asks for "the group's centre", never for "red". Each
theme keeps text at 4.5:1 and drawn marks at 3:1 against its ground (WCAG 2.2,
success criteria 1.4.3 and 1.4.11), and the data colours stay apart for the
three kinds of colour blindness. Shape always says the same thing a second time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

__all__ = [
    "DARK",
    "LIGHT",
    "ON_PHOTO",
    "SYMBOLS",
    "OnPhoto",
    "Palette",
    "Theme",
    "contrast_ratio",
    "matplotlib_style",
    "mix",
    "palette",
]

Theme = Literal["light", "dark"]


@dataclass(frozen=True)
class Palette:
    """The colours of one theme, as ``#rrggbb``, by role.

    ``ground`` and ``panel`` lie behind; ``ink`` and ``quiet`` are text; ``hairline``
    separates; ``accent`` is for
    controls, ``on_accent`` for words on them. ``found``, ``moved``, ``added`` and ``typed`` are
    holes by where they came from; ``centre``, ``inner`` (R50), ``outer`` (R90) and ``aim`` belong
    to the group. ``series`` tells kinds of head or arrow apart, together with `SYMBOLS`.
    """

    ground: str
    panel: str
    ink: str
    quiet: str
    hairline: str
    accent: str
    on_accent: str
    found: str
    moved: str
    added: str
    typed: str
    centre: str
    inner: str
    outer: str
    aim: str

    @property
    def holes(self) -> tuple[str, ...]:
        """Colours of holes by where they came from, as `groupscan.report.scene.ORIGINS` has it."""
        return (self.found, self.moved, self.added, self.typed)

    @property
    def series(self) -> tuple[str, ...]:
        """Colours for categories, in the order in which to use them."""
        return (self.found, self.moved, self.added, self.centre)


@dataclass(frozen=True)
class OnPhoto:
    """Mark colours on top of a photo, where the ground can be anything.

    They are light, and always drawn over a dark edge.
    """

    found: str
    moved: str
    added: str
    removed: str
    aim: str
    loupe: str


LIGHT = Palette(
    ground="#fcfbf8",
    panel="#f1eee7",
    ink="#1c2629",
    quiet="#566165",
    hairline="#d5d0c5",
    accent="#1d6473",
    on_accent="#ffffff",
    found="#0a4678",
    moved="#bd5200",
    added="#a866d0",
    typed="#444444",
    centre="#6b0a10",
    inner="#2c3b40",
    outer="#66757b",
    aim="#2f8a70",
)

DARK = Palette(
    ground="#13191c",
    panel="#1e272b",
    ink="#eef1ef",
    quiet="#a9b6ba",
    hairline="#3a464b",
    accent="#6fb9c8",
    on_accent="#0d1416",
    found="#2a95bb",
    moved="#efb22c",
    added="#d8c6ff",
    typed="#99aaaa",
    centre="#c4695d",
    inner="#dfe6e6",
    outer="#93a2a8",
    aim="#a0f5d0",
)

ON_PHOTO = OnPhoto(
    found="#7ddcff",
    moved="#ffd75e",
    added="#e8639f",
    removed="#c4c9cb",
    aim="#ffffff",
    loupe="#ffe14d",
)

#: Marker shapes that go with `Palette.series`: (matplotlib, Plotly).
SYMBOLS: tuple[tuple[str, str], ...] = (
    ("o", "circle"),
    ("D", "diamond"),
    ("s", "square"),
    ("^", "triangle-up"),
)


def palette(theme: Theme = "light") -> Palette:
    """Return the palette of a theme.

    Examples
    --------
    >>> palette("dark").ground
    '#13191c'
    """
    return DARK if theme == "dark" else LIGHT


def _channels(colour: str) -> tuple[float, float, float]:
    r, g, b = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return r, g, b


def contrast_ratio(a: str, b: str) -> float:
    """Return the contrast of two colours, from 1 (none) to 21 (black on white).

    Parameters
    ----------
    a, b : str
        Colours as ``#rrggbb``.

    References
    ----------
    W3C, Web Content Accessibility Guidelines 2.2, "relative luminance" and "contrast ratio".

    Examples
    --------
    >>> contrast_ratio("#000000", "#ffffff")
    21.0
    """

    def luminance(colour: str) -> float:
        linear = [
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in _channels(colour)
        ]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return round((high + 0.05) / (low + 0.05), 6)


def mix(colour: str, ground: str, share: float) -> str:
    """Return ``colour`` laid over ``ground`` with the given share of itself, 0 to 1.

    Examples
    --------
    >>> mix("#000000", "#ffffff", 0.2)
    '#cccccc'
    """
    pairs = zip(_channels(colour), _channels(ground), strict=True)
    return "#" + "".join(f"{round(255 * (share * c + (1 - share) * g)):02x}" for c, g in pairs)


def matplotlib_style(theme: Theme = "light") -> dict[Any, Any]:
    """Return the rc settings that make matplotlib draw in this palette.

    Examples
    --------
    >>> matplotlib_style("light")["figure.facecolor"]
    '#fcfbf8'
    """
    p = palette(theme)
    return {
        "figure.facecolor": p.ground,
        "savefig.facecolor": p.ground,
        "axes.facecolor": p.ground,
        "axes.edgecolor": p.hairline,
        "axes.labelcolor": p.quiet,
        "axes.titlecolor": p.ink,
        "text.color": p.ink,
        "xtick.color": p.quiet,
        "ytick.color": p.quiet,
        "grid.color": p.hairline,
        "font.family": "DejaVu Sans",
        "font.size": 9.0,
        "axes.titlesize": 11.0,
        "svg.fonttype": "path",
        # Identical input gives identical bytes, so a saved picture can be compared.
        "svg.hashsalt": "groupscan",
    }
