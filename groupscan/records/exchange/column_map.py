"""Which column of a table says what of a shot, guessed from its names or told by somebody."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from groupscan.csvfile import plain_head
from groupscan.errors import TableError, UnitError
from groupscan.units import parse_length

__all__ = ["FIELDS", "ColumnMap", "choose_columns", "mm_per", "suggest_columns", "unit_in_name"]

#: What a column can say, and the names by which it is known, the surest first.
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "right": ("right", "x", "dx", "x_pos", "pos_x", "horizontal", "windage", "left"),
    "high": ("high", "y", "up", "dy", "y_pos", "pos_y", "vertical", "elevation", "low", "down"),
    "se": ("se", "std_error", "standard_error"),
    "date": ("held_on", "date", "day", "shot_on"),
    "session": ("session_id", "session"),
    "end": ("scan_id", "end", "end_no", "end_number"),
    "end_label": ("end", "end_label", "label", "end_no", "end_number"),
    "number": ("number", "shot", "no", "nr", "shot_no", "shot_number"),
    "order": ("order", "shot_order", "sequence"),
    "distance": ("distance", "dist", "range"),
    "shooter": ("shooter", "archer", "student"),
    "rig": ("rig", "bow"),
    "build": ("build", "arrow_build"),
    "head": ("head", "point", "tip", "broadhead"),
    "arrow": ("arrow", "arrow_no", "arrow_number", "shaft_no"),
    "flyer": ("flyer",),
    "removed": ("removed",),
    "flyer_why": ("flyer_why", "flyer_reason"),
    "place": ("place", "location", "where"),
    "purpose": ("purpose",),
    "notes": ("notes", "note", "comment", "comments", "remarks"),
}
_LENGTHS: Final = ("right", "high", "se", "distance")
_TURNED_NAMES: Final = {"right": ("left",), "high": ("low", "down")}
# A unit at the end of a name: x_mm, x (in), distance_yd.
_WITH_UNIT: Final = re.compile(
    r"(?P<name>.+?)(?:_|_?[(\[])(?P<unit>mm|cm|m|in|inch|inches|ft|feet|yd|yds|yards)[)\]]?"
)


@dataclass(frozen=True)
class ColumnMap:
    """Which column says what.

    Attributes
    ----------
    columns : dict of str
        The column's name, by what it says: one of `FIELDS`. What has no column is left out.
    left_is_plus, down_is_plus : bool
        True where the numbers of ``right`` grow to the left, those of ``high`` downwards.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    left_is_plus: bool = False
    down_is_plus: bool = False

    def told(self) -> dict[str, str]:
        """Return what to show of the map: the column by what it says, with a minus if turned."""
        turned = {"right": self.left_is_plus, "high": self.down_is_plus}
        return {
            name: f"-{head}" if turned.get(name) else head for name, head in self.columns.items()
        }


def suggest_columns(heads: Sequence[str]) -> ColumnMap:
    """Guess from the names of the columns what each says.

    Parameters
    ----------
    heads : sequence of str
        Names of the columns, as `groupscan.csvfile.read_csv` gives them.

    Returns
    -------
    ColumnMap
        Without what no column seems to say, ``right`` and ``high`` included. No column says two
        things, but an end's may also be its label.

    Examples
    --------
    >>> suggest_columns(["date", "x_in", "y_in", "point"]).told()
    {'right': 'x_in', 'high': 'y_in', 'date': 'date', 'head': 'point'}
    >>> suggest_columns(["left", "up"]).told()
    {'right': '-left', 'high': 'up'}
    """
    plain = [plain_head(head) for head in heads]
    columns: dict[str, str] = {}
    for name, choices in FIELDS.items():
        lengths = name in _LENGTHS
        bare = {unit_in_name(head)[0] if lengths else head: head for head in reversed(plain)}
        found = next((bare[choice] for choice in choices if choice in bare), None)
        if found is not None and (name == "end_label" or found not in columns.values()):
            columns[name] = found
    if "end" not in columns:
        columns.pop("end_label", None)
    return ColumnMap(columns, _turned("right", columns), _turned("high", columns))


def _turned(name: str, columns: Mapping[str, str]) -> bool:
    return unit_in_name(columns.get(name, ""))[0] in _TURNED_NAMES[name]


def choose_columns(heads: Sequence[str], text: str = "") -> ColumnMap:
    """Return the suggested map, changed by what somebody says.

    Parameters
    ----------
    heads : sequence of str
        Names of the columns.
    text : str
        Such as ``"right=x,high=-y,head=point"``: a minus turns the sign, so that ``high=-y`` is for
        a column that counts downwards; ``head=`` takes no column for the head.

    Returns
    -------
    ColumnMap

    Raises
    ------
    TableError
        The text cannot be read, or names a column that is not there.

    Examples
    --------
    >>> choose_columns(["x", "y", "point"], "high=-y,head=").told()
    {'right': 'x', 'high': '-y'}
    """
    plain = [plain_head(head) for head in heads]
    told: dict[str, str] = {}
    turned: dict[str, bool] = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        name, equals, given = part.partition("=")
        name, head = name.strip().lower(), plain_head(given)
        if not equals or name not in FIELDS:
            raise TableError(
                f"{part!r} does not say which column is what: write such as right=x,high=y; known "
                f"are {', '.join(FIELDS)}"
            )
        if head.startswith("-") and head not in plain and name in _TURNED_NAMES:
            head, turned[name] = head[1:], True
        if head and head not in plain:
            raise TableError(
                f"{part}: there is no column {head!r}; there are "
                f"{', '.join(one for one in plain if one)[:300]}"
            )
        told[name] = head
    suggested = suggest_columns([head for head in plain if head not in told.values()])
    columns = {**suggested.columns, **told}
    if "end" in told and "end_label" not in told:
        columns["end_label"] = told["end"]
    ordered = {name: columns[name] for name in FIELDS if columns.get(name)}
    return ColumnMap(
        ordered,
        left_is_plus=turned.get("right", _turned("right", ordered)),
        down_is_plus=turned.get("high", _turned("high", ordered)),
    )


def unit_in_name(head: str) -> tuple[str, str]:
    """Return a column's name without its unit, and the unit; empty where it names none.

    Examples
    --------
    >>> unit_in_name("x_mm"), unit_in_name("x_(in)"), unit_in_name("point")
    (('x', 'mm'), ('x', 'in'), ('point', ''))
    """
    found = _WITH_UNIT.fullmatch(head)
    return (head, "") if found is None else (found["name"], found["unit"])


def mm_per(unit: str) -> float:
    """Return the millimetres in a unit of length. TableError if it is none.

    Examples
    --------
    >>> mm_per("in"), mm_per("cm")
    (25.4, 10.0)
    """
    try:
        return parse_length(f"1 {unit}")
    except UnitError as err:
        raise TableError(f"unit {unit!r} is none of a position: give mm, cm or in") from err
