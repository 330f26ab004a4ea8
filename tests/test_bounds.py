"""Soft bounds in an adjustment: against the closed form, numerical integration and plain sampling."""

import math

import numpy as np
import pytest
from scipy import integrate
from scipy.stats import norm, truncnorm

from measure.adjustment.bounds import Bound, bounded


def one(limit, below, sd=1e-6):
    return Bound(np.array([1.0]), limit, below, sd)


def test_one_bound_gives_the_moments_of_the_truncated_normal_distribution():
    mean, covariance = bounded(np.array([0.3]), np.array([[0.04]]), [one(0.2, True)])
    exact = truncnorm(-np.inf, (0.2 - 0.3) / 0.2, loc=0.3, scale=0.2)
    assert mean[0] == pytest.approx(exact.mean(), abs=1e-6)
    assert covariance[0, 0] == pytest.approx(exact.var(), abs=1e-6)


def test_a_soft_bound_by_integration():
    mean, covariance = bounded(np.array([0.0]), np.array([[1.0]]), [one(-0.5, True, 0.4)])

    def weighted(power):
        return integrate.quad(lambda x: x**power * norm.pdf(x) * norm.cdf((-0.5 - x) / 0.4), -10, 10)[0]

    first = weighted(1) / weighted(0)
    assert mean[0] == pytest.approx(first, abs=1e-7)
    assert covariance[0, 0] == pytest.approx(weighted(2) / weighted(0) - first**2, abs=1e-7)


def test_a_bound_that_holds_anyway_changes_nothing():
    mean, covariance = bounded(np.array([0.0]), np.array([[0.01]]), [one(2.0, True, 0.05)])
    assert abs(mean[0]) < 1e-12
    assert covariance[0, 0] == pytest.approx(0.01)


def test_several_bounds_against_sampling_and_in_any_order():
    rng = np.random.default_rng(3)
    m = np.array([0.2, 0.0, -0.1])
    c = np.array([[1.0, 0.5, 0.2], [0.5, 2.0, -0.3], [0.2, -0.3, 0.7]])
    bounds = [
        Bound(np.array([1.0, 0, 0]), 0.0, True, 0.1),
        Bound(np.array([0, 1.0, 1]), 0.4, False, 0.2),
        Bound(np.array([0, 0, 1.0]), 0.5, True, 0.2),
    ]
    x = rng.multivariate_normal(m, c, 400_000)
    kept = np.ones(len(x), bool)
    for b in bounds:
        y = x @ b.row + rng.normal(0, b.sd, len(x))
        kept &= (y < b.limit) if b.below else (y > b.limit)
    mean, covariance = bounded(m, c, bounds)
    assert mean == pytest.approx(x[kept].mean(0), abs=0.02)
    assert covariance == pytest.approx(np.cov(x[kept].T), abs=0.02)
    again, _ = bounded(m, c, bounds[::-1])
    assert again == pytest.approx(mean, abs=1e-8)


def test_squeezed_from_both_sides_it_lies_between():
    mean, covariance = bounded(np.array([0.0]), np.array([[1.0]]), [one(-0.1, True, 0.02), one(-0.3, False, 0.02)])
    assert mean[0] == pytest.approx(-0.2, abs=0.003)
    assert math.sqrt(covariance[0, 0]) < 0.1
