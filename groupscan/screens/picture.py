"""The photo of an item, read back from the records."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from groupscan.records.connect import Store
from groupscan.records.photos import photo_bytes
from groupscan.screens.hole_editor import data_uri, preview_jpeg

if TYPE_CHECKING:
    from groupscan.photo.reading import Photo

__all__ = ["photo_of", "picture_uri"]


def photo_of(store: Store, sha256: str, name: str) -> Photo:
    """Read a kept photo.

    Raises
    ------
    StoreError
        The photo's file is missing or damaged.
    """
    from groupscan.photo.reading import read_photo

    return read_photo(photo_bytes(store, sha256), name=name)


# Keyed by the photo's checksum: Streamlit hashes only a sample of a large array.
@st.cache_data(max_entries=12, show_spinner="Fetching the photo")
def picture_uri(_store: Store, sha256: str) -> str:
    """Return the photo for the screen as a ``data:`` URI, without what the phone wrote in it."""
    return data_uri(preview_jpeg(photo_of(_store, sha256, "photo").rgb))
