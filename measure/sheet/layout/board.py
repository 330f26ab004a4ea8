"""The drawing board: what lies on it already, and whether something new would touch it.

Lines are segments (n, 4); texts are boxes (n, 5): centre x, y, half width, half height, angle. All tests work on many
candidates at once, by separating axes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

CLEAR_MM = 0.5
"""Least distance between a text and anything else."""


class What(IntEnum):
    """What a line on the board is."""

    OUTLINE = 0
    CENTRE = 1
    EXTENSION = 2
    DIMENSION = 3
    LEADER = 4


def boxes_of(
    lower_left: Array, width: Array | float, height: Array | float, angle: float = 0.0, grown: float = 0.0
) -> Array:
    """(n, 5) boxes from the start of a text's base line, which runs in a direction (rad)."""
    p = np.atleast_2d(lower_left)
    w, h = np.broadcast_to(width, len(p)) / 2, np.broadcast_to(height, len(p)) / 2
    c, s = math.cos(angle), math.sin(angle)
    x, y = p[:, 0] + c * w - s * h, p[:, 1] + s * w + c * h
    return np.stack([x, y, w + grown, h + grown, np.full(len(p), angle)], 1)


def corners(boxes: Array) -> Array:
    """(n, 4, 2) corners of boxes."""
    c, s = np.cos(boxes[:, 4]), np.sin(boxes[:, 4])
    u = np.stack([c, s], 1)[:, None] * boxes[:, 2, None, None]
    v = np.stack([-s, c], 1)[:, None] * boxes[:, 3, None, None]
    sign = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    out: Array = boxes[:, None, :2] + sign[None, :, :1] * u + sign[None, :, 1:] * v
    return out


