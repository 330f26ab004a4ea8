"""Flat things as triangles: faces, walls, rims rounded or chamfered, walls with the lines of printed layers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from tests.accuracy import shapes as sh

Ring = Array
"""Points (n, 2) of a closed line, mm; the last one is not the first again."""

ROUND_STEPS = 5
"""Facets of a rounded rim; more could not be seen."""
LAYER_MM, SCALLOP_MM = 0.25, 0.03
"""Height of a printed layer and how far its middle stands out over its seams: common practice, no source."""


@dataclass(frozen=True)
class Rim:
    """The edge between face and wall: `sharp`, `round` with a radius, or a `chamfer` of 45° with a leg, both mm."""

    form: str = "sharp"
    size_mm: float = 0.0

    def steps(self) -> list[tuple[float, float]]:
        """How far in from the outline and how far down from the face, from the face outwards."""
        if self.form == "sharp" or self.size_mm <= 0:
            return [(0.0, 0.0)]
        if self.form == "chamfer":
            return [(self.size_mm, 0.0), (0.0, self.size_mm)]
        angles = np.linspace(0, math.pi / 2, ROUND_STEPS)
        return [(self.size_mm * (1 - math.sin(a)), self.size_mm * (1 - math.cos(a))) for a in angles]


@dataclass(frozen=True)
class Mesh:
    """Corners (n, 3) in mm, triangles (m, 3), and where in the texture each corner lies (n, 2), 0 to 1."""

    corners: Array
    triangles: NDArray[np.int64]
    uv: Array


def extruded(
    rings: list[Ring],
    z0: float,
    z1: float,
    *,
    rim: Rim | None = None,
    layered: bool = False,
) -> Mesh:
    """Upper face and walls of an outline; the texture is stretched over the face's bounds and runs down the walls.

    Args:
        rings: the outer boundary first, then holes, in any sense.
        z0, z1: foot and face, mm.
        rim: of every upper edge.
        layered: whether the walls have the lines of printed layers.
    """
    rings = [r if (sh.area(r) > 0) == (i == 0) else r[::-1] for i, r in enumerate(rings)]  # material on the left
    profile = (rim or Rim()).steps()
    levels = [*profile, *(_layers(profile[-1][1], z1 - z0) if layered else []), (0.0, z1 - z0)]
    face = [_inset(r, levels[0][0]) for r in rings]
    points, triangles = _filled(face)
    lo, size = points.min(0), np.ptp(points, axis=0)
    corners, parts, uv, base = (
        [np.c_[points, np.full(len(points), z1)]],
        [triangles],
        [(points - lo) / size],
        len(points),
    )
    for r in rings:
        n = len(r)
        i, j = np.arange(n), (np.arange(n) + 1) % n
        for (above, down), (below, further) in pairwise(levels):
            a, b = _inset(r, above), _inset(r, below)
            corners.append(np.r_[np.c_[a, np.full(n, z1 - down)], np.c_[b, np.full(n, z1 - further)]])
            uv.append(np.tile((a - lo) / size, (2, 1)))
            parts.append(base + np.r_[np.c_[i, n + i, j], np.c_[j, n + i, n + j]])
            base += 2 * n
    return Mesh(np.concatenate(corners), np.concatenate(parts), np.concatenate(uv))


def turned(mesh: Mesh, x: float, y: float, deg: float) -> Mesh:
    """The mesh turned about the world's z axis, then shifted."""
    a = math.radians(deg)
    R = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
    return Mesh(np.c_[mesh.corners[:, :2] @ R.T + [x, y], mesh.corners[:, 2]], mesh.triangles, mesh.uv)


def _layers(from_mm: float, to_mm: float) -> list[tuple[float, float]]:
    """Seams and bellies of printed layers below the rim. The bellies are the outline; the seams lie behind it."""
    down = np.arange(from_mm + LAYER_MM / 2, to_mm - LAYER_MM / 4, LAYER_MM / 2)
    return [(0.0 if i % 2 else SCALLOP_MM, float(d)) for i, d in enumerate(down)]


def _inset(ring: Ring, by: float) -> Ring:
    """The ring moved into the material, which lies on its left, corners kept (mitred)."""
    if not by:
        return ring
    e = np.roll(ring, -1, 0) - ring
    n = np.c_[-e[:, 1], e[:, 0]] / np.maximum(np.linalg.norm(e, axis=1, keepdims=True), 1e-9)
    m = n + np.roll(n, 1, 0)
    m /= np.maximum((m**2).sum(1, keepdims=True) / 2, 0.3)
    return ring + by * m


def _filled(rings: list[Ring]) -> tuple[Array, NDArray[np.int64]]:
    import mapbox_earcut  # comes with the renderer, which is not always there

    points = np.concatenate(rings)
    found = mapbox_earcut.triangulate_float64(points, np.cumsum([len(r) for r in rings]).astype(np.uint32))
    triangles = np.asarray(found, np.int64).reshape(-1, 3)
    if sh.area(points[triangles[0]]) < 0:
        triangles = triangles[:, ::-1]
    return points, triangles
