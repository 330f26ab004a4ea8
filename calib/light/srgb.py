"""sRGB: linear light of its codes, and codes of linear light (IEC 61966-2-1)."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array

CODES, FULL_CODE = 256, 255.0
"""How many codes of 8 bits there are, and the highest."""
SLOPE, SCALE, OFFSET, EXPONENT = 12.92, 1.055, 0.055, 2.4
"""The straight piece near black and the power beyond it (IEC 61966-2-1, 5.2)."""
STRAIGHT_TO_CODE, STRAIGHT_TO_LIGHT = 0.04045, 0.0031308
"""Where the straight piece ends, as a code and as light, 0 to 1 (the same clause)."""


def linear_of_codes() -> Array:
    """(256,) linear light, 0 to 1, of each 8-bit code."""
    return linear(np.arange(CODES) / FULL_CODE)


def linear(code: Array) -> Array:
    """Linear light, 0 to 1, of codes, 0 to 1."""
    return np.where(code <= STRAIGHT_TO_CODE, code / SLOPE, by_power(code))


def by_power(code: Array) -> Array:
    """Linear light of codes, 0 to 1, beyond the straight piece."""
    return np.asarray(((code + OFFSET) / SCALE) ** EXPONENT)


def coded(light: Array) -> Array:
    """Codes, 0 to 1, of linear light, 0 to 1."""
    power = SCALE * np.maximum(light, 1e-9) ** (1 / EXPONENT) - OFFSET
    return np.where(light <= STRAIGHT_TO_LIGHT, SLOPE * light, power)


def coded_by_light(light: Array) -> Array:
    """Derivative of `coded`."""
    x = np.maximum(light, 1e-9)
    return np.where(x <= STRAIGHT_TO_LIGHT, SLOPE, SCALE / EXPONENT * x ** (1 / EXPONENT - 1))
