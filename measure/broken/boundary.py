"""A closed boundary ready to be held against another: nearest points, normals, and runs of points round it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.polylines import arc_lengths, at_lengths, closed

Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
Complex = NDArray[np.complex128]

FINE_MM = 0.04
"""Spacing of the points that the nearest one is taken of."""
SMOOTH_MM = 0.2
"""Half the length over which normals are taken."""
BRIDGED_MM, SHORTEST_MM = 1.6, 2.4
"""A shorter stretch that does not touch between two that do was chipped; a shorter one that touches does so by
chance."""


class Boundary:
    """A closed boundary (n, 2) ready for nearest points."""

    def __init__(self, loop: EdgeLoop) -> None:
        from scipy.spatial import cKDTree

        self.loop = loop
        self.points = loop.points_mm
        self.ring = closed(self.points)
        self.along = arc_lengths(self.ring)
        self.length = float(self.along[-1])
        self.fine, self.fine_normals = self._spaced(FINE_MM)
        self.tree = cKDTree(self.fine)

    def _spaced(self, step_mm: float) -> tuple[Array, Array]:
        """(n, 2) points in equal steps, and the normals of the closed polyline there, smoothed over a step."""
        n = max(int(self.length / step_mm), 8)
        t = (np.arange(n) + 0.5) * self.length / n
        p = at_lengths(self.ring, self.along, t)
        reach = max(1, round(SMOOTH_MM / step_mm))
        u = np.roll(p, -reach, 0) - np.roll(p, reach, 0)
        u /= np.maximum(np.hypot(*u.T), 1e-9)[:, None]
        return p, np.stack([u[:, 1], -u[:, 0]], 1)

    def even(self, step_mm: float) -> Complex:
        """(n,) points in equal steps of about so much, as complex numbers."""
        p, _ = self._spaced(step_mm)
        return np.asarray(p[:, 0] + 1j * p[:, 1])

    def nearest(self, q: Array) -> tuple[Array, Index]:
        """(n,) distances of points (n, 2) from the boundary, and (n,) which fine points are nearest to them."""
        off, at = self.tree.query(q)
        return np.asarray(off, float), np.asarray(at, np.intp)

    def normals_at(self) -> Array:
        """(n, 2) normals at the points themselves."""
        return np.asarray(self.fine_normals[self.nearest(self.points)[1]])


def lengths(points: Array) -> Array:
    """(n,) length of boundary that each point of a closed line stands for, mm."""
    size = np.hypot(*(np.roll(points, -1, 0) - points).T)
    return np.asarray((size + np.roll(size, 1)) / 2)


def runs_of(flags: Mask) -> list[NDArray[np.intp]]:
    """Runs of points that are flagged, round the closed line, in order of travel."""
    n = len(flags)
    if flags.all():
        return [np.arange(n)]
    start = int(np.argmin(flags))
    at = (start + np.arange(n)) % n
    edges = np.flatnonzero(np.diff(np.r_[False, flags[at], False].astype(int))).reshape(-1, 2)
    return [at[a:b] for a, b in edges]


def inner(touching: Mask) -> Mask:
    """Without the ends of runs, where blur rounds the corner between break and edge."""
    return touching & np.roll(touching, 2) & np.roll(touching, -2) & np.roll(touching, 1) & np.roll(touching, -1)


def bridged(touching: Mask, lengths: Array) -> Mask:
    """Which points touch, without short interruptions and chance touches."""
    out = touching.copy()
    for run in runs_of(~out):
        if lengths[run].sum() < BRIDGED_MM and len(run) != len(out):
            out[run] = True
    for run in runs_of(out):
        if lengths[run].sum() < SHORTEST_MM:
            out[run] = False
    return out
