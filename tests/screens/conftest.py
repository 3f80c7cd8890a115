import sys
from contextlib import closing

import pytest
import streamlit as st

from groupscan.records.store import open_store


@pytest.fixture(autouse=True)
def own_main_module():
    """AppTest leaves its script as the main module, which processes started later would run."""
    main = sys.modules["__main__"]
    yield
    sys.modules["__main__"] = main


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A folder of records of its own; the app opens the same."""
    monkeypatch.setenv("GROUPSCAN_HOME", str(tmp_path))
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL", raising=False)
    st.cache_resource.clear()
    st.cache_data.clear()
    yield tmp_path
    from groupscan.screens import chrome

    chrome.records().close()
    st.cache_resource.clear()


@pytest.fixture
def store(home):
    with closing(open_store(home)) as opened:
        yield opened
