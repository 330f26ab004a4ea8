"""How wide a wall is seen along an outline that is still rough, and how far that may be trusted."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import minimum_filter1d

from calib.arrays import Array
from measure.edges.sight import Sight


def sideways(s: Sight, width: int) -> Array:
    """(b,) how many blocks along the outline the upper edge is displaced from the lower one.

    Args:
        s: what is seen at b * width points in order.
        width: points a block.
    """
    shift = s.lower_px - s.upper_px
    n = s.normals_px
    across = np.abs(shift[:, 0] * n[:, 1] - shift[:, 1] * n[:, 0])
    step = np.hypot(*(s.lower_px - np.roll(s.lower_px, 1, 0)).T)
    return np.asarray((across / np.maximum(np.median(step), 1e-6)).reshape(-1, width).mean(1) / width)


def calmed(wall: Array, sideways: Array) -> Array:
    """Widths (b,) averaged over so many blocks (b,) as the two edges are displaced along the outline, jumps kept.

    A width that follows each wave of a rough outline would make it grow: the profile at a foot meets the upper edge at
    another point, whose wave has another sign.
    """
    b = len(wall)
    reach = min(int(3 * sideways.max()) + 1, b // 3)
    steps = np.arange(-reach, reach + 1)
    near = wall[(np.arange(b)[:, None] + steps) % b]
    weight = np.exp(-0.5 * (steps / np.maximum(sideways, 0.1)[:, None]) ** 2)
    weight *= np.exp(-0.5 * ((near - wall[:, None]) / ALIKE_PX) ** 2)
    return np.asarray((weight * near).sum(1) / weight.sum(1))


ALIKE_PX = 2.0
"""Widths of a wall that differ by much more belong to different walls."""


def within(cost: Array, slack: Array) -> Array:
    """The least cost within `slack` (b,) grid steps of each position."""
    sizes = 2 * np.rint(slack).astype(int) + 1
    return np.array([minimum_filter1d(row, size, mode="nearest") for row, size in zip(cost, sizes, strict=True)])


FOOT_SLACK = 0.1
"""By how much of its width the visible wall of an opening may be wider or narrower: its depth comes from the photo, and
in rendered ones it was right to that."""
