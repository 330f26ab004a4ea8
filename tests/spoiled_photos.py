"""Photos spoiled in the ways that owners spoil them: blurred, dark, burnt, small. Pixels in, pixels out."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]


def blurred(rgb: Pixels, sigma_px: float) -> Pixels:
    """Out of focus."""
    return np.asarray(cv2.GaussianBlur(rgb, (0, 0), sigma_px), np.uint8)


def shaken(rgb: Pixels, length_px: int) -> Pixels:
    """Moved from left to right while the shutter was open."""
    return np.asarray(cv2.filter2D(rgb, -1, np.full((1, length_px), 1 / length_px, np.float32)), np.uint8)


def lit(rgb: Pixels, gain: float, noise: float = 0.001) -> Pixels:
    """Exposed otherwise: linear light times a factor, with a sensor's noise, clipped."""
    code = rgb.astype(np.float32) / 255
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4) * gain
    linear += np.random.default_rng(4).normal(0, noise, linear.shape).astype(np.float32)
    linear = np.clip(linear, 0, 1)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(255 * coded + 0.5, np.uint8)


def smaller(rgb: Pixels, factor: float) -> Pixels:
    """Made smaller in sending."""
    return np.asarray(cv2.resize(rgb, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA), np.uint8)


def mirrored_lamp(rgb: Pixels, centre_px: tuple[float, float], radius_px: float) -> Pixels:
    """A white spot with a soft border, as a lamp is mirrored."""
    y, x = np.mgrid[: rgb.shape[0], : rgb.shape[1]]
    away = np.hypot(x - centre_px[0], y - centre_px[1]) / radius_px
    glow = np.clip(1.5 - 0.5 * away**2, 0, 1)[..., None].astype(np.float32)
    return np.asarray(rgb + glow * (255 - rgb.astype(np.float32)) + 0.5, np.uint8)


SPOILS: dict[str, Callable[[Pixels], Pixels]] = {
    "as taken": lambda rgb: rgb,
    **{f"blurred {s} px": partial(blurred, sigma_px=s) for s in (1, 2, 3, 4, 6)},
    **{f"shaken {n} px": partial(shaken, length_px=n) for n in (9, 17)},
    **{f"1/{n} the size": partial(smaller, factor=n) for n in (2, 3, 4, 6)},
    **{f"light × {g:g}": partial(lit, gain=g) for g in (0.1, 0.03, 0.01, 1.5, 2.5)},
}
"""By name; each by a degree that owners reach."""
