"""Units and dates are asked for once, and hold on every screen and over restarts."""

from datetime import date

import streamlit as st
from streamlit.testing.v1 import AppTest

from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.records.store import Session, save_session


def asks(angles):
    def page(angles):
        import streamlit as st

        from groupscan.screens.chrome import unit_choice

        st.session_state["said"] = unit_choice(angles=angles)

    return AppTest.from_function(page, kwargs={"angles": angles}, default_timeout=30).run()


def says(page):
    assert not page.exception
    return page.session_state["said"]


def test_the_unit_chosen_is_there_again_after_a_restart(store):
    page = asks(True)
    assert says(page) == "mm"
    page.button_group(key="unit_True").set_value("mrad").run()
    assert says(page) == "mrad"
    st.cache_resource.clear()
    assert says(asks(True)) == "mrad"
    assert read_preferences(store).angle == "mrad"


def test_a_group_without_a_distance_leaves_the_angle_preferred(store):
    asks(True).button_group(key="unit_True").set_value("moa").run()
    page = asks(False)
    assert says(page) == "mm"
    page.button_group(key="unit_False").set_value("inch").run()
    assert (says(page), says(asks(True)), says(asks(False))) == ("inch", "moa", "inch")


def test_an_answer_is_recalled_where_it_is_of_its_kind(store):
    save_preferences(store, Preferences(remembered={"a_mm": 30, "b": "thirty"}))

    def page():
        import streamlit as st

        from groupscan.screens.preferences import recall, remember

        st.session_state["said"] = recall("a_mm", 1.0), recall("b", 2.0), recall("c", "none")
        remember("c", "kept")

    run = AppTest.from_function(page, default_timeout=30).run()
    assert says(run) == (30.0, 2.0, "none")
    assert says(run.run()) == (30.0, 2.0, "kept")


def test_a_disk_that_refuses_keeps_the_choice_for_the_visit(store):
    (store.home / "preferences.json").mkdir()
    page = asks(False)
    page.button_group(key="unit_False").set_value("inch").run()
    assert says(page.run()) == "inch"


def test_the_list_of_sessions_is_written_in_the_readers_style(store):
    save_session(store, Session(held_on=date(2026, 5, 3), distance_m=18.0))
    save_preferences(store, Preferences(distance="yd", date_style="05/03/2026"))

    def page():
        import streamlit as st

        from groupscan.screens.chrome import records
        from groupscan.screens.session_form import session_lines

        st.session_state["said"] = [line.label for line in session_lines(records()).values()]

    run = AppTest.from_function(page, default_timeout=30).run()
    assert says(run) == ["05/03/2026 · 19.7 yd (18 m) · 0 ends"]
