"""What a picture of the bench shows, before either plotting library draws it.

Places across are numbers or days; text is plain and may come from users.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Chart", "Curve", "Dots", "Label", "Mark", "Outline", "Ribbon", "Role", "Stretch"]

#: Which of the palette's colours: by what it stands for, never by hue.
Role = Literal["found", "moved", "added", "centre", "inner", "outer", "aim", "quiet", "ink"]
Dash = Literal["solid", "dash", "dot"]
Symbol = Literal["circle", "diamond", "square", "triangle-up", "triangle-down", "x", "line"]


@dataclass(frozen=True)
class Curve:
    """A line through points; ``hover`` has the words of each point, plain text."""

    x: Sequence[Any]
    y: Sequence[float]
    name: str = ""
    role: Role = "found"
    dash: Dash = "solid"
    wide: float = 2.4
    hover: Sequence[str] = ()


@dataclass(frozen=True)
class Dots:
    """Points, with an interval upwards and downwards where ``low`` and ``high`` are given."""

    x: Sequence[Any]
    y: Sequence[float]
    name: str = ""
    role: Role = "found"
    symbol: Symbol = "circle"
    size: float = 11.0
    low: Sequence[float] = ()
    high: Sequence[float] = ()
    hover: Sequence[str] = ()


@dataclass(frozen=True)
class Ribbon:
    """The room between two lines."""

    x: Sequence[Any]
    low: Sequence[float]
    high: Sequence[float]
    name: str = ""
    role: Role = "found"


@dataclass(frozen=True)
class Stretch:
    """A stretch of the axis across, shaded over the whole height."""

    start: Any
    end: Any
    name: str = ""
    role: Role = "outer"


@dataclass(frozen=True)
class Outline:
    """A filled shape."""

    x: Sequence[Any]
    y: Sequence[float]
    name: str = ""
    role: Role = "outer"
    hover: str = ""


@dataclass(frozen=True)
class Label:
    """Words in the picture, plain text."""

    x: Any
    y: float
    text: str
    role: Role = "ink"
    anchor: Literal["left", "center", "right"] = "center"
    above: bool | None = None


Mark = Curve | Dots | Ribbon | Stretch | Outline | Label


@dataclass(frozen=True)
class Chart:
    """One picture.

    Attributes
    ----------
    marks : tuple of marks
        In the order in which they are drawn.
    x_title, y_title : str
        With the unit; an axis without a title is not drawn.
    x_range, y_range : tuple of float, optional
    title : str
        Plain text over the picture on paper; it may come from a user.
    equal : bool
        Whether both axes have one scale: where the picture is of space.
    caution : str
        Stands under every print.
    """

    marks: tuple[Mark, ...]
    x_title: str = ""
    y_title: str = ""
    x_range: tuple[float, float] | None = None
    y_range: tuple[float, float] | None = None
    title: str = ""
    equal: bool = False
    caution: str = ""
