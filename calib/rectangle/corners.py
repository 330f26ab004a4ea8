"""Corner radius of a flat rectangle, measured in the photo.

At each corner the colour's gradient is taken on a small grid that lies in the rectangle's plane; of all outlines that
run straight, round a quarter circle and straight on, the one along which the picture changes most across is the corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.rectangle.laying import Look
from calib.rectangle.seen_shape import area
from calib.view.settling import MAD_TO_SD

OUTSIDE_MM, INSIDE_MM = 1.4, 11.0
"""How far the grid reaches beyond the sides, and along them."""
FINEST_MM, FINEST_PX = 0.1, 0.4
"""Spacing of the grid, whichever is more."""
LEAST_PX_PER_MM = 1.0
"""Coarser pictures show nothing of a corner."""
RADII_MM = np.arange(0.0, 9.01, 0.2)
STRAIGHT_MM = 6.0
"""From here on sides are straight whatever the radius that is looked for."""
SHIFT_MM = 0.2
EDGE_MM = 0.3
"""What is left out at the end of the straight parts: the picture's derivative needs neighbours (chosen)."""
ARC_POINTS = 24
"""Points along a quarter of a circle: 0.6 mm apart on the largest radius (chosen)."""
FAINT = 0.3
"""A gradient, in units of the picture per grid step, that stands out from a clean picture's noise."""
LEAST_SD_MM, SD_PX, COMMON_SD_PX = 0.08, 0.35, 0.5
"""Least standard deviation of a radius: shadow and rim; how well one corner's outline is placed; and what all radii
have in common, from blur."""


@dataclass(frozen=True, slots=True)
class Radius:
    """A measured corner radius.

    Attributes:
        radius_mm, sd_mm: over all corners seen, and its standard deviation.
        each_mm: (4,) of the corners by themselves, NaN where not in the picture.
        clear: how much more the picture changes across this outline than across others, natural logarithm per point.
    """

    radius_mm: float
    sd_mm: float
    each_mm: Array
    clear: float


def corner_radius(
    look: Look,
    corners_px: Array,
    width_mm: float,
    height_mm: float,
    size_px: tuple[int, int],
    shift_mm: float = SHIFT_MM,
) -> Radius:
    """Corner radius of a rectangle whose sides are known.

    Args:
        look: colour of the photo.
        corners_px: (4, 2) where its sides meet.
        width_mm, height_mm: length of the side from the first corner on, and of the next.
        size_px: of the photo.
        shift_mm: how far off the sides may be.
    """
    import cv2

    w, h = width_mm, height_mm
    plane = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    H = cv2.getPerspectiveTransform(plane, corners_px.astype(np.float32))
    px_per_mm = float(np.sqrt(area(corners_px) / (w * h)))
    scores, each = [], np.full(4, np.nan)
    if px_per_mm < LEAST_PX_PER_MM:
        return Radius(np.nan, np.inf, each, 0.0)
    grid = max(FINEST_MM, FINEST_PX / px_per_mm)
    for k, apex in enumerate(plane.astype(float)):
        along, back = plane[(k + 1) % 4] - apex, plane[k - 1] - apex
        score = _scores(look, H, apex, along / np.hypot(*along), back / np.hypot(*back), grid, size_px, shift_mm)
        if score is not None:
            scores.append(score)
            each[k] = _best(score)[0]
    if not scores:
        return Radius(np.nan, np.inf, each, 0.0)
    total = np.mean(scores, 0)
    radius, top = _best(total)
    # a corner's outline at 45° moves by √2 - 1 of what its radius changes
    own = SD_PX / px_per_mm / (np.sqrt(2) - 1)
    spread = MAD_TO_SD * float(np.nanmedian(np.abs(each - radius)))
    sd = float(np.linalg.norm([max(spread, own) / np.sqrt(len(scores)), LEAST_SD_MM, COMMON_SD_PX / px_per_mm]))
    return Radius(radius, sd, each, top - float(np.median(total)))


def _best(score: Array) -> tuple[float, float]:
    """Radius of the highest score, between the steps, and that score."""
    i = int(score.argmax())
    shift = 0.0
    if 0 < i < len(score) - 1:
        bend = score[i - 1] - 2 * score[i] + score[i + 1]
        shift = float(np.clip(0.5 * (score[i - 1] - score[i + 1]) / bend, -0.5, 0.5)) if bend < 0 else 0.0
    return float(RADII_MM[i] + shift * (RADII_MM[1] - RADII_MM[0])), float(score[i])


def _scores(
    look: Look, H: Array, apex: Array, along: Array, back: Array, grid: float, size_px: tuple[int, int], shift_mm: float
) -> Array | None:
    """(r,) how much the picture changes across the outline of each radius at one corner; None outside the picture."""
    import cv2

    s = np.arange(-OUTSIDE_MM, INSIDE_MM + grid, grid)
    plane = apex + s[None, :, None] * along + s[:, None, None] * back  # rows along `back`, columns along `along`
    q = np.concatenate([plane, np.ones((*plane.shape[:2], 1))], 2) @ H.T
    at = q[..., :2] / q[..., 2:]
    if (at < 0).any() or (at > np.array(size_px) - 1).any():
        return None
    picture = cv2.GaussianBlur(look(at), (0, 0), 1.0)
    across = (picture[1:-1, 2:] - picture[1:-1, :-2]) / 2
    up = (picture[2:, 1:-1] - picture[:-2, 1:-1]) / 2
    parts = [(across**2).sum(2), (across * up).sum(2), (up**2).sum(2)]
    usual = max(float(np.median(parts[0] + parts[2])) / 2, FAINT**2)
    first = s[1]

    def change(x: Array | float, y: Array | float, nx: Array | float, ny: Array | float) -> Array:
        j = np.clip(np.round((np.asarray(x) - first) / grid).astype(int), 0, parts[0].shape[1] - 1)
        i = np.clip(np.round((np.asarray(y) - first) / grid).astype(int), 0, parts[0].shape[0] - 1)
        e = nx**2 * parts[0][i, j] + 2 * nx * ny * parts[1][i, j] + ny**2 * parts[2][i, j]
        return np.asarray(np.log1p(np.maximum(e, 0) / usual))

    # where the two sides run, from their straight parts
    far: Array = np.arange(STRAIGHT_MM, INSIDE_MM - EDGE_MM, grid)
    shifts = np.arange(-shift_mm, shift_mm + grid / 2, grid)[:, None]
    lift = float(shifts[change(far, shifts, 0, 1).sum(1).argmax(), 0])
    draw = float(shifts[change(shifts, far, 1, 0).sum(1).argmax(), 0])
    run = np.arange(0.0, RADII_MM[-1], grid)
    sides = change(draw + run, lift, 0, 1) + change(draw, lift + run, 1, 0)
    beyond = np.append(np.cumsum(sides[::-1])[::-1], 0)  # what the straight parts give from each position on
    first_straight = np.searchsorted(run, RADII_MM)
    r, angle = RADII_MM[:, None], np.linspace(0, np.pi / 2, ARC_POINTS)
    sin, cos = np.sin(angle), np.cos(angle)
    arc = change(draw + r - r * sin, lift + r - r * cos, sin, cos).mean(1) * np.pi / 2 * RADII_MM
    # each outline counts by its length, so that all are judged over the same piece of picture
    return np.asarray(
        (arc + beyond[first_straight] * grid) / (np.pi / 2 * RADII_MM + 2 * grid * (len(run) - first_straight))
    )
