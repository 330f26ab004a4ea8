"""Quadrilaterals laid on the edges of a picture: each side moved as a whole onto the strongest edge near it.

Each side is cut into blocks, and each block votes for the places where its own step of colour is greatest, with the
more weight the clearer that step is. The line that most votes fall on is the side (a Hough transform over offset, slope
and bow).
Quick and rough: it takes the strongest edge, be it the face's, the rim's or a shadow's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

Look = Callable[[Array], NDArray[np.float32]]
"""(r, c, 3) colour of a picture at (r, c, 2) positions, px."""

BLOCKS, MOST_EACH = 16, 20
"""Into how many blocks a side is cut, each the mean of at most so many samples."""
FIRST, LAST = 0.08, 0.92
"""The part of a side that is looked at: a card's rounded corners are left out."""
STEP_PX, MOST_STEPS, HALF = 0.5, 20, 4
"""Least distance of the samples across a side, how many to either side at most, and how many each half of a difference
spans."""
MOST_SLOPE_PX = 8.0
CLEAR = 15.0
"""An edge's energy against a block's usual one from which on it is as clear as can be."""
WEAKEST, APART_PX = 0.45, 2.5
"""A side's further edges: how strong against the strongest, and how far from it."""
BOW_SD_PX = 0.2
"""Least standard deviation of a bow: print, shadow and pixel grid shift a side's middle against its ends."""
WITHIN, LEAST_VOTE = 0.9, 0.1
"""A block counts when so much of it lies in the picture; a block's edge counts from this weight on (chosen)."""
END = 0.01
"""So much farther a grid runs, px, that its last value is not lost to rounding."""
STRAIGHT = np.zeros(1)


@dataclass(frozen=True, slots=True)
class SideLine:
    """An edge found along a side of a quadrilateral.

    Attributes:
        ends_px: (2, 2) where the line through its ends passes the side's two corners.
        share: of the side (what lies in the picture) that is an edge there, 0 to 1.
        bow_px, bow_sd_px: how far its middle lies outside that line, and the standard deviation.
    """

    ends_px: Array
    share: float
    bow_px: float
    bow_sd_px: float


@dataclass(frozen=True, slots=True)
class LaidQuadrilateral:
    """A quadrilateral on its edges.

    Attributes:
        corners_px: (4, 2) where the sides' lines meet.
        support: (4,) share of each side that is an edge; side k runs from corner k on.
        bow_px, bow_sd_px: (4,) see `SideLine`.
    """

    corners_px: Array
    support: Array
    bow_px: Array
    bow_sd_px: Array

    @classmethod
    def of(cls, lines: list[SideLine]) -> LaidQuadrilateral:
        """From four lines in order."""
        return cls(
            corners_of(np.stack([x.ends_px for x in lines])[None])[0],
            np.array([x.share for x in lines]),
            np.array([x.bow_px for x in lines]),
            np.array([x.bow_sd_px for x in lines]),
        )


def lay(
    look: Look,
    corners_px: Array,
    size_px: tuple[int, int],
    reach_px: float,
    faint: float,
    bows_px: Array = STRAIGHT,
    most: int = 1,
) -> list[list[SideLine]]:
    """The strongest edges within reach_px of each side of a quadrilateral, strongest first.

    Args:
        look: colour of the picture.
        corners_px: (4, 2).
        size_px: of the picture.
        reach_px: how far off the sides may be.
        faint: step of colour, as `look` gives it, that counts half as an edge across one block.
        bows_px: bows to try, outwards positive.
        most: how many edges a side at most.
    """
    middle = corners_px.mean(0)
    out = []
    for p, q in zip(corners_px, np.roll(corners_px, -1, 0), strict=True):
        d = q - p
        n = np.array([d[1], -d[0]]) / max(float(np.hypot(*d)), 1e-9)
        if (middle - p) @ n > 0:
            n = -n
        out.append(_side_lines(look, p, d, n, size_px, reach_px, faint, bows_px, most))
    return out


def corners_of(ends_px: Array) -> Array:
    """(m, 4, 2) where the lines of quadrilaterals (m, 4, 2, 2) meet: corner k is that of side k with the one before."""
    p, d = ends_px[:, :, 0], ends_px[:, :, 1] - ends_px[:, :, 0]
    p0, d0 = np.roll(p, 1, 1), np.roll(d, 1, 1)
    cross = d[..., 0] * d0[..., 1] - d[..., 1] * d0[..., 0]
    away = p0 - p
    cross = np.where(np.abs(cross) > 1e-9, cross, 1e-9)
    t = (away[..., 0] * d0[..., 1] - away[..., 1] * d0[..., 0]) / cross
    return np.asarray(p + t[..., None] * d)


