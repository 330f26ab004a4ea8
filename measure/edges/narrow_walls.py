"""Where the outline lies along walls seen so narrow that their edges and a rounded rim run into one another.

There two steps of light a known distance apart are no longer what is seen, and the place that they tell is off by what
the light on the rounding is like. So the place is taken from the light across longer stretches, with the rounding in it
(`rim_seen`), and what the steps were off there is put right for all points that lie near and face the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rim_seen import RimSeen
from measure.edges.rounded import Rim

NEAR_MM, ALIKE_RAD, LEAST = 4.0, 0.3, 0.05
"""How far a stretch tells of others, along the outline and by where they face, standard deviations; and how much of a
stretch must tell of a point (chosen)."""
OWN_MM, SAME_WAY = 1.0, 0.9
"""Points so near to the middle of a stretch are its own, if the cosine between their normals is more."""
FEWEST = 3
"""Fewer points of its own tell nothing of a stretch."""
MOST, BELIEVED = 0.6, 0.5
"""Steps are off by so many radii at the most: the line between face and wall lies on the rounding; where fewer of the
stretches keep to that, walls are not as wide as was reckoned, and nothing is moved."""


@dataclass(frozen=True, slots=True)
class NarrowWalls:
    """What narrow walls are off by.

    Attributes:
        points_mm, outwards: (b, 2) stretches and where they face.
        shift_mm: (b,) how far outwards their points are to be moved; by_radius: (b,) how that changes with the radius.
    """

    points_mm: Array
    outwards: Array
    shift_mm: Array
    by_radius: Array

    def at(self, points_mm: Array, normals: Array) -> tuple[Array, Array, Array]:
        """(n,) shifts of points (n, 2), mm, how they change with the radius, and how much is known of each, 0 to 1."""
        share, known = told_by(self.points_mm, self.outwards, points_mm, normals)
        return known * (share @ self.shift_mm), known * (share @ self.by_radius), known


def told_by(stretches_mm: Array, outwards: Array, points_mm: Array, normals: Array) -> tuple[Array, Array]:
    """(n, b) what stretches (b, 2) have to say of points (n, 2) near them that face the same way, as shares of 1; and
    (n,) how much is known of each point, 0 to 1.
    """
    apart = ((points_mm[:, None] - stretches_mm) ** 2).sum(2) / NEAR_MM**2
    turned = np.arccos(np.clip(normals @ outwards.T, -1, 1)) / ALIKE_RAD
    weight = np.exp(-0.5 * (apart + turned**2))
    total = weight.sum(1)
    return weight / np.maximum(total, 1e-12)[:, None], np.minimum(total / LEAST, 1.0)


def narrow_walls(shown: RimSeen, rim: Rim, loops: Sequence[EdgeLoop], before_mm: Sequence[Array]) -> NarrowWalls | None:
    """What the steps of light are off along narrow walls; None where none are seen, or none can be believed.

    Args:
        shown: the light along outlines (n, 2) `before_mm`.
        rim: what is known of the rim by now.
        loops: the points that were located with it.
    """
    from scipy.spatial import cKDTree

    points, normals = (np.concatenate([getattr(e, name) for e in loops]) for name in ("points_mm", "normals"))
    tree = cKDTree(points)
    line = np.concatenate(list(before_mm))
    at_line = cKDTree(line)
    mean, by_radius = shown.places(*rim.if_rounded_mm)
    out = []
    for k in np.flatnonzero(shown.bands.narrow):
        own = np.array(tree.query_ball_point(shown.bands.points_mm[k], OWN_MM), int)
        own = own[normals[own] @ shown.bands.outwards[k] > SAME_WAY]
        if len(own) < FEWEST:
            continue
        off = ((points[own] - line[at_line.query(points[own])[1]]) * normals[own]).sum(1)
        out.append((k, mean[k] - float(np.median(off))))
    kept = [(k, s) for k, s in out if abs(s) < MOST * rim.if_rounded_mm[0]]
    if len(kept) <= BELIEVED * len(out):
        return None
    at = np.array([k for k, _ in kept])
    shift = rim.rounded * np.array([s for _, s in kept])
    return NarrowWalls(shown.bands.points_mm[at], shown.bands.outwards[at], shift, rim.rounded * by_radius[at])
