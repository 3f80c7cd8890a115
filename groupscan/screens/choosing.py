"""Which shots a screen is about: asked once, remembered from screen to screen."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final, Literal, TypeVar

import streamlit as st

from groupscan.decisions.shot_table import choose_shots, shots_of_store
from groupscan.errors import TableError
from groupscan.printouts.common import for_reader
from groupscan.records.changes import change_mark
from groupscan.screens.preferences import distance_text, preferences

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.records.connect import Store

__all__ = [
    "Asked",
    "Chosen",
    "RecordsKey",
    "ask_one",
    "choose_table",
    "on_screen",
    "recorded_shots",
    "records_key",
    "rows_key",
]

Asked = Literal["shooter", "rig", "build", "setup", "head", "distance", "period"]
#: What `records_key` returns.
RecordsKey = tuple[str, tuple[int, ...], str]
_T = TypeVar("_T", bound=Hashable)

_TITLES: Final = {
    "shooter": "Shooter", "rig": "Rig", "build": "Arrow build", "setup": "Setup", "head": "Head",
}  # fmt: skip
_PERIODS: Final[dict[str, int | None]] = {
    "all of it": None, "the last 12 months": 365, "the last 90 days": 90,
}  # fmt: skip
_SAME_DISTANCE: Final = 0.01


@dataclass(frozen=True)
class Chosen:
    """The shots that the reader asked for.

    Attributes
    ----------
    table : DataFrame
        As `groupscan.decisions.shot_table` lays it out. It is shared: copy it before changing it.
    shooter, rig, build, setup, head : str
        The one chosen; empty where all are meant.
    distance_m : float, optional
        The one chosen; None where all are meant.
    period : str
        What it is called; empty where all time is meant.
    words : str
        All of it in one line of plain text, for titles and file names.
    """

    table: pd.DataFrame
    shooter: str = ""
    rig: str = ""
    build: str = ""
    setup: str = ""
    head: str = ""
    distance_m: float | None = None
    period: str = ""
    words: str = ""


@st.cache_resource(max_entries=2, show_spinner="Reading the records")
def _shots(_store: Store, records: RecordsKey) -> pd.DataFrame:
    return shots_of_store(_store, day_text=preferences().day_text)


def recorded_shots(store: Store) -> pd.DataFrame | None:
    """Return all shots of the records, read anew only after a change; None where there are none.

    The table is shared by all readers: copy it before changing it.
    """
    try:
        return _shots(store, records_key(store))
    except TableError:
        return None


def choose_table(
    table: pd.DataFrame, asked: Sequence[Asked], *, any_of: Sequence[Asked] = ()
) -> Chosen | None:
    """Ask which shots the screen is about, and return them.

    Parameters
    ----------
    table : DataFrame
        From `recorded_shots`.
    asked : sequence of str
        What to ask for, in this order: each leaves its choices to the next.
    any_of : sequence of str
        Where "all" is a choice as well, and the first one.

    Returns
    -------
    Chosen or None
        None where no shot is left; the reader has been told.

    Notes
    -----
    What leaves no choice is not asked. A choice is remembered over screens and sessions of the
    same browser tab under the key ``chosen_`` and its name.
    """
    picked: dict[str, Any] = {}
    with st.container(horizontal=True):  # wraps with the page, in this order
        for name in asked:
            if name == "distance":
                picked["distance_m"], table = _by_distance(table, "distance" in any_of)
            elif name == "period":
                picked["period"], table = _by_period(table)
            else:
                picked[name], table = _by_text(table, name, name in any_of)
    if table.empty:
        st.info("No shot is left of that choice: choose another.")
        return None
    words = " · ".join(
        part
        for part in (
            *(picked.get(name, "") for name in ("shooter", "rig", "build", "setup", "head")),
            distance_text(picked.get("distance_m")),
        )
        if part
    )
    return Chosen(choose_shots(table, day_text=preferences().day_text), words=words, **picked)


def ask_one(
    name: str,
    title: str,
    options: Sequence[_T],
    *,
    show: Callable[[_T], str] = str,
    start: _T | None = None,
    help: str | None = None,
) -> _T:
    """Ask for one of several and remember it from screen to screen; a single one is not asked.

    Parameters
    ----------
    name : str
        What it is remembered under.
    title : str
        Label of the widget.
    options : sequence
        At least one.
    show : callable
        Turns an option into text; it is shown as it stands.
    start : optional
        What to begin with where nothing is remembered; else the first.
    help : str, optional
        Beside the label.
    """
    kept = st.session_state.get(f"chosen_{name}", start)
    if len(options) == 1:
        return options[0]
    chosen = st.selectbox(
        title,
        options,
        index=options.index(kept) if kept in options else 0,
        format_func=lambda option: show(option),
        key=f"ask_{name}_{hash(tuple(options))}",
        help=help,
    )
    st.session_state[f"chosen_{name}"] = chosen
    return chosen


def on_screen(words: str) -> str:
    """Return a note or message as `for_reader` tells it, in this reader's units."""
    return for_reader(words, preferences())


def records_key(store: Store) -> RecordsKey:
    """Return what is another one wherever `recorded_shots` is another table, to key a cache by.

    Sessions, setups and arrows may be called by their days, so that what the table holds turns on
    the style of dates as well as on the records.
    """
    return str(store.home), change_mark(store), preferences().date_style


def rows_key(table: pd.DataFrame) -> bytes:
    """Return what tells a choice of `recorded_shots` from another, to key a cache by.

    It goes with `records_key`, since rows are numbered anew after a change.
    """
    return bytes(table.index.to_numpy().tobytes())


def _by_text(table: pd.DataFrame, name: Asked, every: bool) -> tuple[str, pd.DataFrame]:
    counts = table[name].value_counts()
    named = [str(text) for text in counts.index if text]
    if not named:
        return "", table
    unnamed = [""] if "" in counts.index and not every else []
    options = (["*"] if every and len(named) > 1 else []) + named + unnamed
    several = {"*": f"all {name}s", "": f"no {name} said"}
    chosen = ask_one(name, _TITLES[name], options, show=lambda text: several.get(text, text))
    if chosen == "*":
        return "", table
    return chosen, table[table[name] == chosen]


def _by_distance(table: pd.DataFrame, every: bool) -> tuple[float | None, pd.DataFrame]:
    known = table["distance_m"].dropna()
    found: list[float] = []
    for distance in known.value_counts().index:  # the commonest first; typed as m and yd it is one
        if all(abs(distance / other - 1) > _SAME_DISTANCE for other in found):
            found.append(float(distance))
    if not found:
        return None, table
    options: list[float] = [0.0, *sorted(found)] if every and len(found) > 1 else sorted(found)
    chosen = ask_one(
        "distance",
        "Shot from",
        options,
        show=lambda d: distance_text(d) if d else "all distances",
        start=options[0] if every else found[0],
    )
    if not chosen:
        return None, table
    near = (table["distance_m"] / chosen - 1).abs() <= _SAME_DISTANCE
    if unknown := int(table["distance_m"].isna().sum()):
        st.caption(
            f"{unknown} shots of sessions without a distance are left out; fill it in on the Data "
            "screen."
        )
    return chosen, table[near]


def _by_period(table: pd.DataFrame) -> tuple[str, pd.DataFrame]:
    days = table["day"].dropna()
    if days.empty:
        return "", table
    last = days.max()
    reach = last - days.min()
    options = [name for name, back in _PERIODS.items() if back is None or back < reach.days]
    chosen = ask_one("period", "Period", options)
    back = _PERIODS[chosen]
    if back is None:
        return "", table
    return chosen, table[table["day"] >= last - timedelta(days=back)]
