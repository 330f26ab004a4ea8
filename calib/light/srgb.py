"""Linear light of 8-bit sRGB codes."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def linear_of_codes() -> Array:
    """(256,) linear light, 0 to 1, of each code (IEC 61966-2-1)."""
    c = np.arange(256) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
