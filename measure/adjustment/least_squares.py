"""Least-squares adjustment in the textbook form, and the tests that belong to it.

Gauss–Markov model: groups of observation equations ``design @ x = observed + error`` with a full covariance for each
group, groups independent of each other. Prior knowledge of unknowns is a group like any other.

Sources: E. M. Mikhail, F. Ackermann, Observations and Least Squares (1976); W. Baarda, A testing procedure for use in
geodetic networks (1968), for the standardised residual, the redundancy number and the marginally detectable error;
P. J. G. Teunissen, Testing Theory (2000), for the test of any alternative hypothesis by its own vector.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array

ALPHA0 = 0.001
"""Chance that a good observation is called bad (Baarda 1968)."""
CRITICAL = 3.2905267
"""Two-sided critical value of the standard normal distribution for ALPHA0."""
DELTA0 = 4.1321479
"""Non-centrality at which an error is noticed with a chance of 0.80, the marginally detectable one (Baarda 1968):
3.2905 + 0.8416."""


@dataclass(frozen=True, slots=True)
class Observations:
    """A group of observation equations.

    Attributes:
        design: (n, u) change of each observed quantity with each unknown.
        observed: (n,) observed minus computed at the point of linearisation.
        covariance: (n, n), or (n,) variances of independent observations.
        root: (n, n) `whitener(covariance)`, where it is at hand.
    """

    design: Array
    observed: Array
    covariance: Array
    root: Array | None = None


@dataclass(frozen=True, slots=True)
class GroupResult:
    """A group after the adjustment.

    Attributes:
        residuals: (n,) observed minus adjusted.
        redundancy: (n,) share of an error in each observation that shows in its own residual, 0 to 1.
        weighted: (n,) inverse covariance times residuals.
        cofactor: (n, n) covariance of `weighted`.
    """

    residuals: Array
    redundancy: Array
    weighted: Array
    cofactor: Array

    def standardised(self) -> Array:
        """(n,) standardised residuals, standard normal where nothing is wrong; 0 where nothing checks."""
        return self.weighted / np.sqrt(self._checks())

    def detectable(self) -> Array:
        """(n,) marginally detectable error of each observation; infinite where nothing checks."""
        return DELTA0 / np.sqrt(self._checks())

    def _checks(self) -> Array:
        return np.maximum(np.diag(self.cofactor), 1e-18)


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """An adjusted linear model.

    Attributes:
        x: (u,) unknowns (from the point of linearisation).
        covariance: (u, u) of the unknowns, for a reference variance of one.
        chi2: weighted sum of squared residuals of all groups.
        freedom: redundant observations.
        groups: the tests of each group, in the order given.
    """

    x: Array
    covariance: Array
    chi2: float
    freedom: int
    groups: tuple[GroupResult, ...]


def solve(groups: Sequence[Observations], tested: Sequence[int] | None = None) -> LeastSquares:
    """Best linear unbiased estimate of the unknowns.

    Args:
        groups: one or more; together they must determine every unknown.
        tested: which groups need their tests (all where None); the others get empty arrays.

    Raises:
        numpy.linalg.LinAlgError: the observations leave an unknown undetermined.
    """
    white = [_whitened(g) for g in groups]
    a = np.concatenate([w[0] for w in white])
    y = np.concatenate([w[1] for w in white])
    scale = np.sqrt(np.einsum("ij,ij->j", a, a))
    if not np.all(scale > 0):
        raise np.linalg.LinAlgError("an unknown has no observation")
    b = a / scale
    normal = b.T @ b
    factor = np.linalg.cholesky(normal)
    inverse = np.linalg.inv(factor)
    z = inverse.T @ (inverse @ (b.T @ y))
    z += inverse.T @ (inverse @ (b.T @ (y - b @ z)))  # one step of refinement
    cofactor = inverse.T @ inverse / np.outer(scale, scale)
    out, chi2, at = [], 0.0, 0
    for k, (g, (design, observed, root)) in enumerate(zip(groups, white, strict=True)):
        n = len(observed)
        v = observed - design @ (z / scale)
        chi2 += float(v @ v)
        at += n
        if tested is not None and k not in tested:
            nothing = np.zeros(0)
            out.append(GroupResult(nothing, nothing, nothing, np.zeros((0, 0))))
            continue
        qv = np.eye(n) - design @ cofactor @ design.T
        weighted = root.T @ v
        m = root.T @ qv @ root
        full = g.covariance if g.covariance.ndim == 2 else np.diag(g.covariance)
        out.append(GroupResult(full @ weighted, np.einsum("ij,ji->i", full, m), weighted, m))
    return LeastSquares(z / scale, cofactor, chi2, at - len(z), tuple(out))


def _whitened(g: Observations) -> tuple[Array, Array, Array]:
    """Design and observed with unit covariance, and the matrix that makes them so."""
    if g.covariance.ndim == 1:
        root = np.diag(1 / np.sqrt(g.covariance))
        return g.design / np.sqrt(g.covariance)[:, None], g.observed / np.sqrt(g.covariance), root
    root = whitener(g.covariance) if g.root is None else g.root
    return root @ g.design, root @ g.observed, root


def whitener(covariance: Array) -> Array:
    """(n, n) matrix that turns observations of this covariance (n, n) into independent ones of unit variance."""
    # Scaled to correlations first: variances may differ by many powers of ten.
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    try:
        root = np.linalg.inv(np.linalg.cholesky(correlation))
    except np.linalg.LinAlgError:  # singular but for rounding
        values, vectors = np.linalg.eigh(correlation)
        root = vectors.T / np.sqrt(np.maximum(values, 1e-10))[:, None]
    return np.asarray(root / sd)


def projected(u: Array, m: Array, c: Array) -> tuple[Array, Array]:
    """Weighted residuals and their cofactor as they would be with any error of pattern `c` allowed.

    Args:
        u, m: (n,) and (n, n).
        c: (n,) the pattern; a unit vector gives up one observation.
    """
    mc = m @ c
    strength = float(c @ mc)
    if strength <= 1e-18:
        return u, m
    return u - mc * (float(c @ u) / strength), m - np.outer(mc, mc) / strength


def without(t: GroupResult, gone: Sequence[int]) -> tuple[Array, Array]:
    """Weighted residuals and their cofactor as they would be with some observations given up.

    Returns:
        (n,) and (n, n); rows and columns of those given up are zero.
    """
    u, m = t.weighted, t.cofactor
    for k in gone:
        u, m = projected(u, m, np.eye(len(u))[k])
    u, m = u.copy(), m.copy()
    u[list(gone)] = 0.0
    m[list(gone)] = m[:, list(gone)] = 0.0
    return u, m


def snoop(t: GroupResult, critical: float = CRITICAL) -> list[int]:
    """Data snooping: the observation with the largest standardised residual is set aside, one at a time, until none
    exceeds the critical value; then those set aside are put back where they fit after all (Baarda 1968).

    Returns:
        indices of the observations that stay aside, in the order in which they went.
    """
    gone: list[int] = []
    while len(gone) < len(t.weighted):
        u, m = without(t, gone)
        w = np.abs(u) / np.sqrt(np.maximum(np.diag(m), 1e-18))
        w[gone] = 0.0
        if w.max(initial=0.0) <= critical:
            break
        gone.append(int(np.argmax(w)))
    for k in list(gone):
        u, m = without(t, [g for g in gone if g != k])
        if m[k, k] > 1e-18 and abs(u[k]) <= critical * math.sqrt(m[k, k]):
            gone.remove(k)
    return gone


def along(u: Array, m: Array, c: Array) -> tuple[float, float]:
    """An error of pattern `c` in all observations at once (Teunissen 2000): its estimate and standard uncertainty.

    Args:
        u, m: weighted residuals and their cofactor, (n,) and (n, n).
        c: (n,) change of each observation by an error of size one.
    """
    strength = float(c @ m @ c)
    if strength <= 1e-12 * float(c @ c):
        return 0.0, math.inf
    return float(c @ u) / strength, 1 / math.sqrt(strength)


def chi2_limit(freedom: int, alpha: float = 0.05) -> float:
    """Value that chi-square with this freedom exceeds with chance `alpha`; 0 where the freedom is 0."""
    from scipy.special import chdtri

    return float(chdtri(freedom, alpha)) if freedom else 0.0


def against_prediction(observed: Array, covariance: Array, predicted: Array) -> GroupResult:
    """The tests of a group of observations against a prior of all unknowns, before any adjustment.

    The same numbers as `solve` gives for the group next to a group that holds the prior, found from the observations'
    predicted covariance alone: cheap, and exact where the prior is nearly singular.

    Args:
        observed: (n,) observed minus computed with the prior's values.
        covariance: (n, n) of the observations.
        predicted: (n, n) covariance of the computed values by the prior: design @ prior @ design.T.
    """
    m = np.linalg.inv(predicted + covariance)
    m = (m + m.T) / 2
    weighted = m @ observed
    return GroupResult(covariance @ weighted, np.einsum("ij,ji->i", covariance, m), weighted, m)


def log_evidence(t: GroupResult, observed: Array) -> float:
    """Log of the normal density of observations tested by `against_prior`, without its constant."""
    return 0.5 * float(np.linalg.slogdet(t.cofactor)[1]) - 0.5 * float(observed @ t.weighted)
