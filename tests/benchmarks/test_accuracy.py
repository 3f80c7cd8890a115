"""The benchmark's own arithmetic, on made-up truth and made-up scans."""

from __future__ import annotations

import itertools
import json
from types import SimpleNamespace

import numpy as np
import pytest

from benchmarks import accuracy, truths
from benchmarks.bars import BARS, judge
from benchmarks.calibration import confidence_table, se_shares
from benchmarks.kinds import score_arrows, score_cuts, sum_kinds
from benchmarks.matching import match, match_gate, rigid_fit
from benchmarks.scoring import score_photo
from benchmarks.sums import sum_scores, summary
from benchmarks.truths import Found, TruePlane, Truth


def truth_of(xy, *, hidden=None, diameter=5.0, mm_per_px=0.5, blades=0, arrow=False, angle=None):
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    return Truth(
        xy_mm=xy,
        xy_px=xy * [2.0, -2.0] + 500.0,
        diameter_mm=np.full(len(xy), diameter),
        hidden=np.zeros(len(xy), dtype=bool) if hidden is None else np.asarray(hidden),
        mm_per_px=mm_per_px,
        blades=np.broadcast_to(blades, len(xy)),
        blade_mm=np.full(len(xy), 28.0),
        blade_angle_deg=np.full(len(xy), np.nan if angle is None else angle),
        arrow=np.broadcast_to(arrow, len(xy)),
    )


def found_of(xy, *, se=0.3, mm_per_px=0.5, confidence=0.9, blades=0, arrow=False, angle=0.0):
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    return Found(
        xy_mm=xy,
        se_mm=np.full(len(xy), se),
        mm_per_px=mm_per_px,
        confidence=np.broadcast_to(confidence, len(xy)),
        blades=np.broadcast_to(blades, len(xy)),
        blade_mm=np.full(len(xy), 30.0),
        blade_angle_deg=np.full(len(xy), angle),
        arrow=np.broadcast_to(arrow, len(xy)),
    )


SQUARE = [[0.0, 0.0], [30.0, 0.0], [30.0, 30.0], [0.0, 30.0]]


def test_the_truth_scored_against_itself_is_perfect():
    score = score_photo(truth_of(SQUARE), found_of(SQUARE))
    row = summary(score)
    assert (row["recall"], row["precision"], row["rmse_mm"], row["radial_2se"]) == (1, 1, 0, 1)
    for name in ("mean_radius_pct", "extreme_spread_pct", "centre_mm", "scale_pct", "turn_deg"):
        assert row[name] == pytest.approx(0.0, abs=1e-9)


def test_a_missed_hole_and_a_false_find_are_counted_apart():
    score = score_photo(truth_of(SQUARE), found_of([*SQUARE[:3], [80.0, 80.0]]))
    assert score.missed == (3,)
    assert score.false == (3,)
    assert summary(score)["recall"] == pytest.approx(3 / 4)
    assert summary(score)["precision"] == pytest.approx(3 / 4)


def test_two_finds_on_one_hole_make_one_match_and_one_false_find():
    score = score_photo(truth_of([[0.0, 0.0]]), found_of([[0.5, 0.0], [0.1, 0.0]]))
    assert score.pairs == ((0, 1),)
    assert score.false == (0,)


@pytest.mark.parametrize(("distance", "diameter", "matched"), [
    (2.99, 4.0, True),
    (3.01, 4.0, False),
    (7.4, 10.0, True),
    (7.6, 10.0, False),
])  # fmt: skip
def test_the_gate_is_three_mm_or_three_quarters_of_a_wide_hole(distance, diameter, matched):
    score = score_photo(truth_of([[0.0, 0.0]], diameter=diameter), found_of([[0.0, distance]]))
    assert bool(score.pairs) is matched


def test_matching_takes_more_pairs_before_nearer_ones():
    # The near pair (1 to 0) would leave hole 0 without a find; both can be matched.
    true, found = np.array([[0.0, 0.0], [3.0, 0.0]]), np.array([[2.5, 0.0], [5.8, 0.0]])
    assert match(true, found, match_gate(np.array([4.0, 4.0]))) == [(0, 0), (1, 1)]


