"""The records that the app has opened, and users' text as Markdown shows it unchanged."""

from __future__ import annotations

import os
from typing import Final

import streamlit as st

from groupscan.errors import StoreError
from groupscan.records.connect import Store
from groupscan.records.store import open_store

__all__ = ["plain", "records"]

_SPECIAL: Final = str.maketrans({c: "\\" + c for c in "\\`*_{}[]()#+-.!|~<>$:&"})


def plain(text: str) -> str:
    r"""Return a user's text so that Streamlit's Markdown shows it as it is.

    Examples
    --------
    >>> plain("**A** <b>")
    '\\*\\*A\\*\\* \\<b\\>'
    """
    return " ".join(text.split()).translate(_SPECIAL)


@st.cache_resource(show_spinner=False)
def _open(home: str | None, database_url: str | None) -> Store:
    # Where the records are, is for open_store to read from the environment; the arguments only
    # tell one opening from another.
    return open_store(None)


def records() -> Store:
    """Return the records; where they cannot be opened, say so and stop the page."""
    try:
        return _open(os.environ.get("GROUPSCAN_HOME"), os.environ.get("GROUPSCAN_DATABASE_URL"))
    except StoreError as err:
        st.error(plain(str(err)), icon=":material/database_off:")
        st.stop()
