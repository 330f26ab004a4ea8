"""Lines and arcs in one form, many at a time: a frame on the curve and a curvature.

A piece has an origin on the curve, the angle of travel there and a signed curvature (left turns positive); a line is
a piece of curvature 0. In the frame of the piece (x along travel, y to the left) the signed distance of a point is
``e = (2y - k(x² + y²)) / (1 + q)`` with ``q² = 1 - 2ky + k²(x² + y²)``: positive on the left, without a division by
the curvature, so that a shallow arc and a line differ as little in the numbers as they do on the part. (V. Pratt,
"Direct least-squares fitting of algebraic surfaces", 1987, gives the normalisation.)

Parameters and their order throughout: shift along the left-hand normal (mm), turn about the origin (rad), change of
curvature (1/mm).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from measure.features import Array

Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

FLATTEST = 1e-4
"""Least curvature of an arc, 1/mm (radius 10 m): anything flatter is a line."""


@dataclass(frozen=True, slots=True)
class Pieces:
    """k pieces.

    Attributes:
        origin: (k, 2) a point on each curve, mm.
        angle: (k,) direction of travel there, rad.
        curvature: (k,) signed, left turns positive, 1/mm; 0 for lines.
        arc: (k,) which are arcs.
    """

    origin: Array
    angle: Array
    curvature: Array
    arc: Mask

    def __len__(self) -> int:
        return len(self.angle)

    def take(self, which: Index | slice) -> Pieces:
        """Some of the pieces, repeated where asked."""
        return Pieces(self.origin[which], self.angle[which], self.curvature[which], self.arc[which])

    def tangent(self) -> Array:
        """(k, 2) unit vectors of travel at the origins."""
        return np.stack([np.cos(self.angle), np.sin(self.angle)], 1)

    def radius(self) -> Array:
        """(k,) signed radii, positive for left turns, mm; 10 m with the sign kept for anything flatter."""
        k = self.curvature
        return 1 / np.where(np.abs(k) < FLATTEST, np.where(k < 0, -FLATTEST, FLATTEST), k)

    def centre(self) -> Array:
        """(k, 2) centres of curvature (far away for lines), mm."""
        t = self.tangent()
        return np.asarray(self.origin + self.radius()[:, None] * np.stack([-t[:, 1], t[:, 0]], 1))


def joined(pieces: list[Pieces]) -> Pieces:
    """All of them in one."""
    return Pieces(
        np.concatenate([p.origin for p in pieces]),
        np.concatenate([p.angle for p in pieces]),
        np.concatenate([p.curvature for p in pieces]),
        np.concatenate([p.arc for p in pieces]),
    )


def local(p: Pieces, points: Array) -> tuple[Array, Array]:
    """Coordinates of points (k, 2), one to a piece, in the pieces' frames: along and to the left, mm."""
    c, s = np.cos(p.angle), np.sin(p.angle)
    dx, dy = points[:, 0] - p.origin[:, 0], points[:, 1] - p.origin[:, 1]
    return c * dx + s * dy, c * dy - s * dx


def distance(p: Pieces, points: Array) -> Array:
    """(k,) signed distances of points (k, 2), one to a piece, positive to the left, mm."""
    return distance_and_normal(p, points)[0]


def distance_and_slopes(p: Pieces, points: Array) -> tuple[Array, Array]:
    """Signed distances (k,) and their derivatives (k, 3) by shift, turn and curvature."""
    x, y = local(p, points)
    s = x * x + y * y
    k = p.curvature
    q = np.sqrt(np.maximum(1 - 2 * k * y + k * k * s, 1e-12))
    up = 2 * y - k * s
    slopes = np.empty((len(x), 3))
    slopes[:, 0] = (k * y - 1) / q
    slopes[:, 1] = -x / q
    slopes[:, 2] = -(s * (1 + q) + up * (k * s - y) / q) / (1 + q) ** 2
    return up / (1 + q), slopes


