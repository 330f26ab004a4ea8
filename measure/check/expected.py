"""How exactly a photo will let a length be measured, before it is traced.

A length of 50 mm is thought of where the part lies, in several directions, between two upright edges of the part's
height; its uncertainty is put together from the same shared terms that a trace's edge points carry.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.sharpness import Edges
from calib.tools.budget import K95
from calib.view.view import View
from measure.edges.light_steps import USUAL_NOISE
from measure.edges.rounded import silhouette_inset
from measure.edges.upper_edges import (
    APART_PX,
    CLIPPED_SPREAD_PX,
    FLOOR_PX,
    HIDDEN_PX,
    JOINT_SIDE,
    SIDE_SD_MM,
    SPREAD_PX,
)
from measure.tracing.parts import THICKNESS_SD_MM

LENGTH_MM = 50.0
DIRECTIONS = 8
LIFT_MM = 0.01
"""Half the step by which the height's effect is derived: views are smooth over far more."""
TELLING_EDGES = 12.0
"""How many blocks of pixels along an edge see it independently."""
BOUND = 1.8827
"""2^½ π^¼: what a step's blur, noise and height leave open of its place, one sample a pixel (information of a blurred
step; `tests/against_cramer_rao.py`)."""


def sd_of_edges(edges: Edges) -> float:
    """Standard deviation, px, with which the usual step of a boundary can be located; nan where there is none."""
    seen = np.isfinite(edges.sigma_px)
    if not seen.any():
        return math.nan
    sd = BOUND * np.sqrt(edges.sigma_px[seen]) * USUAL_NOISE / edges.step[seen]
    return float(np.median(sd))


def u95_of_length(
    view: View, at_mm: Array, height_mm: float, edge_sd_px: float, clipped: bool, rim_sd_mm: float = 0.0
) -> float:
    """Half-width, mm, of the interval that holds a measured 50 mm 19 times in 20; photo alone, thickness measured.

    Args:
        view: the solved view.
        at_mm: (2,) where on the plane the part lies.
        height_mm: of its upper edge.
        edge_sd_px: standard deviation of one located block of edge.
        clipped: whether light at the sensor's limit takes part at its edges.
        rim_sd_mm: standard deviation of the upper rim's radius.
    """
    turn = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    way = np.stack([np.cos(turn), np.sin(turn)], 1)
    ends = [at_mm + s * LENGTH_MM / 2 * way for s in (1.0, -1.0)]
    change = [_change(view, p, s * way, height_mm) for p, s in zip(ends, (1.0, -1.0), strict=True)]
    of_view = change[0][0] + change[1][0]
    of_height = change[0][1] + change[1][1]
    px_mm = view.mm_per_px(at_mm)
    spread = 2 * (CLIPPED_SPREAD_PX if clipped else SPREAD_PX) * px_mm
    white = 2 * (math.hypot(edge_sd_px, FLOOR_PX) * px_mm) ** 2 / TELLING_EDGES
    sides = sum(_side_sd(view, p, s * way, height_mm) ** 2 for p, s in zip(ends, (1.0, -1.0), strict=True))
    variance = np.einsum("np,pq,nq->n", of_view, view.covariance, of_view)
    of_rim = sum(_by_rim(view, p, s * way, height_mm) for p, s in zip(ends, (1.0, -1.0), strict=True))
    variance = variance + (of_height * THICKNESS_SD_MM) ** 2 + (of_rim * rim_sd_mm) ** 2 + spread**2 + white + sides
    return K95 * math.sqrt(float(variance.mean()))


def _upper(view: View, points_mm: Array, outward: Array) -> NDArray[np.bool_]:
    """(n,) whether the upper edge is what bounds the part there."""
    return np.asarray(((points_mm - view.centre_mm[:2]) * outward).sum(1) >= 0)


def _change(view: View, points_mm: Array, outward: Array, height_mm: float) -> tuple[Array, Array]:
    """Change of edges along their outward normals with the view's parameters (n, 10), and with the height (n,)."""
    z = np.where(_upper(view, points_mm, outward), height_mm, 0.0)
    px = view.pixels(points_mm, z)
    by_view = np.einsum("nk,nkp->np", outward, view.plane_sensitivity(px, z))
    lift = (view.plane(px, z + LIFT_MM) - view.plane(px, z - LIFT_MM)) / (2 * LIFT_MM)
    return by_view, np.where(z > 0, (lift * outward).sum(1), 0.0)


def _by_rim(view: View, points_mm: Array, outward: Array, height_mm: float) -> Array:
    """(n,) change of edges along their outward normals with the upper rim's radius: hidden walls are seen by it."""
    slope = ((points_mm - view.centre_mm[:2]) * outward).sum(1) / (view.centre_mm[2] - height_mm)
    return np.where(_upper(view, points_mm, outward), silhouette_inset(np.maximum(slope, 0.0)), 0.0)


def _side_sd(view: View, points_mm: Array, outward: Array, height_mm: float) -> Array:
    """(n,) standard deviation, mm, of what edges that face one way have wrong together: more where a wall is seen so
    narrow that its two lines are one."""
    px_mm = view.mm_per_px(points_mm.mean(0))
    lean = np.hypot(*(view.pixels(points_mm, height_mm) - view.pixels(points_mm, 0.0)).T)
    joint = ~_upper(view, points_mm, outward) & (lean > HIDDEN_PX) & (lean <= APART_PX[0])
    return np.hypot(SIDE_SD_MM, np.where(joint, JOINT_SIDE * lean * px_mm, 0.0))
