"""Straight segments in a reduced photo, whatever the table and the light.

Lightness and both colour axes are each searched for segments by gradient direction (von Gioi et al., LSD, IPOL 2012),
with a threshold low enough for the faint line that a white card leaves on white paper; segments in line with each other
are then joined.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

GRADIENT_STEPS, ENOUGH = (1.0, 0.4), 250
"""Rounding errors of a gradient that are allowed for, in 8-bit steps: they set the faintest edge, a step of some 2 of
255, and of less than one where so few segments are found that the table must be plain. (A card on paper of its own
colour shows 2 to 5; on a table with a grain the lower value breaks its sides up.)"""
COLOUR_GAIN = 2.0
"""Colour axes are stretched: 8-bit Lab spends few of its steps on real colours."""
NEUTRAL = 128
"""Code of a colourless pixel in OpenCV's 8-bit Lab."""
LSD_SCALE, LSD_SIGMA = 0.8, 0.6
"""Reduction and blur before the search (von Gioi et al. 2012, their values)."""
SHORTEST_PX = 8.0
ASIDE_PX, ASKEW_RAD = 1.3, 0.06
"""How far a segment may lie off another's line, and how much it may be turned, to be taken for its continuation."""
TOUCHING_PX = 2.0
"""Pieces of a line this near to each other are one (chosen)."""
WIDEST_GAP = 0.6
"""Widest gap that is bridged, as a share of what has been joined so far."""
ONE_WAY, ONE_WAY_RAD = 0.4, 0.14
"""Share of all lines that may run one way while others are to be had, and what counts as one way: grained wood has more
long lines than a card has sides, and a rectangle needs two directions."""


def segments(lab: NDArray[np.uint8]) -> Array:
    """(n, 2, 2) ends of the straight segments in an 8-bit Lab picture, longest first, px."""
    import cv2

    lightness, *colours = cv2.split(lab)
    channels = [lightness, *(cv2.addWeighted(c, COLOUR_GAIN, c, 0, NEUTRAL * (1 - COLOUR_GAIN)) for c in colours)]
    found: list[Array] = []
    for step in GRADIENT_STEPS:
        finder = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, LSD_SCALE, LSD_SIGMA, step)
        ends = [finder.detect(c)[0] for c in channels]
        found += [np.asarray(e, float).reshape(-1, 2, 2) for e in ends if e is not None]
        if sum(map(len, found)) > ENOUGH:
            break
    if not found:
        return np.empty((0, 2, 2))
    all_ends = np.concatenate(found)
    length = np.hypot(*(all_ends[:, 1] - all_ends[:, 0]).T)
    order = np.argsort(-length, kind="stable")
    return np.asarray(all_ends[order][length[order] >= SHORTEST_PX])


@dataclass(frozen=True, slots=True)
class SeenLines:
    """Lines that were seen over part of their length.

    Attributes:
        point: (n, 2) a point on each; along: (n, 2) unit direction.
        first, last: (n,) where the seen part begins and ends, px from the point.
        pieces: of each, (k, 2) beginnings and ends of what was seen, in order, px from the point.
    """

    point: Array
    along: Array
    first: Array
    last: Array
    pieces: tuple[Array, ...]

    def __len__(self) -> int:
        return len(self.point)

    def seen(self) -> Array:
        """(n,) length that was seen, px."""
        return np.array([np.diff(p, axis=1).sum() for p in self.pieces])

    def taken(self, which: NDArray[np.intp]) -> SeenLines:
        """Some of them, in the order given."""
        return SeenLines(
            self.point[which],
            self.along[which],
            self.first[which],
            self.last[which],
            tuple(self.pieces[i] for i in which),
        )


def join(ends: Array, most: int) -> SeenLines:
    """Segments in line with each other made one: the longest, but not too many that run one way.

    Args:
        ends: (n, 2, 2) segments, longest first.
        most: how many to return at most.
    """
    middle, along = ends.mean(1), ends[:, 1] - ends[:, 0]
    along = along / np.hypot(*along.T)[:, None]
    free = np.ones(len(ends), bool)
    point: list[Array] = []
    direction = np.empty((most, 2))
    pieces: list[Array] = []
    put_off: list[int] = []
    for at, i in enumerate(chain(range(len(ends)), put_off)):
        if not free[i]:
            continue
        if len(point) == most:
            break
        u = along[i]
        n = np.array([-u[1], u[0]])
        if at < len(ends) and (np.abs(direction[: len(point)] @ n) < ONE_WAY_RAD).sum() >= ONE_WAY * most:
            put_off.append(i)
            continue
        off = (ends - middle[i]) @ n
        alike = free & (np.abs(off).max(1) < 4 * ASIDE_PX) & (np.abs(along @ n) < ASKEW_RAD)
        which = np.flatnonzero(alike)
        t = np.sort((ends[which] - middle[i]) @ u, axis=1)
        taken = _grown(t, off[which], int(np.flatnonzero(which == i)[0]))
        free[which[taken]] = False
        # the line through all that was joined, weighted by length
        joined_ends = ends[which[taken]]
        centre, axis = _line(joined_ends)
        direction[len(point)] = axis
        point.append(centre)
        pieces.append(_merged(np.sort((joined_ends - centre) @ axis, axis=1)))
    if not point:
        nothing = np.empty((0, 2))
        return SeenLines(nothing, nothing, np.empty(0), np.empty(0), ())
    return SeenLines(
        np.array(point),
        direction[: len(point)],
        np.array([p[0, 0] for p in pieces]),
        np.array([p[-1, 1] for p in pieces]),
        tuple(pieces),
    )


def _grown(t: Array, off: Array, seed: int) -> NDArray[np.intp]:
    """From a seed outwards: which intervals (n, 2) join it without too wide a gap or too far aside."""
    low, high = t[seed]
    taken = np.zeros(len(t), bool)
    taken[seed] = True
    while True:
        room = WIDEST_GAP * (high - low)
        aside = np.abs(off).max(1) < ASIDE_PX * (
            1 + 0.5 * np.maximum(low - t[:, 0], t[:, 1] - high).clip(0) / (high - low)
        )
        more = ~taken & aside & (t[:, 0] < high + room) & (t[:, 1] > low - room)
        if not more.any():
            return np.flatnonzero(taken)
        taken |= more
        low, high = min(low, t[more, 0].min()), max(high, t[more, 1].max())


def _line(ends: Array) -> tuple[Array, Array]:
    """Centre and direction of the line through (n, 2, 2) segments, each counting by its length."""
    w = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    centre = (ends.mean(1) * w[:, None]).sum(0) / w.sum()
    d = ends - centre
    scatter = np.einsum("nki,nkj,n->ij", d, d, w)
    axis = np.linalg.eigh(scatter)[1][:, 1]
    return centre, axis


def _merged(t: Array) -> Array:
    """(k, 2) union of (n, 2) intervals."""
    t = t[np.argsort(t[:, 0])]
    out = [t[0].copy()]
    for a, b in t[1:]:
        if a <= out[-1][1] + TOUCHING_PX:
            out[-1][1] = max(out[-1][1], b)
        else:
            out.append(np.array([a, b]))
    return np.array(out)
