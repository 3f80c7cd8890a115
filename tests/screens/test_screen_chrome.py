"""What the screens share, apart from any page."""

import sqlalchemy as sa

from groupscan.screens import chrome


def test_the_app_opens_the_database_that_the_environment_names(home, tmp_path, monkeypatch):
    club = tmp_path / "club.db"
    monkeypatch.setenv("GROUPSCAN_DATABASE_URL", f"sqlite:///{club.as_posix()}")
    store = chrome.records()
    assert sa.make_url(store.engine.url).database == club.as_posix()
    assert store.home == home
    store.close()
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL")  # another place is another opening
    assert chrome.records().engine.url.database == str(home / "groupscan.db")
