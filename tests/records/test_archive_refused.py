"""What is no sound archive of ours is refused with a reason, and not a byte is changed."""

import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from groupscan.errors import StoreError
from groupscan.records import upgrade
from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.archive.cells import decoder
from groupscan.records.exchange.archive.reading import open_archive
from groupscan.records.schema import metadata
from groupscan.records.store import (
    Head,
    ScanRecord,
    Session,
    ShotRecord,
    add_photo,
    list_heads,
    list_sessions,
    open_store,
    save_head,
    save_scan,
    save_session,
)
from groupscan.records.upkeep.backup import restore
from tests.records.test_archive import same_but_for_the_import

Files = dict[str, bytes]


@pytest.fixture(scope="module")
def sound(empty_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive with a little of everything."""
    folder = tmp_path_factory.mktemp("sound")
    shutil.copytree(empty_home, folder / "home")
    with closing(open_store(folder / "home")) as store:
        photo = add_photo(store, b"a photo", name="end.jpg")
        session = save_session(store, Session(held_on=date(2026, 1, 1), shooter="Ada Fenwick"))
        shots = (ShotRecord(number=1, x_mm=1.0, y_mm=2.0, head="point"),)
        save_scan(
            store,
            ScanRecord(session_id=session, photo_sha256=photo, image_size_px=(4, 3),
                       mm_to_px=((1, 0, 0), (0, 1, 0), (0, 0, 1)), shots=shots),
        )  # fmt: skip
        save_head(store, Head(name="blade", mass_g=6.5))
        export_archive(store, folder / "sound.zip")
    return folder / "sound.zip"


def pack(path: Path, files: Files, told: dict[str, Any], *, renew: bool = True) -> Path:
    """Write an archive whose manifest fits its files, as far as one can by hand."""
    if renew:
        for member in told["members"]:
            data = files.get(member["name"], b"")
            member["size_bytes"] = len(data)
            member["sha256"] = hashlib.sha256(data).hexdigest()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
        archive.writestr("manifest.json", json.dumps(told))
    return path


def unpack(path: Path) -> tuple[Files, dict[str, Any]]:
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    return files, json.loads(files.pop("manifest.json"))


def everything_in(home: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(home)): path.read_bytes()
        for path in home.rglob("*")
        if path.is_file() and not path.name.endswith("-shm")
    }


def replaced(table: str, old: bytes, new: bytes) -> Callable[[Files, dict[str, Any]], None]:
    def change(files: Files, _told: dict[str, Any]) -> None:
        name = f"tables/{table}.csv"
        assert old in files[name], files[name]
        files[name] = files[name].replace(old, new, 1)

    return change


def twice_the_head(files: Files, told: dict[str, Any]) -> None:
    heads, first, *rest = files["tables/head.csv"].splitlines(keepends=True)
    files["tables/head.csv"] = b"".join([heads, first, first, *rest])
    next(one for one in told["members"] if "head.csv" in one["name"])["rows"] += 1


def another_table(files: Files, told: dict[str, Any]) -> None:
    files["tables/secret.csv"] = b"id\r\n"
    told["members"].append({"name": "tables/secret.csv", "rows": 0})


def one_table_less(files: Files, told: dict[str, Any]) -> None:
    del files["tables/rig.csv"]
    told["members"] = [one for one in told["members"] if "rig.csv" not in one["name"]]


def one_photo_less(files: Files, told: dict[str, Any]) -> None:
    name = next(name for name in files if name.startswith("photos/"))
    del files[name]
    told["members"] = [one for one in told["members"] if one["name"] != name]


def another_photo(files: Files, told: dict[str, Any]) -> None:
    sha256 = hashlib.sha256(b"new").hexdigest()
    files[f"photos/{sha256}"] = b"new"
    told["members"].append({"name": f"photos/{sha256}", "rows": None})


def photo_of_another_name(files: Files, _told: dict[str, Any]) -> None:
    files[next(name for name in files if name.startswith("photos/"))] = b"exchanged"


def climbing(files: Files, told: dict[str, Any]) -> None:
    files["photos/../../evil"] = b"evil"
    told["members"].append({"name": "photos/../../evil", "rows": None})


def unnamed(files: Files, _told: dict[str, Any]) -> None:
    files["../evil.txt"] = b"evil"


def newer_format(_files: Files, told: dict[str, Any]) -> None:
    told["format"] = 2


def newer_tables(_files: Files, told: dict[str, Any]) -> None:
    told["schema_revision"] = "9999"


def of_another_program(_files: Files, told: dict[str, Any]) -> None:
    told["kind"] = "holiday photos"


def fewer_rows(_files: Files, told: dict[str, Any]) -> None:
    told["members"][-2]["rows"] = 7


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (replaced("head", b"6.5", b"six"), r"row \d of tables/head\.csv cannot be understood"),
        (replaced("head", b"6.5", b"nan"), "no finite number"),
        (replaced("head", b"6.5", b"6.50"), "not how this value is written"),
        (replaced("head", b"6.5", b"6_5"), "not how this value is written"),
        (replaced("head", b"6.5", b"-6.5"), "break a rule of the records"),
        (replaced("head", b",blade,", rb",\N,"), "nothing stands where something must"),
        (replaced("head", b",blade,", b",bl\0de,"), r"NUL|damaged"),
        (replaced("head", b",blade,", b",bl\xffde,"), "damaged"),
        (replaced("head", b",blade,", b',"bl,'), "damaged|cannot be understood|has"),
        (replaced("head", b",blade,", b",bl,ade,"), r"row \d of tables/head\.csv has"),
        (replaced("head", b"mass_g", b"mass_kg"), "columns of tables/head.csv are not those"),
        (replaced("head", b"\r\n1,", b"\r\n9999999999,"), "too large"),
        (replaced("head", b"\r\n1,", b"\r\n2147483647,"), "id in row 2"),
        (replaced("head", b"\r\n1,", b"\r\n0,"), "id in row 2"),
        (replaced("scan", b"[]", b"[1e999]"), "cannot be understood"),
        (replaced("scan", b"[]", b"[" * 50_000), "cannot be understood"),
        (replaced("shot", b"\r\n1,", b"\r\n1,x"), "identity in row 2|longer than 32"),
        (twice_the_head, "comes twice"),
        (another_table, "secret"),
        (one_table_less, "rig"),
        (one_photo_less, "photos are not those"),
        (another_photo, "photos are not those"),
        (photo_of_another_name, "cannot be understood"),
        (climbing, "cannot be understood"),
        (unnamed, r"does not name, '\.\./evil\.txt'"),
        (newer_format, "newer version.*install"),
        (newer_tables, "newer version.*9999.*install"),
        (of_another_program, "no archive of groupscan's.*holiday"),
        (fewer_rows, "rows, not those"),
    ],
)
def test_an_archive_changed_by_hand_is_refused(store, sound, tmp_path, change, said):
    files, told = unpack(sound)
    change(files, told)
    path = pack(tmp_path / "changed.zip", files, told)
    store.close()
    before = everything_in(store.home)
    for act in (import_archive, restore):
        with pytest.raises(StoreError, match=said):
            act(store, path)
    store.close()
    after = everything_in(store.home)
    if said != "break a rule of the records":  # photos alone change nothing
        assert after == before
    assert list_heads(store).empty
    assert list_sessions(store).empty
    assert not list(tmp_path.rglob("evil*"))


def test_a_reference_to_nothing_is_refused(store, sound, tmp_path):
    files, told = unpack(sound)
    heads, row = files["tables/session.csv"].splitlines()[:2]
    shooter = row.split(b",")[heads.split(b",").index(b"shooter_uid")]
    files["tables/session.csv"] = files["tables/session.csv"].replace(shooter, b"0" * 32)
    with pytest.raises(StoreError, match=r"row 2 of tables/session\.csv refers to an entry"):
        import_archive(store, pack(tmp_path / "x.zip", files, told))


@pytest.mark.parametrize("name", ["manifest.json", "tables/shot.csv", "photos/"])
def test_a_changed_byte_is_found(store, sound, tmp_path, name):
    files, told = unpack(sound)
    whole = next(one for one in [*files, "manifest.json"] if one.startswith(name))
    if whole == "manifest.json":
        told["members"][0]["sha256"] = "0" * 64
    else:
        files[whole] = files[whole][:-3] + b"~" + files[whole][-2:]
    with pytest.raises(StoreError, match=r"damaged.*choose another copy.*Nothing was changed"):
        import_archive(store, pack(tmp_path / "x.zip", files, told, renew=False))


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_damage_anywhere_in_the_file_is_found_or_harms_nothing(sound, tmp_path, data):
    whole = sound.read_bytes()
    cut = data.draw(st.booleans())
    place = data.draw(st.integers(0, len(whole) - 1))
    damaged = whole[:place]
    if not cut:
        damaged += bytes([whole[place] ^ data.draw(st.integers(1, 255))]) + whole[place + 1 :]
    path = tmp_path / "damaged.zip"
    path.write_bytes(damaged)
    told = ""
    try:
        with open_archive(path) as archive, open_archive(sound) as good:
            for table in metadata.sorted_tables:
                assert list(archive.rows(table)) == list(good.rows(table))
    except StoreError as err:
        told = str(err)
    assert not told or "Nothing was changed" in told


def test_what_needs_more_room_than_there_is_is_refused(store, sound, monkeypatch):
    usage = type("Usage", (), {"free": 100})
    monkeypatch.setattr("shutil.disk_usage", lambda _: usage)
    with pytest.raises(StoreError, match="MB left: free some space"):
        import_archive(store, sound)


@pytest.mark.parametrize("content", [None, b"", b"not a zip", b"PK\x05\x06" + b"\0" * 18])
def test_what_is_no_zip_is_refused(store, tmp_path, content):
    if content is not None:
        (tmp_path / "x.zip").write_bytes(content)
    with pytest.raises(StoreError, match=r"x\.zip.*Nothing was changed"):
        import_archive(store, tmp_path / "x.zip")


def test_a_zip_encrypted_is_refused(store, sound, tmp_path):
    data = bytearray(sound.read_bytes())
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = 0
        while (start := data.find(signature, start)) >= 0:
            data[start + offset] |= 1
            start += 4
    (tmp_path / "x.zip").write_bytes(bytes(data))
    with pytest.raises(StoreError, match="encrypted"):
        import_archive(store, tmp_path / "x.zip")


def test_every_cell_has_one_form():
    cases = [
        (sa.Integer, ["1.0", "+1", " 1", "01", "1e2", "", "²"]),
        (sa.Double, ["1", "1e0", "inf", "0x1p3", "-0.0", ""]),
        (sa.Boolean, ["True", "1", ""]),
        (sa.Date, ["20260101", "2026-1-1", "2026-01-01T00:00:00", ""]),
        (sa.DateTime(timezone=True), ["2026-01-01", "2026-01-01T00:00:00Z"]),
        (sa.JSON, ["{ }", "NaN", '{"b":1,"a":2}', "", '"ä"']),
        (sa.Text, ["\\", "\\n", "\0"]),
    ]
    for kind, texts in cases:
        for text in texts:
            with pytest.raises(ValueError, match=r".+"):
                decoder(sa.Column("c", kind))(text)


MIGRATION = '''
"""A later version gives every head a note."""
import sqlalchemy as sa
from alembic import op

revision = "later"
down_revision = "{before}"
branch_labels = None
depends_on = None


def upgrade():
    op.execute("UPDATE head SET notes = 'from ' || name")
    op.execute("UPDATE session SET place = 'somewhere' WHERE place = ''")


def downgrade():
    pass
'''


@pytest.fixture
def later_version(tmp_path, monkeypatch):
    """Make this program one whose tables are a revision further."""
    folder = tmp_path / "versions"
    folder.mkdir()
    text = MIGRATION.format(before=upgrade.REVISION)
    (folder / "later.py").write_text(text)
    here = Path(upgrade.__file__).parent / "migrations" / "versions"

    def located(make):
        def config(*arguments):
            made = make(*arguments)
            made.set_main_option("path_separator", "newline")
            made.set_main_option("version_locations", f"{here}\n{folder}")
            return made

        return config

    monkeypatch.setattr(upgrade, "bare_config", located(upgrade.bare_config))
    for module in ("upgrade", "exchange.archive.older", "exchange.archive.writing"):
        monkeypatch.setattr(f"groupscan.records.{module}.REVISION", "later")


@pytest.mark.usefixtures("later_version")
def test_an_archive_of_an_older_version_is_brought_up_to_date(sound, tmp_path):
    with closing(open_store(tmp_path / "new")) as store:
        report = import_archive(store, sound)
        assert (report.conflicts, report.photos) == ((), 1)
        heads = list_heads(store).set_index("name")["notes"]
        assert heads.to_dict() == {"point": "from point", "blade": "from blade"}
        assert list_sessions(store)["place"].tolist() == ["somewhere"]
        assert len(list(store.photo_dir.rglob("?" * 64))) == 1
        export_archive(store, tmp_path / "new.zip")
    with closing(open_store(tmp_path / "restored")) as store:
        assert restore(store, sound) is None
        export_archive(store, tmp_path / "restored.zip")
    assert same_but_for_the_import(tmp_path / "restored.zip", tmp_path / "new.zip")


@pytest.mark.usefixtures("later_version")
def test_an_older_archive_is_checked_by_its_own_tables(sound, tmp_path):
    files, told = unpack(sound)
    replaced("head", b"mass_g", b"mass_kg")(files, told)
    path = pack(tmp_path / "x.zip", files, told)
    with closing(open_store(tmp_path / "new")) as store:
        with pytest.raises(StoreError, match=r"columns of tables/head.csv.*Nothing was changed"):
            import_archive(store, path)
        assert list_heads(store).empty
