"""Files that are made on the tap and handed to the browser in the same run."""

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.screens import downloads


@pytest.fixture
def handed(monkeypatch):
    files = []
    monkeypatch.setattr(
        downloads, "hand_over", lambda contents, name, mime, key: files.append((contents, name))
    )
    return files


def page():
    def script():
        import streamlit as st

        from groupscan.errors import GroupscanError
        from groupscan.screens.downloads import Download, offer

        def refuse():
            raise GroupscanError("no shot is *left*")

        st.session_state["made"] = st.session_state.get("made", 0)

        def make():
            st.session_state["made"] += 1
            return b"numbers"

        offer(
            "two", [Download("Good", "a.csv", "text/csv", make),
                    Download("Bad", "b.csv", "text/csv", refuse)],
        )  # fmt: skip

    return AppTest.from_function(script, default_timeout=60)


def test_a_file_is_made_on_its_tap_alone_and_handed_over_once(handed):
    at = page().run()
    assert (at.session_state["made"], handed) == (0, [])
    next(one for one in at.button if one.label == "Good").click().run()
    assert not at.exception
    assert (at.session_state["made"], handed) == (1, [(b"numbers", "a.csv")])
    at.run()  # drawn anew: nothing is made again
    assert (at.session_state["made"], len(handed)) == (1, 1)


def test_what_cannot_be_made_is_told_in_its_words(handed):
    at = page().run()
    next(one for one in at.button if one.label == "Bad").click().run()
    assert not at.exception
    assert [error.value for error in at.error] == [r"no shot is \*left\*"]
    assert handed == []
