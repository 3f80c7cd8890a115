"""The command line: its contract, its errors, and that it stays light."""

import json
import os
import re
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from groupscan import cli, pipeline
from groupscan.demo import fill_demo
from groupscan.errors import GroupscanError
from groupscan.records.store import (
    delete_entry,
    list_scans,
    list_sessions,
    load_scan,
    open_store,
)
from groupscan.sheets.catalogue import load_catalogue
from groupscan.telling import tied

ONE_AIM = "07_one_aim_square_on"
ROOT = Path(__file__).parent.parent


def run(*arguments: object):
    """Exit code, stdout and stderr of a command."""
    return CliRunner().invoke(cli.app, [str(a) for a in arguments])


def lines(text: str) -> list[dict]:
    """Every line one JSON object, and no line else."""
    return [json.loads(line) for line in text.splitlines()]


@pytest.fixture(scope="module")
def small(samples, tmp_path_factory) -> Path:
    """A printed sheet at half its size: quick, and whole."""
    path = tmp_path_factory.mktemp("photos") / "small.jpg"
    rgb = samples.photo(ONE_AIM).rgb[::2, ::2]
    Image.fromarray(np.ascontiguousarray(rgb)).save(path, quality=93)
    return path


@pytest.fixture(scope="module")
def bad(tmp_path_factory, small) -> dict[str, Path]:
    """Files that are no good photo, by what is wrong with them."""
    folder = tmp_path_factory.mktemp("bad")
    out = {name: folder / f"{name}.jpg" for name in ("text", "empty", "cut", "bomb", "blank")}
    out["text"].write_text("not a photo")
    out["empty"].write_bytes(b"")
    out["cut"].write_bytes(small.read_bytes()[:40_000])
    Image.new("L", (20_000, 15_000)).save(folder / "bomb.png")
    out["bomb"] = folder / "bomb.png"
    Image.new("RGB", (640, 480), (120, 130, 110)).save(out["blank"])
    out["missing"] = folder / "missing.jpg"
    out["folder"] = folder
    return out


# ---------------------------------------------------------------------------------- the contract


def test_json_is_one_line_a_photo_in_the_order_given(small, samples) -> None:
    other = samples.path("12_one_aim_dusk")
    result = run("scan", other, small, "--json", "--distance", "20yd")
    assert result.exit_code == 0
    assert result.stderr == ""
    first, second = lines(result.stdout)
    assert [first["photo"], second["photo"]] == [str(other), str(small)]
    assert (first["sheet"], second["sheet"]) == ("one-aim-a4", "one-aim-letter")


KINDS = {
    "photo": str,
    "image_size_px": list,
    "sheet": str,
    "scale": dict,
    "mm_to_px": list,
    "aims": list,
    "holes": list,
    "group": dict,
    "warnings": list,
}


def test_json_has_the_contracts_keys_and_kinds(small) -> None:
    (told,) = lines(run("scan", small, "--json", "--distance", "18 m").stdout)
    assert {key: type(value) for key, value in told.items()} == KINDS
    assert all(isinstance(side, int) for side in told["image_size_px"])
    with Image.open(small) as image:
        assert told["image_size_px"] == list(image.size)
    scale = told["scale"]
    assert set(scale) == {
        "source", "mm_per_px", "mm_per_px_se", "tilt_deg", "residual_px", "bend_mm",
    }  # fmt: skip
    assert isinstance(scale.pop("source"), str)
    assert all(isinstance(value, float) for value in scale.values())
    assert np.array(told["mm_to_px"]).shape == (3, 3)
    assert told["aims"] == [{"x_mm": 0.0, "y_mm": 0.0}]
    assert len(told["holes"]) == 8
    for hole in told["holes"]:
        numbers = ("x_mm", "y_mm", "se_mm", "x_px", "y_px", "diameter_mm", "confidence")
        # Other programs read these; more may come, none may go.
        assert {*numbers, "cut", "state"} <= set(hole)
        assert all(isinstance(hole[name], float) for name in numbers)
        assert hole["cut"] in {"round", "two-blade", "three-blade", "four-blade"}
        assert hole["state"] in {"open", "arrow", "patched"}
    statistics = {
        "extreme_spread",
        "mean_radius",
        "sigma",
        "figure_of_merit",
        "r50",
        "r90",
        "offset",
    }
    assert statistics <= set(told["group"])
    for name in statistics:
        for unit in ("mm", "inch", "moa", "mrad"):
            values = [told["group"][name][f"{unit}{end}"] for end in ("_low", "", "_high")]
            assert values == sorted(values)
    assert told["group"]["distance_m"] == 18.0
    more = {"circles", "shape", "flyer", "ends", "spatial_median", "sigma_from_spread", "r95"}
    assert more <= set(told["group"])


