"""Straight segments (m, 4), each from x, y to x, y: those of a polyline, and the nearest points on them."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def segments(path: Array) -> Array:
    """(n - 1, 4) the segments of a polyline (n, 2)."""
    return np.hstack([path[:-1], path[1:]])


def nearest(points: Array, among: Array) -> tuple[Array, Array, Array]:
    """The place on any of some segments that is nearest to each point.

    Args:
        points: (n, 2).
        among: (m, 4) segments.

    Returns:
        (n, 2) the places, (n, 2) unit normals of their segments, to the right, and (n,) how far off they are.
    """
    a, d = among[:, :2], among[:, 2:] - among[:, :2]
    size = np.maximum((d**2).sum(1), 1e-18)
    (qx, qy), (ax, ay), (dx, dy) = points.T[:, :, None], a.T[:, None], d.T[:, None]  # sums of two are slow as sums
    t = np.clip(((qx - ax) * dx + (qy - ay) * dy) / size, 0, 1)
    foot_x, foot_y = ax + t * dx, ay + t * dy
    gap = (qx - foot_x) ** 2 + (qy - foot_y) ** 2
    j = gap.argmin(1)
    i = np.arange(len(points))
    normal = np.stack([d[j, 1], -d[j, 0]], 1) / np.sqrt(size[j])[:, None]
    return np.stack([foot_x[i, j], foot_y[i, j]], 1), normal, np.sqrt(gap[i, j])
