"""Chains of lines and arcs fitted to their points together, tangent or crossing at their joints.

Each point has a say in one piece only, so the normal equations fall into one 3 × 3 block for each piece; tangent
joints are exact conditions between neighbours (Lagrange multipliers; E. Mikhail, "Observations and Least Squares",
1976, chapter 9, combined adjustment with conditions between parameters), whose system is tridiagonal along a chain.
That lets hundreds of short chains, each a supposition about a stretch of the outline, be fitted in one go.

Points are weighed by Student's t distribution (K. Lange, R. Little and J. Taylor, "Robust statistical modeling using
the t distribution", 1989). After each step, joints are found anew and the points between them dealt out again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solveh_banded

from calib.arrays import Array
from measure.outline.chains import Chains, Joints, around_joints, dealt, joints, rolled
from measure.outline.pieces import FLATTEST, Index, Pieces, frames, moved

TAIL = 5.0
"""Degrees of freedom of the t distribution that residuals are weighed by."""

BUMP_HEIGHT_MM = 0.25
"""A point that strays further is no accident."""

GROSS_MM = 0.25
"""No point that is one lies farther off, whatever the noise: it costs more than the t distribution would have it."""
_GROSS_UNIT_MM = 0.1

_UNHEARD = 0.02
"""Share of its weight that a point keeps that is taken for an accident."""
_ROUNDED, _ROUNDED_BY = 0.8, (1.1, 0.47)
"""A blurred bend of slope ± 1, u blur widths from its corner: 2 (φ(u) - u Φ(-u)), of which 0.8 exp(-1.1 u - 0.47 u²) is
a short form (arithmetic; 2 φ(0) is 0.798)."""
_MOST_BLURRED = 0.3
"""Most that blur is reckoned to shift a bent edge, in blur widths: beyond, the formula of small curvatures ends."""
_MOST_OFFSET_MM, _MOST_TURN_RAD, _MOST_BEND, _LEAST_BEND = 0.6, 0.35, 0.5, 5e-3
"""Most that a piece is moved and turned in one step, and its curvature changed: by this share, or this much, 1/mm
(chosen: the range in which the linear picture holds)."""

_DAMPING = np.array([1e-2, 1e-1, 1e-1])


@dataclass(frozen=True, slots=True)
class Normal:
    """The last normal equations of a fit.

    Attributes:
        residual: (n,) signed distances, mm.
        weight: (n,) weights that the points ended up with, 1/mm².
        slopes: (n, 3) derivatives of the residuals by their piece's parameters.
        owner: (n,) the piece each point belongs to.
        cost: (n,) what each point costs, minus twice its log-likelihood up to a constant.
        inverse: (k, 3, 3) inverse blocks of the normal matrix.
        moment: (k, 3) right-hand side: sums of weight, slope and residual.
        joints: how the pieces meet.
    """

    residual: Array
    weight: Array
    slopes: Array
    owner: Index
    cost: Array
    inverse: Array
    moment: Array
    joints: Joints


def corner_variance(c: Chains, j: Joints) -> Array:
    """(n,) the points' variances, larger near sharp corners by what blur may have rounded off there."""
    at = np.flatnonzero(c.linked & ~c.tangent)
    if not len(at):
        return c.variance
    ta, tb = j.incoming[at], j.outgoing[at]
    turn = np.abs(np.arctan2(ta[:, 0] * tb[:, 1] - ta[:, 1] * tb[:, 0], (ta * tb).sum(1)))
    around = around_joints(c, at, 3)
    u = (np.abs(np.arange(-3, 3) + 0.5) * c.step_mm / c.blur_mm)[None, :]
    by_u, by_square = _ROUNDED_BY
    rounded = c.blur_mm * np.sin(turn / 2)[:, None] * _ROUNDED * np.exp(-by_u * u - by_square * u * u)
    variance = c.variance.copy()
    np.maximum.at(variance, around, c.variance[around] + rounded**2)
    return variance


