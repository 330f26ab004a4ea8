"""Where labels go on a picture: beside what they name, clear of the outline, the picture's edge and each other.

Point-feature labelling by greedy choice among fixed candidates, then a few rounds of taking each label up and putting
it down where it is now cheapest (after Christensen, Marks and Shieber 1995).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.geometry.polylines import evenly

CELL = 4
"""Pixels a side of the grid on which occupied places are kept."""
DISTANCES = (0.75, 1.0, 1.35, 1.8, 2.4, 3.2, 4.2, 5.5, 7.0, 9.0, 11.5)
"""Distances from the anchor that are tried, in label heights."""
TURNS_DEG = np.array([0, 15, -15, 30, -30, 46, -46, 64, -64, 85, -85, 110, -110, 145, -145, 180])
"""Directions that are tried, away from the preferred one."""
ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Wish:
    """A label that wants a place.

    Attributes:
        anchor_px: (2,) the point that it names.
        towards: (2,) unit direction in which it would rather stand.
        size_px: width and height of its text.
    """

    anchor_px: Array
    towards: Array
    size_px: tuple[float, float]


class TakenCells:
    """Which cells of the picture are taken, with quick counts over boxes (summed-area table, Crow 1984)."""

    def __init__(self, taken: NDArray[np.bool_]) -> None:
        """Args: taken: (rows, columns) of cells, True where something is drawn already."""
        self.taken = taken
        self.sums = np.pad(np.cumsum(np.cumsum(taken, 0, dtype=np.int32), 1, dtype=np.int32), ((1, 0), (1, 0)))

    def count(self, boxes_px: Array) -> NDArray[np.int32]:
        """(n,) taken cells within (n, 4) boxes x0, y0, x1, y1."""
        rows, columns = self.taken.shape
        x0, x1 = (np.clip(boxes_px[:, k] / CELL, 0, columns).astype(int) for k in (0, 2))
        y0, y1 = (np.clip(boxes_px[:, k] / CELL, 0, rows).astype(int) for k in (1, 3))
        x1, y1 = np.minimum(x1 + 1, columns), np.minimum(y1 + 1, rows)
        s = self.sums
        return np.asarray(s[y1, x1] - s[y0, x1] - s[y1, x0] + s[y0, x0], np.int32)

    def along(self, start_px: Array, ends_px: Array) -> NDArray[np.int32]:
        """(n,) taken cells met on the way to (n, 2) ends, in 40 steps; the first quarter label height is free."""
        t = np.linspace(0.2, 1, 40)[:, None, None]
        p = ((start_px + t * (ends_px - start_px)) / CELL).astype(int)
        rows, columns = self.taken.shape
        hit = self.taken[np.clip(p[..., 1], 0, rows - 1), np.clip(p[..., 0], 0, columns - 1)]
        return np.asarray(hit.sum(0), np.int32)


@dataclass(frozen=True, slots=True)
class _Candidates:
    """All places that a label may take: centres (n, 2), boxes (n, 4), leader ends (n, 2), own cost (n,)."""

    centres: Array
    boxes: Array
    tips: Array
    cost: Array


def place_beside(
    wishes: Sequence[Wish], lines: Sequence[Array], avoid: Sequence[Array], size_px: tuple[int, int]
) -> Array:
    """Places for labels beside the lines of a picture; see `place`.

    Args:
        wishes: the labels.
        lines: (n, 2) each, which labels keep clear of.
        avoid: (n, 2) areas better left alone, such as the reference.
        size_px: width and height of the picture.
    """
    import cv2

    drawn = np.zeros((size_px[1] // CELL + 1, size_px[0] // CELL + 1), np.uint8)
    soft = np.zeros_like(drawn)
    for line in lines:
        cv2.polylines(drawn, [np.round(line / CELL).astype(np.int32)], False, 255, 2)
    for area in avoid:
        cv2.fillPoly(soft, [np.round(area / CELL).astype(np.int32)], 255)
    return place(wishes, drawn > 0, soft > 0, size_px)


def place(
    wishes: Sequence[Wish], drawn: NDArray[np.bool_], avoid: NDArray[np.bool_], size_px: tuple[int, int]
) -> Array:
    """Places for labels.

    Args:
        wishes: the labels.
        drawn: (rows, columns) of CELL-sized cells, True under the outline, which labels keep clear of.
        avoid: (rows, columns) cells better left alone, such as the reference.
        size_px: width and height of the picture.

    Returns:
        (n, 2) centres of the labels, in the order of the wishes.
    """
    lines, soft = TakenCells(drawn), TakenCells(avoid)
    options = [_candidates(w, lines, soft, size_px) for w in wishes]
    n = len(wishes)
    chosen = np.full(n, -1)
    boxes, tips = np.zeros((n, 4)), np.zeros((n, 2))
    anchors = np.array([w.anchor_px for w in wishes]).reshape(n, 2)
    for _ in range(ROUNDS):
        before = chosen.copy()
        for i in range(n):
            others = (chosen >= 0) & (np.arange(n) != i)
            o = options[i]
            clash = _overlaps(o.boxes, boxes[others]) * 1000
            clash += _crossings(anchors[i], o.tips, anchors[others], tips[others]) * 25
            clash += _through(anchors[i], o.tips, boxes[others]) * 60
            clash += _through_each(anchors[others], tips[others], o.boxes) * 60
            chosen[i] = int(np.argmin(o.cost + clash))
            boxes[i], tips[i] = o.boxes[chosen[i]], o.tips[chosen[i]]
        if (chosen == before).all():
            break
    return np.array([o.centres[c] for o, c in zip(options, chosen, strict=True)]).reshape(n, 2)


def anchor(kind: str, loop: int, points: Array) -> tuple[Array, Array]:
    """A point on a feature, and the direction to its empty side (on its right as one travels).

    Args:
        kind, loop: of the feature.
        points: (n, 2) along it, pixels.
    """
    even = evenly(points, 1.0)
    m = len(even) // 2
    if kind == "circle":
        m = int(np.argmax(even @ np.array([0.8, -0.6])))
    along = even[min(m + 2, len(even) - 1)] - even[max(m - 2, 0)]
    along = along / max(float(np.hypot(*along)), 1e-9)
    right = np.array([-along[1], along[0]])
    return even[m], -right if loop > 0 else right


def leader_end(anchor: Array, centre: Array, size_px: tuple[float, float]) -> Array:
    """(..., 2) where leaders from an anchor meet the boxes of labels about (..., 2) centres."""
    d = anchor - centre
    t = np.min(np.array(size_px) / 2 / np.maximum(np.abs(d), 1e-9), -1, keepdims=True)
    return np.asarray(centre + d * np.minimum(t, 1.0))


def _candidates(wish: Wish, lines: TakenCells, soft: TakenCells, size_px: tuple[int, int]) -> _Candidates:
    w, h = wish.size_px
    angle = np.arctan2(wish.towards[1], wish.towards[0]) + np.radians(TURNS_DEG)
    ray = np.stack([np.cos(angle), np.sin(angle)], 1)
    reach = np.abs(ray) @ np.array([w, h]) / 2 - h / 2  # a wide label stands further off sideways
    far = np.array(DISTANCES)[:, None] * h + reach[None, :]
    centres = (wish.anchor_px + far[..., None] * ray).reshape(-1, 2)
    half = np.array([w, h]) / 2
    boxes = np.concatenate([centres - half, centres + half], 1)
    tips = leader_end(wish.anchor_px, centres, wish.size_px)
    outside = (boxes[:, :2] < 0).any(1) | (boxes[:, 2:] > size_px).any(1)
    cost = (
        np.repeat(DISTANCES, len(TURNS_DEG)) * 1.5
        + np.tile(np.abs(TURNS_DEG), len(DISTANCES)) / 50
        + 45.0 * (lines.count(boxes) > 0)
        + 4.0 * (soft.count(boxes) > 0)
        + 3.0 * lines.along(wish.anchor_px, tips)
        + 800.0 * outside
    )
    return _Candidates(centres, boxes, tips, cost)


def _overlaps(boxes: Array, others: Array) -> Array:
    """(n,) how many of (m, 4) other boxes each of (n, 4) boxes overlaps."""
    (left, low, right, high), (x0, y0, x1, y1) = boxes.T[..., None], others.T[:, None]
    return np.asarray(((left < x1) & (right > x0) & (low < y1) & (high > y0)).sum(1), float)


def _side(a: Array, b: Array, c: Array) -> Array:
    return np.asarray(
        (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
    )


def _crossings(start: Array, ends: Array, other_starts: Array, other_ends: Array) -> Array:
    """(n,) how many of m other leaders each leader from start to (n, 2) ends crosses."""
    p, q = np.broadcast_to(start, ends.shape)[:, None], ends[:, None]
    r, s = other_starts[None], other_ends[None]
    return np.asarray(((_side(p, q, r) * _side(p, q, s) < 0) & (_side(r, s, p) * _side(r, s, q) < 0)).sum(1), float)


def _through(start: Array, ends: Array, boxes: Array) -> Array:
    """(n,) how many of (m, 4) boxes each leader from start to (n, 2) ends runs through."""
    return np.asarray(_hits(np.broadcast_to(start, ends.shape)[:, None], ends[:, None], boxes[None]).sum(1), float)


def _through_each(starts: Array, ends: Array, boxes: Array) -> Array:
    """(n,) how many of m leaders run through each of (n, 4) boxes."""
    return np.asarray(_hits(starts[None], ends[None], boxes[:, None]).sum(1), float)


def _hits(a: Array, b: Array, boxes: Array) -> NDArray[np.bool_]:
    """Whether segments from a to b meet boxes (slab method), broadcast over leading dimensions."""
    across = [_slab(a[..., k], b[..., k], boxes[..., k], boxes[..., k + 2]) for k in (0, 1)]
    enter, leave = np.maximum(across[0][0], across[1][0]), np.minimum(across[0][1], across[1][1])
    return np.asarray((enter < leave) & (leave > 0) & (enter < 1), np.bool_)


def _slab(a: Array, b: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Where on the way from a to b, as shares of it, one coordinate comes within two limits, and where it leaves."""
    d = b - a
    d = np.where(np.abs(d) < 1e-9, 1e-9, d)
    t0, t1 = (low - a) / d, (high - a) / d
    return np.minimum(t0, t1), np.maximum(t0, t1)
