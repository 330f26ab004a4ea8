"""Line with errors in both axes: K. Pearson (1901) data with the weights of D. York (1966).

Points, weights and the weighted result are those of the documentation of a metrology institute's uncertainty library
(type-A line fit, weighted total least squares); the plain orthogonal result is from memory, recomputed.
"""

import math

import numpy as np
import pytest

from measure.outline.fitting import LineFit, fit_line

X = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WX = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
WY = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])
POINTS = np.stack([X, Y], 1)


def slope_and_intercept(fit):
    slope = math.tan(fit.angle_rad)
    return slope, fit.centre[1] - slope * fit.centre[0]


def test_york_weights():
    fit = fit_line(POINTS, np.stack([1 / np.sqrt(WX), 1 / np.sqrt(WY)], 1))
    assert isinstance(fit, LineFit)
    slope, intercept = slope_and_intercept(fit)
    assert slope == pytest.approx(-0.48053339, abs=2e-8)
    assert intercept == pytest.approx(5.47991018, abs=2e-7)
    assert fit.chi2 == pytest.approx(11.8664, abs=5e-5)  # from memory, recomputed
    assert fit.degrees == 8


def test_york_uncertainties():
    """Published 0.29193 and 0.057617; taken at adjusted instead of observed points they are 1 % larger: hence 2 %."""
    fit = fit_line(POINTS, np.stack([1 / np.sqrt(WX), 1 / np.sqrt(WY)], 1))
    assert isinstance(fit, LineFit)
    # y = centre_y + (x - centre_x) tan(angle) - offset / cos(angle): derivatives of slope and intercept
    c = math.cos(fit.angle_rad)
    j = np.array([[0, 1 / c**2], [-1 / c, -fit.centre[0] / c**2]])
    u_slope, u_intercept = np.sqrt(np.diag(j @ fit.covariance @ j.T))
    assert u_slope == pytest.approx(0.057617, rel=0.02)
    assert u_intercept == pytest.approx(0.29193, rel=0.02)
    assert u_slope == pytest.approx(0.057985, abs=5e-7)  # at the adjusted points; from memory, recomputed
    assert u_intercept == pytest.approx(0.29497, abs=5e-6)  # at the adjusted points; from memory, recomputed


def test_pearson_plain_orthogonal():
    fit = fit_line(POINTS)
    assert isinstance(fit, LineFit)
    slope, intercept = slope_and_intercept(fit)
    assert slope == pytest.approx(-0.54556, abs=5e-6)  # from memory
    assert intercept == pytest.approx(5.7840, abs=5e-5)  # from memory
    assert math.sqrt(fit.chi2 / len(X)) == pytest.approx(0.24871, abs=5e-6)  # from memory
