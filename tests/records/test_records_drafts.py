from contextlib import closing

import pytest

from groupscan.errors import StoreError
from groupscan.records.drafts import drop_draft, keep_draft, list_drafts, read_draft
from groupscan.records.store import open_store

ONE, TWO = "1" * 64, "2" * 64


@pytest.fixture
def store(tmp_path):
    with closing(open_store(tmp_path)) as opened:
        yield opened


def test_the_last_draft_of_a_photo_is_the_one_that_counts(store):
    keep_draft(store, ONE, {"n": 1})
    keep_draft(store, ONE, {"n": 2})
    keep_draft(store, TWO, {"n": 3})
    assert list_drafts(store) == {ONE: {"n": 2}, TWO: {"n": 3}}


def test_a_dropped_draft_is_gone_and_dropping_twice_is_no_error(store):
    keep_draft(store, ONE, {"n": 1})
    drop_draft(store, ONE)
    drop_draft(store, ONE)
    assert read_draft(store, ONE) is None


def test_a_write_that_fails_leaves_the_draft_before_it(store):
    keep_draft(store, ONE, {"n": 1})
    with pytest.raises(ValueError, match="JSON"):
        keep_draft(store, ONE, {"n": float("nan")})
    assert read_draft(store, ONE) == {"n": 1}
    assert [path.name for path in (store.home / "drafts").iterdir()] == [f"{ONE}.json"]


def test_a_damaged_draft_hides_no_other(store):
    keep_draft(store, TWO, {"n": 3})
    (store.home / "drafts" / f"{ONE}.json").write_text('{"n": ', encoding="utf-8")
    (store.home / "drafts" / "notes.json").write_text("{}", encoding="utf-8")
    assert list_drafts(store) == {TWO: {"n": 3}}


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "A" * 64, "1" * 63])
def test_only_a_checksum_names_a_draft(store, name):
    with pytest.raises(StoreError, match="does not identify a photo"):
        keep_draft(store, name, {})


def test_a_folder_that_cannot_be_made_is_told(store):
    (store.home / "drafts").write_text("in the way", encoding="utf-8")
    with pytest.raises(StoreError, match="not kept"):
        keep_draft(store, ONE, {"n": 1})
