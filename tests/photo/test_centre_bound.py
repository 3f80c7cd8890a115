"""A clean disc's centre is measured about as well as the light allows: the Cramer-Rao bound."""

import numpy as np
import pytest

from benchmarks.centre_bound import CASES, Case, bound, measure


@pytest.mark.parametrize(
    ("case", "least"),
    [
        # Numerical Fisher information with centre, radius, contrast and background unknown, which
        # maximum-likelihood fits to 400 drawn pictures each reached (derived for this project).
        (Case(100, 2, 0.8, 5), 0.00849911592),
        (Case(100, 5, 0.8, 10), 0.01502379262),
        (Case(60, 3, 1.0, 8), 0.0187781946),
        (Case(150, 2, 0.8, 3), 0.00731526784),
    ],
)
def test_the_closed_form_is_the_fisher_informations(case, least) -> None:
    assert bound(case) == pytest.approx(least, rel=5e-4)


@pytest.mark.parametrize("case", CASES)
def test_the_spread_is_within_a_third_of_the_bound(case) -> None:
    errors, radii = measure(case, discs=128, seed=3)
    spread = float(np.sqrt((errors**2).mean()))
    # 256 errors give their spread to 4.4 %; below the bound by more, the fit would have cheated.
    assert 0.87 < spread / bound(case) < 1.33
    assert np.abs(errors.mean(axis=0)).max() < 4 * spread / np.sqrt(len(errors))
    assert np.median(radii) == pytest.approx(case.radius_px, rel=0.03)
