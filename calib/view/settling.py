"""Weighted least squares as views are solved by: damped Gauss-Newton with priors, misfits silenced (Tukey)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calib.arrays import Array

TURNS, PLAIN_TURNS, MOST_PLAIN_TURNS, AGREED, SETTLED = 60, 2, 6, 1.0, 0.5
"""Most turns of the solution; how many come before points are weighed by their residuals, at least and at most, and how
small a step in between; how small the last step must be, in standard deviations as the points' own scatter has them."""
STILL = 0.02
"""A step smaller than this, in standard deviations, is the last one: a hundredth of u95, of which two digits are told
(arithmetic)."""
HALVINGS = 6
"""How often a step is halved that makes the sum of squares larger: seen from straight above, tilt and focal length hang
together by a product, and whole steps then leap to and fro about the best place (Gauss-Newton with a line search)."""
MAD_TO_SD = 1.48
"""From the median of absolute residuals to a standard deviation, of normal ones (1 / 0.6745)."""
FOCAL = 6
"""Where the focal length stands among the unknowns."""
SILENT_FROM = 4.5
"""Points farther off, in standard deviations, have no weight; Tukey's 4.685 is 95 % efficient (from memory)."""


class LocatedPoints(Protocol):
    """Located points as a function of what is unknown."""

    @property
    def sigma_px(self) -> Array:
        """(n,) standard deviation of each point."""

    def misfit(self, v: Array) -> Array:
        """(n,) located points less the model's, along the normals."""

    def derivative(self, v: Array) -> Array:
        """(n, p) change of `misfit` with the unknowns."""


@dataclass(frozen=True, slots=True)
class Settled:
    """A least-squares solution.

    Attributes:
        values: (p,); covariance: (p, p).
        chi2: weighted sum of squares of what has weight, priors included.
        loss: the same with what was silenced, see `loss`: by it solutions of the same points are compared.
        residuals_px: (n,).
    """

    values: Array
    covariance: Array
    chi2: float
    loss: float
    residuals_px: Array


def settle(seen: LocatedPoints, start: Array, mean: Array, information: Array) -> Settled:
    """Damped Gauss-Newton with priors and Tukey weights.

    Args:
        seen: the observations.
        start: (p,) first guess; the focal length is the seventh.
        mean, information: (p,) best values known beforehand, and (p, p) inverse of their covariance; 0 for none.

    Raises:
        numpy.linalg.LinAlgError: the unknowns are not determined, or don't settle.
    """
    q = start
    weight, spread, last, agreed = np.ones_like(seen.sigma_px), 1.0, np.inf, False
    r = seen.misfit(q)
    for turn in range(TURNS):
        A = seen.derivative(q)
        W = weight / seen.sigma_px**2
        N = A.T @ (A * W[:, None]) + information
        step = np.asarray(np.linalg.solve(N, -(A.T @ (W * r)) - information @ (q - mean)), float)
        q, r = _downhill(seen, q, r, step, W, mean, information)
        if not np.all(np.isfinite(q)):
            break
        with np.errstate(invalid="ignore"):  # a matrix that is no better than singular: `last` is then no number
            last = float(np.abs(step / np.sqrt(np.diag(np.linalg.inv(N)))).max()) / spread
        if turn > PLAIN_TURNS and last < STILL:
            break
        # no point is doubted before all have had their say: a poor start would silence a whole side for good
        agreed = agreed or (turn >= PLAIN_TURNS and last < AGREED) or turn >= MOST_PLAIN_TURNS
        if agreed:
            scaled = np.abs(r) / seen.sigma_px
            spread = max(1.0, MAD_TO_SD * float(np.median(scaled)))
            weight = np.clip(1 - (scaled / (SILENT_FROM * spread)) ** 2, 0.0, None) ** 2
    if not last < SETTLED or q[FOCAL] <= 0:
        raise np.linalg.LinAlgError("the view does not settle")
    A = seen.derivative(q)
    W = weight / (seen.sigma_px * spread) ** 2
    cov = covariance_of(A.T @ (A * W[:, None]) + information)
    squares = float((W * r**2).sum())
    known = float((q - mean) @ information @ (q - mean))
    whole = loss(r / (seen.sigma_px * spread)) if agreed else squares
    return Settled(q, cov, squares + known, whole + known, r)


def _downhill(
    seen: LocatedPoints, q: Array, r: Array, step: Array, weight: Array, mean: Array, information: Array
) -> tuple[Array, Array]:
    """(p,) unknowns after as much of a step as makes the weighted sum of squares smaller, and (n,) misfits there."""

    def squares(at: Array, misfit: Array) -> float:
        return float(weight @ misfit**2 + (at - mean) @ information @ (at - mean))

    before = squares(q, r)
    for _ in range(HALVINGS):
        there = q + step
        misfit = seen.misfit(there)
        if there[FOCAL] > 0 and squares(there, misfit) <= before:
            break
        step = step / 2
    return there, misfit


def loss(scaled: Array) -> float:
    """Twice Tukey's loss: the sum of squares of what fits, and as much for each point that does not, so that no
    solution is the better for having silenced a side."""
    within = np.clip(1 - (scaled / SILENT_FROM) ** 2, 0.0, None)
    return float((SILENT_FROM**2 / 3 * (1 - within**3)).sum())


def covariance_of(normal: Array) -> Array:
    """(p, p) inverse of a normal matrix, by Cholesky's factor, so that no variance can come out negative.

    Args:
        normal: (p, p), of unknowns in whatever units.

    Raises:
        numpy.linalg.LinAlgError: it is not positive definite: some of the unknowns are not determined.
    """
    unit = np.sqrt(np.maximum(np.diag(normal), 0.0))
    if not (unit > 0).all():
        raise np.linalg.LinAlgError("an unknown that nothing depends on")
    inverse = np.linalg.inv(np.linalg.cholesky(normal / np.outer(unit, unit))) / unit
    return np.asarray(inverse.T @ inverse)