def _side_lines(
    look: Look,
    p: Array,
    d: Array,
    n: Array,
    size_px: tuple[int, int],
    reach_px: float,
    faint: float,
    bows_px: Array,
    most: int,
) -> list[SideLine]:
    each = int(np.clip((LAST - FIRST) * np.hypot(*d) / BLOCKS, 2, MOST_EACH))
    t = np.linspace(FIRST, LAST, BLOCKS * each)
    spacing = max(STEP_PX, reach_px / MOST_STEPS)
    margin = HALF * spacing
    x = np.arange(-reach_px - margin, reach_px + margin + END, spacing)
    at = p + t[:, None, None] * d + x[None, :, None] * n
    inside = ((at[:, len(x) // 2] >= 0) & (at[:, len(x) // 2] <= np.array(size_px) - 1)).all(1)
    counted = inside.reshape(BLOCKS, each).mean(1) > WITHIN
    if counted.sum() < 3:
        return [SideLine(np.stack([p, p + d]), 0.0, 0.0, np.inf)]
    mean = look(at).reshape(BLOCKS, each, len(x), 3).mean(1)
    sums = np.concatenate([np.zeros((BLOCKS, 1, 3)), np.cumsum(mean, 1)], 1)
    step = (sums[:, 2 * HALF :] - 2 * sums[:, HALF:-HALF] + sums[:, : -2 * HALF]) / HALF
    xs = x[HALF - 1 : len(x) - HALF] + spacing / 2  # a difference sits between two samples
    energy = (step**2).sum(2)
    usual = np.maximum(np.median(energy, 1, keepdims=True), faint**2)
    top = energy.max(1, keepdims=True)
    votes = np.sqrt(energy / np.maximum(top, 1e-12)) * top / (top + usual) * counted[:, None]
    tt = t.reshape(BLOCKS, each).mean(1) - 0.5
    slopes = np.arange(-min(reach_px, MOST_SLOPE_PX), min(reach_px, MOST_SLOPE_PX) + END, spacing)
    path = slopes[None, :, None] * tt + bows_px[:, None, None] * (1 - 4 * tt**2)
    k = np.arange(len(xs)) + np.round(path[..., None] / spacing).astype(int)  # (bow, slope, block, x)
    # among several edges a faint one counts too, so strength is compressed; for placing them it is not
    clear = np.log1p(energy / usual) / np.log1p(np.maximum(top / usual, CLEAR)) * counted[:, None]
    padded = np.pad(votes if most == 1 else clear, ((0, 0), (0, 1)))
    k = np.where((k >= 0) & (k < len(xs)), k, len(xs))
    total = padded[np.arange(BLOCKS)[:, None], k].sum(2) / counted.sum()
    out: list[SideLine] = []
    # where each line tried passes the side's two ends and its middle: (bow, slope, x)
    places = {h: xs + h * slopes[:, None] + (1 - 4 * h**2) * bows_px[:, None, None] for h in (-0.5, 0.0, 0.5)}
    for _ in range(2 * most if most > 1 else 1):
        if len(out) == most:
            break
        g, i, j = np.unravel_index(int(total.argmax()), total.shape)
        share = float(total[g, i, j])
        if out and share < WEAKEST * out[0].share:
            break
        fit, doubt = _settled(votes, xs, tt, (xs[j], slopes[i], bows_px[g]), len(bows_px) > 1)
        a, b = p + (fit[0] - fit[1] / 2) * n, p + d + (fit[0] + fit[1] / 2) * n
        if all(np.abs((np.stack([a, b]) - o.ends_px) @ n).max() > APART_PX / 2 for o in out):
            out.append(SideLine(np.stack([a, b]), share, float(fit[2]), doubt))
        # the next is another edge: it keeps its distance along the whole side
        apart = [place - (fit[0] + h * fit[1] + (1 - 4 * h**2) * fit[2]) for h, place in places.items()]
        clear_of = np.abs(np.sign(apart[0]) + np.sign(apart[1]) + np.sign(apart[2])) == 3
        total = np.where(clear_of & (np.min(np.abs(apart), 0) > APART_PX), total, 0.0)
    return out


def _settled(votes: Array, xs: Array, tt: Array, start: tuple[float, float, float], bent: bool) -> tuple[Array, float]:
    """Offset, slope and bow by least squares from the blocks' own peaks near a first answer; the bow's doubt."""
    fit = np.array(start)
    A = np.stack([np.ones_like(tt), tt, 1 - 4 * tt**2], 1)[:, : 3 if bent else 2]
    rest = np.zeros_like(tt) if bent else fit[2] * (1 - 4 * tt**2)
    doubt = np.inf
    spacing = float(xs[1] - xs[0])
    for near in (3 * spacing, 2 * spacing):
        expected = A @ fit[: A.shape[1]] + rest
        fence = np.where(np.abs(xs - expected[:, None]) <= near, votes, 0)
        k = np.clip(fence.argmax(1), 1, len(xs) - 2)
        rows = np.arange(len(tt))
        left, mid, right = votes[rows, k - 1], votes[rows, k], votes[rows, k + 1]
        bend = left - 2 * mid + right
        peak = xs[k] + spacing * np.clip(
            np.where(bend < -1e-9, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0), -0.5, 0.5
        )
        w = mid * (np.abs(peak - expected) <= near + spacing)
        if (w > LEAST_VOTE).sum() < A.shape[1] + 2:
            break
        N = A.T @ (A * w[:, None]) + 1e-9 * np.eye(A.shape[1])
        fit[: A.shape[1]] = np.linalg.solve(N, A.T @ (w * (peak - rest)))
        off = (peak - rest - A @ fit[: A.shape[1]]) * np.sqrt(w)
        spread = np.sqrt((off**2).sum() / max(w.sum() - A.shape[1], 1.0))
        if bent:
            doubt = float(np.hypot(spread * np.sqrt(np.linalg.inv(N)[2, 2]), BOW_SD_PX))
    return fit, doubt
