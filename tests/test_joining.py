"""The fit of one line or arc: its covariance holds the truth, and it moves with its points."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.single_fits import one


def arc_points(n, centre, radius, first, sweep):
    a = first + np.linspace(0, sweep, n)
    return np.array(centre) + radius * np.stack([np.cos(a), np.sin(a)], 1)


def turned(p, angle, shift):
    c, s = math.cos(angle), math.sin(angle)
    return p @ np.array([[c, s], [-s, c]]) + shift


@settings(max_examples=25)
@given(st.floats(-math.pi, math.pi), st.floats(-50, 50), st.floats(-50, 50), st.integers(0, 1000))
def test_fits_move_with_the_points(angle, dx, dy, seed):
    rng = np.random.default_rng(seed)
    p = np.stack([np.linspace(0, 20, 30), rng.normal(0, 0.1, 30)], 1)
    a, ea = one(p, arc=False)
    b, eb = one(turned(p, angle, [dx, dy]), arc=False)
    assert turned(a.origin, angle, [dx, dy]) == pytest.approx(b.origin, abs=1e-8)
    assert (ea.residual**2).sum() == pytest.approx((eb.residual**2).sum(), rel=1e-6)
    assert ea.inverse[0, :2, :2] == pytest.approx(eb.inverse[0, :2, :2], rel=1e-6, abs=1e-12)
    q = arc_points(30, (1, 2), 5, 0.3, 2.0) + rng.normal(0, 0.02, (30, 2))
    c, d = one(q, arc=True)[0], one(turned(q, angle, [dx, dy]), arc=True)[0]
    assert turned(c.centre(), angle, [dx, dy]) == pytest.approx(d.centre(), abs=1e-6)
    assert c.radius() == pytest.approx(d.radius(), abs=1e-6)


def test_covariance_holds_the_truth():
    """400 noisy arcs of 60 degrees and lines: standardised errors have mean square 1 (standard error of each 0.05)."""
    rng = np.random.default_rng(5)
    centre, radius, sd = np.array([4.0, -3.0]), 8.0, 0.02
    p = arc_points(40, centre, radius, 0.4, math.radians(60))
    of_arcs, of_lines = [], []
    for _ in range(400):
        arc, e = one(p + rng.normal(0, sd, p.shape), arc=True, variance=np.full(40, sd**2))
        away = arc.origin[0] - centre
        out = np.hypot(*away) - radius
        aslant = math.remainder(arc.angle[0] - math.atan2(away[0], -away[1]), math.tau)
        off = np.array([-out, aslant, arc.curvature[0] - 1 / radius])
        of_arcs.append(off @ np.linalg.solve(e.inverse[0], off) / 3)
        flat = np.stack([np.linspace(-5, 5, 40), rng.normal(0, sd, 40)], 1)
        line, e = one(flat, arc=False, variance=np.full(40, sd**2))
        off = np.array([line.origin[0, 1], line.angle[0]])
        of_lines.append(off @ np.linalg.solve(e.inverse[0, :2, :2], off) / 2)
    assert np.mean(of_arcs) == pytest.approx(1, abs=0.2)
    assert np.mean(of_lines) == pytest.approx(1, abs=0.2)
