"""Stretches of an outline that nobody drew: fractures, cut by the criterion into short pieces at odd angles.

A designed outline made of short pieces repeats itself (teeth, serrations) or has pieces that run on tangentially; the
pieces of a fracture are short, meet at corners, and none is like another.
"""

from __future__ import annotations

import numpy as np

from measure.drafts import Draft
from measure.features import Array
from measure.pieces import Mask, travel_at

LONGEST_MM = 5.0
"""A longer piece is an edge, not a part of a fracture."""
FEWEST = 5
"""A fracture has at least so many pieces."""
ALIKE_MM = 0.25
ALIKE_RAD = 0.09


def curve_runs(draft: Draft) -> list[tuple[int, int]]:
    """Runs of pieces that are better taken for one curve each: first piece and number of pieces."""
    c = draft.chains
    k = len(c.first)
    if k < FEWEST + 1:
        return []
    length, turn = _lengths(draft), _turns(draft)
    corner: Mask = np.abs(turn) > 0.12
    short: Mask = length < LONGEST_MM
    unlike = ~_alike(length, turn, c.pieces.arc)
    # a piece of a fracture is short, unlike every other, and has a corner at one end at least
    ragged = short & unlike & (corner | np.roll(corner, -1))
    return [(a, m) for a, m in _runs(ragged) if m >= FEWEST and _is_ragged(a, m, corner)]


def _lengths(draft: Draft) -> Array:
    """(k,) lengths of the pieces by their points, mm."""
    first = draft.chains.first
    n = len(draft.chains.points)
    return np.asarray((np.append(first[1:], first[0] + n) - first) * draft.step_mm, float)


def _turns(draft: Draft) -> Array:
    """(k,) angle that the direction of travel jumps by at the start of each piece, rad."""
    c, joint = draft.chains, draft.eq.joints.point
    k = len(c.first)
    a, b = travel_at(c.pieces.take(np.arange(k) - 1), joint), travel_at(c.pieces, joint)
    return np.asarray(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(1)))


def _alike(length: Array, turn: Array, arc: Mask) -> Mask:
    """(k,) whether some other piece has the same length and the same corners at its ends, either way round."""
    after = np.roll(turn, -1)

    def close(x: Array, y: Array) -> Mask:
        return np.asarray(np.abs(x[:, None] - y[None, :]) < ALIKE_RAD)

    same = np.abs(length[:, None] - length[None, :]) < ALIKE_MM
    same &= arc[:, None] == arc[None, :]
    same &= (close(turn, turn) & close(after, after)) | (close(turn, after) & close(after, turn))
    np.fill_diagonal(same, False)
    return np.asarray(same.any(1))


def _runs(flag: Mask) -> list[tuple[int, int]]:
    """Runs of True round a ring: where each begins and how long it is; one exception is bridged."""
    k = len(flag)
    if flag.all():
        return [(0, k)]
    f = flag | (np.roll(flag, 1) & np.roll(flag, -1))
    if f.all():
        return [(0, k)]
    out = []
    for i in range(k):
        if f[i] and not f[i - 1]:
            m = 1
            while f[(i + m) % k]:
                m += 1
            out.append((i, m))
    return out


def _is_ragged(a: int, m: int, corner: Mask) -> bool:
    """Whether most joints inside a run are corners."""
    inner = corner[np.arange(a + 1, a + m) % len(corner)]
    return bool(inner.mean() >= 0.6)