def test_matching_agrees_with_trying_every_assignment():
    rng = np.random.default_rng(7)
    for _ in range(30):
        true, found = rng.uniform(0, 8, (4, 2)), rng.uniform(0, 8, (5, 2))
        gate = np.full(4, 3.0)
        distance = np.linalg.norm(true[:, None] - found[None], axis=2)

        def cost(columns, distance=distance, gate=gate):
            used = [(i, j) for i, j in enumerate(columns) if distance[i, j] <= gate[i]]
            return -len(used), sum(distance[i, j] for i, j in used)

        best = min(cost(columns) for columns in itertools.permutations(range(5), 4))
        pairs = match(true, found, gate)
        assert len(pairs) == -best[0]
        assert sum(distance[i, j] for i, j in pairs) == pytest.approx(best[1])


def test_a_hole_behind_an_arrow_is_neither_missed_nor_false():
    truth = truth_of(SQUARE, hidden=[False, False, False, True])
    without = score_photo(truth, found_of(SQUARE[:3]))
    with_it = score_photo(truth, found_of(SQUARE))
    for score in (without, with_it):
        assert (score.true, score.hits, score.missed, score.false) == (3, 3, (), ())
        # Either way the group that was seen equals the group that was there to see.
        assert score.mean_radius_pct == pytest.approx(0.0, abs=1e-9)


def test_bias_rmse_and_group_errors_of_a_shifted_and_stretched_scan():
    xy = np.array(SQUARE)
    score = score_photo(truth_of(xy), found_of(xy + [1.0, -2.0]))
    row = summary(score)
    assert (row["bias_x_mm"], row["bias_y_mm"]) == pytest.approx((1.0, -2.0))
    assert row["rmse_mm"] == pytest.approx(np.sqrt(5.0))
    assert row["centre_mm"] == pytest.approx(np.sqrt(5.0))
    assert row["mean_radius_pct"] == pytest.approx(0.0, abs=1e-9)

    stretched = score_photo(truth_of(xy), found_of(xy * 1.02, mm_per_px=0.51))
    assert stretched.mean_radius_pct == pytest.approx(2.0)
    assert stretched.extreme_spread_pct == pytest.approx(2.0)
    assert stretched.scale_pct == pytest.approx(2.0)


def test_within_standard_errors_is_a_share_per_axis_and_radially():
    xy = np.array(SQUARE)
    moved = xy + [[0.0, 0.0], [0.5, 0.0], [0.0, 0.7], [0.59, 0.59]]
    shares = se_shares([score_photo(truth_of(xy), found_of(moved, se=0.3))])
    assert shares == {
        "axis_1se": 4 / 8,
        "axis_2se": 7 / 8,
        "radial_1se": 1 / 4,
        "radial_2se": 2 / 4,
    }


def test_normal_errors_lie_within_standard_errors_as_the_normal_law_says():
    # 0.954 in one axis, 1 - exp(-2) radially: tables of the normal and the Rayleigh law.
    rng = np.random.default_rng(5)
    xy = np.stack(np.meshgrid(np.arange(60), np.arange(60)), axis=-1).reshape(-1, 2) * 20.0
    shares = se_shares([score_photo(truth_of(xy), found_of(xy + rng.normal(0, 0.3, xy.shape)))])
    assert shares["axis_2se"] == pytest.approx(0.954, abs=0.01)
    assert shares["radial_2se"] == pytest.approx(0.865, abs=0.02)


def test_confidence_is_set_against_what_is_real_over_all_photos():
    far = [[200.0, 0.0], [240.0, 0.0]]
    right = score_photo(truth_of(SQUARE), found_of(SQUARE, confidence=0.97))
    mixed = score_photo(truth_of(SQUARE[:2]), found_of([*SQUARE[:2], *far], confidence=0.65))
    rows = {row["to"]: row for row in confidence_table([right, mixed])}
    assert rows[0.98]["finds"] == 4
    assert rows[0.98]["real"] == 1.0
    assert (rows[0.7]["finds"], rows[0.7]["real"]) == (4, 0.5)
    assert rows[0.7]["stated"] == pytest.approx(0.65)
    assert set(rows) == {0.98, 0.7}


def test_a_cut_counts_by_kind_and_place():
    truth = truth_of(SQUARE, blades=[3, 3, 2, 0], angle=10.0)
    found = found_of(
        [[0.5, 0.0], [31.6, 0.0], [30.0, 30.0], [0.0, 30.0]], blades=[3, 3, 4, 0], angle=125.0
    )
    score = score_cuts(truth, found)
    # Right; too far; wrong kind; a round hole that is none of the matter.
    assert (score.true, score.hits, score.claims, score.right) == (3, 1, 3, 1)
    assert score.away_mm == (0.5,)
    assert score.length_mm == (2.0,)
    assert score.angle_deg == pytest.approx((-5.0,))  # 125 is 5 for three blades


