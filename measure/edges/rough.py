"""Rough outlines in equal steps, with smooth normals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.polylines import arc_lengths, at_lengths, signed_area


@dataclass(frozen=True, slots=True)
class Rough:
    """A contour resampled in equal steps: points and right-hand normals, millimetres, in order of travel."""

    points_mm: Array
    normals: Array

    def turned(self, sign: float) -> Rough:
        """The same with its normals turned round, if sign is −1."""
        return Rough(self.points_mm, sign * self.normals)


def resampled(points_mm: Array, step_mm: float, smooth_mm: float, multiple: int) -> Rough:
    """A closed polyline in equal steps, smoothed by a Gaussian along its length.

    Args:
        points_mm: (n, 2) closed, the last point not repeated.
        step_mm: wanted spacing; smooth_mm: standard deviation of the smoothing.
        multiple: the number of points is a multiple of this.
    """
    closed = np.vstack([points_mm, points_mm[:1]])
    at = arc_lengths(closed)
    n = max(int(at[-1] / step_mm / multiple), 4) * multiple
    t = np.arange(n) * at[-1] / n
    p = at_lengths(closed, at, t)
    frequency = np.fft.rfftfreq(n, at[-1] / n)
    keep = np.exp(-2 * (np.pi * frequency * smooth_mm) ** 2)[:, None]
    p = np.fft.irfft(np.fft.rfft(p, axis=0) * keep, n, axis=0)
    u = np.fft.irfft(np.fft.rfft(p, axis=0) * (2j * np.pi * frequency)[:, None], n, axis=0)
    u /= np.maximum(np.hypot(*u.T), 1e-12)[:, None]
    return Rough(p, np.c_[u[:, 1], -u[:, 0]])


def turned_rightly(points: Array, counter_clockwise: bool) -> Array:
    """The closed polyline, reversed if it runs the other way round."""
    return points if (signed_area(points) > 0) == counter_clockwise else points[::-1]
