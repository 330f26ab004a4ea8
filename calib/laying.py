"""Quadrilaterals laid on the edges of a picture: each side moved as a whole onto the strongest edge near it.

Each side is heard in blocks, each with one voice, spoken where its own step of colour is greatest and as loud as that
step is clear; where most voices fall on one line, there is the side (a Hough transform over offset, slope and bow).
Quick and rough: it takes the strongest edge, be it the face's, the rim's or a shadow's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Look = Callable[[Array], NDArray[np.float32]]
"""(r, c, 3) colour of a picture at (r, c, 2) positions, px."""

BLOCKS, MOST_EACH = 16, 20
"""Into how many blocks a side is cut, each the mean of at most so many samples."""
FIRST, LAST = 0.08, 0.92
"""The part of a side that is looked at: a card's rounded corners are left out."""
STEP_PX, HALF = 0.5, 4
"""Distance of the samples across a side, and how many of them each half of a difference spans."""
STRAIGHT = np.zeros(1)


@dataclass(frozen=True, slots=True)
class Laid:
    """A quadrilateral on its edges.

    Attributes:
        corners_px: (4, 2) where the lines through the sides' ends meet.
        support: (4,) share of each side (what lies in the picture) that is an edge; side k runs from corner k on.
        bow_px, bow_sd_px: (4,) how far the middle of each side lies outside the line through its ends, and its standard
            deviation.
    """

    corners_px: Array
    support: Array
    bow_px: Array
    bow_sd_px: Array


def laid(
    look: Look,
    corners_px: Array,
    size_px: tuple[int, int],
    reach_px: float,
    faint: float,
    bows_px: Array = STRAIGHT,
) -> Laid:
    """A quadrilateral's sides moved onto the strongest edges within reach_px.

    Args:
        look: colour of the picture.
        corners_px: (4, 2).
        size_px: of the picture.
        reach_px: how far off the sides may be.
        faint: step of colour, as `look` gives it, that counts half as an edge across one block.
        bows_px: bows to try besides straight lines.
    """
    middle = corners_px.mean(0)
    points, normals, support, bows, doubts = [], [], [], [], []
    for p, q in zip(corners_px, np.roll(corners_px, -1, 0), strict=True):
        d = q - p
        n = np.array([d[1], -d[0]]) / max(float(np.hypot(*d)), 1e-9)
        if (middle - p) @ n > 0:
            n = -n
        offset, slope, bow, doubt, share = _laid_side(look, p, d, n, size_px, reach_px, faint, bows_px)
        a, b = p + (offset - slope / 2) * n, q + (offset + slope / 2) * n
        along = b - a
        points.append(a)
        normals.append(np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9))
        support.append(share)
        bows.append(bow)
        doubts.append(doubt)
    out = []
    for k in range(4):
        N = np.stack([normals[k - 1], normals[k]])
        c = np.array([normals[k - 1] @ points[k - 1], normals[k] @ points[k]])
        out.append(np.linalg.solve(N, c) if abs(np.linalg.det(N)) > 0.05 else corners_px[k])
    return Laid(np.array(out), np.array(support), np.array(bows), np.array(doubts))


def _laid_side(
    look: Look, p: Array, d: Array, n: Array, size_px: tuple[int, int], reach_px: float, faint: float, bows_px: Array
) -> tuple[float, float, float, float, float]:
    """Offset (outwards, at the middle of the line through the ends), its change from end to end, bow, its standard
    deviation, all px, and the share that is an edge."""
    each = int(np.clip((LAST - FIRST) * np.hypot(*d) / BLOCKS, 2, MOST_EACH))
    t = np.linspace(FIRST, LAST, BLOCKS * each)
    margin = HALF * STEP_PX
    x = np.arange(-reach_px - margin, reach_px + margin + 0.01, STEP_PX)
    at = p + t[:, None, None] * d + x[None, :, None] * n
    inside = ((at[:, len(x) // 2] >= 0) & (at[:, len(x) // 2] <= np.array(size_px) - 1)).all(1)
    heard = inside.reshape(BLOCKS, each).mean(1) > 0.9
    if heard.sum() < 3:
        return 0.0, 0.0, 0.0, np.inf, 0.0
    mean = look(at).reshape(BLOCKS, each, len(x), 3).mean(1)
    sums = np.concatenate([np.zeros((BLOCKS, 1, 3)), np.cumsum(mean, 1)], 1)
    step = (sums[:, 2 * HALF :] - 2 * sums[:, HALF:-HALF] + sums[:, : -2 * HALF]) / HALF
    xs = x[HALF - 1 : len(x) - HALF] + STEP_PX / 2  # a difference sits between two samples
    energy = (step**2).sum(2)
    usual = np.maximum(np.median(energy, 1, keepdims=True), faint**2)
    top = energy.max(1, keepdims=True)
    voice = np.sqrt(energy / np.maximum(top, 1e-12)) * top / (top + usual) * heard[:, None]
    tt = t.reshape(BLOCKS, each).mean(1) - 0.5
    slopes = np.arange(-reach_px, reach_px + 0.01, STEP_PX)
    path = slopes[None, :, None] * tt + bows_px[:, None, None] * (1 - 4 * tt**2)
    k = np.arange(len(xs)) + np.round(path[..., None] / STEP_PX).astype(int)  # (bow, slope, block, x)
    padded = np.pad(voice, ((0, 0), (0, 1)))
    k = np.where((k >= 0) & (k < len(xs)), k, len(xs))
    total = padded[np.arange(BLOCKS)[:, None], k].sum(2) / heard.sum()
    g, i, j = np.unravel_index(int(total.argmax()), total.shape)
    start = (xs[j], slopes[i], bows_px[g])
    fit, doubt = _settled(voice, xs, tt, start, len(bows_px) > 1)
    return float(fit[0]), float(fit[1]), float(fit[2]), doubt, float(total[g, i, j])


def _settled(voice: Array, xs: Array, tt: Array, start: tuple[float, float, float], bent: bool) -> tuple[Array, float]:
    """Offset, slope and bow by least squares from the blocks' own peaks near a first answer; the bow's doubt."""
    fit = np.array(start)
    A = np.stack([np.ones_like(tt), tt, 1 - 4 * tt**2], 1)[:, : 3 if bent else 2]
    rest = np.zeros_like(tt) if bent else fit[2] * (1 - 4 * tt**2)
    doubt = np.inf
    for near in (1.5, 1.0):
        expected = A @ fit[: A.shape[1]] + rest
        fence = np.where(np.abs(xs - expected[:, None]) <= near, voice, 0)
        k = np.clip(fence.argmax(1), 1, len(xs) - 2)
        rows = np.arange(len(tt))
        left, mid, right = voice[rows, k - 1], voice[rows, k], voice[rows, k + 1]
        bend = left - 2 * mid + right
        peak = xs[k] + STEP_PX * np.clip(np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0), -0.5, 0.5)
        w = mid * (np.abs(peak - expected) <= near + STEP_PX)
        if (w > 0.1).sum() < A.shape[1] + 2:
            break
        N = A.T @ (A * w[:, None]) + 1e-9 * np.eye(A.shape[1])
        fit[: A.shape[1]] = np.linalg.solve(N, A.T @ (w * (peak - rest)))
        off = (peak - rest - A @ fit[: A.shape[1]]) * np.sqrt(w)
        spread = np.sqrt((off**2).sum() / max(w.sum() - A.shape[1], 1.0))
        if bent:
            doubt = float(max(spread, 0.05) * np.sqrt(np.linalg.inv(N)[2, 2]))
    return fit, doubt
