"""Chains of lines and arcs laid end to end: where they meet, and which points belong to which."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.outline.meeting import contact, crossing
from measure.outline.pieces import FLATTEST, Index, Mask, Pieces, distance, frames, square_to, travel_at

GUESSED_MM = 0.15
"""Standard deviation of a point that only bridges a gap: it lies near the edge because its neighbours do."""

_FARTHEST_MM = 6.0
"""Tangent pieces that would touch farther than this from their points are not taken to meet."""

_LONGER, _GAPS = 1.2, 2.5
"""A piece is no longer than its points' own path, by this share, and so many gaps between points at its ends
(chosen)."""
_NEAR_MM, _ON_BOTH_MM = 3.0, 0.05
"""A piece begins this near to its first point; and its joint with the one before lies on both of them (chosen)."""

_OFF_PATH_MM = 0.7
_REACH = 6
"""A joint moves by at most so many points a step."""


@dataclass(frozen=True, slots=True)
class Chains:
    """Chains of pieces laid end to end, and their points.

    Attributes:
        points: (n, 2) of all chains, one after the other, mm.
        variance: (n,) of the points along the normal, mm²; GUESSED_MM squared where there is no edge.
        most: (n,) the most that a point may cost: finite where a bump is taken for an accident.
        pieces: of all chains, k in all.
        first: (k,) index of each piece's first point; rising.
        linked: (k,) whether the piece starts at a joint with the one before it (in a closed loop the first with the
            last); False for the first piece of each open chain.
        tangent: (k,) whether that joint is tangent.
        step_mm: between neighbouring points.
        blur_mm: standard width of the blur of the edge: optics, and averaging along it.
        closed: the chains are one closed loop.
    """

    points: Array
    variance: Array
    most: Array
    pieces: Pieces
    first: Index
    linked: Mask
    tangent: Mask
    step_mm: float
    blur_mm: float
    closed: bool = False

    @property
    def seen(self) -> Mask:
        """(n,) which points are edge points and not bridges."""
        return np.asarray(self.variance != GUESSED_MM**2)


@dataclass(frozen=True, slots=True)
class Joints:
    """How the pieces of chains meet, each with the piece before it; nothing where they are not linked.

    The tangencies are linearised: gap + before . step[p - 1] + after . step[p] = 0.

    Attributes:
        point: (k, 2) mm.
        met: (k,) whether they really meet there.
        incoming, outgoing: (k, 2) directions of travel before and after.
        gap: (k,) how far tangent pieces are from touching, mm; 0 where not tangent.
        before, after: (k, 3) its slopes by the parameters of the pieces on either side; 0 where not tangent.
        active: (k,) which joints are tangent.
    """

    point: Array
    met: Mask
    incoming: Array
    outgoing: Array
    gap: Array
    before: Array
    after: Array
    active: Mask


def joints(c: Chains) -> Joints:
    """The joints of chains as they stand."""
    k = len(c.first)
    pair, arc = _pairs(c)
    near = (c.points[c.first] + c.points[c.first - 1]) / 2
    point, met = near.copy(), np.ones(k, bool)
    gap, slopes = np.zeros(k), np.zeros((2, k, 3))
    active = c.linked & c.tangent
    t = np.flatnonzero(active)
    if len(t):
        touch = contact(pair[:, :, t], arc[:, t])
        gap[t], slopes[:, t] = touch.gap, touch.slopes
        # two nearly straight pieces may touch anywhere
        x, y = near[t].T
        close = np.hypot(touch.x - x, touch.y - y) < _FARTHEST_MM
        met[t] = close
        point[t, 0], point[t, 1] = np.where(close, touch.x, x), np.where(close, touch.y, y)
    s = np.flatnonzero(c.linked & ~c.tangent)
    if len(s):
        point[s], met[s] = crossing(pair[:, :, s], arc[0, s] | arc[1, s], near[s])
    _, nx, ny = square_to(pair, point[:, 0], point[:, 1])
    travel = np.stack([ny, -nx], 2)
    return Joints(point, met, travel[0], travel[1], gap, slopes[0], slopes[1], active)


def _pairs(c: Chains) -> tuple[Array, Mask]:
    """Every piece and the one before it: rows (5, 2, k) as `meeting` takes them, and which are arcs (2, k)."""
    k = len(c.first)
    both = np.arange(k) - np.array([[1], [0]])
    return frames(c.pieces)[:, both], c.pieces.arc[both]


def gaps(c: Chains) -> Array:
    """(k,) how far the pieces are from touching the ones before them, mm; 0 where neither is an arc or no joint is."""
    pair, arc = _pairs(c)
    out = np.zeros(len(c.first))
    at = np.flatnonzero(c.linked & (arc[0] | arc[1]))
    out[at] = contact(pair[:, :, at], arc[:, at]).gap
    return out


def possible_tangencies(c: Chains) -> Joints:
    """The joints of chains as if every one that has an arc were tangent."""
    bent = c.pieces.arc | np.roll(c.pieces.arc, 1)
    return joints(replace(c, tangent=c.linked & bent))


def dealt(c: Chains, j: Joints) -> Index:
    """The pieces' first points after the joints have moved: a point belongs to the side of the joint it lies on."""
    n, k = len(c.points), len(c.first)
    at = np.flatnonzero(c.linked)
    if not len(at):
        return c.first
    travel = (j.incoming + j.outgoing)[at]
    around = around_joints(c, at, _REACH)
    d = c.points[around] - j.point[at][:, None]
    behind = (d[..., 0] * travel[:, :1] + d[..., 1] * travel[:, 1:]) < 0
    # a tangent joint off the points' path is no place to part them
    off = c.tangent[at] & ((d * d).sum(2).min(1) > _OFF_PATH_MM**2)
    first = c.first.copy()
    first[at] += np.where(off, 0, behind.sum(1) - _REACH)
    # every piece keeps at least one point
    up = np.arange(k)
    if c.closed:
        first = np.maximum.accumulate(first - up) + up
        last = first[0] + n
        return np.asarray(np.minimum(first, last - k + up))
    floor = np.where(c.linked, -1, c.first)
    first = np.where(c.linked, np.where(j.met, first, c.first), c.first)
    first = np.maximum.accumulate(np.maximum(first, floor) - up) + up
    ends = np.append(np.where(c.linked[1:], n + k, c.first[1:]), n)
    ceiling = np.minimum.accumulate((ends - up)[::-1])[::-1] + up - 1
    return np.asarray(np.minimum(first, ceiling))


