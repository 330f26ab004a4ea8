"""The smoothest path through evidence, and the finest position that evidence tells near it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

LEAD = 60
"""Stretches that a closed path runs on past its seam: the farther the seam, the less it matters (chosen)."""
LEAST_BEND, FARTHEST = 1e-9, 0.75
"""A parabola's minimum is one when it bends upwards (rounding) and lies this near, in grid steps, to the least of the
three points it is laid through: a half at most, and what noise adds (chosen)."""


def smoothest(cost: Array, stiffness: Array | float, closed: bool, reach: int = 4) -> NDArray[np.intp]:
    """Path of least cost through (b, x) with a penalty on jumps (Viterbi 1967); (b,) indices.

    Args:
        cost: (b, x) cost of each position at each stretch.
        stiffness: cost of a jump of one grid step, grows with its square up to `reach` steps; (b,) gives the price of
            the step into each stretch.
        closed: whether the last stretch adjoins the first.
    """
    b, n = cost.shape
    stiffness = np.broadcast_to(stiffness, b)
    if closed:  # run on past the seam at both ends and keep the middle
        lead = min(b, LEAD)
        around = np.r_[b - lead : b, 0:b, 0:lead]
        return smoothest(cost[around], stiffness[around], False, reach)[lead : lead + b]
    jump = np.empty((b, n), np.intp)
    fenced = np.full(n + 2 * reach, np.inf)
    total = fenced[reach : reach + n]
    total[:] = cost[0]
    near = np.lib.stride_tricks.sliding_window_view(fenced, n)  # (jumps, n), a view of what `total` is at the time
    prices = stiffness[:, None, None] * np.arange(-reach, reach + 1)[:, None] ** 2.0
    for i in range(1, b):
        t = near + prices[i]
        t.argmin(0, out=jump[i])
        np.add(t.min(0), cost[i], out=total)
    path = np.empty(b, np.intp)
    path[-1] = total.argmin()
    for i in range(b - 1, 0, -1):
        path[i - 1] = path[i] + jump[i, path[i]] - reach
    return path


def vertex(cost: Array, xs_px: Array, at: NDArray[np.intp], near: int = 3) -> tuple[Array, Array]:
    """Position of least cost within `near` grid steps of the positions `at`, and its standard deviation, both (b,) px.

    A parabola through three grid points; the second derivative of a negative log likelihood is the inverse variance.
    The standard deviation is infinite where there is no minimum.
    """
    rows = np.arange(len(cost))
    window = np.clip(at[:, None] + np.arange(-near, near + 1), 0, cost.shape[1] - 1)
    best = window[rows, np.take_along_axis(cost, window, 1).argmin(1)]
    i = np.clip(best, 1, cost.shape[1] - 2)
    a, m, c = cost[rows, i - 1], cost[rows, i], cost[rows, i + 1]
    h = float(xs_px[1] - xs_px[0])
    bend = a - 2 * m + c
    ok = bend > LEAST_BEND
    shift = np.where(ok, 0.5 * (a - c) / np.where(ok, bend, 1), 0)
    x = xs_px[i] + h * np.clip(shift, -1, 1)
    return x, np.where(ok & (np.abs(shift) <= FARTHEST), h / np.sqrt(np.where(ok, bend, 1)), np.inf)