def _distances(c: Chains, count: Index) -> tuple[Array, Array]:
    """Residuals (n,) and their slopes (3, n); see `pieces.distance_and_slopes`, here with the pieces' own sums once."""
    p = c.pieces
    # blur moves a bent edge towards its centre by half the blur's variance over the radius
    shift = np.clip(p.curvature * (c.blur_mm / 2), -_MOST_BLURRED, _MOST_BLURRED) * c.blur_mm
    cos, sin, ox, oy, k, shift = np.repeat(np.concatenate([frames(p), shift[None]]), count, axis=1)
    dx, dy = c.points[:, 0] - ox, c.points[:, 1] - oy
    x, y = cos * dx + sin * dy, cos * dy - sin * dx
    s = x * x + y * y
    ks = k * s
    q = np.sqrt(np.maximum(1 + k * (ks - 2 * y), 1e-12))
    up = 2 * y - ks
    q1 = 1 + q
    slopes = np.empty((3, len(x)))
    slopes[0] = (k * y - 1) / q
    slopes[1] = -x / q
    slopes[2] = -(s * q1 + up * (ks - y) / q) / (q1 * q1)
    slopes[2] *= np.repeat(p.arc, count)
    return up / q1 - shift, slopes


def normal(c: Chains, known: Joints | None = None) -> Normal:
    """Residuals, robust weights and normal equations of chains as they stand. In a closed loop `first[0]` must be 0.

    `known` are the joints, if they have been found already.
    """
    j = joints(c) if known is None else known
    k, n = len(c.first), len(c.points)
    count = np.diff(np.append(c.first, n))
    residual, slopes = _distances(c, count)
    variance = corner_variance(c, j)
    u2 = residual**2 / variance
    weight = (TAIL + 1) / ((TAIL + u2) * variance)
    size = np.abs(residual)
    cost = (TAIL + 1) * np.log1p(u2 / TAIL) + np.where(size > GROSS_MM, (size / _GROSS_UNIT_MM) ** 2, 0.0)
    bump = (cost >= c.most) & (size < BUMP_HEIGHT_MM)
    if bump.any():
        cost[bump] = c.most[bump]
        weight[bump] *= _UNHEARD
    wj = slopes * weight
    rows = np.empty((9, n))
    rows[:3] = wj * slopes[0]
    rows[3:5] = wj[1:] * slopes[1]
    rows[5] = wj[2] * slopes[2]
    rows[6:] = wj * residual
    sums = np.add.reduceat(rows, c.first, axis=1)
    blocks = sums[:6] + _DAMPING[[0, 0, 0, 1, 1, 2]][:, None] * np.array([1, 0, 0, 1, 0, 1])[:, None]
    blocks[5] = np.where(c.pieces.arc, blocks[5], 1e12)
    owner = np.repeat(np.arange(k), count)
    return Normal(residual, weight, slopes.T, owner, cost, _inverses(blocks), sums[6:].T, j)


def _inverses(blocks: Array) -> Array:
    """(k, 3, 3) inverses of symmetric matrices given by their upper triangles, row by row (6, k)."""
    # scaled to a diagonal of ones, and kept a little off singularity: cofactors would lose all digits otherwise
    x, y, z = 1 / np.sqrt(blocks[[0, 3, 5]])
    b, e, f = blocks[1] * x * y, blocks[2] * x * z, blocks[4] * y * z
    a = 1 + 1e-8
    inverse = np.empty((blocks.shape[1], 3, 3))
    inverse[:, 0, 0], inverse[:, 1, 1], inverse[:, 2, 2] = a * a - f * f, a * a - e * e, a * a - b * b
    inverse[:, 0, 1] = inverse[:, 1, 0] = e * f - a * b
    inverse[:, 0, 2] = inverse[:, 2, 0] = b * f - a * e
    inverse[:, 1, 2] = inverse[:, 2, 1] = b * e - a * f
    det = a * inverse[:, 0, 0] + b * inverse[:, 0, 1] + e * inverse[:, 0, 2]
    scale = np.stack([x, y, z], 1)
    return np.asarray(inverse * (scale[:, :, None] * scale[:, None, :]) / det[:, None, None])