def test_a_photo_that_fails_has_its_own_line_and_the_others_run(small, bad) -> None:
    order = [bad["text"], small, bad["empty"], bad["cut"], bad["bomb"], bad["missing"]]
    order += [bad["folder"], bad["blank"]]
    result = run("scan", *order, "--json")
    assert result.exit_code == 1
    told = lines(result.stdout)
    assert [one["photo"] for one in told] == [str(path) for path in order]
    for path, one in zip(order, told, strict=True):
        if path == small:
            assert "error" not in one
            assert len(one["holes"]) == 8
            continue
        assert list(one) == ["photo", "error"]
        assert list(one["error"]) == ["type", "message"]
        assert one["error"]["type"] == ("MarksError" if path == bad["blank"] else "PhotoError")
        message = one["error"]["message"]
        assert path.name in message
        assert "\n" not in message
        assert "Traceback" not in message
        assert len(message) > 30


def test_warnings_travel_with_the_photo(small) -> None:
    result = run("scan", small, "--json", "--arrows", "6")
    assert result.exit_code == 0
    (told,) = lines(result.stdout)
    assert any("8 holes found for 6 arrows" in warning for warning in told["warnings"])


def test_before_leaves_only_what_is_new(samples) -> None:
    result = run(
        "scan", samples.path("05_face80_after"), "--before", samples.path("04_face80_before"),
        "--sheet", "ring-80", "--json",
    )  # fmt: skip
    (told,) = lines(result.stdout)
    assert len(told["holes"]) == 3
    assert told["sheet"] == "ring-80"
    assert told["group"]["n"] == 3


def test_marks_by_hand(samples) -> None:
    truth = samples.truth("06_letter_plain")
    corners = ":".join(f"{x},{y}" for x, y in truth["corners_px"])
    photo = samples.path("06_letter_plain")
    (told,) = lines(run("scan", photo, "--corners", f"215.9x279.4mm:{corners}", "--json").stdout)
    assert told["scale"]["source"] == "corners"
    assert told["scale"]["mm_per_px"] == pytest.approx(truth["mm_per_px_at_centre"], rel=0.01)
    ends = ":".join(f"{x},{y}" for x, y in truth["known_length"]["ends_px"])
    (told,) = lines(run("scan", photo, "--known-length", f"8.5in:{ends}", "--json").stdout)
    assert told["scale"]["source"] == "known-length"
    assert told["warnings"]


# ---------------------------------------------------------------------------- for a person's eye


def test_a_person_gets_a_table(small) -> None:
    result = run("scan", small, "--distance", "40yd")
    assert result.exit_code == 0
    for words in ("small.jpg", "one-aim-letter", "mm a pixel", "8 shots", "MOA", "mrad"):
        assert words in result.stdout
    assert "{" not in result.stdout


def test_a_person_gets_the_reason_on_standard_error(bad, small) -> None:
    result = run("scan", bad["empty"], small)
    assert result.exit_code == 1
    assert "8 shots" in result.stdout
    assert result.stderr.startswith("Error: ")
    assert "empty.jpg" in result.stderr
    assert result.stderr.count("\n") == 1


def test_names_with_brackets_are_shown_as_they_are(small, tmp_path) -> None:
    odd = tmp_path / "end [red] 1.jpg"
    odd.write_bytes(small.read_bytes())
    assert "end [red] 1.jpg" in run("scan", odd).stdout


# ----------------------------------------------------------------------------- mistakes in options


