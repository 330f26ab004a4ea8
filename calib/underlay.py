"""What a card lies on, when that has edges of its own in the photo: a sheet of paper, or a book.

A sheet is harmless. A book or a box under the card alone is not: card and part then lie at different heights, and
nothing in the card's own picture tells. Whoever knows where the part lies can tell whether it shares the underlay.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calib.quads import Quad
from calib.seen_shape import area
from calib.sighting import inside

Array = NDArray[np.float64]

SEEN = 1.5
"""What must be seen of its outline, of 2."""
ASIDE = 0.012
"""How far off the outline colours are compared, as a share of its size."""
STEP_LAB = 5.0
"""Colours inside and outside differ by so much, the same way along all four sides: unlike those about a printed grid's
lines."""


def underlay(rgb: NDArray[np.uint8], card_px: Array, quads: list[Quad]) -> Array | None:
    """(4, 2) outline of the smallest thing with a colour of its own that holds the whole card; None if there is none.

    Args:
        rgb: the photo.
        card_px: (4, 2) corners of the card.
        quads: candidates found in the photo.
    """
    size = (rgb.shape[1], rgb.shape[0])
    for q in sorted(quads, key=lambda q: area(q.corners_px)):
        if q.support.mean() + q.support.min() < SEEN or area(q.corners_px) < 1.2 * area(card_px):
            continue
        if inside(q.corners_px, size) and holds(q.corners_px, card_px) and stands_out(rgb, q.corners_px):
            return q.corners_px
    return None


def holds(outer: Array, inner: Array) -> bool:
    """Whether a convex quadrilateral holds all points of another."""
    d = np.roll(outer, -1, 0) - outer
    v = inner[None] - outer[:, None]
    side = d[:, None, 0] * v[..., 1] - d[:, None, 1] * v[..., 0]
    return bool((side > 0).all() or (side < 0).all())


def stands_out(rgb: NDArray[np.uint8], q: Array) -> bool:
    """Whether colours inside and outside differ, the same way along all four sides."""
    import cv2

    middle = q.mean(0)
    away = ASIDE * np.sqrt(area(q))
    steps = []
    for a, b in zip(q, np.roll(q, -1, 0), strict=True):
        d = b - a
        n = np.array([d[1], -d[0]]) / np.hypot(*d)
        n = -n if (middle - a) @ n > 0 else n
        t = np.linspace(0.1, 0.9, 48)[:, None]
        at = np.stack([a + t * d - s * away * n for s in (1.5, 1.0, -1.0, -1.5)])
        ij = np.clip(np.round(at).astype(int), 0, np.array(rgb.shape[1::-1]) - 1)
        lab = cv2.cvtColor(rgb[ij[..., 1], ij[..., 0]].astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
        steps.append(np.median(lab[:2], (0, 1)) - np.median(lab[2:], (0, 1)))
    each = np.array(steps)
    mean = each.mean(0)
    size = float(np.linalg.norm(mean))
    return size > STEP_LAB and bool((each @ mean > 0.3 * size**2).all())
