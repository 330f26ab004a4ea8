"""What a part covers: material, holes, and open space, on a fine grid."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

CELL_MM = 0.4


class Ground:
    """Answers for many points at once, to the nearest cell, whether they lie on the part.

    Args:
        loops: closed polygons (n, 2), the outer boundary first.
    """

    def __init__(self, loops: Sequence[Array]) -> None:
        points = np.concatenate(loops)
        self._low = points.min(0) - 2 * CELL_MM
        size = np.ceil((points.max(0) - self._low) / CELL_MM).astype(int) + 3
        outer = self._filled(loops[0], size)
        self._within = outer
        self._solid = outer.copy()
        for loop in loops[1:]:
            self._solid ^= self._filled(loop, size)

    def _filled(self, loop: Array, size: NDArray[np.int_]) -> NDArray[np.bool_]:
        """Cells of a grid (y, x) whose middle lies within a polygon: even-odd rule, row by row."""
        a, b = loop, np.roll(loop, -1, 0)
        y = self._low[1] + CELL_MM * np.arange(size[1])[:, None]
        over = (a[:, 1] > y) != (b[:, 1] > y)
        row, k = np.nonzero(over)
        p, q = a[k], b[k]
        x = p[:, 0] + (y[row, 0] - p[:, 1]) / (q[:, 1] - p[:, 1]) * (q[:, 0] - p[:, 0])
        column = np.ceil((x - self._low[0]) / CELL_MM).astype(int)
        turns = np.zeros((size[1], size[0]), int)
        np.add.at(turns, (row, np.clip(column, 0, size[0] - 1)), 1)
        return (turns.cumsum(1) % 2).astype(bool)

    def _ask(self, grid: NDArray[np.bool_], points: Array) -> NDArray[np.bool_]:
        at = np.rint((points - self._low) / CELL_MM).astype(int)
        inside = (at >= 0).all(-1) & (at[..., 0] < grid.shape[1]) & (at[..., 1] < grid.shape[0])
        at = np.where(inside[..., None], at, 0)
        out: NDArray[np.bool_] = grid[at[..., 1], at[..., 0]] & inside
        return out

    def solid(self, points: Array) -> NDArray[np.bool_]:
        """(...): whether points (..., 2) lie in the material."""
        return self._ask(self._solid, points)

    def within(self, points: Array) -> NDArray[np.bool_]:
        """(...): whether points (..., 2) lie within the outer boundary."""
        return self._ask(self._within, points)
