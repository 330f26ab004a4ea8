"""Spikes of a face: where a wall has by chance the face's light, a thin strip of it is taken for face.

What is thinner than SPIKE_MM, sticks out by more than DEEP_MM and lies wholly where the wall behind it is seen is such
a strip more often than it is a rib. It is left out, and said.
"""

from __future__ import annotations

import cv2
import numpy as np

from calib.arrays import Array
from measure.silhouette.rectified import F32, Mask, Rectified
from measure.silhouette.tabletop import disc

SPIKE_MM, DEEP_MM = 1.0, 0.6
"""Of 75 rendered parts one had a spike that was none of its own, 0.7 mm broad and 1.6 mm deep; none had a real one."""
STEPS = 12
"""Heights of a wall at which it is looked whether a cell is wall."""


def without_spikes(region: Mask, plan: Rectified, foot_mm: Array, ratio: float, marked: F32) -> tuple[Mask, float]:
    """A region without its spikes, and the depth of the deepest of them, mm; 0 where there is none.

    Args:
        region: (h, w) the face.
        plan: where its cells lie; foot_mm: (2,) the camera's foot point.
        ratio: how much nearer to that a wall's foot is seen than its upper edge.
        marked: (h, w) above 0 where a person says that the part is.
    """
    stout = cv2.morphologyEx(region, cv2.MORPH_OPEN, disc(plan.cells_in(SPIKE_MM / 2)))
    away = cv2.distanceTransform(1 - stout, cv2.DIST_L2, 5) * plan.step_mm
    n, label = cv2.connectedComponents(region & (1 - stout), connectivity=8)
    out, deepest = region.copy(), 0.0
    for k in range(1, n):
        rows, columns = np.nonzero(label == k)
        depth = float(away[rows, columns].max())
        if depth < DEEP_MM or (marked[rows, columns] > 0).any():
            continue
        if _on_wall(stout, plan, np.stack([columns, rows], 1).astype(float), foot_mm, ratio):
            out[rows, columns] = 0
            deepest = max(deepest, depth)
    return out, deepest


def _on_wall(stout: Mask, plan: Rectified, cells: Array, foot_mm: Array, ratio: float) -> bool:
    """Whether all cells (n, 2) lie where a wall of the region is seen."""
    foot = plan.cells(foot_mm[None])[0]
    h, w = stout.shape
    seen = np.zeros(len(cells), bool)
    for nearer in np.linspace(ratio, 1.0, STEPS):
        x, y = np.rint(foot + (cells - foot) / nearer).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < w) & (y < h)
        seen[inside] |= stout[y[inside], x[inside]] > 0
    return bool(seen.all())
