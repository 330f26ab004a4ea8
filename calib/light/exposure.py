"""Light in a photo: too much, too little, glare on a face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CLIPPED_CODE = 251
"""From this 8-bit code on a channel is at the sensor's limit, as near as compression lets one tell."""
REDUCED_PX = 1000
BRIGHT_QUANTILE = 0.97
SOFTENED_PX = 3


@dataclass(frozen=True, slots=True)
class Exposure:
    """The light of a whole photo.

    Attributes:
        bright: 8-bit code of its bright parts, lightness; a photo whose bright parts are dark is under-exposed.
        burnt: share of it where all channels are at the sensor's limit.
    """

    bright: float
    burnt: float


def exposure(rgb: NDArray[np.uint8]) -> Exposure:
    """The light of a photo (h, w, 3), 8-bit sRGB."""
    import cv2

    f = min(1.0, REDUCED_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=f, fy=f, interpolation=cv2.INTER_AREA)
    light = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    return Exposure(float(np.quantile(light, BRIGHT_QUANTILE)), float((small.min(2) >= CLIPPED_CODE).mean()))


def glare(rgb: NDArray[np.uint8], inside: NDArray[np.uint8]) -> float:
    """Share of a face that mirrors a lamp: at the sensor's limit in all channels, where the face itself is not.

    Args:
        rgb: (h, w, 3) a cut-out of the photo.
        inside: (h, w) nought outside the face.
    """
    import cv2

    burnt = (rgb.min(2) >= CLIPPED_CODE).astype(np.uint8)
    disc = np.ones((SOFTENED_PX, SOFTENED_PX), np.uint8)
    burnt = cv2.morphologyEx(burnt, cv2.MORPH_OPEN, disc)  # single grains are noise
    within = inside > 0
    if not within.any():
        return 0.0
    return float(burnt[within].mean())