def around_joints(c: Chains, at: Index, reach: int) -> Index:
    """(m, 2 reach) the points around the starts of some pieces, none beyond the ends of their chains."""
    around = c.first[at][:, None] + np.arange(-reach, reach)
    if c.closed:
        return np.asarray(around % len(c.points))
    low = np.maximum.accumulate(np.where(c.linked, 0, c.first))
    begin = np.append(np.where(c.linked[1:], len(c.points), c.first[1:]), len(c.points))
    high = np.minimum.accumulate(begin[::-1])[::-1] - 1
    return np.asarray(np.clip(around, low[at, None], high[at, None]))


def rolled(c: Chains) -> tuple[Chains, int]:
    """A closed loop with its points turned so that the first piece begins at point 0, and by how much."""
    shift = int(c.first[0])
    if not shift:
        return c, 0
    return replace(
        c,
        points=np.roll(c.points, -shift, axis=0),
        variance=np.roll(c.variance, -shift),
        most=np.roll(c.most, -shift),
        first=c.first - shift,
    ), shift


def sound(c: Chains, j: Joints) -> Mask:
    """(k,) whether each piece runs forward from its first joint to its next, about as far as its points do."""
    end = np.roll(j.point, -1, axis=0)
    ends = np.append(c.linked[1:], c.closed)
    starts = c.linked
    n = len(c.points)
    last = np.append(c.first[1:], n) - 1
    a = np.where(starts[:, None], j.point, c.points[c.first])
    b = np.where(ends[:, None], end, c.points[last])
    p = c.pieces
    t = travel_at(p, a)
    chord = b - a
    forward = (chord * t).sum(1)
    aside = t[:, 0] * chord[:, 1] - t[:, 1] * chord[:, 0]
    bend = np.where(p.arc, 2 * np.arctan2(np.sign(p.curvature) * aside, forward), 0.0)
    sweep = bend % (2 * np.pi)
    run = np.where(p.arc, sweep / np.maximum(np.abs(p.curvature), FLATTEST), forward)
    steps = np.hypot(*np.diff(c.points, axis=0).T)
    run_to = np.append(0, np.cumsum(steps))
    travelled = run_to[last] - run_to[c.first]
    gap = np.median(steps) if len(steps) else 0.0
    met = j.met & np.append(j.met[1:], j.met[0] if c.closed else True)
    long = travelled + _GAPS * gap + 2 * np.hypot(*(a - c.points[c.first]).T) + 2 * np.hypot(*(b - c.points[last]).T)
    near_enough = np.hypot(*(a - c.points[c.first]).T) < _NEAR_MM
    on_both = ~starts | (np.abs(distance(p, a)) < _ON_BOTH_MM)
    return np.asarray(met & (run > 0) & (run < _LONGER * long) & near_enough & on_both)
