"""W. Baarda, A testing procedure for use in geodetic networks (1968): critical values and detectable errors.

The figures are from memory, each recomputed from the normal distribution; the formulas for the standardised residual
and the detectable error are as surveying manuals print them.
"""

import math

import numpy as np
import pytest
from scipy.special import ndtri

from measure.adjustment.least_squares import (
    ALPHA0,
    CRITICAL,
    DELTA0,
    Observations,
    along,
    solve,
)


def test_constants_are_his() -> None:
    """α₀ of 0.001 and a power of 0.80: 3.29 and 4.13 in his tables, from memory; more digits by the normal
    distribution."""
    assert ALPHA0 == 0.001
    assert pytest.approx(3.2905, abs=5e-5) == CRITICAL
    assert pytest.approx(4.1321, abs=6e-5) == DELTA0
    assert ndtri(1 - ALPHA0 / 2) == pytest.approx(CRITICAL, abs=1e-7)
    assert CRITICAL + ndtri(0.80) == pytest.approx(DELTA0, abs=1e-7)
    lambda0 = DELTA0**2
    assert lambda0 == pytest.approx(17.075, abs=5e-4)


@pytest.mark.parametrize("n", [2, 3, 5, 10])
def test_repeats_of_one_length(n: int) -> None:
    """n equal readings of one length: r = 1 - 1/n, w = v / (s √r), MDE = δ₀ s / √r, v = r e."""
    s, e = 0.02, 0.3
    readings = np.zeros(n)
    readings[0] = e
    t = solve([Observations(np.ones((n, 1)), readings, np.full(n, s**2))]).groups[0]
    r = 1 - 1 / n
    assert t.redundancy == pytest.approx([r] * n)
    assert t.residuals[0] == pytest.approx(r * e)
    assert t.standardised()[0] == pytest.approx(r * e / (s * math.sqrt(r)))
    assert t.detectable() == pytest.approx([DELTA0 * s / math.sqrt(r)] * n)
    assert along(t.weighted, t.cofactor, np.eye(n)[0])[0] == pytest.approx(e)


def test_detectable_error_is_detected_four_times_in_five() -> None:
    """Simulation: an error of the detectable size is noticed with the power 0.80, none with 0.001."""
    rng = np.random.default_rng(5)
    n, s, runs = 4, 0.02, 4000
    mde = DELTA0 * s / math.sqrt(1 - 1 / n)
    clean = rng.normal(0, s, (runs, n))
    found = false = 0
    for row in clean:
        for shift in (mde, 0.0):
            y = row.copy()
            y[0] += shift
            w = solve([Observations(np.ones((n, 1)), y, np.full(n, s**2))]).groups[0].standardised()
            found += shift > 0 and abs(w[0]) > CRITICAL
            false += shift == 0 and abs(w[0]) > CRITICAL
    assert found / runs == pytest.approx(0.80, abs=0.03)
    assert false / runs < 0.004