def test_a_cut_with_its_arrow_in_is_welcome_but_not_asked_for():
    truth = truth_of(SQUARE[:2], blades=2, arrow=[True, False])
    without, with_it = found_of(SQUARE[1:2], blades=2), found_of(SQUARE[:2], blades=2)
    assert score_cuts(truth, without).true == score_cuts(truth, with_it).true == 1
    assert sum_kinds([score_cuts(truth, without)])["recall"] == 1.0
    assert sum_kinds([score_cuts(truth, with_it)])["precision"] == 1.0


def test_arrows_count_as_found_whatever_they_are_called():
    truth = truth_of(SQUARE, arrow=[True, True, False, False])
    found = found_of([[0.0, 1.0], [30.0, 0.0], [30.0, 30.0]], arrow=[True, False, True])
    score = score_arrows(truth, found)
    assert (score.true, score.hits, score.claims, score.right) == (2, 2, 2, 1)
    assert score.away_mm == (1.0, 0.0)


def test_the_mean_radius_over_photos_is_a_median_too_and_a_lost_photo_counts():
    xy = np.array(SQUARE)
    scores = [
        score_photo(truth_of(xy), found_of(grown))
        for grown in (xy, xy * 1.01, xy * 1.03, np.empty((0, 2)), np.empty((0, 2)))
    ]
    assert sum_scores(scores[:3])["mean_radius_pct"] == pytest.approx(4 / 3)
    assert sum_scores(scores[:3])["mean_radius_pct_median"] == pytest.approx(1.0)
    assert sum_scores(scores)["mean_radius_pct_median"] == pytest.approx(3.0)


def test_every_bar_is_judged_by_a_figure_that_the_sums_have():
    total = sum_scores([score_photo(truth_of(SQUARE, blades=2), found_of(SQUARE, blades=2))])
    rows = judge({bar.sum: total for bar in BARS})
    assert [row["met"] for row in rows] == [True] * len(BARS)
    worse = sum_scores([score_photo(truth_of(SQUARE, blades=2), found_of([[90.0, 0.0]], blades=2))])
    rows = judge({bar.sum: worse for bar in BARS})
    assert not any(row["met"] for row in rows)
    assert [row["met"] for row in judge({})] == [None] * len(BARS)


def test_the_true_plane_undoes_the_lens_and_the_slant():
    homography = np.array([[4.0, 0.3, 500.0], [0.2, -3.5, 400.0], [2e-4, 1e-4, 1.0]])
    plane = TruePlane(homography, 1500.0, np.array([511.5, 383.5]), -0.05)
    mm = np.array([[0.0, 0.0], [80.0, 40.0], [-70.0, 60.0]])
    q = np.column_stack([mm, np.ones(3)]) @ homography.T
    off = (q[:, :2] / q[:, 2:] - plane.centre_px) / plane.focal_px
    px = off * (1 - 0.05 * (off**2).sum(axis=1, keepdims=True)) * 1500.0 + plane.centre_px
    np.testing.assert_allclose(plane.to_mm(px), mm, atol=1e-6)
    assert plane.length_mm(px[0], px[1]) == pytest.approx(np.hypot(80, 40))


