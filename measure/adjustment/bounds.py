"""One-sided knowledge in an adjustment: what a normal distribution becomes when some of its quantities are bounded.

A bound is soft: it holds for the quantity plus an error of its own. For one bound the result is exact (the moments of
a truncated normal distribution); several are brought together by expectation propagation, so that their order does not
matter.

Sources: G. M. Tallis, The moment generating function of the truncated multi-normal distribution (1961); D. Simon and
D. L. Simon, Constrained Kalman filtering via density function truncation (2010), for bounds in an estimation problem;
T. P. Minka, Expectation propagation for approximate Bayesian inference (2001), in the form of C. E. Rasmussen and
C. K. I. Williams, Gaussian Processes for Machine Learning (2006), algorithm 3.5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array

ROUNDS, SETTLED = 200, 1e-10


@dataclass(frozen=True, slots=True)
class Bound:
    """``row @ x + error`` lies below a limit, or above it.

    Attributes:
        row: (u,) gradient of the bounded quantity.
        limit: of the quantity.
        below: whether it lies below the limit.
        sd: standard deviation of the error, above 0.
    """

    row: Array
    limit: float
    below: bool
    sd: float


def bounded(mean: Array, covariance: Array, bounds: Sequence[Bound]) -> tuple[Array, Array]:
    """Mean and covariance of normally distributed unknowns that are known to keep some bounds.

    Args:
        mean: (u,).
        covariance: (u, u).
        bounds: any number.

    Returns:
        (u,) and (u, u).
    """
    if not bounds:
        return mean, covariance
    rows = np.array([b.row for b in bounds])
    side = np.array([1.0 if b.below else -1.0 for b in bounds])
    limit, error = np.array([b.limit for b in bounds]), np.array([b.sd**2 for b in bounds])
    cross = covariance @ rows.T
    prior = rows @ cross
    start = rows @ mean
    weight, pull = np.zeros(len(bounds)), np.zeros(len(bounds))  # each bound as a normal observation: 1/s², y/s²
    for _ in range(ROUNDS):
        before = weight.copy()
        for i in range(len(bounds)):
            at, spread = _projected(start, prior, weight, pull)
            v = 1 / (1 / spread[i, i] - weight[i])
            m = v * (at[i] / spread[i, i] - pull[i])
            held, shrunk = _truncated(m, v, limit[i], side[i], error[i])
            weight[i] = 1 / shrunk - 1 / v
            pull[i] = held / shrunk - m / v
        if np.abs(weight - before).max() <= SETTLED * weight.max(initial=0.0):
            break
    at, _ = _projected(start, prior, weight, pull)
    root = np.sqrt(weight)
    inner = np.linalg.inv(np.eye(len(bounds)) + root[:, None] * prior * root)
    after = covariance - (cross * root) @ inner @ (cross * root).T
    return mean + cross @ (pull - weight * at), (after + after.T) / 2


def _projected(start: Array, prior: Array, weight: Array, pull: Array) -> tuple[Array, Array]:
    """Mean and covariance of the bounded quantities with each bound standing as an observation."""
    root = np.sqrt(weight)
    inner = np.linalg.inv(np.eye(len(start)) + root[:, None] * prior * root)
    spread = prior - (prior * root) @ inner @ (prior * root).T
    gain = pull - root * (inner @ (root * (prior @ pull + start)))
    return start + prior @ gain, spread


def _truncated(m: float, v: float, limit: float, side: float, error: float) -> tuple[float, float]:
    """Mean and variance of a normal quantity (m, v) that keeps one soft bound (Tallis 1961, one dimension)."""
    from scipy.special import log_ndtr

    total = math.sqrt(v + error)
    z = side * (limit - m) / total
    ratio = math.exp(-z * z / 2 - math.log(2 * math.pi) / 2 - float(log_ndtr(z)))
    return m - side * v * ratio / total, v - v * v * ratio * (z + ratio) / (v + error)
