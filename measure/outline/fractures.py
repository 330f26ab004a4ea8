"""Stretches of an outline that nobody drew: fractures, cut by the criterion into short pieces at odd angles.

A designed outline has fillets, tangent joints, or corners that turn a good deal, and where it has many short pieces
(teeth, serrations) they repeat. Along a fracture pieces meet at slight angles again and again, none like another.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from measure.outline.drafts import Draft
from measure.outline.pieces import Mask

SLIGHT_RAD = 0.08
SHARP_RAD = 0.75
"""A corner that turns by an angle between these, or an arc that turns by less than the larger, is odd."""
FEWEST = 3
"""A fracture has at least so many odd corners."""
APART_MM = 12.0
APART_PIECES = 4
"""Odd corners farther apart than this belong to different fractures."""
LONGEST_MM = 6.0
"""A longer piece at the end of a fracture is an edge."""
ALIKE_MM = 0.3
ALIKE_RAD = 0.12


def curve_runs(draft: Draft) -> list[tuple[int, int]]:
    """Runs of pieces that are better taken for one curve each: first piece and number of pieces."""
    k = len(draft.chains.first)
    length, turn = _lengths(draft), _turns(draft)
    bend = length * np.abs(draft.chains.pieces.curvature)
    twin = _twins(length, turn, bend)
    slight = (np.abs(turn) > SLIGHT_RAD) & (np.abs(turn) < SHARP_RAD)
    # a slight bend between short pieces is as odd as a slight corner: the criterion may smooth one into the other
    loose = (length < LONGEST_MM) & ~twin
    bent = draft.chains.pieces.arc & (bend < SHARP_RAD)
    smooth = draft.chains.tangent & loose & np.roll(loose, 1) & (bent | np.roll(bent, 1))
    out = []
    for cluster in _clusters(np.flatnonzero(slight | smooth).tolist(), length):
        if len(cluster) < FEWEST or not slight[[j % k for j in cluster]].any():
            continue
        a, b = _reach(cluster[0], cluster[-1] % k, length, turn, twin)
        m = (b - a) % k or k
        own = (a + np.arange(m)) % k
        if m < k and twin[own].mean() < 0.5:
            out.append((a, m))
    return out


def _lengths(draft: Draft) -> Array:
    """(k,) lengths of the pieces by their points, mm."""
    first = draft.chains.first
    n = len(draft.chains.points)
    return np.asarray((np.append(first[1:], first[0] + n) - first) * draft.step_mm, float)


def _turns(draft: Draft) -> Array:
    """(k,) angle that the direction of travel jumps by at the start of each piece, rad."""
    j = draft.eq.joints
    a, b = j.incoming, j.outgoing
    turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(1))
    return np.asarray(np.where(draft.chains.tangent | ~draft.chains.linked, 0.0, turn))


def _twins(length: Array, turn: Array, bend: Array) -> Mask:
    """(k,) whether some other piece has the same length, bend and corners at its ends, either way round."""
    after = np.roll(turn, -1)

    def close(x: Array, y: Array) -> Mask:
        return np.asarray(np.abs(x[:, None] - y[None, :]) < ALIKE_RAD)

    same = np.abs(length[:, None] - length[None, :]) < ALIKE_MM
    same &= np.abs(bend[:, None] - bend[None, :]) < 2 * ALIKE_RAD
    same &= (close(turn, turn) & close(after, after)) | (close(turn, after) & close(after, turn))
    np.fill_diagonal(same, False)
    return np.asarray(same.any(1))


def _clusters(joints: list[int], length: Array) -> list[list[int]]:
    """Joints near each other round the ring, in order; numbers count on past the ring's end."""
    k = len(length)
    if not joints:
        return []

    def near(i: int, j: int) -> bool:
        between = [x % k for x in range(i, j)]
        return len(between) <= APART_PIECES and float(length[between].sum()) <= APART_MM

    out = [[joints[0]]]
    for j in joints[1:]:
        if near(out[-1][-1], j):
            out[-1].append(j)
        else:
            out.append([j])
    if len(out) > 1 and near(out[-1][-1], out[0][0] + k):
        out[0] = out.pop() + [j + k for j in out[0]]
    return out


def _reach(first: int, last: int, length: Array, turn: Array, twin: Mask) -> tuple[int, int]:
    """The joints where a fracture begins and ends: out to the corners with the edges that it cuts, if they are near."""
    k = len(length)

    def out(joint: int, way: int) -> int:
        at = joint
        for _ in range(4):
            piece = (at if way > 0 else at - 1) % k
            if length[piece] > LONGEST_MM or twin[piece]:
                break
            at += way
            if abs(turn[at % k]) >= SHARP_RAD:
                return at % k
        # no corner in sight: one short piece more, at the most
        piece = (joint if way > 0 else joint - 1) % k
        return (joint + way * int(length[piece] <= LONGEST_MM and not twin[piece])) % k

    return out(first, -1), out(last, 1)
