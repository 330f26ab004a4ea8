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

from calib.arrays import Array

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


def frames(p: Pieces) -> Array:
    """(5, k) the pieces as plain rows: cosine and sine of their direction, origin x and y, curvature."""
    out = np.empty((5, len(p.angle)))
    np.cos(p.angle, out=out[0])
    np.sin(p.angle, out=out[1])
    out[2:4] = p.origin.T
    out[4] = p.curvature
    return out


def square_to(f: Array, px: Array, py: Array) -> tuple[Array, Array, Array]:
    """Signed distances of points from pieces, positive to the left, mm, and x and y of the unit normals at their feet.

    Args:
        f: (5, ...) rows as of `frames`.
        px, py: of the points, of shapes that go with the rows.
    """
    c, s, ox, oy, k = f
    dx, dy = px - ox, py - oy
    x, y = c * dx + s * dy, c * dy - s * dx
    nx, ny = -k * x, 1 - k * y
    q = np.sqrt(np.maximum(nx * nx + ny * ny, 1e-24))
    return (2 * y - k * (x * x + y * y)) / (1 + q), (c * nx - s * ny) / q, (s * nx + c * ny) / q


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
    return square_to(frames(p), points[:, 0], points[:, 1])[0]


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


def travel_at(p: Pieces, points: Array) -> Array:
    """(k, 2) unit directions of travel of the pieces at the feet of points (k, 2)."""
    _, nx, ny = square_to(frames(p), points[:, 0], points[:, 1])
    return np.stack([ny, -nx], 1)


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
