"""The adjustment's core: two ways to the same tests, and the patterns of errors."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure.adjustment.least_squares import (
    GroupResult,
    Observations,
    against_prediction,
    along,
    log_evidence,
    projected,
    snoop,
    solve,
    without,
)

Array = np.ndarray


def random_case(seed: int) -> tuple[Array, Array, Array, Array]:
    rng = np.random.default_rng(seed)
    u, n = int(rng.integers(2, 9)), int(rng.integers(1, 9))
    a, b = rng.normal(size=(u, u)), rng.normal(size=(n, n))
    return rng.normal(size=(n, u)), rng.normal(size=n), b @ b.T + np.eye(n), a @ a.T + 0.1 * np.eye(u)


@given(st.integers(0, 10_000))
def test_prior_and_group_give_the_same_tests(seed: int) -> None:
    design, y, r, c0 = random_case(seed)
    u = design.shape[1]
    s = solve([Observations(np.eye(u), np.zeros(u), c0), Observations(design, y, r)])
    full, short = s.groups[1], against_prediction(y, r, design @ c0 @ design.T)
    for x, z in (
        (full.residuals, short.residuals),
        (full.redundancy, short.redundancy),
        (full.cofactor, short.cofactor),
    ):
        assert x == pytest.approx(z, abs=1e-7)
    assert full.standardised() == pytest.approx(short.standardised(), abs=1e-6)
    # chi-square is that of the predicted residuals, and the redundancies add up to the freedom
    assert s.chi2 == pytest.approx(float(y @ short.weighted), rel=1e-6)
    assert sum(g.redundancy.sum() for g in s.groups) == pytest.approx(s.freedom, abs=1e-7)
    # posterior covariance by the gain formula
    gain = c0 @ design.T @ np.linalg.inv(design @ c0 @ design.T + r)
    assert s.covariance == pytest.approx(c0 - gain @ design @ c0, abs=1e-7)
    assert s.x == pytest.approx(gain @ y, abs=1e-7)
    q = design @ c0 @ design.T + r
    assert log_evidence(short, y) == pytest.approx(-0.5 * np.linalg.slogdet(q)[1] - 0.5 * y @ np.linalg.solve(q, y))


@given(st.integers(0, 10_000))
def test_giving_up_an_observation_is_leaving_it_out(seed: int) -> None:
    design, y, r, c0 = random_case(seed)
    n = len(y)
    k = seed % n
    keep = [i for i in range(n) if i != k]
    u, m = without(against_prediction(y, r, design @ c0 @ design.T), [k])
    if not keep:
        assert not u.any()
        return
    left = against_prediction(y[keep], r[np.ix_(keep, keep)], design[keep] @ c0 @ design[keep].T)
    assert u[keep] == pytest.approx(left.weighted, abs=1e-7)
    assert m[np.ix_(keep, keep)] == pytest.approx(left.cofactor, abs=1e-7)
    assert u[k] == 0
    assert not m[k].any()


@given(st.integers(0, 10_000), st.floats(-3, 3))
def test_an_error_of_a_pattern_is_found_and_removed(seed: int, size: float) -> None:
    design, y, r, c0 = random_case(seed)
    c = np.random.default_rng(seed + 1).normal(size=len(y))
    plain, shifted = (
        against_prediction(y, r, design @ c0 @ design.T),
        against_prediction(y + size * c, r, design @ c0 @ design.T),
    )
    before, u0 = along(plain.weighted, plain.cofactor, c)
    after, u1 = along(shifted.weighted, shifted.cofactor, c)
    assert after - before == pytest.approx(size, abs=1e-7)
    assert u0 == pytest.approx(u1)
    one, two = projected(plain.weighted, plain.cofactor, c), projected(shifted.weighted, shifted.cofactor, c)
    assert one[0] == pytest.approx(two[0], abs=1e-7)
    assert along(*one, c)[1] > 1e5 * u0


def test_nothing_can_be_said_without_a_redundant_observation() -> None:
    s = solve([Observations(np.array([[1.0]]), np.array([3.0]), np.array([0.04]))])
    assert (s.x[0], s.freedom) == (3.0, 0)
    assert s.groups[0].redundancy[0] == pytest.approx(0, abs=1e-12)
    assert s.groups[0].standardised()[0] == pytest.approx(0, abs=1e-6)
    assert s.groups[0].detectable()[0] > 1e6
    assert snoop(s.groups[0]) == []


def test_an_undetermined_unknown_is_an_error() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        solve([Observations(np.array([[1.0, 0.0]]), np.array([3.0]), np.array([1.0]))])


def test_snooping_takes_two_blunders_and_puts_back_what_was_only_near_them() -> None:
    """Ten readings of one length; two far off the same way drag the mean with them."""
    y = np.array([0.01, -0.02, 0.0, 0.01, -0.01, 0.0, 0.02, -0.01, 1.0, 1.1])
    t = solve([Observations(np.ones((10, 1)), y, np.full(10, 0.02**2))]).groups[0]
    assert sorted(snoop(t)) == [8, 9]
    assert snoop(t)[0] == 9


def test_put_back() -> None:
    """Weighted residuals made so that the first one to go fits again once the second has gone."""
    m = np.array([[1.0, -0.9], [-0.9, 1.0]])
    t = GroupResult(np.zeros(2), np.zeros(2), np.array([5.0, -4.8]), m)
    assert len(snoop(t)) == 1


def test_groups_that_need_no_tests_get_none() -> None:
    design, y, r, c0 = random_case(3)
    u = design.shape[1]
    groups = [Observations(np.eye(u), np.zeros(u), c0), Observations(design, y, r)]
    s, full = solve(groups, tested=(1,)), solve(groups)
    assert len(s.groups[0].weighted) == 0
    assert s.x == pytest.approx(full.x)
    assert s.chi2 == pytest.approx(full.chi2)
