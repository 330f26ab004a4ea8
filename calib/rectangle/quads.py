"""Candidate quadrilaterals in a photo, whatever the table, the print and the light.

Straight segments are looked for in two reduced pictures: a finer one for plain edges, and a coarse, blurred one in
which a busy print or a speckled table runs together. Where four of them close (`calib.rectangle.closing`) there is a
candidate, whose sides are then laid on the edges of a finer picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.srgb import CODES, FULL_CODE
from calib.rectangle.closing import CARD_BONUS, Camera, close
from calib.rectangle.laying import LaidQuadrilateral, lay
from calib.rectangle.segments import join, segments

FINE_PX = 1000
"""Long side of the picture in which sides are laid on edges."""
DIM, LIGHT, MOST_GAIN = 150.0, 220.0, 8.0
"""A photo whose brightest hundredth is no lighter than the first (8-bit) is made as light as the second, but by no more
than this factor."""
BRIGHTEST_PERCENT = 99.0
ANY_FOCAL = 0.75
"""Focal length of a photo that does not tell it, as share of its long side: 27 mm of 36, a phone's (common
practice)."""
FINER = 256
"""Steps in 16 bits of one in 8."""


@dataclass(frozen=True, slots=True)
class Level:
    """A reduced picture to look for segments in: its long side, px; blur, px; how many joined lines to keep, and how
    many families of quadrilaterals; and how far off its lines may lie, px of the picture of FINE_PX."""

    long_px: int
    blur_px: float
    lines: int
    families: int
    reach_px: float


LEVELS = (Level(700, 0.0, 120, 4, 2.5), Level(230, 1.7, 40, 2, 6.0))


@dataclass(frozen=True, slots=True)
class Quad:
    """A candidate.

    Attributes:
        corners_px: (4, 2) intersections of the side lines in the full photo, counter-clockwise as seen, from the corner
            at the lower left when the long sides lie level. They may lie outside the photo.
        support: (4,) share of each side that is an edge, 0 to 1, in the order of the corners: from each to the next.
        score: for ranking, higher is better; 2.5 is a fully seen outline of the right proportions.
    """

    corners_px: Array
    support: Array
    score: float

    @property
    def seen(self) -> float:
        """How much of the outline is an edge, at best 2: mean and worst side."""
        return float(self.support.mean() + self.support.min())


def quadrilaterals(
    rgb: NDArray[np.uint8], focal_px: float | None = None, ratio: float = 85.60 / 53.98, most: int = 14
) -> list[Quad]:
    """Candidate quadrilaterals in a photo, best first.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        focal_px: what is known of the focal length; 0.75 of the photo's long side when None (about 27 mm).
        ratio: of the sides of the rectangle looked for (ISO/IEC 7810 ID-1).
        most: how many to return at most.
    """
    import cv2

    fine, scale = reduced(rgb)
    lab = cv2.cvtColor(fine.astype(np.float32) / np.float32(FULL_CODE), cv2.COLOR_RGB2LAB)

    def look(points: Array) -> NDArray[np.float32]:
        at = points.astype(np.float32)
        found = cv2.remap(lab, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found, np.float32)

    focal = (focal_px or ANY_FOCAL * max(rgb.shape)) / scale
    camera = Camera((fine.shape[1], fine.shape[0]), focal, ratio)
    out: list[Quad] = []
    for level in LEVELS:
        shrink = min(1.0, level.long_px / max(fine.shape))
        small = cv2.resize(fine, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else fine
        if level.blur_px:
            small = cv2.GaussianBlur(small, (0, 0), level.blur_px)
        found = segments(np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB), np.uint8))
        seen = Camera((small.shape[1], small.shape[0]), focal * shrink, ratio)
        for corners in close(join(found, level.lines), seen, level.families):
            sides = lay(look, (corners + 0.5) / shrink - 0.5, camera.size_px, level.reach_px, EDGE_LAB)
            moved = LaidQuadrilateral.of([edges[0] for edges in sides])
            if any(same(moved.corners_px, q.corners_px, SAME_PX) for q in out):
                continue
            like = float(camera.likeness(moved.corners_px[None])[0])
            score = float(moved.support.mean() + moved.support.min()) + CARD_BONUS * like
            out.append(Quad(moved.corners_px, moved.support, score))
    out.sort(key=lambda q: -q.score)
    return [Quad(ordered((q.corners_px + 0.5) * scale - 0.5), q.support, q.score) for q in out[:most]]


EDGE_LAB = 0.6
"""A step of this many Lab units across a sixteenth of a side counts half as an edge."""
SAME_PX = 1.5
"""Quadrilaterals whose corners lie this close are one, px of the picture of FINE_PX."""


def same(q: Array, other: Array, near_px: float) -> bool:
    """Whether all corners of a quadrilateral lie near those of another, in any order."""
    d = np.hypot(*np.moveaxis(q[:, None] - other[None], -1, 0))
    return bool((d.min(0) < near_px).all())


def reduced(rgb: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], int]:
    """The photo reduced by a whole number to a long side near FINE_PX, and that number; a dark one made lighter."""
    import cv2

    k = max(1, round(max(rgb.shape) / FINE_PX))
    h, w = rgb.shape[0] // k, rgb.shape[1] // k
    bright = float(np.percentile(rgb[::16, ::16], BRIGHTEST_PERCENT))
    if bright > DIM:
        return np.asarray(cv2.resize(rgb[: h * k, : w * k], (w, h), interpolation=cv2.INTER_AREA), np.uint8), k
    # in 16 bits, so that what the mean of many pixels knows between two of their steps is not lost
    wide = cv2.LUT(rgb[: h * k, : w * k], (np.arange(CODES) * FINER).astype(np.uint16))
    small = cv2.resize(wide, (w, h), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.convertScaleAbs(small, alpha=min(LIGHT / max(bright, 1.0), MOST_GAIN) / FINER), np.uint8), k


def around(q: Array) -> Array:
    """(4, 2) the same corners, one after another round their middle."""
    away = q - q.mean(0)
    return np.asarray(q[np.argsort(np.arctan2(away[:, 1], away[:, 0]))])


def ordered(q: Array) -> Array:
    """(4, 2) corners counter-clockwise as seen, starting so that the first side is a long one and runs to the right."""
    d = np.roll(q, -1, 0) - q
    if d[0, 0] * d[1, 1] - d[0, 1] * d[1, 0] > 0:  # the photo's y points down: this is clockwise as seen
        q = q[::-1]
        d = np.roll(q, -1, 0) - q
    length = np.hypot(*d.T)
    k = 0 if length[0] + length[2] >= length[1] + length[3] else 1
    along = d[k] - d[(k + 2) % 4]
    if along[0] < 0 and abs(along[0]) > 1e-9 * abs(along[1]):
        k += 2
    return np.roll(q, -k, 0)
