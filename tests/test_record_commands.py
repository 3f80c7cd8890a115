"""The commands over the records as a whole, as somebody types them."""

import sys
from pathlib import Path

import pytest

from groupscan import cli

CSV = "date,end,x_in,y_in,head\n2026-05-03,1,1,-2,[red] point\n2026-05-03,1,0,0.5,blade\n"


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Return what runs a command on a home of its own: exit code, output, errors."""
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL", raising=False)
    monkeypatch.setenv("COLUMNS", "200")

    def act(*arguments: object, home: str = "home") -> tuple[int, str, str]:
        words = ["groupscan", *map(str, arguments), "--home", str(tmp_path / home)]
        monkeypatch.setattr(sys, "argv", words)
        with pytest.raises(SystemExit) as ended:
            cli.main()
        out, err = capsys.readouterr()
        return int(ended.value.code or 0), out, err

    return act


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "shots.csv"
    path.write_text(CSV)
    return path


def test_a_table_comes_in_and_everything_goes_out_and_in_again(run, table, tmp_path):
    code, out, _ = run("import", table, "--shooter", "Ada", "--dry-run")
    assert (code, "nothing was stored" in out, "[red] point" in out) == (0, True, True)
    assert "1 new session, 1 new end, 2 new shots" in run("import", table, "--shooter", "Ada")[1]
    assert "Nothing of it is new" in run("import", table, "--shooter", "Ada")[1]
    archive = tmp_path / "all.zip"
    assert "1 session, 1 end, 2 shots, 0 photos" in run("export", archive)[1]
    code, out, _ = run("import", archive, "--dry-run", home="other")
    assert (code, "nothing was stored" in out) == (0, True)
    assert run("import", archive, home="other")[0] == 0
    for name in ("shots out.csv", "shots.json", "shots.parquet"):
        assert "2 shots" in run("export", tmp_path / name, home="other")[1]
    code, out, _ = run("import", tmp_path / "shots out.csv")
    assert (code, "0 new shots" in out, "Known ends" in out) == (0, True, True)


@pytest.mark.parametrize(
    ("heads", "words", "said"),
    [
        ("x,y", (), "Positions in mm, assumed, since neither the column's name nor --unit says it"),
        ("x,y", ("--unit", "cm"), "Positions in cm, as --unit says: x, y"),
        ("x_in,y_in", (), "Positions in inches, by the column's name: x_in, y_in"),
        ("x_in,y", (), "Positions in mm, assumed"),
        ("x,y", (), "Distance: not said"),
        ("x,y", ("--distance", "20yd"), "Distance: 20 yd"),
        ("x,distance_m,y", ("--distance", "20yd"), "Distance: 2 m"),
    ],
)
def test_the_unit_and_the_distance_are_told(run, table, heads, words, said):
    cells = "1,2" if heads.count(",") == 1 else "1,2,3"
    table.write_text(f"date,{heads}\n2026-05-03,{cells}\n")
    code, out, _ = run("import", table, "--dry-run", *words)
    assert (code, said in out) == (0, True)


def test_what_a_session_that_goes_on_keeps_is_told(run, table):
    run("import", table)
    table.write_text("date,x_in,y_in,place,notes\n2026-05-03,3,3,Club [2],gusts\n")
    code, out, _ = run("import", table, "--dry-run")
    assert (code, "1 session continued" in out) == (0, True)
    assert "session 1, place: 'Club [2]'; it has none" in out
    assert "session 1, notes: 'gusts'; it has none" in out


def test_an_import_is_listed_undone_and_brought_back(run, table):
    assert "No file was imported yet" in run("imports")[1]
    code, out, _ = run("import", table)
    assert (code, "'groupscan imports --undo 1' takes it back." in out) == (0, True)
    code, out, _ = run("imports")
    assert (code, "shots.csv" in out, "1 session, 1 end, 2 shots" in out) == (0, True, True)
    code, out, _ = run("imports", "--undo", "1")
    assert (code, "is undone: 1 session, 1 end, 2 shots taken away" in out) == (0, True)
    assert "import of shots.csv" in run("log")[1]
    assert run("imports", "--undo", "1")[0] != 0
    code, out, _ = run("imports", "--bring-back", "1")
    assert (code, "is back: 1 session, 1 end, 2 shots" in out) == (0, True)
    assert "Nothing of it is new" in run("import", table)[1]
    assert run("imports", "--undo", "7")[0] != 0
    assert run("imports", "--undo", "1", "--bring-back", "1")[0] != 0


def test_gear_that_stays_deleted_when_an_import_comes_back_is_told(run, table, tmp_path):
    run("import", table)
    run("imports", "--undo", "1")
    other = tmp_path / "june.csv"
    other.write_text(CSV.replace("05-03", "06-07"))
    run("import", other)
    code, out, _ = run("imports", "--bring-back", "1")
    said = "Still deleted, since another has its place by now: head "
    assert (code, f"{said}[red] point, head blade." in out) == (0, True)


def test_a_table_with_mistakes_is_told_cell_by_cell_and_not_stored(run, table, tmp_path):
    table.write_text(CSV + "2026-05-03,1,far,0,blade\nyesterday,1,1,0,blade\n")
    code, out, err = run("import", table)
    assert (code, "nothing was stored" in err) == (1, True)
    assert "far" in out
    assert "yesterday" in out
    assert "0 sessions" in run("export", tmp_path / "all.zip")[1]


def test_backup_restore_and_what_they_refuse(run, table, tmp_path):
    run("import", table)
    code, out, _ = run("backup")
    assert (code, "read it back" in out) == (0, True)
    assert run("backup", tmp_path / "safe.zip")[0] == 0
    code, _, err = run("restore", tmp_path / "safe.zip")
    assert (code, "not empty" in err, "--overwrite" in err) == (2, True, True)
    code, out, _ = run("restore", tmp_path / "safe.zip", "--overwrite")
    assert (code, "before-restore" in out) == (0, True)
    code, out, _ = run("restore", tmp_path / "safe.zip", home="anew")
    assert (code, "What was there" in out) == (0, False)


def test_a_backup_without_a_lost_photo_is_made_and_told(run, tmp_path):
    from contextlib import closing

    from groupscan.records.store import add_photo, open_store

    with closing(open_store(tmp_path / "home")) as store:
        sha256 = add_photo(store, b"a photo", name="end.jpg")
    (path,) = (tmp_path / "home" / "photos").rglob(sha256)
    path.unlink()
    for words in (("backup", tmp_path / "safe.zip"), ("export", tmp_path / "all.zip")):
        code, _, err = run(*words)
        assert (code, "1 photo of the records could not be put in" in err) == (1, True)
        assert words[1].exists()


def test_check_tells_and_repairs(run, table, tmp_path):
    run("import", table)
    assert run("check")[:2] == (0, f"The records in {tmp_path / 'home'} are sound.\n")
    (tmp_path / "home" / "photos" / "notes.txt").write_text("not a photo")
    code, out, _ = run("check")
    assert (code, "foreign file" in out, "--repair" in out) == (1, True, True)
    code, out, _ = run("check", "--repair")
    assert (code, "All of it was repaired" in out) == (0, True)
    assert run("check")[0] == 0


def test_a_damaged_photo_that_was_moved_aside_is_not_called_repaired(run, tmp_path):
    from contextlib import closing

    from groupscan.records.store import add_photo, open_store

    with closing(open_store(tmp_path / "home")) as store:
        sha256 = add_photo(store, b"a photo", name="end.jpg")
    (path,) = (tmp_path / "home" / "photos").rglob(sha256)
    path.write_bytes(b"a phot0")
    code, out, _ = run("check", "--repair")
    assert (code, "repaired" in out, "moved aside" in out) == (1, False, True)
    assert "backup" in " ".join(out.split())
    assert run("check")[0] == 1
    path.write_bytes(b"a photo")
    assert run("check")[0] == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("export", "shots.doc"), "does not say what to write"),
        (("import", "photo.jpg"), "is neither"),
        (("import", "none.zip"), "none.zip"),
        (("import", "none.csv"), "none.csv"),
        (("import", "all.zip", "--unit", "in"), "--unit is for a table"),
        (("import", "none.csv", "--date", "yesterday"), "is no date"),
        (("import", "none.csv", "--distance", "20"), "has no unit"),
        (("restore", "none.zip"), "none.zip"),
    ],
)
def test_mistakes_are_one_sentence_and_exit_code_2(run, words, said):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert err.startswith("Error: ")
    assert said in err
    assert "Traceback" not in err
