"""Where an upright wall shows in the photo, by the view of the plane that it stands on."""

from __future__ import annotations

import cv2
import numpy as np

from calib.arrays import Array
from calib.view.view import View, rotation
from measure.silhouette.tabletop import Mask


def lower_from_upper(view: View, thickness_mm: float, share: float = 1.0) -> Array:
    """(3, 3) homography that carries the upper edge of a wall in the photo to what stands below it.

    A vertical through the table meets the height h at H_h = K [r1 r2 t + h r3], so pixels at one height move to those
    below them by H_0 H_h⁻¹ (R. Hartley and A. Zisserman, "Multiple View Geometry", planes at different heights). The
    lens term is left out: over a wall's height it changes nothing that shows.

    Args:
        view: of the plane that the wall stands on.
        thickness_mm: height of the wall.
        share: how far down: 1 to the table.
    """
    R, t = rotation(view.parameters[:3]), view.parameters[3:6]
    focal, x, y = view.parameters[6:9]
    camera = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1.0]])

    def at(height_mm: float) -> Array:
        return np.asarray(camera @ np.column_stack([R[:, 0], R[:, 1], t + height_mm * R[:, 2]]))

    return np.asarray(at(thickness_mm * (1 - share)) @ np.linalg.inv(at(thickness_mm)))


def wall_below(face: Mask, shifts: list[Array]) -> Mask:
    """(h, w) 1 where the wall under a face may be seen; `shifts` are homographies in the mask's pixels."""
    out = np.zeros_like(face)
    for m in shifts:
        out |= cv2.warpPerspective(face, m, face.shape[::-1], flags=cv2.INTER_NEAREST)
    return np.asarray(out & (1 - face), np.uint8)
