"""The result of a comparison: picture, sentence, tables, what to move, how it stood end by end."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from typing import TYPE_CHECKING, Final

import streamlit as st

from groupscan.csvfile import csv_bytes
from groupscan.decisions.matching import Match, after_each_end
from groupscan.report.axes import CHART_CONFIG
from groupscan.report.match.figures import draw_match
from groupscan.report.match.looks import looks_scene, looks_sentence, plot_looks
from groupscan.report.match.onscreen import match_key_html, plot_match
from groupscan.report.match.scene import MatchScene, match_scene, offsets_of
from groupscan.report.match.words import (
    match_sentence,
    offset_cells,
    tightness_rows,
    tightness_sentence,
    verdict_sentence,
)
from groupscan.report.words import Unit
from groupscan.screens.choosing import on_screen
from groupscan.screens.chrome import CAUTIONS, plain, reader_theme, records, square_chart
from groupscan.screens.downloads import csv_download, offer, picture_downloads
from groupscan.screens.match_next import next_shoot_button
from groupscan.screens.numbers import draw_table
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import axis_unit, length_text, preferences
from groupscan.screens.report_button import match_report

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from groupscan.stats.moves import Advice
    from groupscan.stats.offset import Look

__all__ = ["draw_result"]

_ASK_BOW: Final = "Choose the bow and hand below to be told what to move."
_OTHERWISE: Final = {
    "head": "Aim off, set a mark of its own, or leave that one at home.",
    "build": "Set a mark of its own, or shoot one build only.",
    "setup": "The change moved the group: set the sight anew, or take the change back.",
    "rig": "Each rig needs sight marks of its own.",
}
_NO_COMMON_END: Final = (
    "No end holds both: what light, wind or the shooter did between ends and sessions counts as "
    "the offset here, and the verdicts do not allow for it. Shoot both in each end to be sure."
)
_EACH_ALONE: Final = (
    " Each is read here by itself, at its share of that rate; above they are read together, which "
    "may settle one sooner."
)
_NO_RULES: Final = (
    "What to move is said for broadheads against field points and bare shafts against fletched "
    "arrows, from a compound or a recurve bow."
)


def draw_result(
    match: Match,
    rows: pd.DataFrame,
    *,
    unit: Unit,
    distance_m: float | None,
    words: str,
    bow: str | None,
    hand: str | None,
    asks: Collection[str],
    whose: str,
    looks: float | None,
    planned: bool,
    key: tuple[Hashable, ...],
) -> None:
    """Draw the result of a comparison.

    Parameters
    ----------
    match : Match
    rows : DataFrame
        The shots that were compared.
    unit : {"mm", "inch", "moa", "mrad"}
    distance_m : float, optional
    words : str
        What was compared, in plain text.
    bow, hand : str
        What the advice is for; None: not known.
    asks : collection of {"bow", "hand"}
        Which of them are to be asked for, since no record says them.
    whose : str
        Shooter and rig whose they are: what is answered holds for these alone.
    looks : float, optional
        Most looks; None for one.
    planned : bool
        Whether the fit of a written order was used.
    key : tuple
        Tells this comparison from others, for the cache.
    """
    found = match.compared
    offsets = offsets_of(found.centres, found.planned)
    answer = found.centres or found.planned
    tolerance_mm = match.tolerance_mm
    tolerance = length_text(tolerance_mm)
    advice = {name: one.said(preferences().told) for name, one in found.advice.items()}
    sentence = match_sentence(
        offsets, found.reference, advice, tolerance=tolerance,
        otherwise=_ASK_BOW if asks and not (bow and hand) else _OTHERWISE[found.by],
    )  # fmt: skip
    st.markdown(f"##### {plain(sentence)}")
    left, right = st.columns(2, gap="medium")
    with left:
        close_up = st.toggle("Close-up of the centres", key="ask_match_close")
        scene = match_scene(
            match.shots, match.centres, offsets,
            tolerance_mm=tolerance_mm, confidence=answer.confidence if answer else 0.95,
            close_up=close_up, title=words,
        )  # fmt: skip
        _picture(scene, unit, tolerance)
        st.caption(plain(_below(match, scene, words)))
    with right:
        centres = found.centres.against.values() if found.centres else ()
        apart_in_time = any(one.ends is None for one in centres)
        _verdicts(scene, unit, distance_m, no_common_end=apart_in_time)
        _tightness(match, unit, distance_m)
        _moves(match, advice, bow, hand, asks, whose)
        next_shoot_button(found.by, found.reference, offsets)
    _looked(match, rows, unit, distance_m, looks, planned, key)
    _notes(match)
    match_report(
        records(), match, rows,
        unit=unit, distance_m=distance_m, words=words, bow=bow, hand=hand or "right",
        looks=None if planned else looks,
    )  # fmt: skip
    _downloads(scene, match, unit, sentence)
    st.caption(CAUTIONS["range"])
    st.caption(CAUTIONS["group"])


def _picture(scene: MatchScene, unit: Unit, tolerance: str) -> None:
    theme = reader_theme()
    square_chart(plot_match(scene, theme=theme, unit=axis_unit(unit)), key="match_picture")
    st.html(match_key_html(scene, theme=theme, tolerance=tolerance))


def _below(match: Match, scene: MatchScene, words: str) -> str:
    said = [f"{words}."]
    if match.left_out:
        said.append(
            f"{match.left_out} shots are not drawn: their ends hold one kind only, so that nobody "
            "can tell what moved the end from what the kind does."
        )
    if strays := scene.strays():
        said.append(
            f"The arrow to {', '.join(strays)} is measured within ends and counts; the centre of "
            "all its shots lies elsewhere, since the ends held unlike numbers of each."
        )
    thinned = [kind.name for kind in scene.kinds if len(kind.shots_mm) < kind.count]
    if thinned:
        said.append(f"Of {', '.join(thinned)} only some of the many shots are drawn.")
    return " ".join(said)


def _verdicts(
    scene: MatchScene, unit: Unit, distance_m: float | None, *, no_common_end: bool
) -> None:
    reference = scene.reference.name
    for one in scene.offsets:
        st.markdown(f"- {plain(verdict_sentence(one, reference, unit, distance_m=distance_m))}")
    rows: list[tuple[str, ...]] = [
        (plain(one.name), *offset_cells(one, unit, distance_m=distance_m))
        for one in scene.offsets
    ]  # fmt: skip
    draw_table((f"from {plain(reference)}", "sideways", "height"), rows)
    if no_common_end:
        st.warning(_NO_COMMON_END, icon=":material/warning:")
    level = 100 * (1 - scene.confidence)
    several = f", all {len(rows)} comparisons counted" if len(rows) > 1 else ""
    st.caption(
        f"In brackets the {scene.confidence:.0%} interval. Of 100 verdicts of apart at most "
        f"{level:.0f} are wrong, and as many of together{several}."
    )


def _tightness(match: Match, unit: Unit, distance_m: float | None) -> None:
    builds = match.compared.builds
    st.markdown(f"**How tight:** {plain(tightness_sentence(builds))}")
    rows = tightness_rows(builds, unit, distance_m=distance_m)
    draw_table(
        ("", "spread (sigma)", "times the tightest"),
        [(plain(a), b, plain(c)) for a, b, c in rows],
    )


def _moves(
    match: Match,
    advice: Mapping[str, Advice],
    bow: str | None,
    hand: str | None,
    asks: Collection[str],
    whose: str,
) -> None:
    st.markdown("**What to move first**")
    found = match.compared
    offsets = offsets_of(found.centres, found.planned)
    if asks:
        _ask_bow(bow, hand, asks, whose)
    if not any(one.verdict == "apart" for one in offsets):
        settled = all(one.verdict == "together" for one in offsets)
        st.markdown(
            "Nothing: they land together." if settled else "Nothing yet: shoot more arrows first."
        )
        return
    if not advice:
        st.caption(_NO_RULES if (bow and hand) or not asks else "Choose it to be told.")
        return
    cautions: list[str] = []
    for one in advice.values():
        if one.first is None:
            continue
        st.markdown(f"1. {plain(one.first.words)}")
        for move in one.later:
            st.markdown(f"- Later, if it is still wanted: {plain(move.words)}")
        for reading in one.readings:
            st.markdown(f"- {plain(reading)}")
        cautions += one.notes
    st.caption(f"For a {hand}-handed {bow} bow; common practice of the trade.")
    said = " ".join(dict.fromkeys(cautions))
    if said:
        st.warning(plain(said), icon=":material/warning:")


def _ask_bow(bow: str | None, hand: str | None, asks: Collection[str], whose: str) -> None:
    missing = " and ".join(asks)
    st.caption(f"The records do not say the {missing}: set it on the Rig bench, or here.")
    a, b = st.columns(2)
    answers = {"bow": bow, "hand": hand}
    for name, place, title, options in (
        ("bow", a, "Bow", ["compound", "recurve"]),
        # None to begin with: advice for the other hand is the wrong way round.
        ("hand", b, "Drawing hand", ["right", "left"]),
    ):
        if name in asks:
            answers[name] = one_of(
                title, options, start=answers[name], place=place, key=f"ask_match_{name}_{whose}"
            )
    if answers != {"bow": bow, "hand": hand}:
        st.session_state[f"match_bow_{whose}"] = tuple(one or "" for one in answers.values())
        st.rerun()


@st.cache_resource(max_entries=8, show_spinner="Going over the ends")
def _after_ends(
    _rows: pd.DataFrame, _match: Match, tolerance_mm: float | None, key: tuple[Hashable, ...]
) -> dict[str, list[Look]]:
    found = _match.compared
    return after_each_end(
        _rows, by=found.by, reference=found.reference,
        others=[name for name in found.shots if name != found.reference],
        tolerance_mm=tolerance_mm,
    )  # fmt: skip


def _looked(
    match: Match,
    rows: pd.DataFrame,
    unit: Unit,
    distance_m: float | None,
    looks: float | None,
    planned: bool,
    key: tuple[Hashable, ...],
) -> None:
    """Show how it stood after each end, where the reader looks then."""
    if looks is None or planned:
        return
    st.markdown("**After each end**")
    tolerance_mm = match.tolerance_mm
    looked = _after_ends(rows, match, tolerance_mm, key)
    if not looked:
        st.caption("No end holds two kinds: shoot both in every end to see how it goes.")
        return
    st.caption(
        "Each mark is the distance between the centres as it stood then, with its interval. Stop "
        "at the first verdict: it is right at the stated rate over all looks."
        + (_EACH_ALONE if len(looked) > 1 else "")
    )
    signs = "● together   ◆ apart   ■ not enough arrows"
    places = st.columns(min(len(looked), 3))
    for place, (name, ones) in zip(places, looked.items(), strict=False):
        scene = looks_scene(name, match.compared.reference, ones, tolerance_mm)
        with place:
            st.markdown(plain(looks_sentence(scene)))
            st.plotly_chart(
                plot_looks(scene, theme=reader_theme(), unit=axis_unit(unit)),
                theme=None,
                key=f"match_looks_{name}",
                config=CHART_CONFIG,
            )
            st.caption(signs)


def _notes(match: Match) -> None:
    found = match.compared
    notes = list(found.notes)
    if found.centres is not None:
        against = found.centres.against
        for name, one in against.items():
            notes += [note if len(against) == 1 else f"{name}: {note}" for note in one.notes]
    if found.planned is not None:
        notes += [found.planned.how, *found.planned.notes]
    notes += [note for pair in found.builds.pairs for note in pair.notes] + [*found.builds.notes]
    if not notes:
        return
    with st.expander("What was pooled, and what these arrows cannot say"):
        for note in dict.fromkeys(notes):
            st.markdown(f"- {plain(on_screen(note))}")


def _downloads(scene: MatchScene, match: Match, unit: Unit, sentence: str) -> None:
    axes = axis_unit(unit)

    def picture() -> Figure:
        return draw_match(scene, unit=axes, caption=sentence)

    found = match.compared
    answer = found.centres or found.planned
    files = [*picture_downloads("point-match", picture)]
    if answer is not None:

        def numbers() -> bytes:
            frame = answer.to_frame()
            return csv_bytes(frame.reset_index() if found.planned is None else frame)

        files.append(csv_download("Numbers as CSV", "point-match-numbers", numbers))
    files.append(csv_download("Shots as CSV", "point-match-shots", lambda: csv_bytes(match.shots)))
    offer("match", files)
