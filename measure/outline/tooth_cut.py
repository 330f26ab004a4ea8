"""Where the outline of one tooth is cut: lines and arcs by dynamic programming, then corners given their fillets.

A fillet between two lines costs one number, its radius, since it touches both; a free arc costs three, and a chamfer
two. Dynamic programming knows nothing of touching, and takes a small fillet for a chamfer or a corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.outline.drafts import LEAST_POINTS
from measure.outline.moments import RunningSums, running_sums
from measure.outline.pieces import Index, Mask
from measure.outline.segmentation import CutCosts

NEIGHBOURS = 2.0
"""Points that one independent point stands for, before the noise is known."""
STRAY_MM = 0.008
"""How far an edge may stray from its line or arc however many teeth are averaged, as standard deviation."""
BRIDGE_MM = 2.5
"""A piece no longer than this between two lines may be their fillet."""
LEAST_TURN_RAD, MOST_TURN_RAD = 0.1, 2.8
RADII_MM = np.append(0.0, np.geomspace(0.25, 3.0, 26))
"""Fillets that are tried; a tighter one can't be told from a sharp corner that blur has rounded."""
FILLET, CHAMFER, FREE_ARC = 1.25, 2.25, 5.5
"""What pieces between two lines cost, in parameters: a fillet has one and was chosen from many, a chamfer two; what
touches neither line has three and is rarely drawn."""
INNER = 0.4
"""Share of a piece between two lines that may be a line between two fillets."""
ROOM = 0.85
"""Share of a line, from its middle to the corner, that a fillet may take."""


@dataclass(frozen=True, slots=True)
class _ToothPiece:
    """Points start to stop, counted from a tooth's first one on, and its kind."""

    start: int
    stop: int
    arc: bool

    def later(self, by: int) -> _ToothPiece:
        """The same piece so many points later: of the next tooth."""
        return _ToothPiece(self.start + by, self.stop + by, self.arc)


def cut_tooth(before: Array, own: Array, after: Array, sigma: Array) -> tuple[Index, Mask]:
    """First points and kinds of the pieces of a tooth, the first piece being the first that begins in it; none where
    one piece goes on and on.

    Args:
        before, own, after: (m, 2) points of a tooth between its neighbours, all three alike but turned.
        sigma: (m,) their standard deviations.
    """
    m = len(own)
    sigma = np.hypot(sigma, STRAY_MM)
    sums = running_sums(np.concatenate([before, own, after]), 1 / np.tile(sigma, 3) ** 2)
    price = math.log(max(m / NEIGHBOURS, LEAST_POINTS))
    first, arc = CutCosts(sums).cut(1 / NEIGHBOURS, price)
    stop = np.append(first[1:], 3 * m)
    ring = [_ToothPiece(int(a), int(b), bool(k)) for a, b, k in zip(first, stop, arc, strict=True) if m <= a < 2 * m]
    bridges = _bridges(ring, sums, m)
    kept = [p for p in ring if p not in bridges]
    if not kept:
        return np.zeros(0, int), np.zeros(0, bool)
    starts: dict[int, bool] = {}
    for p, q in zip(kept, [*kept[1:], kept[0].later(m)], strict=True):
        between = [b for b in (*bridges, *(b.later(m) for b in bridges)) if b.start == p.stop]
        for at, kind in _corner(p, q, between[0] if between else None, sums, price):
            starts[at % m] = kind
    begin = sorted(starts)
    return np.array(begin), np.array([starts[b] for b in begin])


def _bridges(ring: list[_ToothPiece], sums: RunningSums, m: int) -> set[_ToothPiece]:
    """Short pieces between two lines that turn on in one sense: fillets, or chamfers."""
    k = len(ring)
    found: set[_ToothPiece] = set()
    step = float(np.median(np.hypot(*np.diff(sums.points, axis=0).T)))
    for i in sorted(range(k), key=lambda i: ring[i].stop - ring[i].start):
        p, b, q = ring[i - 1].later(-m if not i else 0), ring[i], ring[(i + 1) % k].later(m if i + 1 == k else 0)
        if p.arc or q.arc or k < 4 or {ring[i - 1], ring[(i + 1) % k]} & found:
            continue
        if (b.stop - b.start) * step > BRIDGE_MM:
            continue
        u, w = (_direction(_line(x, sums)) for x in (p, q))
        chord = sums.points[b.stop - 1] - sums.points[b.start]
        if _cross(u, chord) * _cross(chord, w) > 0 or b.stop - b.start < 2:
            found.add(b)
    return found


Starts = list[tuple[int, bool]]
"""First points of pieces, and whether they are arcs."""