def _solve(inverse: Array, j: Joints, rhs: Array, closed: bool) -> Array:
    """Multipliers (k,) of the tangencies for a right-hand side (k,)."""
    previous = np.roll(inverse, 1, axis=0)
    own = np.einsum("ki,kij->kj", j.after, inverse)
    diagonal = (own * j.after).sum(1) + np.einsum("ki,kij,kj->k", j.before, previous, j.before)
    # a tangency shares the piece after it with the next one
    beside = (own * np.roll(j.before, -1, axis=0)).sum(1)
    diagonal = np.where(j.active, diagonal * (1 + 1e-7) + 1e-14, 1.0)
    k = len(rhs)
    if closed and k > 1:
        s = np.diag(diagonal)
        i = np.arange(k)
        m = (i + 1) % k
        np.add.at(s, (i, m), beside)
        np.add.at(s, (m, i), beside)
        return np.asarray(np.linalg.solve(s, rhs))
    beside[-1] = 0
    return np.asarray(solveh_banded(np.stack([np.append(0, beside[:-1]), diagonal]), rhs, check_finite=False))


def _step(c: Chains, eq: Normal) -> Array:
    """(k, 3) the Gauss-Newton step under the tangencies."""
    j = eq.joints
    free = -np.einsum("kij,kj->ki", eq.inverse, eq.moment)
    if j.active.any():
        rhs = j.gap + (j.before * np.roll(free, 1, axis=0)).sum(1) + (j.after * free).sum(1)
        m = _solve(eq.inverse, j, rhs, c.closed)
        pull = j.after * m[:, None] + np.roll(j.before * m[:, None], -1, axis=0)
        free = free - np.einsum("kij,kj->ki", eq.inverse, pull)
    return np.asarray(free)


def _limited(c: Chains, step: Array) -> Array:
    """The step cut down where it would leave the range in which the linear picture holds."""
    k = np.abs(c.pieces.curvature)
    bend = np.maximum(_MOST_BEND * k, _LEAST_BEND)
    most = np.stack([np.full(len(k), _MOST_OFFSET_MM), np.full(len(k), _MOST_TURN_RAD), bend], 1)
    share = np.min(most / np.maximum(np.abs(step), most), axis=1)
    return np.asarray(step * share[:, None])


def _unwound(c: Chains, step: Array) -> Pieces:
    """Pieces after a step; an arc that would bend the other way stays almost straight instead."""
    p = moved(c.pieces, step)
    least = np.where(c.pieces.curvature < 0, -FLATTEST, FLATTEST)
    k = np.where(p.arc & (p.curvature * least < FLATTEST**2), least, p.curvature)
    return replace(p, curvature=k)


def refined(c: Chains, steps: int = 8, hold: int = 1, tolerance_mm: float = 1e-5) -> tuple[Chains, Normal, int]:
    """Chains fitted to their points.

    Args:
        c: chains with starting values.
        steps: at most so many Gauss-Newton steps.
        hold: so many steps before points change hands.
        tolerance_mm: a closed loop stops when no piece shifts by more than this.

    Returns:
        The chains, their normal equations, and by how many points a closed loop was rolled on.
    """
    total = 0
    known = None
    for i in range(steps):
        eq = normal(c, known)
        step = _limited(c, _step(c, eq))
        c = replace(c, pieces=_unwound(c, step))
        known = joints(c)
        if hold <= i < steps - 1:
            keep = dealt(c, known)
            same = bool((keep == c.first).all())
            c = replace(c, first=keep)
            if c.closed:
                c, shift = rolled(c)
                total += shift
                if same and np.abs(step[:, 0]).max() < tolerance_mm:
                    break
    return c, normal(c, known), total
