"""Group sheet: one end or several pooled, as a picture, a table and a sentence."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.records.aimed import aimed_shots
from groupscan.records.connect import Store
from groupscan.records.store import get_session, get_setup, list_scans
from groupscan.report.figures import draw_group
from groupscan.report.onscreen import key_html, plot_group
from groupscan.report.scene import Scene, group_scene
from groupscan.report.shots import group_of_shots, sheet_under
from groupscan.report.sight import sight_move
from groupscan.report.words import STATISTICS, Unit, meaning
from groupscan.screens import photo_desk
from groupscan.screens.chrome import (
    CAUTIONS,
    asked_number,
    page_style,
    plain,
    reader_theme,
    records,
    square_chart,
    told,
    unit_choice,
)
from groupscan.screens.desk import desk_of
from groupscan.screens.downloads import csv_download, offer, picture_downloads
from groupscan.screens.ends_apart import ends_apart
from groupscan.screens.numbers import (
    flyer_table,
    group_notes,
    group_table,
    more_table,
    side_by_side,
)
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import axis_unit
from groupscan.screens.report_button import session_report
from groupscan.screens.session_form import SessionLine, session_lines
from groupscan.screens.sight_click import click_asked, click_of
from groupscan.stats.group import Group

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

__all__ = ["draw"]

_EMPTY = """
**No end is saved yet.**

