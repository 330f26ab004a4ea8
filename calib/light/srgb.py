"""sRGB: linear light of its codes, and codes of linear light (IEC 61966-2-1)."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def linear_of_codes() -> Array:
    """(256,) linear light, 0 to 1, of each 8-bit code."""
    c = np.arange(256) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def coded(light: Array) -> Array:
    """Codes, 0 to 1, of linear light, 0 to 1."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
