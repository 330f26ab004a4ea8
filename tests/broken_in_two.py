"""Simulated pieces of parts broken in two: true outlines of our own invention, split along a ragged line, sampled with
the noise of an edge and rounded at corners as a photo rounds them. Lengths in millimetres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.ops import split

from calib.arrays import Array
from calib.view.view import View
from measure.broken.fragments import PLACING_NAMES, JoinedLoops
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rounded import Rim
from measure.edges.sight import Wall
from measure.geometry.features import Feature, flatten
from measure.outline.outline import outline
from measure.tracing.following import Followed
from tests.simulated_parts import circle, polygon
from tests.simulated_traces import features_of

NAMES = ("scale", "spread")
SHARED = np.diag([0.001**2, 1.0])
STEP_MM = 0.33
NO_VIEW = View(np.zeros(10), np.zeros((10, 10)), (1, 1))
"""Nothing here is seen by a camera."""


@dataclass(frozen=True)
class Pieces:
    """Both pieces as traced, the larger where the whole part lies, the other elsewhere; and what is true."""

    whole: shapely.Polygon
    first: Followed
    second: Followed
    turn_rad: float


def ragged(p: tuple[float, float], q: tuple[float, float], rng: np.random.Generator, rough: float = 0.5) -> Array:
    """(n, 2) a ragged line between two points on the outline, and beyond both."""
    a, b = np.array(p), np.array(q)
    long = math.dist(p, q)
    u = (b - a) / long
    n = max(round(long / 2), 4)
    t = np.r_[0, (np.arange(1, n) + rng.uniform(-0.3, 0.3, n - 1)) / n, 1]
    off = np.cumsum(rng.normal(0, rough, n + 1))
    off -= off[0] + (off[-1] - off[0]) * t
    line = a + np.outer(t, b - a) + np.outer(off, [-u[1], u[0]])
    return np.vstack([a - 3 * u, line, b + 3 * u])


def solid(features: Sequence[Feature]) -> shapely.Polygon:
    """The area within features' outer loop, without the holes."""
    rings: dict[int, list[Array]] = {}
    for f in features:
        rings.setdefault(f.loop, []).append(flatten(f)[:-1])
    closed = [np.concatenate(r) for r in rings.values()]
    return shapely.Polygon(closed[0], closed[1:])


def in_two(
    features: Sequence[Feature], line: Array, rng: np.random.Generator, noise_mm: float = 0.015, lost_mm: float = 0.0
) -> Pieces:
    """A part split along a line, its pieces traced; `lost_mm` of material is gone along the break."""
    whole = solid(features)
    parts = sorted(split(whole, shapely.LineString(line)).geoms, key=lambda g: -g.area)
    assert len(parts) == 2
    if lost_mm:
        parts[1] = parts[1].difference(shapely.LineString(line).buffer(lost_mm))
    turn = float(rng.uniform(-math.pi, math.pi))
    other = shapely.affinity.rotate(parts[1], turn, origin=(0, 0), use_radians=True)
    other = shapely.affinity.translate(other, 70.0, -20.0)
    return Pieces(whole, seen(parts[0], rng, noise_mm), seen(other, rng, noise_mm), -turn)


def seen(piece: shapely.Polygon, rng: np.random.Generator, noise_mm: float = 0.015) -> Followed:
    """A piece as traced."""
    piece = shapely.geometry.polygon.orient(piece)
    loops = [_sampled(r, rng, noise_mm) for r in (piece.exterior, *piece.interiors)]
    return Followed(
        outline(loops, NAMES, SHARED), tuple(loops), tuple(loops), Rim.known("sharp"), Wall(3.0, 0.0), NO_VIEW
    )


def _sampled(ring: shapely.LinearRing, rng: np.random.Generator, noise_mm: float) -> EdgeLoop:
    n = round(ring.length / STEP_MM)
    fine = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(8 * n) * ring.length / (8 * n)))
    wave = np.fft.rfftfreq(8 * n, ring.length / (8 * n))
    damp = np.exp(-2 * (np.pi * 0.12 * wave) ** 2)[:, None]  # a photo's blur
    p = np.fft.irfft(np.fft.rfft(fine, axis=0) * damp, 8 * n, axis=0)[::8]
    u = np.roll(p, -1, 0) - np.roll(p, 1, 0)
    u /= np.hypot(*u.T)[:, None]
    normals = np.stack([u[:, 1], -u[:, 0]], 1)
    away = (p * normals).sum(1)
    p = p + normals * rng.normal(0, noise_mm, n)[:, None]
    return EdgeLoop(p, normals, np.full(n, noise_mm), np.stack([away, np.full(n, 0.01)], 1))


def off_mm(whole: shapely.Polygon, joined: JoinedLoops) -> Array:
    """(n,) distance of the true boundary from the joined part's outline; the larger piece lies where the whole does."""
    names, shared = (*NAMES, *PLACING_NAMES), np.eye(len(NAMES) + 3)
    shared[: len(NAMES), : len(NAMES)] = SHARED
    found = outline(joined.loops, names, shared)
    rings: dict[int, list[Array]] = {}
    for f in found.features:
        rings.setdefault(f.loop, []).append(flatten(f))
    lines = shapely.MultiLineString([np.concatenate(r) for r in rings.values()])
    true = (whole.exterior, *whole.interiors)
    points = [shapely.line_interpolate_point(r, np.arange(0.05, r.length, 0.1)) for r in true]
    return np.asarray(shapely.distance(lines, np.concatenate(points)))


def plate() -> tuple[Feature, ...]:
    """A stepped plate with three holes, invented."""
    corners = [(0, 0, 3), (58, 0, 3), (58, 20, 3), (22, 20, 5), (22, 34, 2.5), (0, 34, 2.5)]
    return features_of([polygon(corners), circle(9, 26, 2.3), circle(50, 10, 2.6), circle(14, 9, 2)])


def hook() -> tuple[Feature, ...]:
    """A bar with a nose, two holes, invented."""
    corners = [(-34, -8, 3), (14, -8, 3), (14, -18, 2), (26, -18, 5), (26, 8, 6), (-34, 8, 3)]
    return features_of([polygon(corners), circle(-26, 0, 2.6), circle(-8, 0, 2.6)])


def link() -> tuple[Feature, ...]:
    """A plate with a large hole in the middle, through which it breaks, invented."""
    corners = [(-30, -11, 5), (30, -13, 5), (30, 13, 5), (-30, 11, 5)]
    return features_of([polygon(corners), circle(-22, 0, 2.6), circle(0, 0, 6), circle(22, 0, 2.6)])
