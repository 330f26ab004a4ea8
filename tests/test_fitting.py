"""Lines, circles and arcs through plain points."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.outline.fitting import FailedFit, algebraic_circle, fit_arc, fit_circle, fit_line


def circle_points(n, centre, radius, first, sweep):
    a = first + np.linspace(0, sweep, n)
    return np.array(centre) + radius * np.stack([np.cos(a), np.sin(a)], 1)


def turned(p, angle, shift):
    c, s = math.cos(angle), math.sin(angle)
    return p @ np.array([[c, s], [-s, c]]) + shift


def test_exact_line_runs_the_way_of_the_points():
    fit = fit_line([[3, 1], [2, 1], [0, 1]])
    assert fit.angle_rad == pytest.approx(math.pi) or fit.angle_rad == pytest.approx(-math.pi)
    assert fit.centre == pytest.approx([5 / 3, 1])
    assert fit.chi2 == pytest.approx(0, abs=1e-20)


def test_line_residuals_are_positive_on_the_right():
    fit = fit_line([[0, 0], [1, -0.1], [2, 0], [3, -0.1], [4, 0]])
    assert fit.residuals_mm[1] > 0 > fit.residuals_mm[0]


@given(st.floats(-math.pi, math.pi), st.floats(-50, 50), st.floats(-50, 50), st.integers(0, 1000))
def test_fits_move_with_the_points(angle, dx, dy, seed):
    rng = np.random.default_rng(seed)
    p = np.stack([np.linspace(0, 20, 30), rng.normal(0, 0.1, 30)], 1)
    a, b = fit_line(p), fit_line(turned(p, angle, [dx, dy]))
    assert turned(a.centre[None], angle, [dx, dy])[0] == pytest.approx(b.centre, abs=1e-8)
    assert a.chi2 == pytest.approx(b.chi2, rel=1e-6)
    assert a.covariance == pytest.approx(b.covariance, rel=1e-6, abs=1e-12)
    q = circle_points(30, (1, 2), 5, 0.3, 2.0) + rng.normal(0, 0.02, (30, 2))
    c, d = fit_circle(q), fit_circle(turned(q, angle, [dx, dy]))
    assert turned(c.centre[None], angle, [dx, dy])[0] == pytest.approx(d.centre, abs=1e-6)
    assert c.radius == pytest.approx(d.radius, abs=1e-6)


def test_covariance_holds_the_truth():
    """400 noisy arcs of 60 degrees: the standardised errors have mean square 1 (standard error 0.07 for each)."""
    rng = np.random.default_rng(5)
    truth, radius = np.array([4.0, -3.0]), 8.0
    p = circle_points(40, truth, radius, 0.4, math.radians(60))
    score, line_score = [], []
    for _ in range(400):
        fit = fit_circle(p + rng.normal(0, 0.02, p.shape), np.full(40, 0.02))
        d = np.append(fit.centre - truth, fit.radius - radius)
        score.append(d @ np.linalg.solve(fit.covariance, d) / 3)
        line = fit_line(np.stack([np.linspace(-5, 5, 40), rng.normal(0, 0.02, 40)], 1), np.full(40, 0.02))
        d = np.array([-line.centre[1], line.angle_rad])
        line_score.append(d @ np.linalg.solve(line.covariance, d) / 2)
    assert np.mean(score) == pytest.approx(1, abs=0.2)
    assert np.mean(line_score) == pytest.approx(1, abs=0.2)


def test_points_without_an_edge_have_no_say():
    p = circle_points(30, (0, 0), 5, 0, 4)
    q = np.vstack([p, [[9, 9]]])
    fit = fit_circle(q, np.append(np.full(30, 0.02), np.inf))
    assert fit.radius == pytest.approx(5)
    assert fit.degrees == 27


@pytest.mark.parametrize("sweep", [0.5, 2.0, 5.5, -0.5, -3.5])
def test_arc_knows_its_ends_and_sense(sweep):
    p = circle_points(60, (2, 1), 3, 2.5, sweep)
    fit = fit_arc(p)
    assert fit.sweep_rad == pytest.approx(sweep)
    assert fit.turn == ("ccw" if sweep > 0 else "cw")
    assert fit.start == pytest.approx(p[0])
    assert fit.end == pytest.approx(p[-1])


@pytest.mark.parametrize(
    ("fit", "points", "word"),
    [
        (fit_line, [[1, 1]], "2 points"),
        (fit_line, [[1, 1], [1, 1], [1, 1]], "coincide"),
        (fit_circle, [[0, 0], [1, 1]], "3 points"),
        (fit_circle, [[0, 0], [1, 1], [2, 2], [3, 3]], "straight"),
        (fit_arc, [[0, 0], [1, 1], [2, 2], [3, 3]], "straight"),
        (fit_circle, [[0, 0], [1, np.nan], [2, 2]], "finite"),
        (fit_line, [1, 2, 3], "rows"),
        (algebraic_circle, [[0, 0]], "3 points"),
    ],
)
def test_a_failed_fit_is_false_and_says_why(fit, points, word):
    result = fit(points)
    assert isinstance(result, FailedFit)
    assert not result
    assert word in result.reason


def test_deviations_must_match_the_points():
    assert "one standard deviation" in fit_line([[0, 0], [1, 1]], [0.1, 0.1, 0.1]).reason
