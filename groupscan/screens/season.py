"""Season: sigma and centre over time, what changed and what to do about it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Final

import streamlit as st

from groupscan.decisions.roster import main_shots
from groupscan.decisions.season import Seasoned
from groupscan.errors import GroupscanError
from groupscan.records.connect import Store
from groupscan.report.season import on_one_scale
from groupscan.screens.address import choices_from_address, choices_to_address
from groupscan.screens.choosing import (
    Asked,
    Chosen,
    ask_one,
    choose_table,
    on_screen,
    recorded_shots,
)
from groupscan.screens.chrome import CAUTIONS, on_phone, page_style, plain, records
from groupscan.screens.links import link_to_desk
from groupscan.screens.preferences import distance_text
from groupscan.screens.season_view import (
    Shown,
    ask_reading,
    details,
    files,
    gear_list,
    measured,
    picture,
    sentence,
    session_table,
    shown,
)

if TYPE_CHECKING:
    import pandas as pd
    from streamlit.delta_generator import DeltaGenerator

__all__ = ["draw"]

_EMPTY = """
**No session is in the records yet.**

This screen shows how tight you shoot and where your centre sits from session to session, what
changed and when, and which change of the gear came just before. One session draws a first point;
three tell what is usual for you, and four on different days show a change. Scan and save your ends
on the Photo desk, and note changes of the rig as setups: they are marked on the line of time.
"""

_NOTHING: Final = "nothing else"
_ANY: Final[tuple[Asked, ...]] = ("build", "setup")
_TEXTS: Final[tuple[Asked, ...]] = ("shooter", "rig", "head", *_ANY)


def draw() -> None:
    """Draw the Season screen."""
    page_style()
    st.title("Season", anchor=False)
    store = records()
    table = recorded_shots(store)
    if table is None:
        st.markdown(_EMPTY)
        link_to_desk()
        return
    setups = _setups(table)
    choices_from_address(
        (*_TEXTS, "period", "beside"), ("distance", "season_at"), labels={"setup": setups}
    )
    place = st.empty()
    # On a phone the picture comes first, and the questions fold away.
    asked = st.expander("Choose what is shown") if on_phone() else st.container()
    with asked:
        chosen = choose_table(
            table,
            ("shooter", "rig", "head", "distance", "build", "setup", "period"),
            any_of=("distance", *_ANY),
        )
        left, right = st.columns([1, 2])
    if chosen is None:
        return
    titles, tables = [chosen.words], [chosen.table]
    others = _others(table, chosen)
    with left:
        other = _beside(table, chosen, others)
    if other is not None:
        title, beside = other
        titles.append(title)
        tables.append(beside)
    seasons = _seasons(store, tables)
    if not seasons:
        _keep_in_address(_choices(chosen, others, (), setups), place)
        return
    distances = sorted({d for seasoned, _ in seasons for d in seasoned.distances_m})
    with right:
        reading = ask_reading(distances)
    _keep_in_address(_choices(chosen, others, distances, setups), place)
    views = [
        shown(seasoned, gear, reading, title=title)
        for (seasoned, gear), title in zip(seasons, titles, strict=False)
    ]
    if len(views) == 1:
        if on_phone():
            st.caption(plain(chosen.words))
        _one(views[0])
    else:
        _two(views)
    st.caption(CAUTIONS["group"])


def _setups(table: pd.DataFrame) -> dict[str, str]:
    """Return what setups are called by their numbers, which no style of dates changes."""
    known = table[["setup_id", "setup"]].dropna().drop_duplicates()
    return {str(int(key)): str(label) for key, label in known.itertuples(index=False)}


def _keep_in_address(choices: Mapping[str, str | float | None], place: DeltaGenerator) -> None:
    """Keep the choices in the address, and say above which of those before are there no more."""
    asked = choices_to_address(choices)
    gone = [
        f"{name} {_told(name, value)}"
        for name, value in asked.items()
        if name in (*_TEXTS, "distance", "beside")
    ]
    if gone:
        place.info(
            plain(
                f"The address asks for shots that are not in the records: {', '.join(gone)}. "
                "What is chosen here is shown instead."
            )
        )


def _told(name: str, value: str) -> str:
    """Say what an address gives for a choice; distances stand there in m."""
    try:
        return (distance_text(float(value)) if name == "distance" else "") or value
    except ValueError:
        return value


def _choices(
    chosen: Chosen,
    others: Collection[str],
    distances: Sequence[float],
    setups: Mapping[str, str],
) -> dict[str, str | float | None]:
    """Return what makes this picture, for the address; the unit is the reader's own."""
    choices: dict[str, str | float | None] = {
        name: text if (text := getattr(chosen, name)) or _unnamed(name) else None for name in _TEXTS
    }
    if chosen.setup:
        choices["setup"] = next(key for key, label in setups.items() if label == chosen.setup)
    choices["distance"] = chosen.distance_m
    choices["period"] = chosen.period or None
    # The first of these options is what an address that says nothing means.
    for name, options in (("beside", others), ("season_at", distances[1:])):
        kept = st.session_state.get(f"chosen_{name}")
        choices[name] = kept if kept in options else None
    return choices


