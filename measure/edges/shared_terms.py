"""What all edge points of one photo have wrong together: the columns of `EdgeLoop.sensitivity`."""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from calib.view.view import NAMES as VIEW_NAMES
from calib.view.view import View

DIRECTIONS = 8
SHARED_NAMES = (*VIEW_NAMES, "thickness", "spread", "rim", *(f"side_{k}" for k in range(DIRECTIONS)))
"""The view; the part's thickness, mm; how far all edges are seen too far out, in units of its standard deviation; the
radius of the upper rim less what is reckoned with, mm; and for eight directions of the outward normal, in units of its
standard deviation, what edges that face this way have wrong together: light falls on them, and shadow lies before them,
alike."""


def by_side(normals: Array, sd_mm: Array) -> Array:
    """(n, 8) standard deviations (n,) in the columns of the directions that normals face."""
    turn = np.arctan2(normals[:, 1], normals[:, 0]) / (2 * np.pi / DIRECTIONS)
    out = np.zeros((len(normals), DIRECTIONS))
    out[np.arange(len(normals)), np.floor(turn).astype(int) % DIRECTIONS] = sd_mm
    return out


LIFT_MM = 0.01
"""Half the step by which the height's effect is derived: views are smooth over far more."""


def by_view(view: View, points_mm: Array, normals: Array, height_mm: float) -> Array:
    """(n, 10) change of a located point along its normal with the view's parameters."""
    px = view.pixels(points_mm, height_mm)
    return np.asarray(np.einsum("nk,nkp->np", normals, view.plane_sensitivity(px, height_mm)))


def by_height(view: View, points_mm: Array, normals: Array, height_mm: float) -> Array:
    """(n,) change of a located point along its normal with the height of the edge that was seen."""
    px = view.pixels(points_mm, height_mm)
    d = (view.plane(px, height_mm + LIFT_MM) - view.plane(px, height_mm - LIFT_MM)) / (2 * LIFT_MM)
    return np.asarray((d * normals).sum(1))
