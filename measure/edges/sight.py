"""What the camera sees of an upright wall: its upper edge, its lower edge, and what hides them.

A point at height h over the plane shows displaced away from the camera's foot point. Where the outward normal points
away from the foot point the upper edge hides the wall; elsewhere wall and lower edge are seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.view.view import View


@dataclass(frozen=True, slots=True)
class Wall:
    """Heights between which the part's upright wall stands, over the reference's plane, mm."""

    upper_mm: float
    lower_mm: float


@dataclass(frozen=True, slots=True)
class Sight:
    """What the camera sees at each point of an outline.

    Attributes:
        upper_px, lower_px: (n, 2) where the two edges are expected.
        normals_px: (n, 2) from material to empty; px_per_mm: (n,) along them.
        wall_px: (n,) width of the visible wall, 0 on the far side.
        hidden: (n,) whether the part itself hides the lower edge of a visible wall.
        confused: (n,) whether a strip of another wall of the part stands behind an upper edge.
    """

    upper_px: Array
    lower_px: Array
    normals_px: Array
    px_per_mm: Array
    wall_px: Array
    hidden: NDArray[np.bool_]
    confused: NDArray[np.bool_]


def sight(view: View, points_mm: Array, outward: Array, wall: Wall, body: Body) -> Sight:
    """Where the edges of an upright wall appear.

    Args:
        outward: (n, 2) normals from material to empty.
        body: all that the part covers in the photo.
    """
    far = ((points_mm - view.centre_mm[:2]) * outward).sum(1) >= 0
    upper = view.pixels(points_mm, wall.upper_mm)
    lower = view.pixels(points_mm, wall.lower_mm)
    z = np.where(far, wall.upper_mm, wall.lower_mm)
    step = view.pixels(points_mm + 0.05 * outward, z) - view.pixels(points_mm, z)
    scale = np.hypot(*step.T) / 0.05
    n = step / (0.05 * scale)[:, None]
    width = np.where(far, 0.0, _wall_width(lower, upper, n))
    seen = np.where(far[:, None], upper, lower)
    covered = body.covers(seen + CLEAR_PX * n)
    strip = far & covered & ~body.covers(seen + 3 * CLEAR_PX * n)
    return Sight(upper, lower, n, scale, width, ~far & (width > 1) & covered, strip)


def _wall_width(lower_px: Array, upper_px: Array, normals_px: Array) -> Array:
    """(n,) distance from each lower edge point, against its normal, to the upper edge of the loop.

    The upper edge is the lower one displaced away from the foot point, so on a curved wall a profile meets it at a
    neighbouring point, not at the point's own image.
    """
    shift = lower_px - upper_px
    straight = np.maximum((shift * normals_px).sum(1), 0)
    n = len(lower_px)
    spacing = max(float(np.median(np.hypot(*(upper_px - np.roll(upper_px, 1, 0)).T))), 1e-6)
    reach = min(int(np.hypot(*shift.T).max() / spacing) + 2, n // 3)
    if reach < 2:
        return np.asarray(straight)
    steps = np.arange(-reach, reach + 1)
    near = (np.arange(n)[:, None] + steps) % n
    (ux, uy), (lx, ly), (nx, ny) = upper_px.T, lower_px.T[:, :, None], normals_px.T[:, :, None]
    dx, dy = ux[near] - lx, uy[near] - ly
    out, along = dx * nx + dy * ny, dy * nx - dx * ny
    before, behind = along[:, :-1], along[:, 1:]
    row, at = np.nonzero((before * behind <= 0) & (np.abs(behind - before) > 1e-9))
    t = np.clip(before[row, at] / (before[row, at] - behind[row, at]), 0, 1)
    there = -(out[row, at] + t * (out[row, at + 1] - out[row, at]))
    width = np.full(before.shape, np.inf)
    width[row, at] = np.where(there > -1.0, there, np.inf)
    nearest = np.argmin(np.abs(width - straight[:, None]), 1)
    best = np.take_along_axis(width, nearest[:, None], 1)[:, 0]
    return np.asarray(np.where(np.isfinite(best), np.maximum(best, 0), straight))


CLEAR_PX = 4.0
"""How far beyond an edge the ground must be in sight for the edge to be trusted."""


@dataclass(frozen=True, slots=True)
class Body:
    """All pixels that the part covers, face and visible walls: a mask with the photo position of its first pixel."""

    mask: NDArray[np.uint8]
    corner_px: Array

    @classmethod
    def of(cls, view: View, outlines_mm: list[Array], wall: Wall, opening: bool) -> Body:
        """Swept from the lower to the upper outline in steps of about a pixel or two."""
        import cv2

        ends = [[view.pixels(o, z) for o in outlines_mm] for z in (wall.lower_mm, wall.upper_mm)]
        points = np.concatenate([c for level in ends for c in level])
        points = np.clip(points, -np.array(view.size_px), 2 * np.array(view.size_px))
        corner = np.floor(points.min(0)) - 20
        size = np.ceil(points.max(0)) - corner + 20
        mask = np.zeros((int(size[1]), int(size[0])), np.uint8)
        steps = int(np.clip(np.abs(ends[0][0] - ends[1][0]).max() / 2, 1, 24)) + 1
        for t in np.linspace(0, 1, steps):
            level = np.zeros_like(mask)
            rings = [np.round((1 - t) * a + t * b - corner).astype(np.int32) for a, b in zip(*ends, strict=True)]
            cv2.fillPoly(level, rings, 1)
            mask |= 1 - level if opening else level
        return cls(mask, corner)

    def covers(self, points_px: Array) -> NDArray[np.bool_]:
        """(n,) whether points are covered by the part."""
        h, w = self.mask.shape
        at = np.clip(np.round(points_px - self.corner_px).astype(int), 0, [w - 1, h - 1])
        return np.asarray(self.mask[at[:, 1], at[:, 0]] > 0)
