"""What is new since an earlier photo: pairing under a turn and a shift, and on real photos."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from groupscan.photo.before import only_new
from groupscan.photo.holes import Hole
from groupscan.photo.scan import scan_photo


def hole(x: float, y: float, name: float = 0.9) -> Hole:
    """A hole whose confidence serves to tell it from the others."""
    return Hole(float(x), float(y), 0.3, 0.0, 0.0, 5.5, "round", name, "open")


def spread_out(rng: np.random.Generator, count: int, apart: float = 14.0) -> np.ndarray:
    places: list[np.ndarray] = []
    while len(places) < count:
        new = rng.uniform(-150, 150, 2)
        if all(np.hypot(*(new - old)) > apart for old in places):
            places.append(new)
    return np.array(places)


@given(
    seed=st.integers(0, 2**32 - 1),
    old=st.integers(4, 15),
    new=st.integers(0, 6),
    degrees=st.floats(-0.8, 0.8),
    shift=st.tuples(st.floats(-1.5, 1.5), st.floats(-1.5, 1.5)),
)
@example(seed=12, old=7, new=0, degrees=0.75, shift=(0.0, 0.0))  # medians do not turn
@settings(deadline=None, max_examples=60)
def test_the_new_ones_are_told_whatever_the_turn_and_the_shift(
    seed, old, new, degrees, shift
) -> None:
    rng = np.random.default_rng(seed)
    places = spread_out(rng, old + new)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    moved = places @ np.array([[c, s], [-s, c]]) + shift + rng.normal(0, 0.3, places.shape)
    before = tuple(hole(*place) for place in places[:old])
    order = rng.permutation(old + new)
    after = tuple(hole(*moved[i], name=i / 100) for i in order)
    fresh, notes = only_new(after, before)
    assert sorted(h.confidence for h in fresh) == [i / 100 for i in range(old, old + new)]
    assert notes == ()


def test_a_new_hole_beside_an_old_one_is_the_one_that_is_farther_off() -> None:
    before = (hole(0, 0), hole(60, 10), hole(-30, 70), hole(-50, -50))
    after = (hole(0.4, 0.2), hole(2.9, 0.1, name=0.7), *before[1:])
    fresh, _ = only_new(after, before)
    assert [h.confidence for h in fresh] == [0.7]


def test_earlier_holes_that_are_gone_are_said() -> None:
    before = tuple(hole(x, y) for x, y in [(0, 0), (50, 0), (0, 50), (50, 50)])
    fresh, notes = only_new(before[:2], before)
    assert fresh == ()
    assert len(notes) == 1
    assert "2 of 4" in notes[0]


def test_nothing_before_and_nothing_after() -> None:
    holes = (hole(0, 0), hole(5, 5))
    assert only_new(holes, ()) == (holes, ())
    assert only_new((), ()) == ((), ())
    fresh, notes = only_new((), holes)
    assert fresh == ()
    # All earlier holes are missing from the later photo: that must not pass in silence.
    assert any("2 of 2" in note for note in notes)


def test_only_the_new_arrows_of_the_pair_are_reported(samples) -> None:
    before, after = samples.photo("04_face80_before"), samples.photo("05_face80_after")
    scan = scan_photo(after, sheet="ring-80", before=before)
    true = np.array(
        [[h["x_mm"], h["y_mm"]] for h in samples.truth("05_face80_after")["holes"] if h["new"]]
    )
    assert len(scan.holes) == len(true) == 3
    at = np.array([[h.x_mm, h.y_mm] for h in scan.holes])
    away = np.hypot(*(at[None] - true[:, None]).transpose(2, 0, 1))
    assert away.min(axis=1).max() < 1.5
    assert scan.holes == tuple(h for h in samples.scan("05_face80_after").holes if h in scan.holes)


def test_against_itself_nothing_is_new(samples) -> None:
    photo = samples.photo("07_one_aim_square_on")
    scan = scan_photo(photo, before=photo)
    assert scan.holes == ()
    assert any("No holes" in warning for warning in scan.warnings)


@pytest.mark.parametrize("arrows", [3, 5])
def test_the_count_is_that_of_the_new_ones(samples, arrows) -> None:
    before, after = samples.photo("04_face80_before"), samples.photo("05_face80_after")
    scan = scan_photo(after, sheet="ring-80", before=before, arrows=arrows)
    said = [warning for warning in scan.warnings if "arrows" in warning]
    assert bool(said) is (arrows != 3)
