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
