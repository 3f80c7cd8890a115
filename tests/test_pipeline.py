"""The rooms joined: a scan to a group, to the contract's JSON, and to a record."""

import json
from contextlib import closing
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from groupscan.aims import about_aim
from groupscan.pipeline import group_of, record_of, save_end, scan_to_dict, shots_of
from groupscan.records.entries import Session
from groupscan.records.photos import photo_bytes
from groupscan.records.store import load_scan, open_store, save_session, shots_frame
from groupscan.report.shots import group_of_shots
from groupscan.screens.corrections import group_of_record, plane_of
from groupscan.stats.group import measure_group

ONE_AIM, FOUR_AIMS = "07_one_aim_square_on", "08_four_aims_shadow"


def true_places(truth: dict) -> np.ndarray:
    return np.array([[h["x_mm"], h["y_mm"]] for h in truth["holes"] if h["state"] != "patched"])


# -------------------------------------------------------------------------------------- a group


def test_a_group_is_that_of_the_truth(samples) -> None:
    group, true = (
        group_of(samples.scan(ONE_AIM)),
        measure_group(true_places(samples.truth(ONE_AIM))),
    )
    assert group is not None
    assert group.n == true.n == 8
    for name in ("mean_radius", "extreme_spread", "figure_of_merit"):
        assert getattr(group, name).value == pytest.approx(getattr(true, name).value, rel=0.02)
    # The measurement's own share is taken out of the scatter: less than it adds, never more.
    assert group.sigma.value == pytest.approx(true.sigma.value, rel=0.03)
    assert group.centre.x.value == pytest.approx(true.centre.x.value, abs=0.2)
    assert group.centre.y.value == pytest.approx(true.centre.y.value, abs=0.2)


def test_the_aim_moves_the_offset_and_not_the_group(samples) -> None:
    scan = samples.scan(ONE_AIM)
    own, moved = group_of(scan), group_of(scan, aim_mm=(30.0, -40.0))
    assert own is not None
    assert moved is not None
    assert moved.extreme_spread == own.extreme_spread
    assert moved.aim_mm == (30.0, -40.0)
    away = np.hypot(own.centre.x.value - 30.0, own.centre.y.value + 40.0)
    assert moved.offset.value == pytest.approx(away, abs=1e-9)


def test_shots_at_several_aims_are_laid_over_one_another(samples) -> None:
    scan, truth = samples.scan(FOUR_AIMS), samples.truth(FOUR_AIMS)
    group = group_of(scan)
    assert group is not None
    assert group.n == 12
    aims = np.array(truth["aim_points_mm"])
    true = true_places(truth)
    nearest = np.hypot(*(true[:, None] - aims[None]).transpose(2, 0, 1)).argmin(axis=1)
    laid = true - aims[nearest]
    np.testing.assert_allclose(
        [group.centre.x.value, group.centre.y.value], laid.mean(axis=0), atol=0.2
    )
    assert group.aim_mm == (0.0, 0.0)
    # Apart by a hundred millimetres as shot, within some tens when laid over one another.
    assert group.extreme_spread.value < 60
    alone = group_of(scan, aim_mm=tuple(scan.aims_mm[0]))
    assert alone is not None
    assert alone.extreme_spread.value > 100


def test_a_group_of_patched_holes_is_none(samples) -> None:
    scan = samples.scan(ONE_AIM)
    patched = tuple(replace(hole, state="patched") for hole in scan.holes)
    assert shots_of(replace(scan, holes=patched)) == ()
    assert group_of(replace(scan, holes=patched)) is None
    assert group_of(replace(scan, holes=())) is None
    mixed = replace(scan, holes=(*patched[:3], *scan.holes[3:]))
    group = group_of(mixed)
    assert group is not None
    assert group.n == len(scan.holes) - 3


def test_arrows_that_stand_count_as_shots(samples) -> None:
    scan = samples.scan("03_face60_arrows_in")
    assert any(hole.state == "arrow" for hole in scan.holes)
    group = group_of(scan)
    assert group is not None
    assert group.n == len(scan.holes)


# ------------------------------------------------------------------------------------- the JSON


def test_the_dictionary_keeps_the_contract(samples) -> None:
    scan = samples.scan(ONE_AIM)
    told = json.loads(json.dumps(scan_to_dict(scan, group_of(scan, distance_m=18.0))))
    assert list(told) == [
        "photo",
        "image_size_px",
        "sheet",
        "scale",
        "mm_to_px",
        "aims",
        "holes",
        "group",
        "warnings",
    ]
    assert list(told["scale"]) == [
        "source",
        "mm_per_px",
        "mm_per_px_se",
        "tilt_deg",
        "residual_px",
        "bend_mm",
    ]
    assert list(told["aims"][0]) == ["x_mm", "y_mm"]
    for hole in told["holes"]:
        # Keys may be added behind these; none may go or move.
        assert list(hole)[:9] == [
            "x_mm",
            "y_mm",
            "se_mm",
            "x_px",
            "y_px",
            "diameter_mm",
            "cut",
            "confidence",
            "state",
        ]
    assert told["image_size_px"] == list(scan.image_size_px)
    assert np.array(told["mm_to_px"]).shape == (3, 3)
    assert told["group"]["n"] == 8
    assert told["group"]["distance_m"] == 18.0
    assert told["group"]["extreme_spread"]["moa"] > 0


