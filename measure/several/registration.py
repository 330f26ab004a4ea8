"""One outline laid on another: by which turn and shift, and whether it is seen from the other face.

Nearest points and steps towards the lines through them, from turns all round (Besl and McKay 1992; the distance to the
line instead of the point after Chen and Medioni 1992). A part that nearly repeats itself in a turn has several good
places; all of them are told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.geometry.features import Feature, flatten
from measure.geometry.motion import Motion
from measure.geometry.polylines import arc_lengths, with_normals
from measure.geometry.symmetry import centroid, outer_loop

SPACING_MM = 0.4
"""Distance of the points that are laid on the other outline."""
STEP_RAD = math.radians(5)
"""Turns that are tried first."""
FINALISTS, ROUNDS = 6, 25
"""How many of them are followed to the end for each face, and in how many steps at most."""
KEPT = 0.9
"""Share of the points that decide; the rest may lie on what only one of the outlines has."""
MOST_STEP_RAD = 0.2
"""No step turns farther than this."""
FAR_MM = 2.0
"""No point counts as farther off than this."""
DISTINCT_RAD = math.radians(3)
WORSE_MM = 0.3
"""A place counts beside the best one while its gap is no more than this larger."""


@dataclass(frozen=True, slots=True)
class Registration:
    """How an outline is laid on another.

    Attributes:
        motion: how its features get there.
        gap_mm: mean distance between the boundaries, both ways, none counted as more than FAR_MM.
    """

    motion: Motion
    gap_mm: float


def registrations(first: Sequence[Feature], second: Sequence[Feature]) -> list[Registration]:
    """The good ways to lay the second outline on the first, for each face the best one first, the better face first.

    Args:
        first, second: all loops.
    """
    fixed = _FixedOutline.of(first)
    start, goal = centroid(outer_loop(second)), centroid(outer_loop(first))
    points = _spread(second, SPACING_MM)[0]
    out: list[list[Registration]] = []
    for mirrored in (False, True):
        tries = []
        for turn in np.arange(0, 2 * math.pi, STEP_RAD):
            about = Motion(float(turn), mirrored=mirrored)
            shift = goal - about.points(start[None])[0]
            p = replace(about, shift_mm=(float(shift[0]), float(shift[1])))
            tries.append((fixed.one_way(p.points(points[::3])), p))
        tries.sort(key=lambda t: t[0])
        settled = sorted((fixed.settled(p, points) for _, p in tries[:FINALISTS]), key=lambda p: p.gap_mm)
        kept: list[Registration] = []
        for found in settled:
            if all(_apart(found.motion.turn_rad, k.motion.turn_rad) > DISTINCT_RAD for k in kept):
                kept.append(found)
        out.append([p for p in kept if p.gap_mm <= kept[0].gap_mm + WORSE_MM])
    out.sort(key=lambda ps: ps[0].gap_mm)
    return [p for ps in out for p in ps]


def _apart(a: float, b: float) -> float:
    return abs((a - b + math.pi) % (2 * math.pi) - math.pi)


def _spread(features: Sequence[Feature], spacing_mm: float) -> tuple[Array, Array]:
    """(n, 2) points along all features and the (n, 2) normals there."""
    points, normals = [], []
    for f in features:
        path = flatten(f)
        size = arc_lengths(path)[-1]
        n = max(2, math.ceil(size / spacing_mm))
        p, normal = with_normals(path, (np.arange(n) + 0.5) * size / n)
        points.append(p)
        normals.append(normal)
    return np.concatenate(points), np.concatenate(normals)


class _FixedOutline:
    """The outline that others are laid on, ready for nearest points."""

    def __init__(self, points: Array, normals: Array) -> None:
        from scipy.spatial import cKDTree

        self.points, self.normals, self.tree = points, normals, cKDTree(points)

    @classmethod
    def of(cls, features: Sequence[Feature]) -> _FixedOutline:
        return cls(*_spread(features, SPACING_MM / 8))

    def one_way(self, points: Array) -> float:
        """Mean distance of points from the outline."""
        return float(np.minimum(self.tree.query(points)[0], FAR_MM).mean())

    def settled(self, p: Motion, points: Array) -> Registration:
        """A motion bettered until it rests, with its gap."""
        from scipy.spatial import cKDTree

        for _ in range(ROUNDS):
            q = p.points(points)
            far, i = self.tree.query(q)
            near = far <= np.quantile(far, KEPT)
            n = self.normals[i]
            off = ((q - self.points[i]) * n).sum(1)
            design = np.c_[q[:, 0] * n[:, 1] - q[:, 1] * n[:, 0], n][near]
            step = np.linalg.lstsq(design, -off[near], rcond=None)[0]
            step *= min(1.0, MOST_STEP_RAD / max(abs(float(step[0])), 1e-12))
            p = p.then(Motion(float(step[0]), (float(step[1]), float(step[2]))))
            if np.abs(step).max() < 1e-6:
                break
        laid = p.points(points)
        back = cKDTree(laid).query(self.points[::8])[0]
        # a point has its nearest neighbour half a spacing along the outline at the worst
        back = np.sqrt(np.maximum(back**2 - (SPACING_MM / 2) ** 2, 0.0))
        gap = (self.one_way(laid) + float(np.minimum(back, FAR_MM).mean())) / 2
        return Registration(p, gap)