def main_with(*arguments: object, monkeypatch, capsys) -> tuple[int, str, str]:
    """`main` itself, as the console script calls it."""
    monkeypatch.setattr(sys, "argv", ["groupscan", *(str(a) for a in arguments)])
    with pytest.raises(SystemExit) as stop:
        cli.main()
    told = capsys.readouterr()
    return int(stop.value.code or 0), told.out, told.err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--sheet", "ring-81"], "ring-80"),
        (["--sheet", "nowhere.toml"], "nowhere.toml"),
        (["--distance", "40 parsecs"], "parsec"),
        (["--distance", "-5m"], "-5"),
        (["--known-length", "300mm:1,2"], "300mm:x1,y1:x2,y2"),
        (["--known-length", "12:1,2:300,4"], "12"),
        (["--corners", "279.4x215.9mm:1,2:3,4"], "x4,y4"),
        (["--known-length", "300mm:1,2:300,4", "--corners", "1x2mm:1,2:3,4:5,6:7,8"], "not both"),
        (["--before", "no-such-photo.jpg"], "no-such-photo.jpg"),
        (["--shaft-mm", "50"], "shaft-mm"),
        (["--shaft-mm", "thick"], "shaft-mm"),
        (["--arrows", "0"], "arrows"),
        (["--workers", "0"], "workers"),
        (["--arrow", "6"], "--arrow"),
    ],
)
def test_a_wrong_option_is_one_sentence_and_exit_code_two(
    options, words, small, monkeypatch, capsys
) -> None:
    code, out, err = main_with(
        "scan", small, "--json", *options, monkeypatch=monkeypatch, capsys=capsys
    )
    assert code == 2
    assert out == ""
    said = [line for line in err.splitlines() if line.startswith("Error: ")]
    assert len(said) == 1
    assert words in said[0]
    assert "Traceback" not in err


def test_no_photo_is_a_mistake_too(monkeypatch, capsys) -> None:
    code, _, err = main_with("scan", monkeypatch=monkeypatch, capsys=capsys)
    assert code == 2
    assert "PHOTO" in err


# ------------------------------------------------------------------------------------- the sheets


def test_sheets_are_listed() -> None:
    result = CliRunner().invoke(cli.app, ["sheet"], env={"COLUMNS": "120"})
    assert result.exit_code == 0
    for sheet_id in load_catalogue():
        assert sheet_id in result.stdout


def test_a_sheet_is_written_where_asked(tmp_path, monkeypatch) -> None:
    out = tmp_path / "aim.pdf"
    result = run("sheet", "one-aim-a4", "--out", out)
    assert result.exit_code == 0
    assert str(out) in result.stdout.replace("\n", "")
    assert "100 mm" in result.stdout
    assert out.read_bytes().startswith(b"%PDF-")
    monkeypatch.chdir(tmp_path)
    assert run("sheet", "four-aims-letter").exit_code == 0
    assert (tmp_path / "four-aims-letter.pdf").stat().st_size > 1000


@pytest.mark.parametrize("sheet_id", ["ring-80", "no-such-sheet"])
def test_a_sheet_that_cannot_be_printed_leaves_no_file(
    sheet_id, tmp_path, monkeypatch, capsys
) -> None:
    out = tmp_path / "sheet.pdf"
    code, _, err = main_with(
        "sheet", sheet_id, "--out", out, monkeypatch=monkeypatch, capsys=capsys
    )
    assert code == 2
    assert err.startswith("Error: ")
    assert sheet_id in err
    assert not out.exists()


# ----------------------------------------------------------------------- as a program of its own


