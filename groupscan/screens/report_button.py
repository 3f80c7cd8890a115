"""The button that prints what a screen shows, one page as PDF, and the paper for all pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import streamlit as st

from groupscan.printouts import (
    paper_of,
    print_match,
    print_quiver,
    print_reach,
    print_session,
    print_student,
)
from groupscan.printouts.common import place_of
from groupscan.records.connect import Store
from groupscan.report.pages.page import Paper
from groupscan.report.words import Unit
from groupscan.screens.downloads import Download, offer
from groupscan.screens.one_of import one_of
from groupscan.screens.preferences import preferences, remember

if TYPE_CHECKING:
    import pandas as pd

    from groupscan.decisions.matching import Match
    from groupscan.report.reach import ReachScene
    from groupscan.screens.choosing import Chosen
    from groupscan.stats.arrows import Quiver

__all__ = [
    "ask_paper",
    "match_report",
    "quiver_report",
    "reach_report",
    "report_button",
    "session_report",
    "student_report",
]

_TITLES: Final[dict[Paper, str]] = {"a4": "A4", "letter": "Letter"}


def report_button(
    key: str, make: Callable[[Paper], bytes], *, file_name: str, to_scale: bool = True
) -> None:
    """Offer a page to print; it is made on the tap alone.

    Parameters
    ----------
    key : str
        Of the widgets; unlike that of any other button on the screen.
    make : callable
        Returns the PDF for a paper.
    file_name : str
        What the file is called, without its ending.
    to_scale : bool
        Whether its picture has a scale that a printer could spoil.
    """
    with st.popover("Report", icon=":material/print:"):
        paper = ask_paper(key)
        page = Download("Page as PDF", f"{file_name}.pdf", "application/pdf", lambda: make(paper))
        offer(f"report_{key}", [page])
        if to_scale:
            st.caption("Print it at 100 %, so that the scale of its picture is true.")


def ask_paper(key: str, *, place: Any = None) -> Paper:
    """Ask for the paper of all that is printed, and keep it over screens and restarts.

    Parameters
    ----------
    key : str
        Of the widget, in part: who turns to inches is offered the paper that goes with them.
    place : optional
        A part of the page to draw in.

    Returns
    -------
    {"letter", "a4"}
        Until it is chosen, as `paper_of` has it.
    """
    prefer = preferences()
    asked = f"paper_{key}_{prefer.length}"

    def keep() -> None:
        remember("paper", st.session_state[asked])

    return one_of(
        "Paper", list(_TITLES), start=paper_of(prefer), show=lambda paper: _TITLES[paper],
        key=asked, place=place, on_change=keep,
    )  # fmt: skip


def session_report(store: Store, session_id: int, *, unit: Unit) -> None:
    """Offer the page of a session.

    Parameters
    ----------
    store : Store
    session_id : int
        Of a session that holds a shot.
    unit : {"mm", "inch", "moa", "mrad"}
    """
    report_button(
        f"session_{session_id}",
        lambda paper: print_session(store, session_id, paper=paper, unit=unit),
        file_name=f"session-{session_id}",
    )


def student_report(store: Store, shooter_id: int, *, unit: Unit | None = None) -> None:
    """Offer the page of a student.

    Parameters
    ----------
    store : Store
    shooter_id : int
    unit : {"mm", "inch", "moa", "mrad"}, optional
        Left out: as the reader prefers.
    """
    report_button(
        f"student_{shooter_id}",
        lambda paper: print_student(store, shooter_id, paper=paper, unit=unit),
        file_name=f"student-{shooter_id}",
        to_scale=False,
    )


def match_report(
    store: Store,
    match: Match,
    rows: pd.DataFrame,
    *,
    unit: Unit,
    distance_m: float | None,
    words: str,
    bow: str | None,
    hand: str,
    looks: float | None = None,
) -> None:
    """Offer the page of a comparison, with the arguments of `match_result.draw_result`."""
    prefer = preferences()
    report_button(
        "match",
        lambda paper: print_match(
            match, rows, unit=unit, paper=paper, words=words, distance_m=distance_m, bow=bow,
            hand=hand, looks=looks, source=place_of(store), preferences=prefer,
        ),
        file_name=f"match-{match.compared.by}",
    )  # fmt: skip


def quiver_report(
    store: Store, quiver: Quiver, chosen: Chosen, notes: Sequence[str], *, unit: Unit
) -> None:
    """Offer the page of numbered arrows.

    Parameters
    ----------
    store : Store
    quiver : Quiver
    chosen : Chosen
        The shots that it measured.
    notes : sequence of str
        What was pooled.
    unit : {"mm", "inch", "moa", "mrad"}
    """
    report_button(
        "quiver",
        lambda paper: print_quiver(
            store, quiver, chosen.table, notes=notes, distance_m=chosen.distance_m,
            words=chosen.words, paper=paper, unit=unit,
        ),
        file_name="quiver",
    )  # fmt: skip


def reach_report(store: Store, scene: ReachScene, chosen: Chosen, notes: Sequence[str]) -> None:
    """Offer the page of a reach, with the arguments of `quiver_report`."""
    report_button(
        "reach",
        lambda paper: print_reach(
            store, scene, chosen.table, notes=notes, words=chosen.words, paper=paper
        ),
        file_name="reach",
        to_scale=False,
    )