def test_the_matrix_in_the_dictionary_places_the_holes(samples) -> None:
    """Another program has only the JSON: the homography must do, to a pixel of the lens."""
    told = scan_to_dict(samples.scan(ONE_AIM), None)
    h = np.array(told["mm_to_px"])
    for hole in told["holes"]:
        q = h @ [hole["x_mm"], hole["y_mm"], 1.0]
        np.testing.assert_allclose(q[:2] / q[2], [hole["x_px"], hole["y_px"]], atol=2.0)
    assert told["group"] is None


def test_without_a_distance_angles_are_null(samples) -> None:
    scan = samples.scan(ONE_AIM)
    told = json.loads(json.dumps(scan_to_dict(scan, group_of(scan))))
    spread = told["group"]["extreme_spread"]
    assert spread["mm"] > 0
    assert spread["inch"] == pytest.approx(spread["mm"] / 25.4)
    assert spread["moa"] is None
    assert spread["mrad"] is None


# ---------------------------------------------------------------------------------- the records


def test_an_end_is_kept_whole(samples, tmp_path) -> None:
    store = open_store(tmp_path)
    session_id = save_session(store, Session(held_on=date(2026, 5, 3), place="Quillmere"))
    scan, photo = samples.scan(ONE_AIM), samples.photo(ONE_AIM)
    data = samples.path(ONE_AIM).read_bytes()
    scan_id = save_end(store, scan, photo, data, session_id=session_id, head="field point")
    kept = load_scan(store, scan_id)
    assert photo_bytes(store, kept.photo_sha256) == data
    assert kept.photo_name == scan.photo
    assert tuple(kept.image_size_px) == scan.image_size_px
    np.testing.assert_array_equal(np.array(kept.mm_to_px), scan.plane.homography)
    assert len(kept.shots) == len(scan.holes)
    for number, (shot, hole) in enumerate(zip(kept.shots, scan.holes, strict=True), start=1):
        assert shot.number == number
        assert (shot.x_mm, shot.y_mm) == (shot.auto_x_mm, shot.auto_y_mm) == (hole.x_mm, hole.y_mm)
        assert (shot.state, shot.cut, shot.confidence) == (hole.state, hole.cut, hole.confidence)
        assert shot.head == "field point"
        assert shot.removed is False


def test_a_record_gives_the_scans_millimetres_and_its_group(samples, tmp_path) -> None:
    """What the editor and the group sheet work with is what the scan said, bend and all."""
    name = "12_one_aim_dusk"
    scan, photo = samples.scan(name), samples.photo(name)
    assert scan.plane.bend is not None
    with closing(open_store(tmp_path)) as store:
        session_id = save_session(store, Session(held_on=date(2026, 5, 1)))
        data = samples.path(name).read_bytes()
        saved = save_end(store, scan, photo, data, session_id=session_id)
        record = load_scan(store, saved)
        frame = about_aim(shots_frame(store, scan_ids=[saved]))
    plane = plane_of(record)
    px = np.array([[h.x_px, h.y_px] for h in scan.holes])
    np.testing.assert_allclose(plane.to_mm(px), scan.px_to_mm(px), atol=1e-3)
    mm = np.array([[h.x_mm, h.y_mm] for h in scan.holes])
    np.testing.assert_allclose(plane.to_px(mm), scan.mm_to_px_points(mm), atol=1e-2)
    # The bend is worth having: without it the places are elsewhere.
    assert np.abs(replace(plane, bend=None).to_mm(px) - plane.to_mm(px)).max() > 0.02
    group = group_of(scan)
    for other in (group_of_record(record, None), group_of_shots(frame)):
        assert other.sigma.value == pytest.approx(group.sigma.value, rel=1e-9)
        assert other.sigma.low == pytest.approx(group.sigma.low, rel=1e-9)


def test_removed_holes_stay_on_record(samples) -> None:
    scan = samples.scan(ONE_AIM)
    record = record_of(scan, session_id=1, photo_sha256="0" * 64, shaft_mm=6.2, removed=(0, 3))
    assert [shot.number for shot in record.shots if shot.removed] == [1, 4]
    assert len(record.shots) == len(scan.holes)
    assert record.shaft_mm == 6.2
    assert record.warnings == scan.warnings
    assert record.aims_mm == scan.aims_mm
