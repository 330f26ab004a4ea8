"""The camera of the lab: a pinhole with one radial term, and pictures bent by it.

p = R X + t;  x = p_x / p_z, y = p_y / p_z      (camera: x right, y down, z forward; world: mm, z up from the table)
u = f x (1 + k1 r²) + cx,  v = f y (1 + k1 r²) + cy,  r² = x² + y²      (pixel centres at whole numbers)
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array


@dataclass(frozen=True)
class Camera:
    """World to pixels of the upright picture.

    Attributes:
        f, cx, cy: focal length and principal point, px.
        k1: radial term.
        R, t: rows are the camera's axes in the world; shift, mm.
        width, height: of the picture, px.
        centre_mm: where the camera is.
        tilt_deg: of its axis against the table's normal.
    """

    f: float
    cx: float
    cy: float
    k1: float
    R: list[list[float]]
    t: list[float]
    width: int
    height: int
    centre_mm: list[float]
    tilt_deg: float

    @classmethod
    def of(cls, record: dict[str, Any]) -> Camera:
        """From a truth file's `camera`."""
        return cls(**{k: record[k] for k in cls.__dataclass_fields__})

    def record(self) -> dict[str, Any]:
        """As it stands in a truth file."""
        return asdict(self)

    def project(self, points_mm: Array) -> Array:
        """World points (n, 3) -> pixels (n, 2)."""
        p = np.atleast_2d(points_mm) @ np.array(self.R).T + self.t
        q = p[:, :2] / p[:, 2:]
        q = q * (1 + self.k1 * (q**2).sum(1, keepdims=True))
        return np.asarray(q * self.f + [self.cx, self.cy])

    def depth_mm(self, points_mm: Array) -> Array:
        """How far in front of the camera world points (n, 3) lie; negative behind it."""
        return np.asarray((np.atleast_2d(points_mm) @ np.array(self.R).T + self.t)[:, 2])

    def bent(self, pinhole: NDArray[np.float32]) -> NDArray[np.float32]:
        """A pinhole's picture, larger all round and centred on the axis, as this camera sees it."""
        h, w = pinhole.shape[:2]
        v, u = np.mgrid[0 : self.height, 0 : self.width].astype(np.float64)
        x, y = (u - self.cx) / self.f, (v - self.cy) / self.f
        seen = np.hypot(x, y)
        true = seen.copy()
        for _ in range(12):  # Newton's steps; three would do
            true -= (true * (1 + self.k1 * true**2) - seen) / (1 + 3 * self.k1 * true**2)
        k = np.where(seen > 0, true / np.maximum(seen, 1e-12), 1)
        mx = (x * k * self.f + (w - 1) / 2).astype(np.float32)
        my = (y * k * self.f + (h - 1) / 2).astype(np.float32)
        return cv2.remap(pinhole, mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


def looking(
    at: tuple[float, float],
    height_mm: float,
    *,
    fov_deg: float,
    tilt_deg: float,
    azimuth_deg: float,
    size: tuple[int, int],
    off_px: tuple[float, float] = (0.0, 0.0),
    k1: float = 0.0,
) -> Camera:
    """A camera that looks at a point of the table from a height, tilted towards an azimuth.

    Args:
        fov_deg: angle that the picture's width takes.
        size: width and height, px.
        off_px: how far the principal point lies off the picture's centre.
    """
    width, height = size
    f = width / 2 / math.tan(math.radians(fov_deg) / 2)
    tilt, az = math.radians(tilt_deg), math.radians(azimuth_deg)
    back = np.array([math.sin(tilt) * math.cos(az), math.sin(tilt) * math.sin(az), math.cos(tilt)])
    centre = np.array([*at, 0.0]) + height_mm / math.cos(tilt) * back
    right = np.cross(-back, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    R = np.stack([right, np.cross(-back, right), -back])
    return Camera(
        f=f,
        cx=(width - 1) / 2 + off_px[0],
        cy=(height - 1) / 2 + off_px[1],
        k1=k1,
        R=R.tolist(),
        t=(-R @ centre).tolist(),
        width=width,
        height=height,
        centre_mm=centre.tolist(),
        tilt_deg=tilt_deg,
    )