Scan a photo on the Photo desk, look over the holes and save the end. It then stands here: where
the group sits, how tight it is, and how sure that is.
"""


def draw() -> None:
    """Draw the Group sheet."""
    page_style()
    st.title("Group sheet", anchor=False)
    store = records()
    lines = {key: line for key, line in session_lines(store).items() if line.shots}
    if not lines:
        st.markdown(_EMPTY)
        return
    line = lines[_session(lines)]
    ends = _ends(store, line)
    if not ends:
        st.info("Choose at least one end.")
        return
    distance_m = line.session.distance_m
    shots = aimed_shots(store, scan_ids=list(ends))
    if shots.empty:
        st.info("These ends have no holes. Add them on the Photo desk.")
        return
    shots = _labelled(shots, ends)
    typed = [key for key, end in ends.items() if not end.has_photo]
    shots = shots.assign(origin=shots["origin"].mask(shots["scan_id"].isin(typed), "typed"))
    marked = _Marked.of(shots, distance_m)
    if marked.left_out:
        shots = shots[~shots["flyer"]]
    group = group_of_shots(shots, distance_m=distance_m)
    with st.container(horizontal=True, gap="medium", vertical_alignment="bottom"):
        unit = unit_choice(angles=distance_m is not None)
        apart = len(ends) > 1 and _apart()
    under = sheet_under(shots, {end.sheet for end in ends.values()})
    one_aim = under.sheet is not None and math.isinf(under.reach_mm)
    whole = one_aim and st.toggle("Show the whole sheet", key="whole_sheet")
    scene = group_scene(
        shots, group, sheet=under.sheet, sheet_aim_mm=under.aim_mm,
        sheet_reach_mm=under.reach_mm, whole_sheet=whole, title=line.title,
    )  # fmt: skip
    if apart:
        titles = {key: end.title for key, end in ends.items()}
        group_notes(group, unit)
        _sight(group, unit, line)
        ends_apart(scene, titles, unit, axis_unit(unit), distance_m=distance_m)
        if marked.count:
            st.caption(plain(marked.words))
    else:
        _show(scene, unit, line, marked)
    _open_on_desk(store, ends)
    session_report(store, int(line.session.id or 0), unit=unit)
    _downloads(scene, unit, f"group-{line.session.held_on:%Y-%m-%d}-{line.session.id}")
    st.caption(CAUTIONS["group"])


def _session(lines: dict[int, SessionLine]) -> int:
    ids = list(lines)
    asked = asked_number("session")
    start = ids.index(asked) if asked in ids else 0
    if asked is not None and asked not in ids:
        st.info(f"No shot of session {asked} is in the records: another session is shown.")
    chosen = st.selectbox("Session", ids, index=start, format_func=lambda key: lines[key].label)
    st.query_params.from_dict({"session": str(chosen)})
    return int(chosen)


@dataclass(frozen=True)
class _End:
    """One end of the session: its place among them, its sheet, and whether a photo shows it."""

    number: int
    shots: int
    sheet: str
    has_photo: bool

    @property
    def title(self) -> str:
        """What the end is called, with its holes."""
        return f"End {self.number} ({self.shots}{'' if self.has_photo else ', typed'})"


def _ends(store: Store, line: SessionLine) -> dict[int, _End]:
    """Ask which ends to look at; all of them pooled to begin with."""
    scans = list_scans(store, line.session.id)
    rows = [row for row in scans.to_dict("records") if row["shots"]]
    ends = {
        int(row["id"]): _End(i, int(row["shots"]), row["sheet"], bool(row["photo_sha256"]))
        for i, row in enumerate(rows, 1)
    }
    if len(ends) < 2:
        return ends
    chosen = st.pills(
        "Ends, with their holes",
        list(ends),
        selection_mode="multi",
        default=list(ends),
        format_func=lambda key: ends[key].title,
        key=f"ends_{line.session.id}",
        help="Several ends are pooled, each about its own aim.",
    )
    return {key: end for key, end in ends.items() if key in chosen}


def _labelled(shots: pd.DataFrame, ends: dict[int, _End]) -> pd.DataFrame:
    """Name each hole: its number, with the end in front where ends are pooled."""
    number = shots["number"].astype("string")
    if len(ends) < 2:
        return shots.assign(label=number)
    end = shots["scan_id"].map({key: one.number for key, one in ends.items()})
    return shots.assign(label=end.astype("string") + "." + number)


@dataclass(frozen=True)
class _Marked:
    """The holes that the shooter marked as flyers, and the group with and without them."""

    count: int = 0
    whys: str = ""
    both: tuple[Group, Group] | None = None
    left_out: bool = False

    @classmethod
    def of(cls, shots: pd.DataFrame, distance_m: float | None) -> _Marked:
        """Ask whether to leave them out, where there are any and others stay."""
        flyers = shots[shots["flyer"]]
        if flyers.empty:
            return cls()
        why = "; ".join(dict.fromkeys(text for text in flyers["flyer_why"] if text))
        rest = shots[~shots["flyer"]]
        if rest.empty:
            return cls(len(flyers), why)
        both = tuple(group_of_shots(some, distance_m=distance_m) for some in (shots, rest))
        left_out = st.toggle(
            "Leave out the marked flyers",
            key="without_flyers",
            help="They stay in the records. A rig that is to be trusted answers for all arrows.",
        )
        return cls(len(flyers), why, (both[0], both[1]), left_out)

    @property
    def words(self) -> str:
        """What was done with them, and why they were marked."""
        if self.count == 1:
            holes, counts = "1 hole is marked as a flyer", "counts like the others"
        else:
            holes, counts = f"{self.count} holes are marked as flyers", "count like the others"
        done = "left out" if self.left_out else counts
        return f"{holes} and {done}" + (f" ({self.whys})." if self.whys else ".")


def _apart() -> bool:
    """Ask whether ends are pooled into one group or read one by one."""
    kept: str = st.session_state.get("kept_apart", "pooled")
    chosen = one_of(
        "Several ends",
        ["pooled", "apart"],
        start=kept,
        key="apart",
        help="Pooled, each about its own aim, they make one group; apart, each is a group.",
    )
    st.session_state["kept_apart"] = chosen
    return chosen == "apart"


def _sight(group: Group, unit: Unit, line: SessionLine) -> None:
    """Say how to move the sight, where the evidence carries it, and ask for its click."""
    radius_mm, rig_id, store = None, None, records()
    with told():
        assert line.session.id is not None
        session = get_session(store, line.session.id)
        rig_id = session.rig_id
        if session.setup_id is not None:
            radius_mm = get_setup(store, session.setup_id).sight_radius_mm
    rig = line.session.rig
    words = sight_move(
        group, unit, click_rad=click_of(rig_id, rig), sight_radius_mm=radius_mm,
        pin_unit=axis_unit(unit),
    )  # fmt: skip
    if words:
        st.markdown(f"**{plain(words)}**")
        click_asked(rig_id, rig)


def _show(scene: Scene, unit: Unit, line: SessionLine, marked: _Marked) -> None:
    left, right = st.columns(2, gap="medium")
    with left:
        picture = plot_group(scene, theme=reader_theme(), unit=axis_unit(unit))
        square_chart(picture, key="group_picture")
        st.html(key_html(scene, theme=reader_theme()))
        if math.isfinite(scene.sheet_reach_mm):
            st.caption("The sheet's aims are laid over one another, each hole at its own.")
    with right:
        group_notes(scene.group, unit)
        _sight(scene.group, unit, line)
        if marked.count:
            st.caption(plain(marked.words))
        group_table(scene.group, unit)
        if scene.group.without_flyer is not None:
            with st.expander("With and without the flyer"):
                flyer_table(scene.group, unit)
        if marked.both is not None:
            whole, rest = marked.both
            with st.expander("With and without the marked flyers", expanded=True):
                side_by_side({f"all {whole.n}": whole, f"without, {rest.n}": rest}, unit)
        if scene.group.n > 1:
            with st.expander("More numbers, and the shape"):
                more_table(scene.group, unit)
        with st.expander("What these mean"):
            told = scene.group.estimates()
            for name, (title, words) in STATISTICS.items():
                if name in told:
                    st.markdown(f"**{title}**: {words}.")


def _open_on_desk(store: Store, ends: dict[int, _End]) -> None:
    """Offer to go back to the photo of an end; one that was typed has none."""
    shown = {key: end for key, end in ends.items() if end.has_photo}
    if not shown:
        return
    with st.popover("Correct an end", icon=":material/edit:"):
        st.write("Its photo opens on the Photo desk; corrections change this sheet.")
        for scan_id, end in shown.items():
            words = f"End {end.number}" if len(ends) > 1 else "Open it"
            if st.button(words, key=f"open_{scan_id}"):
                desk_of(store).open_scan(store, scan_id)
                st.switch_page(st.Page(photo_desk.draw, url_path="photo-desk", default=True))


def _downloads(scene: Scene, unit: Unit, name: str) -> None:
    axes = axis_unit(unit)

    def picture() -> Figure:
        return draw_group(scene, unit=axes, caption=meaning(scene.group, unit))

    def numbers() -> bytes:
        return csv_bytes(scene.group.to_frame().reset_index())

    def holes() -> bytes:
        return csv_bytes(scene.shots.drop(columns=["shot_id"]))

    files = [
        *picture_downloads(name, picture),
        csv_download("Numbers as CSV", f"{name}-numbers", numbers),
        csv_download("Holes as CSV", f"{name}-holes", holes),
    ]
    offer(name, files)
