"""Where neighbouring pieces meet: the touching point of tangent ones, the crossing of the others.

Pairs are given as rows (5, 2, m) of `pieces.frames`, the pieces before the joints and those after them, so that both
go through the same few operations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.outline.pieces import FLATTEST, Mask, square_to


@dataclass(frozen=True, slots=True)
class Contact:
    """How far m pairs of pieces are from touching with the same direction of travel.

    Attributes:
        gap: (m,) mm, 0 when tangent.
        slopes: (2, m, 3) its derivatives by the parameters of either piece.
        x, y: (m,) where they touch, or nearly, mm.
    """

    gap: Array
    slopes: Array
    x: Array
    y: Array


def contact(pair: Array, arc: Mask) -> Contact:
    """How far pairs of pieces are from touching.

    For directed circles of signed radii R the condition is ``|c1 - c2| = |R1 - R2|``; for a line and a circle, that
    the centre lies R to the left of the line.

    Args:
        pair: (5, 2, m) rows of the pieces.
        arc: (2, m) which are arcs.
    """
    c, s, ox, oy, k = pair
    r = 1 / np.where(np.abs(k) < FLATTEST, np.where(k < 0, -FLATTEST, FLATTEST), k)
    cx, cy = ox - r * s, oy + r * c
    apart_x, apart_y = cx[0] - cx[1], cy[0] - cy[1]
    d = np.maximum(np.hypot(apart_x, apart_y), 1e-9)
    d = np.where(r[0] - r[1] < 0, -d, d)
    # common left normal at the contact
    both = arc[0] & arc[1]
    nx = np.where(both, apart_x / d, np.where(arc[0], -s[1], -s[0]))
    ny = np.where(both, apart_y / d, np.where(arc[0], c[1], c[0]))
    # the gap is n.(ca - cb) - (ra - rb); a line's centre gives way to its origin and its radius to 0
    px, py, r = np.where(arc, cx, ox), np.where(arc, cy, oy), np.where(arc, r, 0.0)
    gap = nx * (px[0] - px[1]) + ny * (py[0] - py[1]) - (r[0] - r[1])
    level = ny * c - nx * s
    ex, ey = cx[::-1] - ox, cy[::-1] - oy  # the other's centre
    slopes = np.zeros((*arc.shape, 3))
    slopes[..., 0] = np.where(arc, level, 1.0)
    slopes[..., 1] = np.where(arc, -r * (nx * c + ny * s), ex * c + ey * s)
    slopes[..., 2] = r * r * (1 - level)
    slopes[1] *= -1
    # touching points as either sees them, an arc's from its centre, a line's as the foot of the other's centre
    away = np.where(arc, r, ex * nx + ey * ny)
    qx, qy = np.where(arc, cx, cx[::-1]) - away * nx, np.where(arc, cy, cy[::-1]) - away * ny
    return Contact(gap, slopes, (qx[0] + qx[1]) / 2, (qy[0] + qy[1]) / 2)


def crossing(pair: Array, bent: Mask, near: Array, reach_mm: float = 3.0) -> tuple[Array, Mask]:
    """Where pairs of pieces cross, the crossing nearest to the starting points (m, 2) that Newton's method finds.

    Args:
        pair: (5, 2, m) rows of the pieces.
        bent: (m,) which pairs have an arc.
        near: (m, 2) starting points, mm.
        reach_mm: how far from them a crossing may lie.

    Returns:
        point: (m, 2) mm; the starting point where there is no crossing within reach.
        found: (m,) whether there is one.
    """
    p, size = _newton(pair, near, reach_mm, 2)  # two lines are done in one step, and another to see that it is nil
    more = np.flatnonzero(bent & (size > 1e-7))
    if len(more):
        p[more], size[more] = _newton(pair[:, :, more], p[more], reach_mm, 4)
    far = np.hypot(p[:, 0] - near[:, 0], p[:, 1] - near[:, 1])
    found = (size < 1e-6) & (far < reach_mm)
    return np.where(found[:, None], p, near), found


def _newton(pair: Array, start: Array, reach_mm: float, steps: int) -> tuple[Array, Array]:
    """Points (m, 2) after Newton steps towards both pieces at once, and the length (m,) of the last step."""
    x, y = start.T
    size = np.zeros(len(start))
    for _ in range(steps):
        (ea, eb), (nax, nbx), (nay, nby) = square_to(pair, x, y)
        det = nax * nby - nay * nbx
        det[np.abs(det) < 1e-6] = 1e-6
        dx, dy = (nby * ea - nay * eb) / det, (nax * eb - nbx * ea) / det
        size = np.sqrt(dx * dx + dy * dy)
        share = np.minimum(1, reach_mm / np.maximum(size, 1e-12))
        x, y = x - dx * share, y - dy * share
    return np.stack([x, y], 1), size
