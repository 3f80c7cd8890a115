"""Links from one screen to another."""

from __future__ import annotations

import streamlit as st

from groupscan.screens import photo_desk

__all__ = ["link_to_desk"]


def link_to_desk() -> None:
    """Draw the link to the Photo desk, where all shots come in."""
    page = st.Page(photo_desk.draw, url_path="photo-desk", default=True)
    st.page_link(page, label="Go to the Photo desk", icon=":material/photo_camera:")
