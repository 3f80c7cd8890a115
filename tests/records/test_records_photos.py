"""Photos: the same bytes back, or an error that says what to do; never half a file."""

import errno
import hashlib
import os
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groupscan.errors import StoreError
from groupscan.records.photos import photo_path
from groupscan.records.store import add_photo, open_store, photo_bytes, save_scan

# SHA-256 of "abc": the example of FIPS 180-4 (NIST, 2015), as NIST publishes it.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


BACKENDS = ("sqlite", "postgresql")


def rows(store):
    query = "SELECT sha256, name, size_bytes, width_px, height_px FROM photo"
    with store.reader.begin() as connection:
        return [tuple(row) for row in connection.exec_driver_sql(query)]


def files(store) -> list[Path]:
    return [path for path in store.photo_dir.rglob("*") if path.is_file()]


def test_a_photo_is_named_by_its_content(store):
    assert add_photo(store, b"abc", name="a.jpg") == ABC
    assert files(store) == [store.photo_dir / "ba" / "78" / ABC]
    assert files(store)[0].read_bytes() == b"abc"
    assert rows(store) == [(ABC, "a.jpg", 3, None, None)]


def test_the_same_photo_twice_is_kept_once(store):
    add_photo(store, b"abc", name="first.jpg", size_px=(40, 30))
    before = files(store)[0].stat()
    assert add_photo(store, b"abc", name="second.jpg", size_px=(1, 1)) == ABC
    assert files(store)[0].stat() == before
    assert rows(store) == [(ABC, "first.jpg", 3, 40, 30)]


def test_a_scan_tells_the_size_of_its_photo(store, make_scan):
    save_scan(store, make_scan(image_size_px=(4032, 3024)))
    save_scan(store, make_scan(image_size_px=(1, 1)))
    assert [row[3:] for row in rows(store)] == [(4032, 3024)]


@settings(max_examples=50, deadline=None)
@given(data=st.binary(min_size=1, max_size=5000), name=st.text(max_size=30))
def test_any_bytes_under_any_name_come_back(shared_store, data, name):
    sha256 = add_photo(shared_store, data, name=name)
    assert sha256 == hashlib.sha256(data).hexdigest()
    assert photo_bytes(shared_store, sha256) == data


@pytest.mark.parametrize("name", ["../../x", "/etc/passwd", "a\0b", "..", "C:\\x", "🏹" * 300])
def test_a_name_is_never_a_path(store, name):
    add_photo(store, b"abc", name=name)
    assert [path.name for path in files(store)] == [ABC]
    home = store.home.parent
    assert {path.name for path in home.iterdir()} == {"home"}


def test_an_empty_photo_is_refused(store):
    with pytest.raises(StoreError, match=r"'a.jpg' is empty.*choose"):
        add_photo(store, b"", name="a.jpg")
    assert rows(store) == []


@pytest.mark.parametrize("identity", ["../../x", "", "A" * 64, "a" * 63, ABC + "\n", f"../{ABC}"])
def test_what_is_no_checksum_never_becomes_a_path(store, identity):
    with pytest.raises(StoreError, match="does not identify a photo"):
        photo_bytes(store, identity)


def test_a_missing_photo_is_told_and_can_be_added_again(store):
    add_photo(store, b"abc", name="a.jpg")
    files(store)[0].unlink()
    with pytest.raises(StoreError, match=r"put its file back as .* or add the same photo again"):
        photo_bytes(store, ABC)
    add_photo(store, b"abc", name="a.jpg")
    assert photo_bytes(store, ABC) == b"abc"


@pytest.mark.parametrize("content", [b"", b"ab", b"abd", b"abcc"])
def test_a_damaged_photo_is_told_and_can_be_added_again(store, content):
    add_photo(store, b"abc", name="a.jpg")
    files(store)[0].write_bytes(content)
    with pytest.raises(StoreError, match=r"is damaged.*or add the same photo again"):
        photo_bytes(store, ABC)
    add_photo(store, b"abc", name="a.jpg")
    assert photo_bytes(store, ABC) == b"abc"
    assert len(files(store)) == 1


def test_a_folder_in_the_place_of_a_photo_is_told(store):
    photo_path(store, ABC).mkdir(parents=True)
    with pytest.raises(StoreError, match="cannot be read"):
        photo_bytes(store, ABC)
    with pytest.raises(StoreError, match="was not stored"):
        add_photo(store, b"abc", name="a.jpg")
    assert rows(store) == []


def test_a_full_disk_leaves_nothing_half(store, monkeypatch):
    add_photo(store, b"before", name="before.jpg")

    def full(_handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(StoreError, match="disk is full: free some space, then add it again"):
            add_photo(store, b"abc", name="a.jpg")
    assert len(files(store)) == len(rows(store)) == 1
    assert add_photo(store, b"abc", name="a.jpg") == ABC
    assert photo_bytes(store, ABC) == b"abc"


def test_a_folder_that_may_not_be_written_is_told(open_folder, ordinary_user):
    with closing(open_store(open_folder / "home")) as store:
        store.home.chmod(0o755)
        store.photo_dir.chmod(0o555)
        with (
            ordinary_user(),
            pytest.raises(StoreError, match=r"may not be written to.*GROUPSCAN_HOME"),
        ):
            add_photo(store, b"abc", name="a.jpg")
        assert rows(store) == []
        assert files(store) == []


@pytest.mark.parametrize("stop", ["fsync", "replace"])
def test_a_stop_on_the_way_leaves_no_file_under_the_checksum(store, monkeypatch, stop):
    def interrupt(*_arguments):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(os if stop == "fsync" else Path, stop, interrupt)
        with pytest.raises(KeyboardInterrupt):
            add_photo(store, b"abc", name="a.jpg")
    assert files(store) == []
    assert rows(store) == []
