"""Photos spoiled in the ways that owners spoil them: blurred, dark, burnt, small. Pixels in, pixels out."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]


def _linear(rgb: Pixels) -> NDArray[np.float32]:
    """Linear light, 0 to 1, of 8-bit sRGB (IEC 61966-2-1)."""
    code = rgb.astype(np.float32) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _coded(linear: NDArray[np.float32]) -> Pixels:
    """8-bit sRGB of linear light, clipped at the sensor's limit."""
    linear = np.clip(linear, 0, 1)
    out = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(255 * out + 0.5, np.uint8)


def blurred(rgb: Pixels, sigma_px: float) -> Pixels:
    """Out of focus."""
    return _coded(cv2.GaussianBlur(_linear(rgb), (0, 0), sigma_px))


def shaken(rgb: Pixels, length_px: int) -> Pixels:
    """Moved from left to right while the shutter was open."""
    return _coded(cv2.blur(_linear(rgb), (length_px, 1)))


def lit(rgb: Pixels, gain: float, noise: float = 0.001) -> Pixels:
    """Exposed otherwise: linear light times a factor, with a sensor's noise."""
    light = _linear(rgb) * np.float32(gain)
    light += np.random.default_rng(4).normal(0, noise, light.shape).astype(np.float32)
    return _coded(light)


def smaller(rgb: Pixels, factor: float) -> Pixels:
    """Made smaller in sending."""
    return np.asarray(cv2.resize(rgb, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA), np.uint8)


def mirrored_lamp(rgb: Pixels, centre_px: tuple[float, float], radius_px: float) -> Pixels:
    """A white spot with a soft border, as a lamp is mirrored."""
    y, x = np.mgrid[: rgb.shape[0], : rgb.shape[1]]
    away = np.hypot(x - centre_px[0], y - centre_px[1]) / radius_px
    glow = np.clip(1.5 - 0.5 * away**2, 0, 1)[..., None].astype(np.float32)
    return np.asarray(rgb + glow * (255 - rgb.astype(np.float32)) + 0.5, np.uint8)


def slanted(rgb: Pixels, camera: dict[str, Any], tilt_deg: float) -> Pixels:
    """The table as the same camera sees it from farther to the side; what lies on it counts as flat.

    Args:
        rgb: the photo.
        camera: the truth's own: f, cx, cy, R, t.
        tilt_deg: how much more it looks from the side.
    """
    K = np.array([[camera["f"], 0, camera["cx"]], [0, camera["f"], camera["cy"]], [0, 0, 1.0]])
    R, t = np.array(camera["R"]), np.array(camera["t"])
    eye = -R.T @ t
    away = R[2] * (-eye[2] / R[2, 2])  # along the optical axis as far as the table
    turn = cv2.Rodrigues(np.radians(tilt_deg) * R[0])[0]
    turned = R @ turn.T
    shift = -turned @ (eye + away - turn @ away)

    def of_plane(rotation: NDArray[np.float64], shift: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(K @ np.column_stack([rotation[:, 0], rotation[:, 1], shift]))

    H = of_plane(turned, shift) @ np.linalg.inv(of_plane(R, t))
    size = rgb.shape[1::-1]
    return np.asarray(cv2.warpPerspective(rgb, H, size, borderMode=cv2.BORDER_REFLECT), np.uint8)


SPOILS: dict[str, Callable[[Pixels], Pixels]] = {
    "as taken": lambda rgb: rgb,
    **{f"blurred {s} px": partial(blurred, sigma_px=s) for s in (1, 2, 3, 4, 6)},
    **{f"shaken {n} px": partial(shaken, length_px=n) for n in (9, 17)},
    **{f"1/{n} the size": partial(smaller, factor=n) for n in (2, 3, 4, 6)},
    **{f"light × {g:g}": partial(lit, gain=g) for g in (0.1, 0.03, 0.01, 1.5, 2.5)},
}
"""By name; each by a degree that owners reach."""
