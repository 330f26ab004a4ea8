"""Polylines (n, 2): lengths along them, points at such lengths, the area they enclose."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array


def closed(points: Array) -> Array:
    """(n + 1, 2) the polyline that comes back to its first point."""
    return np.vstack([points, points[:1]])


def arc_lengths(points: Array) -> Array:
    """(n,) length along a polyline from its first point to each of its points."""
    return np.asarray(np.r_[0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))], np.float64)


def at_lengths(points: Array, lengths: Array, wanted: Array) -> Array:
    """(m, 2) points at wanted lengths along a polyline.

    Args:
        points: the polyline.
        lengths: (n,) its `arc_lengths`.
        wanted: (m,) lengths; beyond an end the end itself is taken.
    """
    return np.stack([np.interp(wanted, lengths, points[:, 0]), np.interp(wanted, lengths, points[:, 1])], 1)


def with_normals(points: Array, wanted: Array) -> tuple[Array, Array]:
    """(m, 2) points at wanted lengths (m,) along a polyline, and (m, 2) right-hand unit normals of its pieces there."""
    d = np.diff(points, axis=0)
    size = np.hypot(*d.T)
    lengths = arc_lengths(points)
    i = np.clip(np.searchsorted(lengths, wanted, side="right") - 1, 0, len(d) - 1)
    u = d[i] / np.maximum(size[i], 1e-12)[:, None]
    return points[i] + u * (wanted - lengths[i])[:, None], np.stack([u[:, 1], -u[:, 0]], 1)


def evenly(points: Array, step: float, fewest: int = 2) -> Array:
    """(m, 2) points spaced evenly along a polyline, ends included, by no more than a step; at least so many."""
    lengths = arc_lengths(points)
    count = max(fewest, int(np.ceil(lengths[-1] / step)) + 1)
    return at_lengths(points, lengths, np.linspace(0, lengths[-1], count))


def signed_area(points: Array) -> float:
    """Area in a closed polyline, its last point not repeated: positive where x to y is the sense of travel."""
    x, y = points.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
