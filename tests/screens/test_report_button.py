"""The button that prints a page."""

from datetime import date

from streamlit.testing.v1 import AppTest

from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.records.store import Outing, save_outings


def page():
    def script():
        from groupscan.screens.chrome import records
        from groupscan.screens.report_button import session_report, student_report

        session_report(records(), 1, unit="mm")
        student_report(records(), 1)

    return AppTest.from_function(script, default_timeout=60)


def test_the_paper_is_chosen_once_and_kept(store):
    shots = tuple(ShotRecord(number=i, x_mm=4.0 * i, y_mm=-3.0 * i) for i in range(1, 5))
    scan = ScanRecord(session_id=0, scale_source="typed", shots=shots)
    save_outings(store, [Outing(Session(held_on=date(2026, 5, 2), shooter="Ola"), [scan])])
    at = page().run()
    assert not at.exception
    paper = at.button_group(key="paper_session_1_mm")
    assert paper.value in ("a4", ["a4"])
    paper.set_value("letter").run()
    assert not at.exception
    assert read_preferences(store).remembered["paper"] == "letter"
    again = page().run()
    assert again.button_group(key="paper_student_1_mm").value in ("letter", ["letter"])


def test_the_group_sheet_offers_it(store):
    shots = tuple(ShotRecord(number=i, x_mm=4.0 * i, y_mm=-3.0 * i) for i in range(1, 5))
    scan = ScanRecord(session_id=0, scale_source="typed", shots=shots)
    save_outings(store, [Outing(Session(held_on=date(2026, 5, 2), shooter="Ola"), [scan])])

    def script():
        from groupscan.screens import group_sheet

        group_sheet.draw()

    at = AppTest.from_function(script, default_timeout=60).run()
    assert not at.exception
    assert at.button_group(key="paper_session_1_mm").label == "Paper"


def test_letter_goes_with_inches_until_another_paper_is_chosen(store):
    """One setting for every page, and no screen that was only looked at chooses it."""

    def script():
        import streamlit as st

        from groupscan.screens.report_button import ask_paper

        st.session_state["paper"] = ask_paper("here")

    def paper():
        at = AppTest.from_function(script, default_timeout=60).run()
        assert not at.exception
        return at

    assert paper().session_state["paper"] == "a4"
    save_preferences(store, Preferences(length="in"))
    at = paper()
    assert at.session_state["paper"] == "letter"
    assert "paper" not in read_preferences(store).remembered
    at.button_group(key="paper_here_in").set_value("a4").run()
    assert paper().session_state["paper"] == "a4"


def test_it_stands_among_the_units_and_dates(home):
    def script():
        from groupscan.screens.chrome import records
        from groupscan.screens.data_parts.units import draw_units

        draw_units(records())

    at = AppTest.from_function(script, default_timeout=60).run()
    assert not at.exception
    assert [row.label for row in at.button_group].count("Paper") == 1
