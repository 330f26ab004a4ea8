"""First guesses at how two pieces of a broken part go together.

Stretches of one boundary are compared with stretches of the other, run through backwards; those that have the same
ragged shape give a guess (the turn that lays two sets of points on each other in closed form, Arun, Huang and Blostein
1987). So does a corner of each, where the boundary may go on across the break.
"""

from __future__ import annotations

import math

import numpy as np

from calib.arrays import Array
from measure.broken.boundary import Boundary, Complex
from measure.geometry.motion import Motion

STEP_MM = 0.4
"""Spacing at which stretches are compared."""
WINDOW_MM = 6.4
"""Length of the stretches."""
ALIKE_MM = 0.06
"""Stretches whose points lie so near to each other are as alike as need be."""
FIRST = 160
"""So many guesses by stretches at most."""
CORNER_MM = 2.4
"""Length of the boundary either side of a corner by which its turn is told."""
CLEAR_MM, BESIDE_MM = 1.0, 4.0
"""Beside a break the boundary is taken between these distances from its end: nearer by, blur rounds the corner."""


def guesses(fixed: Boundary, loose: Boundary) -> list[Motion]:
    """Ways in which the second piece may lie on the first."""
    return [*_by_stretches(fixed, loose), *_at_corners(fixed, loose)]


def _by_stretches(fixed: Boundary, loose: Boundary) -> list[Motion]:
    """Placings that lay a ragged stretch of one boundary on one like it of the other."""
    a, b = fixed.even(STEP_MM), loose.even(STEP_MM)[::-1]
    n, m, w = len(a), len(b), round(WINDOW_MM / STEP_MM)
    if min(n, m) < w:
        return []
    i = np.arange(n + w - 1)
    pairs = a[i % n][:, None] * np.conj(b[(i[:, None] + np.arange(m)) % m])
    summed = np.cumsum(np.vstack([np.zeros((1, m)), pairs]), axis=0)
    cross = summed[w:] - summed[:-w]  # (n, m): stretch of a from i with stretch of b from i + lag
    sa, qa, za = _sums(a, w)
    sb, qb, zb = _sums(b, w)
    at_b = (np.arange(n)[:, None] + np.arange(m)) % m
    turn = cross - sa[:, None] * np.conj(sb[at_b]) / w
    ragged = np.minimum(((qa - np.abs(za)) / 2)[:, None], ((qb - np.abs(zb)) / 2)[at_b])
    left = np.maximum(qa[:, None] + qb[at_b] - 2 * np.abs(turn), 0.0)
    score = ragged / (left + w * ALIKE_MM**2)
    out = []
    for _ in range(FIRST):
        best = int(np.argmax(score))
        k, lag = divmod(best, m)
        if score[k, lag] < 1:
            break
        rows, columns = (k + np.arange(-3, 4)) % n, (lag + np.arange(-2, 3)) % m
        angle = float(np.angle(turn[k, lag]))
        shift = (sa[k] - np.exp(1j * angle) * sb[at_b[k, lag]]) / w
        out.append(Motion(angle, (float(shift.real), float(shift.imag))))
        score[np.ix_(rows, columns)] = 0
    return out


CORNER_RAD, SUM_RAD = math.radians(25), math.radians(40)
"""Corners turn at least so much; where a break opens, those of both pieces turn by half a circle together, about."""


def _at_corners(fixed: Boundary, loose: Boundary) -> list[Motion]:
    """Placings that lay a corner of one piece on one of the other so that the boundary goes on straight."""
    out = []
    for z, before, after, turn in _corners(fixed.even(STEP_MM)):
        for w, other_before, other_after, other_turn in _corners(loose.even(STEP_MM)):
            if abs(turn + other_turn - math.pi) > SUM_RAD:
                continue
            for angle in (np.angle(before / other_after), np.angle(after / other_before)):
                shift = z - np.exp(1j * angle) * w
                out.append(Motion(float(angle), (float(shift.real), float(shift.imag))))
    return out


def _corners(z: Complex) -> list[tuple[complex, complex, complex, float]]:
    """Corners of an even boundary that stick out: where, the directions before and after, and the turn."""
    k = round(CORNER_MM / STEP_MM)
    turn = np.angle((np.roll(z, -k) - z) / (z - np.roll(z, k)))
    peak = np.max([np.roll(turn, j) for j in range(-k + 1, k)], axis=0)
    t = np.arange(round(CLEAR_MM / STEP_MM), round(BESIDE_MM / STEP_MM) + 1)
    heading = np.linalg.pinv(np.stack([np.ones(len(t)), t, t**2], 1))[1]  # of the parabola through them, at the corner
    out = []
    for i in np.flatnonzero((turn == peak) & (turn > CORNER_RAD)):
        before, after = -heading @ z[(i - t) % len(z)], heading @ z[(i + t) % len(z)]
        out.append((complex(z[i]), complex(before), complex(after), float(np.angle(after / before))))
    return out


def _sums(z: Complex, w: int) -> tuple[Complex, Array, Complex]:
    """For each stretch of w points: their sum, and about their mean the sums of squared sizes and of squares."""
    ring = np.concatenate([z, z[: w - 1]])

    def over(v: Complex) -> Complex:
        c = np.cumsum(np.concatenate([[0], v]))
        return np.asarray(c[w:] - c[:-w])

    s = over(ring)
    q = over(np.abs(ring) ** 2 + 0j).real - np.abs(s) ** 2 / w
    return s, np.maximum(q, 0.0), over(ring**2) - s**2 / w