def distance_and_normal(p: Pieces, points: Array) -> tuple[Array, Array]:
    """Signed distances (k,) of points (k, 2), and the unit normals (k, 2) at their feet, to the left of travel."""
    c, s = np.cos(p.angle), np.sin(p.angle)
    dx, dy = points[:, 0] - p.origin[:, 0], points[:, 1] - p.origin[:, 1]
    x, y = c * dx + s * dy, c * dy - s * dx
    k = p.curvature
    nx, ny = -k * x, 1 - k * y
    q = np.sqrt(np.maximum(nx * nx + ny * ny, 1e-24))
    normal = np.empty((len(x), 2))
    normal[:, 0], normal[:, 1] = (c * nx - s * ny) / q, (s * nx + c * ny) / q
    return (2 * y - k * (x * x + y * y)) / (1 + q), normal


def left_normal(p: Pieces, points: Array) -> Array:
    """(k, 2) unit normals of the pieces at the feet of points (k, 2), to the left of travel."""
    return distance_and_normal(p, points)[1]


def travel_at(p: Pieces, points: Array) -> Array:
    """(k, 2) unit directions of travel of the pieces at the feet of points (k, 2)."""
    n = left_normal(p, points)
    return np.stack([n[:, 1], -n[:, 0]], 1)


def moved(p: Pieces, step: Array) -> Pieces:
    """The pieces after a step (k, 3) in shift, turn and curvature."""
    t = p.tangent()
    origin = p.origin + step[:, :1] * np.stack([-t[:, 1], t[:, 0]], 1)
    return Pieces(origin, p.angle + step[:, 1], np.where(p.arc, p.curvature + step[:, 2], 0.0), p.arc)


def slid(p: Pieces, along: Array) -> Pieces:
    """The same curves with their frames moved along them by (k,) mm of arc length."""
    k, t = p.curvature, p.tangent()
    bend = k * along
    small = np.abs(bend) < 1e-6
    safe = np.where(small, 1.0, bend)
    ahead = along * np.where(small, 1.0, np.sin(safe) / safe)
    aside = along * np.where(small, bend / 2, (1 - np.cos(safe)) / safe)
    n = np.stack([-t[:, 1], t[:, 0]], 1)
    return Pieces(p.origin + ahead[:, None] * t + aside[:, None] * n, p.angle + bend, k, p.arc)


def along(p: Pieces, points: Array) -> Array:
    """(k,) arc length from the origin to the feet of points (k, 2), mm, in (-half turn, half turn] on arcs."""
    x, y = local(p, points)
    k = p.curvature
    small = np.abs(k) < 1e-7
    safe = np.where(small, 1.0, k)
    return np.where(small, x, np.arctan2(safe * x, 1 - safe * y) / safe)