def _unnamed(name: str) -> bool:
    """Return whether those were asked for of which a name was not said."""
    return name not in _ANY and st.session_state.get(f"chosen_{name}") == ""


def _seasons(store: Store, tables: list[pd.DataFrame]) -> list[tuple[Seasoned, pd.DataFrame]]:
    """Measure the seasons that can be measured, and tell of the others."""
    seasons = []
    for place, table in enumerate(tables):
        try:
            seasons.append(measured(store, table))
        except GroupscanError as err:
            st.info(plain(on_screen(str(err))))
            if place == 0:
                return []
    if len({seasoned.trend.sessions.unit for seasoned, _ in seasons}) > 1:
        st.info("One of the two has no distance: they cannot stand on one scale.")
        return seasons[:1]
    return seasons


def _beside(
    table: pd.DataFrame, chosen: Chosen, others: dict[str, tuple[str, str]]
) -> tuple[str, pd.DataFrame] | None:
    """Ask for a second rig to stand beside the first, from the same distance and with its head."""
    beside = ask_one(
        "beside",
        "Beside it",
        [_NOTHING, *others],
        help="Another rig or shooter on the same scale.",
    )
    if beside == _NOTHING:
        return None
    rig, shooter = others[beside]
    part = table[(table["rig"] == rig) & (table["shooter"] == shooter)]
    if chosen.distance_m is not None:
        near = (part["distance_m"] / chosen.distance_m - 1).abs() <= 0.01
        if not near.any():
            st.info(plain(f"{rig or shooter} has no shot from there: choose all distances."))
            return None
        part = part[near]
    if (part["head"] == chosen.head).any():
        part = part[part["head"] == chosen.head]
    part, notes = main_shots(part)
    for note in notes:
        st.caption(plain(note))
    words = (shooter, rig, str(part["head"].iloc[0]), distance_text(chosen.distance_m))
    return " · ".join(filter(None, words)), part


def _others(table: pd.DataFrame, chosen: Chosen) -> dict[str, tuple[str, str]]:
    """Return the other pairs of rig and shooter by what they are called, most shots first."""
    pairs = table[["rig", "shooter"]].value_counts().index.tolist()
    own = tuple(chosen.table[["rig", "shooter"]].iloc[0])
    return {
        " · ".join(filter(None, pair)) or "no rig said": pair
        for pair in map(tuple, pairs)
        if pair != own
    }


def _one(view: Shown) -> None:
    sentence(view)
    picture(view.scene, key="season_picture")
    gear_list(view.scene)
    _also(view)
    session_table(view)
    details(view, key="season")
    files(view, "season")


def _two(views: list[Shown]) -> None:
    """Draw two seasons side by side, on the same scale, each with all that is told of it."""
    scenes = on_one_scale([view.scene for view in views])
    for place, (column, view, scene) in enumerate(
        zip(st.columns(2, gap="medium"), views, scenes, strict=True)
    ):
        with column:
            st.subheader(plain(scene.title), anchor=False)
            sentence(view)
            picture(scene, key=f"season_picture_{place}")
            gear_list(scene)
            _also(view)
            session_table(view, last=4)
            details(view, key=f"season_{place}")
            files(view, f"season_{place + 1}")


def _also(view: Shown) -> None:
    """List what else changed, each with what to do about it."""
    for finding in view.found[1:]:
        st.markdown(f"- {plain(finding.sentence)}")