def _corner(p: _ToothPiece, q: _ToothPiece, bridge: _ToothPiece | None, sums: RunningSums, price: float) -> Starts:
    """Starts and kinds of what comes between two pieces, and of the second one, as is cheapest."""
    as_cut: Starts = [(bridge.start, bridge.arc)] if bridge else []
    as_cut.append((q.start, q.arc))
    one = None if p.arc or q.arc else _weighed(p, q, sums, price)
    if one is None:
        return as_cut
    options = [one]
    if bridge is not None:
        options.append((_cost_as_cut(p, bridge, q, sums, price), as_cut))
        inset = math.ceil((bridge.stop - bridge.start) * (1 - INNER) / 2)
        flat = _ToothPiece(bridge.start + inset, bridge.stop - inset, False)
        if flat.stop - flat.start > 1:
            two = [_weighed(p, flat, sums, price), _weighed(flat, q, sums, price)]
            if two[0] and two[1] and two[0][1][-1][0] < two[1][1][0][0]:
                options.append((two[0][0] + two[1][0] + 2 * price, two[0][1] + two[1][1]))
    return min(options, key=lambda o: o[0])[1]


def _cost_as_cut(p: _ToothPiece, bridge: _ToothPiece, q: _ToothPiece, sums: RunningSums, price: float) -> float:
    """What a piece between two lines costs, from the middle of the first to the middle of the last."""
    f = sums.fits(np.array([bridge.start]), np.array([bridge.stop]))
    cost = float((f.weight * (f.circle_ms if bridge.arc else f.line_ms))[0])
    for piece, a, b in ((p, (p.start + p.stop) // 2, bridge.start), (q, bridge.stop, (q.start + q.stop) // 2)):
        here = np.arange(a, b)
        x, y, _ = line = _line(piece, sums)
        cost += float(((sums.points[here] - [x, y]) @ _normal(line)) ** 2 @ _weights(sums, here))
    return cost / NEIGHBOURS + price * (FREE_ARC if bridge.arc else CHAMFER)


def _weights(sums: RunningSums, here: Index) -> Array:
    return np.asarray(sums.sums[0, here + 1] - sums.sums[0, here])


def _weighed(p: _ToothPiece, q: _ToothPiece, sums: RunningSums, price: float) -> tuple[float, Starts] | None:
    """The best fillet between two lines, or a sharp corner: its cost from the one's middle to the other's, and starts.

    None where the lines hardly turn, or turn back.
    """
    a, b = _line(p, sums), _line(q, sums)
    turn = math.remainder(b[2] - a[2], 2 * math.pi)
    if abs(turn) < LEAST_TURN_RAD or abs(turn) > MOST_TURN_RAD:
        return None
    corner = _crossing(a, b)
    here = np.arange((p.start + p.stop) // 2, (q.start + q.stop) // 2)
    points, weight = sums.points[here], _weights(sums, here)
    into, out = (points - corner) @ _direction(a), (points - corner) @ _direction(b)
    sense = math.copysign(1.0, turn)
    left = np.stack([sense * ((points - corner) @ _normal(x)) for x in (a, b)], 1)  # positive inside the corner
    sharp = [(int(here[min(int((into + out <= 0).sum()), len(here) - 1)]), False)]
    best = (math.inf, sharp)
    for r in RADII_MM:
        tangent = float(r) * math.tan(abs(turn) / 2)
        on_it = here[_on_fillet(into, out, tangent)] if r else here[:0]
        if tangent > ROOM * min(-float(into[0]), float(out[-1])):
            break
        if r and len(on_it) < 3:
            continue
        cost = float(_off(into, out, left, float(r), tangent) ** 2 @ weight) / NEIGHBOURS + FILLET * price * bool(r)
        if cost < best[0]:
            best = (cost, [(int(on_it[0]), True), (int(on_it[-1]) + 1, False)] if r else sharp)
    return best


def _off(into: Array, out: Array, left: Array, r: float, tangent: float) -> Array:
    """Distances of points from two lines and the fillet between them.

    Args:
        into, out: how far along either line from the corner.
        left: (n, 2) distances from the lines, positive inside the corner.
        r, tangent: the fillet's radius, and from where to where it runs.
    """
    off = np.where(into + out < 0, left[:, 0], left[:, 1])
    if not r:
        return off
    return np.where(_on_fillet(into, out, tangent), r - np.hypot(into + tangent, left[:, 0] - r), off)


def _on_fillet(into: Array, out: Array, tangent: float) -> Mask:
    """Which points lie between where a fillet touches either line; the corner's two sides are told by their sum."""
    return np.asarray(np.where(into + out < 0, into > -tangent, out < tangent))


Line = tuple[float, float, float]
"""A point of a line, and its direction of travel, rad."""


def _line(p: _ToothPiece, sums: RunningSums) -> Line:
    """The line through the inner points of a piece, where its corners do not reach."""
    trim = min((p.stop - p.start) // 5, 4)
    start, stop = p.start + trim, p.stop - trim
    if stop - start < 2:
        start, stop = p.start, p.stop
    got = sums.pieces(np.array([start]), np.array([stop]), np.array([False]))
    return float(got.origin[0, 0]), float(got.origin[0, 1]), float(got.angle[0])


def _cross(a: Array, b: Array) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _direction(line: Line) -> Array:
    return np.array([math.cos(line[2]), math.sin(line[2])])


def _normal(line: Line) -> Array:
    return np.array([-math.sin(line[2]), math.cos(line[2])])


def _crossing(a: Line, b: Line) -> Array:
    t = np.linalg.solve(np.stack([_direction(a), -_direction(b)], 1), np.subtract(b[:2], a[:2]))
    return np.asarray(np.array(a[:2]) + t[0] * _direction(a))
