"""An outline as pieces that a circle in the material can touch: straight pieces, round ones, and corners.

A corner is a round piece of no radius. Material lies on the left of travel; the inward normal points into it. For a
circle in the material that touches the outline at a point, and so has its centre on the inward normal there, `touch`
says how large it can grow before it meets another piece. All of it is exact for lines, arcs and circles; free curves
are the straight pieces between their points.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.geometry.features import Arc, Feature, Line, by_loop, direction, length, sweep_rad
from measure.geometry.rejoin import heading, joints

Labels = tuple[str, ...]
CURVE_WITHIN_MM = 0.01
"""Free curves are simplified to this before anything touches them."""
SMOOTH_RAD = 0.02
"""Corners that turn by less are no corners."""
SHARP_DEG = 45.0
"""Sides of a sharper corner face each other like those of a wall, and yet leave nothing between them at the end."""
CORNER_STEP_RAD, CIRCLE_PLACES, PIECE_PLACES = 0.1, 24, 4
"""Places on a corner lie two to such an angle; on a circle, and on half of any other piece, so many at least
(chosen)."""
SLACK = 1e-6
"""How far beyond its ends a piece may still be touched, mm or rad."""


@dataclass(frozen=True, slots=True)
class WallPiece:
    """A straight piece, a round piece or a corner.

    Attributes:
        labels: of its feature; of both neighbours for a corner between two.
        extent: its length, mm; for a round piece the angle that it covers, rad.
        at: its start, or its centre, mm.
        towards: unit vector along a straight piece; for a round one, from its centre to its start.
        radius_mm: of a round piece, 0 for a corner, None for a straight piece.
        hollow: a round piece with the empty side within.
    """

    labels: Labels
    extent: float
    at: Array
    towards: Array
    radius_mm: float | None = None
    hollow: bool = False

    @property
    def is_corner(self) -> bool:
        """Is it a corner?"""
        return self.radius_mm == 0.0

    @property
    def size_mm(self) -> float:
        """Its length along the outline."""
        return self.extent if self.radius_mm is None else self.extent * self.radius_mm

    def places(self, s: Array) -> tuple[Array, Array]:
        """Points (n, 2) on the piece and inward normals (n, 2) there, at so much (n,) of its extent from its start."""
        if self.radius_mm is None:
            normal = np.array([-self.towards[1], self.towards[0]])
            return self.at + s[:, None] * self.towards, np.broadcast_to(normal, (len(s), 2))
        angle = -s if self.hollow else s
        c, sn = np.cos(angle), np.sin(angle)
        x, y = self.towards
        out = np.stack([c * x - sn * y, sn * x + c * y], 1)
        return self.at + self.radius_mm * out, out if self.hollow else -out

    def touch(self, points: Array, normals: Array) -> tuple[Array, Array]:
        """Radii (n,) at which circles that touch the outline at points (n, 2) meet this piece too, and where.

        Returns:
            The radii, infinite where the circle never meets the piece, and unit vectors (n, 2) from the circles'
            centres to where they meet it.
        """
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            if self.radius_mm is None:
                return self._touch_straight(points, normals)
            return self._touch_round(points, normals, self.radius_mm)

    def _touch_straight(self, points: Array, normals: Array) -> tuple[Array, Array]:
        m = np.array([-self.towards[1], self.towards[0]])
        rho = (points - self.at) @ m / (1 - normals @ m)
        along = (points + rho[:, None] * normals - self.at) @ self.towards
        met = (rho > 0) & (along >= -SLACK) & (along <= self.extent + SLACK)
        return np.where(met, rho, np.inf), np.broadcast_to(-m, points.shape)

    def _touch_round(self, points: Array, normals: Array, radius: float) -> tuple[Array, Array]:
        away = self.at - points
        side = radius if self.hollow else -radius
        rho = (np.einsum("ij,ij->i", away, away) - radius**2) / (2 * (np.einsum("ij,ij->i", away, normals) + side))
        rho = np.where(np.isfinite(rho) & (rho > 0), rho, np.inf)
        centres = points + np.where(np.isfinite(rho), rho, 0.0)[:, None] * normals
        out = centres - self.at
        out = out / np.maximum(np.hypot(*out.T), 1e-300)[:, None]
        if not self.is_corner:  # a corner is a point of the outline, from whichever side the circle comes
            turned = np.arctan2(self.towards[0] * out[:, 1] - self.towards[1] * out[:, 0], out @ self.towards)
            turned = (-turned if self.hollow else turned) % (2 * math.pi)
            within = (turned <= self.extent + SLACK) | (turned >= 2 * math.pi - SLACK)
            rho = np.where(within, rho, np.inf)
        return rho, -out if self.hollow else out


def pieces_of(features: Sequence[Feature]) -> list[list[WallPiece]]:
    """The pieces of each loop in the order of travel, corners between them.

    Args:
        features: all loops, material on the left of travel.
    """
    return [_with_corners([p for f in loop for p in _plain(f)]) for loop in by_loop(features).values()]


def _plain(f: Feature) -> Iterable[WallPiece]:
    if f.kind == "line":
        yield WallPiece((f.label,), length(f), np.array(f.start), direction(f))
    elif f.kind == "curve":
        from shapely import LineString

        points = np.array(LineString(f.points).simplify(CURVE_WITHIN_MM).coords)
        steps = np.diff(points, axis=0)
        sizes = np.hypot(*steps.T)
        for p, d, size in zip(points, steps, sizes, strict=False):
            if size > 1e-9:
                yield WallPiece((f.label,), float(size), p, d / size)
    else:
        sweep, centre = sweep_rad(f), np.array(f.centre)
        towards = np.array([1.0, 0.0]) if f.kind == "circle" else np.subtract(f.start, centre)
        yield WallPiece((f.label,), abs(sweep), centre, towards / np.hypot(*towards), f.radius, sweep < 0)


def _with_corners(plain: Sequence[WallPiece]) -> list[WallPiece]:
    if len(plain) == 1:
        return list(plain)
    out = []
    for one, two in zip(plain, [*plain[1:], plain[0]], strict=True):
        out.append(one)
        (_, before), (p, after) = one.places(np.array([one.extent])), two.places(np.array([0.0]))
        n, m = before[0], after[0]
        turn = math.atan2(n[0] * m[1] - n[1] * m[0], n @ m)
        labels = tuple(dict.fromkeys((*one.labels, *two.labels)))
        # turning right, the corner juts into the wall and has inward normals of its own; else it is a bare point
        out.append(WallPiece(labels, -turn if turn < -SMOOTH_RAD else 0.0, p[0], n, 0.0, True))
    return out


def sharp_corners(features: Sequence[Feature]) -> list[tuple[Labels, float]]:
    """Corners of less than 45° of material, which run out to nothing: labels of both neighbours, and degrees.

    Args:
        features: all loops, material on the left of travel.
    """
    out: list[tuple[Labels, float]] = []
    for j in joints(features):
        one, two = features[j.first], features[j.second]
        if isinstance(one, Line | Arc) and isinstance(two, Line | Arc):
            u, w = heading(one, True), heading(two, False)
            angle = 180 - math.degrees(math.atan2(u[0] * w[1] - u[1] * w[0], u @ w))
            if angle < SHARP_DEG:
                out.append(((one.label, two.label), angle))
    return out


def sampled(piece: WallPiece, pitch_mm: float, inset: float = 1e-3) -> NDArray[np.float64]:
    """Places (n,) along a piece, no further than the pitch from each other, a little short of its ends."""
    if piece.is_corner:
        n = 2 * math.ceil(piece.extent / CORNER_STEP_RAD) + 1
        return np.linspace(0.0, piece.extent, n) if piece.extent else np.zeros(0)
    if piece.radius_mm is not None and piece.extent >= 2 * math.pi - 1e-9:
        return np.linspace(0.0, 2 * math.pi, max(CIRCLE_PLACES, math.ceil(piece.size_mm / pitch_mm)), endpoint=False)
    short = min(inset / (piece.radius_mm or 1.0), piece.extent / 4)
    return np.linspace(short, piece.extent - short, 2 * max(PIECE_PLACES, math.ceil(piece.size_mm / pitch_mm / 2)) + 1)