def own_process(*arguments: object, code: str | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", code] if code else [sys.executable, "-m", "groupscan.cli"]
    return subprocess.run(
        [*command, *(str(a) for a in arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100"},
    )


def test_another_program_can_read_it(small, bad) -> None:
    result = own_process("scan", small, bad["text"], "--json")
    assert result.returncode == 1
    good, failed = lines(result.stdout)
    assert len(good["holes"]) == 8
    assert failed["error"]["type"] == "PhotoError"
    assert "Traceback" not in result.stderr


def test_help_imports_nothing_heavy() -> None:
    code = """
import sys
from groupscan.cli import app
try:
    app(sys.argv[1:])
except SystemExit as stop:
    assert not stop.code, stop.code
print("MODULES", *sorted(sys.modules))
"""
    for arguments in (["--help"], ["scan", "--help"]):
        result = own_process(*arguments, code=code)
        assert result.returncode == 0, result.stderr
        text, _, names = result.stdout.partition("MODULES ")
        assert text.startswith("Usage:")
        loaded = set(names.split())
        heavy = {"cv2", "scipy", "pandas", "streamlit", "matplotlib", "numpy", "PIL", "sqlalchemy"}
        assert heavy & loaded == set()


def test_help_lists_the_commands_and_the_contracts_options() -> None:
    top = CliRunner().invoke(cli.app, ["--help"], env={"COLUMNS": "120"}).stdout
    for command in ("scan", "sheet", "demo", "app"):
        assert re.search(rf"^\s*{command}\b", top, re.MULTILINE)
    text = CliRunner().invoke(cli.app, ["scan", "--help"], env={"COLUMNS": "160"}).stdout
    for option in ("sheet", "shaft-mm", "arrows", "distance", "known-length", "corners", "before"):
        assert f"--{option}" in text
    assert "--json" in text
    assert "--workers" in text


def assert_same_told(mine, yours) -> None:
    """What two processes say of one photo: sums over threads differ in the last digits."""
    assert type(mine) is type(yours)
    if isinstance(mine, dict):
        assert mine.keys() == yours.keys()
        for key in mine:
            assert_same_told(mine[key], yours[key])
    elif isinstance(mine, list):
        assert len(mine) == len(yours)
        for one, other in zip(mine, yours, strict=True):
            assert_same_told(one, other)
    elif isinstance(mine, float):
        assert mine == pytest.approx(yours, rel=1e-6, abs=1e-6)
    else:
        assert mine == yours


def test_two_workers_say_the_same_as_one_in_the_same_order(small, bad, samples, tmp_path) -> None:
    other = tmp_path / "other.jpg"
    rgb = samples.photo("10_plumb_line_indoor").rgb[::2, ::2]
    Image.fromarray(np.ascontiguousarray(rgb)).save(other, quality=93)
    photos = [small, bad["empty"], other, bad["blank"], small]
    one = run("scan", *photos, "--json", "--distance", "20yd")
    two = run("scan", *photos, "--json", "--distance", "20yd", "--workers", "2")
    assert one.exit_code == two.exit_code == 1
    told = lines(two.stdout)
    assert ["error" in line for line in told] == [False, True, False, True, False]
    for mine, yours in zip(lines(one.stdout), told, strict=True):
        assert_same_told(mine, yours)


def test_an_error_that_nobody_foresaw_does_not_stop_the_others(small, bad, monkeypatch) -> None:
    real = pipeline.ScanFile.__call__

    def sometimes(self, path):
        if path == bad["blank"]:
            raise ZeroDivisionError("a bug")
        return real(self, path)

    monkeypatch.setattr(pipeline.ScanFile, "__call__", sometimes)
    result = run("scan", bad["blank"], small, "--json")
    assert result.exit_code == 1
    failed, good = lines(result.stdout)
    assert failed["error"]["type"] == "UnexpectedError"
    assert "ZeroDivisionError" in failed["error"]["message"]
    assert len(good["holes"]) == 8


def test_a_photo_stored_turned_is_measured_upright(samples, tmp_path) -> None:
    """The EXIF orientation turns the pixels; the places are those of the upright picture."""
    rgb = cv2.rotate(samples.photo(ONE_AIM).rgb[::2, ::2].copy(), cv2.ROTATE_90_COUNTERCLOCKWISE)
    path = tmp_path / "turned.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.fromarray(rgb).save(path, quality=93, exif=exif)
    (told,) = lines(run("scan", path, "--json").stdout)
    height, width = samples.photo(ONE_AIM).rgb[::2, ::2].shape[:2]
    assert told["image_size_px"] == [width, height]
    assert len(told["holes"]) == 8


def test_what_is_no_number_is_null_in_json(small, monkeypatch) -> None:
    """RFC 8259, section 6: NaN and infinity are no JSON numbers."""
    real = pipeline.ScanFile.__call__

    def unsure(self, path):
        scan, group = real(self, path)
        scale = replace(scan.scale, tilt_deg=float("nan"), residual_px=float("inf"))
        return replace(scan, scale=scale), group

    monkeypatch.setattr(pipeline.ScanFile, "__call__", unsure)
    result = run("scan", small, "--json")

    def no_constant(name):
        raise ValueError(f"{name} is no JSON")

    told = json.loads(result.stdout, parse_constant=no_constant)
    assert (told["scale"]["tilt_deg"], told["scale"]["residual_px"]) == (None, None)


@pytest.mark.parametrize("options", [(), ("--json",)])
def test_a_quantity_in_a_warning_has_a_plain_space(small, monkeypatch, options) -> None:
    real = pipeline.ScanFile.__call__

    def bent(self, path):
        scan, group = real(self, path)
        return replace(scan, warnings=(f"bent by {tied(9, 'mm')}",)), group

    monkeypatch.setattr(pipeline.ScanFile, "__call__", bent)
    assert "bent by 9 mm" in run("scan", small, *options).stdout


# ------------------------------------------------------------------------------- the demo club

SCENARIO = """
[[session]]
held_on = 2026-04-12
place = "South butts"
shooter = "B. Rowan"
rig = "Heron"
distance = "20 yd"
notes = "First."
ends = [{ photo = "a.jpg", sheet = "one-aim-letter", shaft_mm = 7.0, head = "field" }]

[[session]]
held_on = 2026-05-03
place = "South butts"
shooter = "B. Rowan"
rig = "Heron"
distance = "18 m"
notes = "Second."
ends = [
  { photo = "b.jpg", sheet = "one-aim-letter", shaft_mm = 7.0, head = "field" },
  { photo = "c.jpg", sheet = "one-aim-letter", shaft_mm = 7.0, head = "fixed" },
]
"""


@pytest.fixture
def club(small, tmp_path) -> Path:
    """Sample photos of two sessions: one end, then two."""
    folder = tmp_path / "club"
    folder.mkdir()
    (folder / "scenario.toml").write_text(SCENARIO, encoding="utf-8")
    for i, name in enumerate(("a.jpg", "b.jpg", "c.jpg")):
        (folder / name).write_bytes(small.read_bytes() + bytes(i))  # trailing bytes: other files
    return folder


def kept(home: Path) -> list[tuple[str, list[str]]]:
    """Day and photos of each session of the samples, oldest first."""
    with closing(open_store(home)) as store:
        sessions = list_sessions(store).sort_values("held_on")
        sessions = sessions[sessions["place"] == "South butts"]
        return [
            (f"{day:%Y-%m-%d}", list_scans(store, int(key))["photo_name"].tolist())
            for key, day in zip(sessions["id"], sessions["held_on"], strict=True)
        ]


WHOLE = [("2026-04-12", ["a.jpg"]), ("2026-05-03", ["b.jpg", "c.jpg"])]


def test_a_demo_cut_short_while_scanning_is_finished_by_the_next(club, tmp_path) -> None:
    home, shown = tmp_path / "home", []

    def show(scan, group):
        shown.append(scan.photo)
        if len(shown) == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fill_demo(samples=club, home=home, show=show)
    assert kept(home) == WHOLE[:1]  # no session stands without its ends
    fill_demo(samples=club, home=home, show=show)
    assert kept(home) == WHOLE


def test_a_demo_cut_short_while_saving_is_finished_and_then_left_alone(
    club, tmp_path, monkeypatch
) -> None:
    home, real = tmp_path / "home", pipeline.save_end

    def show(scan, group):
        pass

    def dies(store, scan, *arguments, **options):
        if scan.photo == "c.jpg":
            raise KeyboardInterrupt
        return real(store, scan, *arguments, **options)

    with monkeypatch.context() as patch:
        patch.setattr(pipeline, "save_end", dies)
        with pytest.raises(KeyboardInterrupt):
            fill_demo(samples=club, home=home, show=show)
    fill_demo(samples=club, home=home, show=show)
    assert kept(home) == WHOLE
    with closing(open_store(home)) as store:
        assert [load_scan(store, key).shaft_mm for key in list_scans(store)["id"][:3]] == [7.0] * 3
        sessions = list_sessions(store)
        second = sessions.loc[sessions["held_on"] == WHOLE[1][0], "id"].item()
        delete_entry(store, "session", int(second))
    fill_demo(samples=club, home=home, show=show)
    assert kept(home) == WHOLE[:1]  # what was thrown away stays away


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[[session]]", "[[session", ""),
        ('rig = "Heron"', "", "'rig' is missing"),
        ("[[session]]", "[[outing]]", "'session' is missing"),
        ("2026-04-12", '"April"', "'April'"),
        ("20 yd", "far", "far"),
        ("7.0", '"thick"', "thick"),
    ],
)
def test_a_scenario_that_cannot_be_read_is_named(old, new, words, club, tmp_path) -> None:
    text = SCENARIO.replace(old, new)
    assert text != SCENARIO
    (club / "scenario.toml").write_text(text, encoding="utf-8")
    with pytest.raises(GroupscanError, match=r"scenario\.toml") as told:
        fill_demo(samples=club, home=tmp_path / "home", show=print)
    assert words in str(told.value)


def test_a_sample_photo_that_is_missing_is_named(club, tmp_path) -> None:
    (club / "a.jpg").unlink()
    with pytest.raises(GroupscanError, match=r"a\.jpg"):
        fill_demo(samples=club, home=tmp_path / "home", show=print)
