"""Adjusted p-values against statsmodels, scipy and their laws."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from groupscan.stats.multiplicity import benjamini_hochberg, holm

families = st.lists(st.floats(0, 1), min_size=1, max_size=12).map(np.array)
steady = settings(deadline=None, max_examples=40)


@steady
@given(families)
def test_holm_equals_statsmodels(p):
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1])


@steady
@given(families)
def test_benjamini_hochberg_equals_scipy(p):
    assert benjamini_hochberg(p) == pytest.approx(scipy.stats.false_discovery_control(p))


@steady
@given(families)
def test_benjamini_hochberg_equals_statsmodels(p):
    """Which has it by itself, while the product asks scipy."""
    assert benjamini_hochberg(p) == pytest.approx(multipletests(p, method="fdr_bh")[1])


def test_a_stack_of_families_is_adjusted_family_by_family():
    stack = np.random.default_rng(1).random((3, 4, 5))
    for adjust in (holm, benjamini_hochberg):
        assert adjust(stack)[2, 1] == pytest.approx(adjust(stack[2, 1]))


def test_what_is_not_known_counts_as_no_evidence():
    for adjust in (holm, benjamini_hochberg):
        assert adjust([0.01, np.nan]) == pytest.approx(adjust([0.01, 1.0]))