def contact_gap(a: Pieces, b: Pieces) -> tuple[Array, Array, Array, Array]:
    """How far pairs of pieces are from touching with the same direction of travel.

    For directed circles of signed radii R the condition is ``|c1 - c2| = |R1 - R2|``; for a line and a circle, that
    the centre lies R to the left of the line.

    Returns:
        gap: (k,) mm, 0 when tangent.
        slopes_a, slopes_b: (k, 3) derivatives by the parameters of either piece.
        point: (k, 2) where they touch, or nearly, mm.
    """
    ca, cb, ra, rb = a.centre(), b.centre(), a.radius(), b.radius()
    ta, tb = a.tangent(), b.tangent()
    na, nb = np.stack([-ta[:, 1], ta[:, 0]], 1), np.stack([-tb[:, 1], tb[:, 0]], 1)
    both = a.arc & b.arc
    apart = ca - cb
    d = np.maximum(np.hypot(apart[:, 0], apart[:, 1]), 1e-9)
    sign = np.where(ra - rb < 0, -1.0, 1.0)
    # common left normal at the contact
    n = np.where(both[:, None], sign[:, None] * apart / d[:, None], np.where(a.arc[:, None], nb, na))

    def arc_side(own: Pieces, n_own: Array, t_own: Array, r: Array, way: float) -> Array:
        """Slopes by an arc's parameters of way * (n . centre - radius)."""
        out = np.empty((len(r), 3))
        nn = (n * n_own).sum(1)
        out[:, 0] = nn
        out[:, 1] = -r * (n * t_own).sum(1)
        out[:, 2] = r * r * (1 - nn)
        return way * out

    def line_side(n_own: Array, t_own: Array, own: Pieces, centre: Array, way: float) -> Array:
        """Slopes by a line's parameters of way * (n . (centre - point on the line))."""
        out = np.zeros((len(centre), 3))
        out[:, 0] = -1
        out[:, 1] = -((centre - own.origin) * t_own).sum(1)
        return way * out

    # written as n.(ca - cb) - (ra - rb); a line's centre gives way to its origin and its radius to 0
    pa = np.where(a.arc[:, None], ca, a.origin)
    pb = np.where(b.arc[:, None], cb, b.origin)
    ra, rb = np.where(a.arc, ra, 0.0), np.where(b.arc, rb, 0.0)
    gap = (n * (pa - pb)).sum(1) - (ra - rb)
    slopes_a = np.where(a.arc[:, None], arc_side(a, na, ta, ra, 1.0), line_side(na, ta, a, cb, -1.0))
    slopes_b = np.where(b.arc[:, None], arc_side(b, nb, tb, rb, -1.0), line_side(nb, tb, b, ca, 1.0))
    # touching points as either sees them, an arc's from its centre, a line's as the foot of the other's centre
    qa = np.where(a.arc[:, None], ca - ra[:, None] * n, cb - (((cb - a.origin) * n).sum(1))[:, None] * n)
    qb = np.where(b.arc[:, None], cb - rb[:, None] * n, ca - (((ca - b.origin) * n).sum(1))[:, None] * n)
    return gap, slopes_a, slopes_b, (qa + qb) / 2


def crossing(a: Pieces, b: Pieces, near: Array, reach_mm: float = 3.0) -> tuple[Array, Mask]:
    """Where pairs of pieces cross, the crossing nearest to the starting points (k, 2) that Newton's method finds.

    Returns:
        point: (k, 2) mm; the starting point where there is no crossing within reach.
        found: (k,) whether there is one.
    """
    p, size = _newton(a, b, near, reach_mm, 2)  # two lines are done in one step, and another to see that it is nil
    bent = np.flatnonzero((a.arc | b.arc) & (size > 1e-7))
    if len(bent):
        p[bent], size[bent] = _newton(a.take(bent), b.take(bent), p[bent], reach_mm, 4)
    far = np.hypot(p[:, 0] - near[:, 0], p[:, 1] - near[:, 1])
    found = (size < 1e-6) & (far < reach_mm)
    return np.where(found[:, None], p, near), found


def _newton(a: Pieces, b: Pieces, p: Array, reach_mm: float, steps: int) -> tuple[Array, Array]:
    """Points (k, 2) after Newton steps towards both pieces at once, and the length (k,) of the last step."""
    size = np.zeros(len(p))
    for _ in range(steps):
        (ea, na), (eb, nb) = distance_and_normal(a, p), distance_and_normal(b, p)
        det = na[:, 0] * nb[:, 1] - na[:, 1] * nb[:, 0]
        det[np.abs(det) < 1e-6] = 1e-6
        step = np.empty_like(p)
        step[:, 0], step[:, 1] = (nb[:, 1] * ea - na[:, 1] * eb) / det, (na[:, 0] * eb - nb[:, 0] * ea) / det
        size = np.sqrt((step * step).sum(1))
        p = p - step * np.minimum(1, reach_mm / np.maximum(size, 1e-12))[:, None]
    return p, size
