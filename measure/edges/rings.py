"""Closed outlines in a picture, a point for each pixel of their length, and where it is outward."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from measure.edges.rough import turned_rightly
from measure.geometry.polylines import arc_lengths, at_lengths


def evenly(ring_px: Array) -> Array:
    """(n, 2) points about a pixel apart along a closed polyline, clockwise as seen in the picture."""
    ring = turned_rightly(ring_px, True)
    closed = np.vstack([ring, ring[:1]])
    at = arc_lengths(closed)
    return at_lengths(closed, at, np.arange(float(int(at[-1]))))


def outward(ring_px: Array) -> Array:
    """(n, 2) outward unit normals of an even closed polyline, clockwise as seen in the picture."""
    reach = min(6, len(ring_px) // 4)
    along = np.roll(ring_px, -reach, 0) - np.roll(ring_px, reach, 0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    return np.stack([along[:, 1], -along[:, 0]], 1)
