"""Where an upright wall shows in the photo, from the card's four corners alone: good enough to expect it there."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from measure.tabletop import Mask

Array = NDArray[np.float64]

_CARD_MM = (85.60, 53.98)  # ISO/IEC 7810 ID-1
_USUAL_FOCAL = 0.77  # of the longer side: a phone's main camera, 26 to 28 mm on 35 mm film


def lower_from_upper(
    card_px: Array, photo: tuple[int, int], thickness_mm: float, share: float = 1.0, focal_px: float | None = None
) -> Array:
    """(3, 3) homography that carries the upper edge of a wall in the photo to what stands below it.

    A vertical through the table meets the height h at H_h = K [r1 r2 t + h r3], so pixels at one height move to those
    below them by H_0 H_h⁻¹ (R. Hartley and A. Zisserman, "Multiple View Geometry", planes at different heights).

    Args:
        card_px: (4, 2) the card's corners in order round.
        photo: height and width of the photo, px.
        share: how far down: 1 to the table.
        focal_px: focal length; of an ordinary phone if None.
    """
    height, width = photo
    focal = focal_px or _USUAL_FOCAL * max(photo)
    corners = np.asarray(card_px, np.float32)
    sides = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    w, h = _CARD_MM if sides[0] + sides[2] > sides[1] + sides[3] else _CARD_MM[::-1]
    plane = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    rays = np.linalg.inv(camera) @ cv2.getPerspectiveTransform(plane, corners)
    rays *= np.sign(rays[2, 2]) / np.sqrt(np.linalg.norm(rays[:, 0]) * np.linalg.norm(rays[:, 1]))
    up = np.cross(rays[:, 0], rays[:, 1])
    up *= -np.sign(up[2]) / np.linalg.norm(up)  # towards the camera

    def at(height_mm: float) -> Array:
        return np.asarray(camera @ np.column_stack([rays[:, 0], rays[:, 1], rays[:, 2] + height_mm * up]))

    return np.asarray(at(thickness_mm * (1 - share)) @ np.linalg.inv(at(thickness_mm)))


def wall_below(face: Mask, shifts: list[Array]) -> Mask:
    """(h, w) 1 where the wall under a face may be seen; `shifts` are homographies in the mask's pixels."""
    out = np.zeros_like(face)
    for m in shifts:
        out |= cv2.warpPerspective(face, m, face.shape[::-1], flags=cv2.INTER_NEAREST)
    return np.asarray(out & (1 - face), np.uint8)
