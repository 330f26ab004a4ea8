"""The photo as it would be seen square from above, on the plane of the part's upper face.

There the face has its true shape, and the foot of its wall is the same shape drawn together towards the camera's foot
point: every pixel is face, wall or ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import FULL_LIGHT, Light
from calib.view.view import View
from measure.silhouette.tabletop import LOG_OFFSET

F32 = NDArray[np.float32]
Mask = NDArray[np.uint8]

_FINER_BITS = 4
"""Polygons are filled to a sixteenth of a cell."""
KNOT_MM = 1.5
"""The projection is worked out at points so far apart and interpolated between: at 0.2 px/mm² of bend (a phone 150 mm
above, tilted by 30°) that is exact to a twentieth of a pixel."""


@dataclass(frozen=True, slots=True)
class Rectified:
    """A window of the plane at one height, in square cells.

    Attributes:
        linear: (h, w, 3) linear light, 0 to 1, averaged over each cell; rows run up the world's y.
        origin_mm: (2,) centre of the first cell; step_mm: size of a cell.
    """

    linear: F32
    origin_mm: Array
    step_mm: float

    @classmethod
    def of(cls, light: Light, view: View, height_mm: float, low_mm: Array, high_mm: Array, step_mm: float) -> Rectified:
        """Look at a window of the plane at a height.

        Args:
            light: the photo, or what of it shows the window.
            view: the solved view.
            low_mm, high_mm: (2,) lower left and upper right of the window.
        """
        n = np.maximum(np.ceil((high_mm - low_mm) / step_mm), 2).astype(int)
        over = max(1, round(step_mm / view.mm_per_px((low_mm + high_mm) / 2)))
        axes = [_fine(low_mm[k], step_mm, int(n[k]), over) for k in (0, 1)]
        knots = [np.linspace(a[0], a[-1], max(2, int((a[-1] - a[0]) / KNOT_MM) + 2)) for a in axes]
        grid = np.stack(np.meshgrid(*knots), -1)
        px = view.pixels(grid.reshape(-1, 2), height_mm).reshape(grid.shape) - np.array(light.origin_px)
        down, across = _between(axes[1], knots[1]), _between(axes[0], knots[0])
        x, y = ((down @ px[..., k] @ across.T).astype(np.float32) for k in (0, 1))
        seen = cv2.remap(light.linear, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        if over > 1:
            seen = cv2.resize(seen, (int(n[0]), int(n[1])), interpolation=cv2.INTER_AREA)
        return cls(seen.astype(np.float32) / np.float32(FULL_LIGHT), np.asarray(low_mm, float), step_mm)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.linear.shape[0], self.linear.shape[1]

    def cells(self, points_mm: Array) -> Array:
        """(n, 2) column and row, fractional, of (n, 2) points."""
        return np.asarray((points_mm - self.origin_mm) / self.step_mm)

    def mm(self, cells: Array) -> Array:
        """(n, 2) points of (n, 2) columns and rows."""
        return np.asarray(cells * self.step_mm + self.origin_mm)

    def mask_of(self, *polygons_mm: Array) -> Mask:
        """(h, w) 1 inside any of the polygons (n, 2)."""
        out = np.zeros(self.shape, np.uint8)
        for polygon in polygons_mm:
            cv2.fillPoly(out, [np.rint(self.cells(polygon) * 2**_FINER_BITS).astype(np.int32)], 1, shift=_FINER_BITS)
        return out

    def cells_in(self, mm: float) -> int:
        """Whole cells in a length, at least one."""
        return max(1, round(mm / self.step_mm))


def log_colour(linear: F32) -> F32:
    """(h, w, 3) lightness (r + 2g + b)/4 and the hues r − g and b − g, as logarithms of linear light."""
    r, g, b = cv2.split(np.log(linear + np.float32(LOG_OFFSET)))
    return np.asarray(cv2.merge([(r + b) / 4 + g / 2, r - g, b - g]), np.float32)


def _fine(first_mm: float, step_mm: float, n: int, over: int) -> Array:
    """Centres of the samples that n cells of `over` samples each are averaged from."""
    fine = step_mm / over
    return np.asarray(first_mm - step_mm / 2 + fine / 2 + fine * np.arange(n * over))


def _between(at: Array, knots: Array) -> Array:
    """(n, k) weights that interpolate linearly between values at evenly spaced knots."""
    t = (at - knots[0]) / (knots[1] - knots[0])
    i = np.clip(t.astype(int), 0, len(knots) - 2)
    out = np.zeros((len(at), len(knots)))
    rows = np.arange(len(at))
    out[rows, i] = 1 - (t - i)
    out[rows, i + 1] = t - i
    return out
