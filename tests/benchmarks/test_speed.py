"""The memory ruler, laid on allocations of known size."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from benchmarks import speed

MIB = 2**20


@pytest.mark.skipif(sys.platform != "linux", reason="resident size is read from Linux's /proc")
@pytest.mark.parametrize("size_mib", [64, 192])
def test_memory_that_was_taken_and_given_back_is_seen(size_mib):
    peak = speed.peak_above_baseline_mib(lambda: np.ones(size_mib * MIB, dtype=np.uint8).sum())
    assert peak == pytest.approx(size_mib, abs=8)


def test_a_task_is_timed_once_a_round_and_the_first_round_is_left_out(monkeypatch, tmp_path):
    calls = []
    for name in speed.TASKS:
        monkeypatch.setitem(
            speed.TASKS, name, lambda path, sheet, name=name: calls.append((name, sheet))
        )
    seconds = speed.time_in_turn(tmp_path, "ring-80", 3)
    assert calls == [("decode", "ring-80"), ("scan", "ring-80")] * 4
    assert {name: len(values) for name, values in seconds.items()} == {"decode": 3, "scan": 3}


def test_the_summary_gives_median_and_worst_of_all_and_of_each_group():
    rows = [
        speed.Row("easy", "ring-80", 3.0, 3.2, 2.0),
        speed.Row("hard", "ring-80", 5.0, 5.5, 4.0),
        speed.Row("hard", "inch-grid", 9.0, 9.5, 3.0),
        speed.Row("", "", 4.0, 4.0, 1.0),
    ]
    said = {
        line.split()[0]: [float(n) for n in line.split()[1:]] for line in speed.summary(rows)[1:]
    }
    assert said == {
        "all": [4, 4.5, 9.0, 4.0],
        "easy": [1, 3.0, 3.0, 2.0],
        "hard": [2, 7.0, 9.0, 4.0],
        "ring-80": [2, 4.0, 5.0, 4.0],
        "inch-grid": [1, 9.0, 9.0, 3.0],
    }


def test_each_kind_of_sample_is_measured_at_the_size_of_a_phones_photo(monkeypatch, tmp_path):
    monkeypatch.setattr(speed, "MEGAPIXELS", 0.3)  # none is enlarged
    photos = list(speed.enlarged_samples(tmp_path))
    assert len(photos) == len({speed._told(photo) for photo in photos}) >= 5
    assert all(speed.decode(photo).shape[2] == 3 for photo in photos)
    monkeypatch.setattr(speed, "MEGAPIXELS", 8.0)
    height, width, _ = speed.decode(next(speed.enlarged_samples(tmp_path))).shape
    assert height * width == pytest.approx(8e6, rel=0.01)


def test_a_photo_that_is_refused_is_timed_too(tmp_path):
    speed.cv2.imwrite(str(tmp_path / "grey.png"), np.full((300, 400, 3), 128, np.uint8))
    assert speed.scan(tmp_path / "grey.png") == "MarksError"
