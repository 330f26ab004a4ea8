"""Tables of the chi-square distribution, as every statistics book prints them."""

import pytest

from measure.adjustment.least_squares import chi2_limit

TABLE = {  # degrees of freedom: 95 %, 99 %, and the two-sided 95 % interval
    1: (3.841, 6.635, 0.001, 5.024),
    2: (5.991, 9.210, 0.051, 7.378),
    3: (7.815, 11.345, 0.216, 9.348),
    5: (11.070, 15.086, 0.831, 12.833),
    10: (18.307, 23.209, 3.247, 20.483),
    20: (31.410, 37.566, 9.591, 34.170),
}
F = {1: 3.841, 2: 2.996, 3: 2.605, 5: 2.214, 10: 1.831, 20: 1.571}
"""Limit of the reference variance for a known one: chi-square over its freedom, 95 %."""


@pytest.mark.parametrize("freedom", TABLE)
def test_limits(freedom: int) -> None:
    p95, p99, low, high = TABLE[freedom]
    assert chi2_limit(freedom, 0.05) == pytest.approx(p95, abs=6e-4)
    assert chi2_limit(freedom, 0.01) == pytest.approx(p99, abs=6e-4)
    assert chi2_limit(freedom, 0.975) == pytest.approx(low, abs=6e-4)
    assert chi2_limit(freedom, 0.025) == pytest.approx(high, abs=6e-4)
    assert chi2_limit(freedom, 0.05) / freedom == pytest.approx(F[freedom], abs=6e-4)


def test_nothing_redundant_has_no_limit() -> None:
    assert chi2_limit(0) == 0.0
