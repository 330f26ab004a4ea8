"""Covariance and sensitivities of a loop's pieces, from the last fit of all of them together.

The fit gives steps ``-Q Jᵀ W e`` for residuals e, with Q the inverse normal matrix under the tangencies. Neighbouring
points share noise, so the covariance is the sandwich ``Q Jᵀ W C W J Q`` with C taken from the correlation that was
measured; the t weights enter as P. Huber's expectations ("Robust Statistics", 1981, chapter 7): the slope and the mean
square of the influence function.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.outline.drafts import Draft
from measure.outline.joining import TAIL, corner_variance

_LOOSE = np.array([0.05, 0.1, 0.02])
"""Information that keeps undetermined pieces finite: a few mm, a few rad, a few 1/mm."""

CORNER_SHARE, TIGHT_MM, MOST_TURN_RAD = 0.05, 2.0, 2.4
"""What all points on an arc between two edges have in common, as a share of the points' spacing, up to this radius
(beyond, it falls as the curvature does) and up to this turn: in a corner shade, blur and the averaging along the edge
differ from those along its neighbours. Found with rendered photos."""

_LEAST_SLOPE, _LEAST_SPECTRUM = 0.3, 0.05
"""Mean slope of the influence function, 1 where no residual is large, and power of noise at any frequency, 1 where it
is white: no less of either is reckoned with, since both stand below a fraction line or a root (chosen)."""

_TOUCH_MM2 = 1e-9
"""Variance of a tangency: 30 nm, so that one tangency too many does no harm."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How a loop's pieces vary; parameters are shift, turn and curvature of each piece in turn.

    Attributes:
        white: (3k, 3k) covariance from edge noise.
        sensitivity: (3k, s) change with the shared terms.
    """

    white: Array
    sensitivity: Array


def spread(draft: Draft, sensitivity: Array) -> Spread:
    """Covariance and sensitivities of the pieces of a settled draft.

    Args:
        draft: the loop.
        sensitivity: (n, s) of the loop's points, in the order they were given in.
    """
    c, eq = draft.chains, draft.eq
    n, k = len(c.points), len(c.first)
    shape = c.pieces.arc
    seen = c.seen & ~np.isfinite(c.most)
    variance = np.where(seen, c.variance, 1.0)
    weight = np.where(seen, 1 / np.maximum(corner_variance(c, eq.joints), variance), 0.0)
    weight = np.where(np.isfinite(weight), weight, 0.0)
    rows = 3 * eq.owner[:, None] + np.arange(3)
    # expectations of the influence function over the residuals as they are
    u2 = (eq.residual**2 * weight)[seen]
    slope = float(np.mean((TAIL + 1) * (TAIL - u2) / (TAIL + u2) ** 2)) if seen.any() else 1.0
    square = float(np.mean((TAIL + 1) ** 2 * u2 / (TAIL + u2) ** 2)) if seen.any() else 1.0
    parameters = int((2 + shape.astype(int) - (c.linked & c.tangent)).sum())
    square *= n / max(n - parameters, 1)
    gain = square / max(slope, _LEAST_SLOPE) ** 2

    wj = eq.slopes * weight[:, None]
    blocks = np.add.reduceat((wj[:, :, None] * eq.slopes[:, None, :]).reshape(-1, 9), c.first).reshape(-1, 3, 3)
    blocks[:, [0, 1, 2], [0, 1, 2]] += _LOOSE
    blocks[~shape, 2, 2] = 1.0
    q = _inverse(draft, blocks)

    # Neighbours share noise, as far round the loop as was measured. In the frequency domain the covariance of the
    # points is diagonal; where the measured correlation is none (its spectrum dips below nought) it is mended there.
    pull = np.zeros((n, 3 * k))
    pull[np.arange(n)[:, None], rows] = wj * np.sqrt(variance)[:, None]
    rho = draft.noise.correlation[: max(n // 2 - 1, 0)]
    lag = np.arange(1, len(rho) + 1)
    frequency = np.arange(n // 2 + 1) * 2 * np.pi / n
    spectrum = np.maximum(1 + 2 * np.cos(frequency[:, None] * lag) @ rho, _LEAST_SPECTRUM)
    twice = np.full(len(spectrum), 2.0)
    twice[0] = 1.0
    if n % 2 == 0:
        twice[-1] = 1.0
    waves = np.fft.rfft(pull, axis=0) * np.sqrt(spectrum * twice / n)[:, None]
    mixed = waves.real.T @ waves.real + waves.imag.T @ waves.imag
    corner = q @ _corner_pull(draft, wj)
    white = gain * q @ mixed @ q.T + corner @ corner.T
    # an offset towards empty is a step to the right: the residuals, positive on the left, fall by as much
    shifts = np.roll(np.asarray(sensitivity, float), -draft.shift, axis=0)
    moments = np.zeros((3 * k, shifts.shape[1]))
    np.add.at(moments, rows, wj[:, :, None] * shifts[:, None, :])
    return Spread((white + white.T) / 2, q @ moments)


def _corner_pull(draft: Draft, pull: Array) -> Array:
    """(3k, m) what a common shift of each corner's points by one standard deviation does to the normal equations."""
    c = draft.chains
    k = len(c.first)
    points = np.diff(np.append(c.first, len(c.points)))
    bend = np.abs(c.pieces.curvature)
    turn = points * c.step_mm * bend
    between = c.tangent & np.roll(c.tangent, -1) & c.pieces.arc & (turn < MOST_TURN_RAD)
    out = np.zeros((3 * k, k))
    for i in np.flatnonzero(between).tolist():
        own = slice(c.first[i], c.first[i] + points[i])
        common_mm = CORNER_SHARE * c.step_mm * min(1.0, TIGHT_MM * float(bend[i]))
        out[3 * i : 3 * i + 3, i] = pull[own].sum(0) * common_mm
    return out[:, between]


def _inverse(draft: Draft, blocks: Array) -> Array:
    """(3k, 3k) inverse of the normal matrix, given by its blocks (k, 3, 3), under the tangencies."""
    j = draft.eq.joints
    k = len(j.gap)
    which = np.flatnonzero(j.active)
    free = np.zeros((3 * k, 3 * k))
    inverse = np.linalg.inv(blocks)
    for i in range(k):
        free[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = inverse[i]
    held = np.zeros((len(which), 3 * k))
    for row, i in enumerate(which.tolist()):
        before = (i - 1) % k
        held[row, 3 * before : 3 * before + 3] += j.before[i]
        held[row, 3 * i : 3 * i + 3] += j.after[i]
    moved = free @ held.T
    return np.asarray(free - moved @ np.linalg.solve(held @ moved + _TOUCH_MM2 * np.eye(len(which)), moved.T))
