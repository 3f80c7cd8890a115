"""One word for a season: the right one where something changed, and none without evidence."""

import numpy as np
import pytest

from groupscan.stats.trend import measure_progress, measure_sessions, read_season


def season(sigma, *, shots=36, right=None, every=21, seed=1):
    """Sessions of so many shots, with these sigmas and these centres, so many days apart."""
    rng = np.random.default_rng(seed)
    session = np.repeat(np.arange(len(sigma)), shots)
    xy = np.asarray(sigma, float)[session, None] * rng.standard_normal((session.size, 2))
    if right is not None:
        xy[:, 0] += np.asarray(right, float)[session]
    return measure_sessions(read_season(xy, session, distance_m=18.0, day=every * session))


@pytest.mark.parametrize(
    ("sigma", "right", "word"),
    [
        (np.geomspace(60, 25, 6), None, "steadier"),
        (np.geomspace(25, 60, 6), None, "wider"),
        ([30] * 6, np.linspace(0, 60, 6), "drifting"),
        ([30] * 6, None, "steady"),
    ],
)
def test_the_word_says_what_was_put_in(sigma, right, word):
    assert measure_progress(season(sigma, right=right)).word == word


def test_what_has_to_be_worked_on_goes_before_what_goes_well():
    seen = measure_progress(season(np.geomspace(60, 25, 6), right=np.linspace(0, 60, 6)))
    assert (seen.word, seen.steadier, seen.drifts) == ("drifting", True, True)


@pytest.mark.parametrize("sessions", [1, 2, 3])
def test_few_sessions_are_too_few_arrows(sessions):
    seen = measure_progress(season([30] * sessions))
    assert seen.word == "too few arrows"
    assert any("four are needed" in note for note in seen.notes)


def test_nothing_is_called_steady_while_sigma_may_have_doubled():
    seen = measure_progress(season([30] * 5, shots=3))
    assert seen.sigma_ratio.high > 2
    assert seen.word == "too few arrows"


def test_the_change_is_that_over_the_whole_season():
    """A sigma that halves from the first session to the last has a ratio of one half."""
    seen = measure_progress(season(np.geomspace(60, 30, 12), shots=400))
    assert seen.sigma_ratio.low < 0.5 < seen.sigma_ratio.high
    assert seen.sigma_ratio.high - seen.sigma_ratio.low < 0.1
    assert seen.months == pytest.approx(11 * 21 / (365.2425 / 12))


def test_the_word_does_not_turn_on_the_order_of_the_shots_or_the_unit():
    rng = np.random.default_rng(4)
    session = np.repeat(np.arange(8), 20)
    xy = np.geomspace(20, 50, 8)[session, None] * rng.standard_normal((160, 2))
    shuffled = rng.permutation(160)
    first = measure_progress(measure_sessions(read_season(xy, session, day=7 * session)))
    other = measure_progress(
        measure_sessions(
            read_season(
                10 * xy[shuffled], session[shuffled], day=7 * session[shuffled], distance_m=18.0
            )
        )
    )
    assert first.word == other.word == "wider"
    # Angles are not quite proportional to lengths.
    assert first.sigma_ratio.value == pytest.approx(other.sigma_ratio.value, rel=1e-2)
