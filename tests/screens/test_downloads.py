"""Files that are made on the tap and handed to the browser in the same run."""

from pathlib import Path

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


def of_the_disk(path):
    def script(path):
        from pathlib import Path

        from groupscan.screens.downloads import offer_file

        offer_file(Path(path), "application/zip")

    return AppTest.from_function(script, kwargs={"path": str(path)}, default_timeout=60)


def labels(at):
    return [one.proto.label for kind in ("button", "download_button") for one in at.get(kind)]


def test_a_large_file_is_read_once_and_shown_by_its_own_name(tmp_path, monkeypatch):
    path = tmp_path / "may_3_*all*.zip"
    path.write_bytes(b"PK")
    reads = []
    read = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda one: reads.append(one) or read(one))
    at = of_the_disk(path).run()
    called = r"may\_3\_\*all\*\.zip"
    assert (labels(at), reads) == ([f"Get {called} ready to download"], [])
    at.button[0].click().run()
    assert not at.exception
    assert (labels(at), reads) == ([f"Download {called}"], [path])
    at.run()  # something else on the page: another file may be meant, and this one is let go
    assert (labels(at), reads) == ([f"Get {called} ready to download"], [path])


def test_a_file_that_is_gone_is_told(tmp_path):
    path = tmp_path / "gone.zip"
    at = of_the_disk(path).run()
    at.button[0].click().run()
    assert not at.exception
    assert "cannot be read any more" in at.error[0].value
