"""What all decisions share on a terminal 80 columns wide: tables, numbers, notes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from groupscan.report.words import SHORT, Unit, bare_number, express
from groupscan.stats.intervals import Estimate
from groupscan.telling import retold
from groupscan.units import format_estimate, mm_to_inch

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.text import Text

__all__ = ["Part", "Shown", "bare", "line", "notes_part", "table", "titled"]

Part: TypeAlias = "RenderableType"

# Names up to this long stand on one line beside three numbers with intervals.
WORDS_WIDTH: Final = 16


@dataclass(frozen=True)
class Shown:
    """In which unit a terminal's numbers are; angles need the distance of the shots.

    Examples
    --------
    >>> from groupscan.telling import tied
    >>> Shown("inch").text(Estimate(25.4, 12.7, 50.8)), Shown("inch").told(tied(50.8, "mm"))
    ('1.0 in (0.5 to 2.0)', '2 in')
    """

    unit: Unit = "mm"
    distance_m: float | None = None

    @property
    def length(self) -> Unit:
        """The unit of what is a length in any case, such as a circle that somebody set."""
        return "inch" if self.unit == "inch" else "mm"

    @property
    def short(self) -> str:
        """The unit as it stands in a heading."""
        return SHORT[self.unit]

    def text(self, estimate: Estimate) -> str:
        """Print an estimate with its unit."""
        return express(estimate, self.unit, distance_m=self.distance_m)

    def size(self, mm: float) -> str:
        """Print a length, mm, that somebody set and that has no interval."""
        return f"{mm_to_inch(mm) if self.unit == 'inch' else mm:.4g} {SHORT[self.length]}"

    def bare(self, estimate: Estimate) -> str:
        """Print an estimate for a column whose head tells the unit."""
        return bare_number(estimate, self.unit, distance_m=self.distance_m)

    def told(self, words: str) -> str:
        """Say the quantities in a sentence as its reader does; a step of a rest has no angle."""
        return retold(words, {"mm": "in"} if self.unit == "inch" else {})


def line(words: str, style: str = "") -> Text:
    """Return a line as it stands: no brackets in it are markup, no quantity is tied any more."""
    from rich.text import Text

    return Text(retold(words, {}), style=style)


def titled(words: str) -> Text:
    """Return a heading, with an empty line before it."""
    return line(f"\n{words}", "bold")


def table(
    title: str, heads: Sequence[str], rows: Iterable[Sequence[str]], *, words: int = 1
) -> Part:
    """Return a table under its title, whose first columns are words, the others numbers.

    Parameters
    ----------
    title : str
        Empty for none.
    heads : sequence of str
    rows : iterable of sequence of str
    words : int, default 1
        How many columns from the left are words; long ones may wrap.
    """
    from rich import box
    from rich.console import Group
    from rich.markup import escape
    from rich.table import Table

    filled = list(rows)
    made = Table(header_style="bold", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    for place, head in enumerate(heads):
        if place < words:
            longest = max((len(row[place]) for row in filled), default=0)
            made.add_column(escape(head), overflow="fold", min_width=min(longest, WORDS_WIDTH))
        else:
            made.add_column(escape(head), justify="right", no_wrap=True)
    for row in filled:
        made.add_row(*(escape(cell) for cell in row))
    return Group(line(f"\n{title}"), made) if title else made


def bare(estimate: Estimate, factor: float = 1.0) -> str:
    """Return an estimate without its unit, for a column whose head tells it.

    Examples
    --------
    >>> bare(Estimate(0.5, 0.41, 0.59), 100)
    '50 (41 to 59)'
    """
    scaled = estimate.scaled(factor)
    return format_estimate(scaled.value, scaled.low, scaled.high, "")


def notes_part(notes: Iterable[str]) -> list[Part]:
    """Return notes under a heading, each once; nothing where there is none."""
    different = list(dict.fromkeys(notes))
    if not different:
        return []
    return [titled("Notes"), *(line(f"- {note}") for note in different)]
