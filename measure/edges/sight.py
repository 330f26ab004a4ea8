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


ROOM_PX, MOST_STEPS = 20, 24
"""Room round a body in its mask, which profiles reach into; and levels at most that it is swept in."""


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
        corner = np.floor(points.min(0)) - ROOM_PX
        size = np.ceil(points.max(0)) - corner + ROOM_PX
        mask = np.zeros((int(size[1]), int(size[0])), np.uint8)
        steps = int(np.clip(np.abs(ends[0][0] - ends[1][0]).max() / 2, 1, MOST_STEPS)) + 1
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