def test_a_turned_scan_shows_its_turn_and_keeps_the_group():
    angle = np.radians(2.0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    score = score_photo(truth_of(SQUARE), found_of(np.array(SQUARE) @ turn.T))
    assert score.turn_deg == pytest.approx(2.0)
    assert score.mean_radius_pct == pytest.approx(0.0, abs=1e-9)


def test_rigid_fit_undoes_a_turn_and_a_shift_but_no_stretch():
    rng = np.random.default_rng(3)
    xy, angle = rng.normal(0, 40, (9, 2)), 0.7
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    fitted, shift = rigid_fit(xy @ turn.T + [5.0, 6.0], xy)
    np.testing.assert_allclose((xy @ turn.T + [5.0, 6.0]) @ fitted.T + shift, xy, atol=1e-9)
    stretched, shift = rigid_fit(xy * 1.1, xy)
    spread = np.linalg.norm((xy * 1.1) @ stretched.T + shift - xy.mean(axis=0), axis=1)
    np.testing.assert_allclose(spread, 1.1 * np.linalg.norm(xy - xy.mean(axis=0), axis=1))


def test_no_finds_count_as_all_missed():
    score = score_photo(truth_of(SQUARE), found_of([]))
    assert score.missed == (0, 1, 2, 3)
    assert summary(score)["recall"] == 0.0
    assert np.isnan(summary(score)["precision"])


def test_sums_pool_holes_not_photos():
    many = score_photo(truth_of(SQUARE), found_of(SQUARE))
    none = score_photo(truth_of([[0.0, 0.0]]), found_of([]))
    total = sum_scores([many, none])
    assert total["recall"] == pytest.approx(4 / 5)
    assert total["precision"] == 1.0
    assert total["photos"] == 2


HOLE = {"x_mm": 1.0, "y_mm": 2.0, "x_px": 10.0, "y_px": 20.0, "shaft_mm": 5.0, "hole_mm": 4.8}


def document(*holes, **extra):
    return {"sheet": "ring_40", "mm_per_px_at_centre": 0.2, "holes": list(holes), **extra}


def test_truth_leaves_out_patched_holes_and_keeps_hidden_ones():
    truth = truths.read_truth(
        document(
            {**HOLE, "state": "open"},
            {**HOLE, "state": "patched"},
            {**HOLE, "state": "open", "behind_arrow": True},
        )
    )
    assert truth.hidden.tolist() == [False, True]
    assert truth.mm_per_px == 0.2


@pytest.mark.parametrize(("sheet", "expected"), [
    ({"sheet": "ring_122"}, "ring-122"),
    ({"sheet": "letter"}, "plain-letter"),
    ({"sheet": "a4"}, "plain-a4"),
    ({"sheet": "grid"}, "inch-grid"),
    ({"sheet": "butt"}, "known-length"),
    ({"sheet": "letter", "sheet_id": "one-aim-letter"}, "one-aim-letter"),
])  # fmt: skip
def test_sheet_names_of_the_truth_become_catalogue_ids(sheet, expected):
    assert truths.sheet_id_of(sheet) == expected


def write_case(folder, name, *holes, **extra):
    (folder / f"{name}.jpg").write_bytes(b"not read: the scan is made up")
    path = folder / f"{name}.json"
    path.write_text(json.dumps(document(*holes, **extra)), encoding="utf-8")


def test_a_photo_that_fails_counts_as_all_missed(tmp_path, monkeypatch, capsys):
    write_case(tmp_path, "a", {**HOLE, "state": "open"}, difficulty="easy")
    write_case(tmp_path, "b", {**HOLE, "state": "open"}, {**HOLE, "state": "open", "x_mm": 40.0})

    def scan(case, document, sheet_id):
        if case.photo.stem == "b":
            raise ValueError("no sheet in view")
        find = {"y_mm": 2.0, "se_mm": 0.2, "confidence": 0.9, "cut": "round"}
        find |= {"blade_mm": None, "blade_angle_deg": None}
        hole = SimpleNamespace(x_mm=1.0, state="open", **find)
        patched = SimpleNamespace(x_mm=50.0, state="patched", **find)
        return SimpleNamespace(
            holes=(hole, patched), scale=SimpleNamespace(mm_per_px=0.2), warnings=("dim light",)
        )

    monkeypatch.setattr(accuracy, "_scan", scan)
    assert accuracy.main([str(tmp_path), "--json", "--workers", "1"]) == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    first, second = rows[0], rows[1]
    assert (first["recall"], first["precision"], first["warnings"]) == (1.0, 1.0, ["dim light"])
    assert second["error"].startswith("ValueError: no sheet in view")
    assert second["recall"] == 0.0
    total = next(row for row in rows if row.get("sum") == "all")
    assert total["recall"] == pytest.approx(1 / 3)
    assert total["failed"] == 1

    assert accuracy.main([str(tmp_path), "--workers", "1"]) == 0
    printed = capsys.readouterr().out
    assert "error: ValueError: no sheet in view" in printed
    assert "1 of 2 photos failed" in printed


def test_a_folder_without_truth_says_so(tmp_path, capsys):
    (tmp_path / "photo.jpg").write_bytes(b"")
    assert accuracy.main([str(tmp_path)]) == 2
    assert "no photo with a truth file" in capsys.readouterr().err
