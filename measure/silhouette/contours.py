"""Smooth closed contours of a mask."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from measure.geometry.polylines import arc_lengths, at_lengths, signed_area
from measure.silhouette.tabletop import Mask

_SMOOTH_MM = 0.3
_STEP_MM = 0.25
_FINER = 2
_BLUR_MM, _LEAST_BLUR_PX, _FEWEST = 0.15, 0.6, 24
"""Blur of a mask before its contour is taken, which rounds off pixels' stairs: half of what the contour is then
smoothed by, and at least; and how few points a contour has at least."""


def smooth_contour(mask: Mask, px_per_mm: float) -> NDArray[np.float64]:
    """(n, 2) outer boundary of a mask's largest piece, in its pixel coordinates, smoothed at the scale of 0.3 mm.

    Points follow each other in equal steps of about 0.25 mm, clockwise as seen in the picture.
    """
    padded = cv2.copyMakeBorder(mask, 2, 2, 2, 2, cv2.BORDER_CONSTANT)
    soft = cv2.GaussianBlur(padded.astype(np.float32), (0, 0), max(_LEAST_BLUR_PX, _BLUR_MM * px_per_mm))
    h, w = soft.shape
    soft = cv2.resize(soft, (w * _FINER, h * _FINER), interpolation=cv2.INTER_LINEAR)
    outlines, _ = cv2.findContours((soft > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not outlines:
        return np.zeros((0, 2))
    line = max(outlines, key=cv2.contourArea)[:, 0].astype(float)
    if len(line) < 8:
        return np.zeros((0, 2))
    closed = np.vstack([line, line[:1]])
    along = arc_lengths(closed)
    n = max(_FEWEST, round(along[-1] / (_STEP_MM * px_per_mm * _FINER)))
    even = np.linspace(0, along[-1], 4 * n, endpoint=False)
    x, y = at_lengths(closed, along, even).T
    wave = np.fft.rfftfreq(4 * n, along[-1] / (4 * n))
    damp = np.exp(-2 * (np.pi * _SMOOTH_MM * px_per_mm * _FINER * wave) ** 2)
    x, y = (np.fft.irfft(np.fft.rfft(v) * damp, 4 * n)[::4] for v in (x, y))
    # the traced pixels lie half a pixel inside: move out along the normal
    tangent = np.stack([np.roll(x, -1) - np.roll(x, 1), np.roll(y, -1) - np.roll(y, 1)], 1)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    points = np.stack([x, y], 1)
    turn = np.sign(signed_area(points))
    points += 0.5 * turn * np.stack([tangent[:, 1], -tangent[:, 0]], 1)
    if turn < 0:
        points = points[::-1]
    return np.asarray((points + 0.5) / _FINER - 0.5 - 2, float)