def _near(a: Array, b: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of upright rectangles (n, 4) and (m, 4), x0 y0 x1 y1, that touch: all else needs no closer look."""
    touch = (a[:, None, 0] <= b[None, :, 2]) & (a[:, None, 2] >= b[None, :, 0])
    touch &= (a[:, None, 1] <= b[None, :, 3]) & (a[:, None, 3] >= b[None, :, 1])
    i, j = np.nonzero(touch)
    return i, j


def _line_bounds(lines: Array) -> Array:
    return np.concatenate([np.minimum(lines[:, :2], lines[:, 2:]), np.maximum(lines[:, :2], lines[:, 2:])], 1)


def _box_bounds(boxes: Array) -> Array:
    if not boxes[:, 4].any():
        return np.concatenate([boxes[:, :2] - boxes[:, 2:4], boxes[:, :2] + boxes[:, 2:4]], 1)
    c, s = np.abs(np.cos(boxes[:, 4])), np.abs(np.sin(boxes[:, 4]))
    x, y = boxes[:, 2] * c + boxes[:, 3] * s, boxes[:, 2] * s + boxes[:, 3] * c
    return np.stack([boxes[:, 0] - x, boxes[:, 1] - y, boxes[:, 0] + x, boxes[:, 1] + y], 1)


def line_meets_box(lines: Array, boxes: Array) -> NDArray[np.bool_]:
    """(n, m): whether each of n lines touches each of m boxes."""
    out = np.zeros((len(lines), len(boxes)), bool)
    i, j = _near(_line_bounds(lines), _box_bounds(boxes))
    p, q, b = lines[i, :2] - boxes[j, :2], lines[i, 2:] - boxes[j, :2], boxes[j]
    c, s = np.cos(b[:, 4]), np.sin(b[:, 4])
    px, py = p[:, 0] * c + p[:, 1] * s, p[:, 1] * c - p[:, 0] * s
    qx, qy = q[:, 0] * c + q[:, 1] * s, q[:, 1] * c - q[:, 0] * s
    hx, hy = b[:, 2], b[:, 3]
    apart = (
        (np.minimum(px, qx) > hx) | (np.maximum(px, qx) < -hx) | (np.minimum(py, qy) > hy) | (np.maximum(py, qy) < -hy)
    )
    nx, ny = py - qy, qx - px
    apart |= np.abs(nx * px + ny * py) > np.abs(nx) * hx + np.abs(ny) * hy
    out[i, j] = ~apart
    return out


def box_meets_box(a: Array, b: Array) -> NDArray[np.bool_]:
    """(n, m): whether each of n boxes overlaps each of m boxes."""
    out = np.zeros((len(a), len(b)), bool)
    i, j = _near(_box_bounds(a), _box_bounds(b))
    p, q = a[i], b[j]
    d = q[:, :2] - p[:, :2]
    turn = q[:, 4] - p[:, 4]
    c, s = np.abs(np.cos(turn)), np.abs(np.sin(turn))
    meet = np.ones(len(i), bool)
    for one, other in ((p, q), (q, p)):
        ca, sa = np.cos(one[:, 4]), np.sin(one[:, 4])
        x, y = np.abs(d[:, 0] * ca + d[:, 1] * sa), np.abs(d[:, 1] * ca - d[:, 0] * sa)
        meet &= x <= one[:, 2] + other[:, 2] * c + other[:, 3] * s
        meet &= y <= one[:, 3] + other[:, 2] * s + other[:, 3] * c
    out[i, j] = meet
    return out


def line_meets_line(a: Array, b: Array) -> NDArray[np.bool_]:
    """(n, m): whether each of n lines crosses each of m lines."""
    out = np.zeros((len(a), len(b)), bool)
    i, j = _near(_line_bounds(a), _line_bounds(b))
    p, r = a[i, :2], a[i, 2:] - a[i, :2]
    q, s = b[j, :2], b[j, 2:] - b[j, :2]
    w = q - p
    cross = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
    safe = np.where(np.abs(cross) < 1e-12, np.inf, cross)
    t = (w[:, 0] * s[:, 1] - w[:, 1] * s[:, 0]) / safe
    u = (w[:, 0] * r[:, 1] - w[:, 1] * r[:, 0]) / safe
    out[i, j] = (np.abs(cross) >= 1e-12) & (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1)
    return out


@dataclass(frozen=True, slots=True)
class State:
    """What lies on a board: lines (n, 4), what they are (n,), texts (m, 5), tips of leaders (k, 2)."""

    lines: Array
    what: NDArray[np.int_]
    boxes: Array
    tips: Array

    @staticmethod
    def between(a: State, b: State) -> State:
        """What b has over a, which it grew from."""
        return State(b.lines[len(a.lines) :], b.what[len(a.what) :], b.boxes[len(a.boxes) :], b.tips[len(a.tips) :])


class Board:
    """Lines and texts that are already drawn."""

    def __init__(self) -> None:
        self.lines = np.zeros((0, 4))
        self.what = np.zeros(0, int)
        self.boxes = np.zeros((0, 5))
        self.tips = np.zeros((0, 2))

    def state(self) -> State:
        """What lies on the board now."""
        return State(self.lines, self.what, self.boxes, self.tips)

    def restore(self, base: State, more: Sequence[State] = ()) -> None:
        """Put the board back to an earlier state, and more things onto it."""
        all_of = [base, *more]
        self.lines = np.concatenate([s.lines for s in all_of])
        self.what = np.concatenate([s.what for s in all_of])
        self.boxes = np.concatenate([s.boxes for s in all_of])
        self.tips = np.concatenate([s.tips for s in all_of])

    def copy(self) -> Board:
        """A board with the same things on it."""
        out = Board()
        out.restore(self.state())
        return out

    def draw(self, lines: Array, what: What) -> None:
        """Put lines (n, 4) on the board."""
        self.lines = np.vstack([self.lines, lines.reshape(-1, 4)])
        self.what = np.append(self.what, np.full(len(lines.reshape(-1, 4)), what))

    def write(self, boxes: Array) -> None:
        """Put texts (n, 5) on the board."""
        self.boxes = np.vstack([self.boxes, boxes.reshape(-1, 5)])

    def box_free(self, boxes: Array) -> NDArray[np.bool_]:
        """(n,): which boxes touch neither a text nor a line."""
        free = ~np.asarray(box_meets_box(boxes, self.boxes).any(axis=1))
        some = np.flatnonzero(free)
        free[some] = ~line_meets_box(self.lines, boxes[some]).any(axis=0)
        return free

    def line_free(self, lines: Array) -> NDArray[np.bool_]:
        """(n,): which lines touch no text."""
        return ~np.asarray(line_meets_box(lines, self.boxes).any(axis=1))

    def crossings(self, lines: Array, worth: dict[What, float]) -> Array:
        """(n,): what each line's crossings with those on the board add up to, each kind at its own price."""
        price = np.array([worth.get(What(k), 0.0) for k in What])[self.what]
        out: Array = (line_meets_line(lines, self.lines) * price).sum(1)
        return out

    def extent(self) -> tuple[Array, Array]:
        """(2,) lower left and (2,) upper right corner of all that is drawn."""
        points = np.vstack([self.lines.reshape(-1, 2), corners(self.boxes).reshape(-1, 2)])
        return points.min(0), points.max(0)
