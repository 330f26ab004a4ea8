"""What a card lies on, when that has edges of its own in the photo: a sheet of paper, or a book.

A sheet is harmless. A book or a box under the card alone is not: card and part then lie at different heights, and
nothing in the card's own picture tells. Whoever knows where the part lies can tell whether it shares the underlay.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.srgb import FULL_CODE
from calib.rectangle.quads import Quad
from calib.rectangle.seen_shape import area

SEEN = 1.5
"""What must be seen of its outline, of 2."""
ASIDE = 0.012
"""How far off the outline colours are compared, as a share of its size."""
STEP_LAB = 5.0
"""Colours inside and outside differ by so much along all four sides: unlike those about a printed grid's lines."""
UNEVEN = 0.5
"""How much the colours inside may differ from each other, as a share of that step: it is lit more on one side."""
SHOWN, FEWEST = 0.4, 3
"""Share of a side that must lie in the photo for it to count, and how many must."""
LARGER = 1.2
"""An underlay has at least so many times the card's area."""
ALONG, PLACES, ACROSS = (0.1, 0.9), 48, (1.5, 1.0, -1.0, -1.5)
"""Its edge is looked at along this share of a side, in so many places, at so many times ASIDE inside and outside."""


def underlay(rgb: NDArray[np.uint8], card_px: Array, quads: list[Quad]) -> Array | None:
    """(4, 2) outline of the smallest thing with a colour of its own that holds the whole card; None if there is none.

    Args:
        rgb: the photo.
        card_px: (4, 2) corners of the card.
        quads: candidates found in the photo.
    """
    for q in sorted(quads, key=lambda q: area(q.corners_px)):
        if q.support.mean() + q.support.min() < SEEN or area(q.corners_px) < LARGER * area(card_px):
            continue
        if holds(q.corners_px, card_px) and stands_out(rgb, q.corners_px):
            return q.corners_px
    return None


def holds(outer: Array, inner: Array) -> bool:
    """Whether a convex quadrilateral holds all points of another."""
    d = np.roll(outer, -1, 0) - outer
    v = inner[None] - outer[:, None]
    side = d[:, None, 0] * v[..., 1] - d[:, None, 1] * v[..., 0]
    return bool((side > 0).all() or (side < 0).all())


def stands_out(rgb: NDArray[np.uint8], q: Array) -> bool:
    """Whether the colour inside is one and differs from those outside along all sides, or all but one.

    Outside there may be table on one side and shadow on another. What lies outside the photo is left out.
    """
    import cv2

    middle = q.mean(0)
    away = ASIDE * np.sqrt(area(q))
    most = np.array(rgb.shape[1::-1]) - 1
    within, steps = [], []
    for a, b in zip(q, np.roll(q, -1, 0), strict=True):
        d = b - a
        n = np.array([d[1], -d[0]]) / np.hypot(*d)
        n = -n if (middle - a) @ n > 0 else n
        t = np.linspace(*ALONG, PLACES)[:, None]
        at = np.stack([a + t * d - s * away * n for s in ACROSS])
        shown = ((at >= 0) & (at <= most)).all((0, 2))
        if shown.mean() < SHOWN:
            continue
        ij = np.round(at[:, shown]).astype(int)
        lab = cv2.cvtColor(rgb[ij[..., 1], ij[..., 0]].astype(np.float32) / FULL_CODE, cv2.COLOR_RGB2LAB)
        within.append(np.median(lab[:2], (0, 1)))
        steps.append(within[-1] - np.median(lab[2:], (0, 1)))
    if len(steps) < FEWEST:
        return False
    size = np.linalg.norm(steps, axis=1)
    uneven = np.linalg.norm(np.array(within) - np.mean(within, 0), axis=1)
    return bool((size > STEP_LAB).all() and (uneven < UNEVEN * size).all())
