"""How sharp a photo is where it matters: the blur of its edges, in pixels.

An edge seen through a lens is a step blurred by a bell curve; the steepest slope of a step of height A blurred by
sigma is A / (sigma sqrt(2 pi)). A blur by motion shows only across the motion, so edges are sorted by their direction
and the worst direction counts; a soft shadow beside an edge is no blur, so in each direction the sharp ones count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.levels import STEP_PX
from calib.light.profile import CHANNEL_WEIGHTS, Light, take

WIDTH = 4
"""Neighbouring profiles that are averaged."""
REACH_PX = 16.0
FIRST_AWAY_PX, PASSES = 3.0, 3
"""How far away they are taken at first, and how often anew: the blur has settled by then (chosen)."""
WHOLE_PX, LEAST_CELL_PX = 1000, 8
"""Long side that a whole photo is searched at; and the least side of a cell there (chosen)."""
AWAY = 2.5, 0.5, 1.5
"""Levels beside an edge are taken so many times its blur away, and so many pixels; no nearer than that (chosen)."""
WAYS = 4
"""Directions that edges are sorted into, over half a turn."""
LEAST_STEP, LEAST_SHARE = 0.004, 0.2
"""Steps lower than this, of full light, or than this share of the usual step say nothing: noise has slopes as steep."""
SHARP_QUANTILE = 0.3
LEAST_EDGES = 8
"""Edges of one direction that make a figure."""
CELLS, STRONGEST = 28, 24
"""The whole photo is searched for edges in so many columns of cells, one in each, and of each direction so many of
the strongest are looked at."""


@dataclass(frozen=True, slots=True)
class Edges:
    """Steps of light across a boundary.

    Attributes:
        sigma_px: (b,) blur of each, nan where there is no step.
        step: (b,) its height, share of full light, over all channels.
        way_rad: (b,) direction of its normal, 0 to pi.
        clipped: (b,) share of the profile at the sensor's limit.
    """

    sigma_px: Array
    step: Array
    way_rad: Array
    clipped: Array


def edges_along(light: Light, points_px: Array, normals_px: Array) -> Edges:
    """Steps of light across a boundary.

    Args:
        light: the photo around it.
        points_px: (n, 2) about a pixel apart, in order; every four neighbours make one profile.
        normals_px: (n, 2) unit.
    """
    n = len(points_px) // WIDTH * WIDTH
    p = take(light, points_px[:n], normals_px[:n], REACH_PX, REACH_PX, WIDTH)
    normals = normals_px[:n].reshape(-1, WIDTH, 2).mean(1)
    way = np.arctan2(normals[:, 1], normals[:, 0]) % np.pi
    weighted = p.light * np.sqrt(CHANNEL_WEIGHTS)
    step, sigma = _steepest(weighted)
    return Edges(sigma, step, way, p.clipped)


def _steepest(light: Array) -> tuple[Array, Array]:
    """(b,) height and blur of the steepest step of each profile (b, s, 3).

    The levels on either side are read where the step has ended, which depends on its blur: hence two passes.
    """
    b, n, _ = light.shape
    if not b:  # a photo of one single level
        return np.empty(0), np.empty(0)
    slope = np.linalg.norm(light[:, 2:] - light[:, :-2], axis=2) / (2 * STEP_PX)
    at = slope.argmax(1) + 1
    steepest = slope.max(1)
    rows = np.arange(b)
    away = np.full(b, FIRST_AWAY_PX)
    for _ in range(PASSES):
        d = np.maximum(np.round(away / STEP_PX), 2).astype(int)
        before = light[rows, np.clip(at - d, 0, n - 1)]
        after = light[rows, np.clip(at + d, 0, n - 1)]
        step = np.linalg.norm(after - before, axis=1)
        sigma = step / np.maximum(steepest, 1e-9) / math.sqrt(2 * math.pi)
        away = np.clip(AWAY[0] * sigma + AWAY[1], AWAY[2], REACH_PX)
    least = max(LEAST_STEP, LEAST_SHARE * float(np.median(step)))
    return step, np.where(step > least, sigma, np.nan)


def blur_px(*found: Edges) -> float:
    """The blur of some boundaries together, in their worst direction; nan where too few steps are seen."""
    sigma = np.concatenate([e.sigma_px for e in found])
    way = np.concatenate([e.way_rad for e in found])
    seen = np.isfinite(sigma)
    bin_of = _sorted(way)
    each = [sigma[seen & (bin_of == k)] for k in range(WAYS)]
    enough = [float(np.quantile(s, SHARP_QUANTILE)) for s in each if len(s) >= LEAST_EDGES]
    return max(enough, default=math.nan)


def _sorted(way_rad: Array) -> NDArray[np.intp]:
    """(n,) which of the WAYS directions, over half a turn, each direction belongs to."""
    return np.asarray(np.floor(way_rad * WAYS / np.pi + 0.5).astype(int) % WAYS, np.intp)


def _strongest(strength: NDArray[np.float32], side: int) -> NDArray[np.intp]:
    """(m, 2) row and column of the strongest point of each of the strongest square cells; (h, w) multiples of side."""
    h, w = strength.shape
    cells = strength.reshape(h // side, side, w // side, side).transpose(0, 2, 1, 3).reshape(-1, side * side)
    best, most = cells.argmax(1), cells.max(1)
    ranked = np.argsort(-most)[:STRONGEST]
    row, column = np.divmod(ranked, w // side)
    at = best[ranked]
    found = np.stack([row * side + at // side, column * side + at % side], 1)
    return np.asarray(found[most[ranked] > 0], np.intp)


def edges_of_photo(rgb: NDArray[np.uint8]) -> Edges:
    """The strongest edges all over a photo, for when nobody knows yet what is in it."""
    import cv2

    factor = max(1, round(max(rgb.shape[:2]) / WHOLE_PX))
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    small = cv2.resize(grey, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), 1.0)
    along, down = cv2.Sobel(small, cv2.CV_32F, 1, 0), cv2.Sobel(small, cv2.CV_32F, 0, 1)
    strength = np.hypot(along, down)
    h, w = strength.shape
    side = max(LEAST_CELL_PX, w // CELLS)
    h, w = h // side * side, w // side * side
    way = _sorted(np.arctan2(down[:h, :w], along[:h, :w]))
    found = [_strongest(np.where(way == k, strength[:h, :w], 0), side) for k in range(WAYS)]
    y, x = np.concatenate(found).T
    normal = np.stack([along[y, x], down[y, x]], 1).astype(float)
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    middle = (np.stack([x, y], 1) + 0.5) * factor - 0.5
    beside = np.stack([-normal[:, 1], normal[:, 0]], 1)
    offsets = np.arange(WIDTH) - (WIDTH - 1) / 2
    points = (middle[:, None] + offsets[None, :, None] * beside[:, None]).reshape(-1, 2)
    return edges_along(Light.of(rgb), points, np.repeat(normal, WIDTH, 0))
