"""From fitted pieces to labelled features: where a loop begins, what is a curve, and the parameters' covariance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from measure.geometry.features import (
    PARAMETERS,
    PLAIN_MM,
    Arc,
    Circle,
    Curve,
    Estimate,
    Feature,
    Line,
    Point,
    Turn,
    flatten,
    sweep_rad,
)
from measure.outline.drafts import Draft
from measure.outline.fractures import curve_runs
from measure.outline.propagation import spread

FARTHEST_MM = 3.0
"""A corner lies no farther than this from the points on both its sides, and a tangent joint nearer."""

_BEGIN = (0.29, 1.0)
"""A loop begins at the joint that lies lowest in this direction: at the bottom, on the left where that is level."""


def labelled(
    drafts: Sequence[Draft], sensitivities: Sequence[Array], shared_names: tuple[str, ...], shared: Array
) -> Estimate:
    """All loops' features with labels and covariance.

    Args:
        drafts: settled loops, the outer one first.
        sensitivities: (n, s) of each loop's points, in the order that the points were given in.
        shared_names: of the s shared terms; FILLETS is added to them.
        shared: (s, s) their covariance.
    """
    counts = {"E": 0, "R": 0, "D": 0, "C": 0}
    features: list[Feature] = []
    whites: list[Array] = []
    rows: list[Array] = []
    for number, (draft, sensitivity) in enumerate(zip(drafts, sensitivities, strict=True)):
        own = spread(draft, sensitivity)
        found = _features(draft, number, counts)
        take = [transfer for _, transfer in found if len(transfer)]
        t = np.concatenate(take) if take else np.zeros((0, len(own.white)))
        features += [f for f, _ in found]
        whites.append(t @ own.white @ t.T)
        rows.append(t @ own.sensitivity)
    sizes = [len(w) for w in whites]
    white = np.zeros((sum(sizes), sum(sizes)))
    for i, w in enumerate(whites):
        a = sum(sizes[:i])
        white[a : a + len(w), a : a + len(w)] = w
    s = len(shared_names)
    by_shared = np.concatenate(rows) if rows else np.zeros((0, s))
    together = np.eye(s + 1)
    together[:s, :s] = np.asarray(shared, float).reshape(s, s)
    return Estimate(tuple(features), white, (*shared_names, FILLETS), np.c_[by_shared, _tightness(features)], together)


FILLETS = "fillets"
"""Name of a shared term: how much too large tight fillets are seen, in units of its standard deviation."""
FILLET_SD_MM2, RIGHT_ANGLE_RAD, LEAST_SHARE = 0.0125, math.pi / 2, 0.01
"""How far blur and averaging along an edge displace a fillet's middle, times its radius: standard deviation (260 of
90 rendered parts). The radius is off by as much over what it does to that place, which depends on how far the corner
turns: a right angle at most, and least (chosen) as one of 16° does, 1 / cos 8° - 1."""


def _tightness(features: Sequence[Feature]) -> Array:
    """(m,) standard deviations of features' parameters by that: of arcs' radii, with which go their centres."""
    out: list[float] = []
    for f in features:
        parameters = [0.0] * PARAMETERS[f.kind]
        if f.kind == "arc":
            share = 1 / math.cos(min(abs(sweep_rad(f)), RIGHT_ANGLE_RAD) / 2) - 1
            sd = FILLET_SD_MM2 / (f.radius * max(share, LEAST_SHARE))
            inwards = np.subtract(f.centre, np.add(f.start, f.end) / 2)
            inwards *= sd * (1 + share) / max(math.hypot(*inwards), f.radius / 2)  # its sides stay where they are
            parameters = [*inwards, sd]
        out += parameters
    return np.array(out)


def _features(draft: Draft, loop: int, counts: dict[str, int]) -> list[tuple[Feature, Array]]:
    """A loop's features in order, each with the (p, 3k) matrix from pieces' to the feature's parameters."""
    c = draft.chains
    k = len(c.first)

    def label(letter: str) -> str:
        counts[letter] += 1
        return f"{letter}{counts[letter]}"

    def transfer(i: int, block: Array) -> Array:
        out = np.zeros((len(block), 3 * k))
        out[:, 3 * i : 3 * i + 3] = block
        return out

    joint = [_point(p) for p in joined_at(draft)]
    real = [j for j in range(k) if c.pieces.arc[j] or math.dist(joint[j], joint[(j + 1) % k]) >= NOTHING_MM]
    if len(real) == 1 and c.pieces.arc[real[0]]:
        centre, radius = c.pieces.centre()[real[0]], abs(float(c.pieces.radius()[real[0]]))
        whole = Circle(label("D"), loop, _point(centre), radius)
        return [(whole, transfer(real[0], _arc_block(draft, real[0])))]
    runs = curve_runs(draft)
    inside = {i % k for a, m in runs for i in range(a + 1, a + m)}
    starts = [i for i in range(k) if i not in inside]
    begin = min(starts, key=lambda i: joint[i][0] * _BEGIN[0] + joint[i][1] * _BEGIN[1])
    length = {a % k: m for a, m in runs}
    out: list[tuple[Feature, Array]] = []
    i = begin
    while i < begin + k:
        j = i % k
        span = length.get(j, 1)
        start, end = joint[j], joint[(j + span) % k]
        if j not in length and j not in real:  # its neighbours meet without it
            i += span
            continue
        if j in length:
            points = _curve(draft, j, span)
            out.append((Curve(label("C"), loop, points=points), np.zeros((0, 3 * k))))
        elif c.pieces.arc[j]:
            turn: Turn = "ccw" if c.pieces.curvature[j] > 0 else "cw"
            centre, radius = _point(c.pieces.centre()[j]), abs(float(c.pieces.radius()[j]))
            arc = Arc(label("R"), loop, start, end, centre=centre, radius=radius, turn=turn)
            out.append((arc, transfer(j, _arc_block(draft, j))))
        else:
            line = Line(label("E"), loop, start, end)
            out.append((line, transfer(j, _line_block(draft, j, start, end))))
        i += span
    return out


NOTHING_MM = 1e-4
"""A piece between joints this close is none: files keep five decimals (arithmetic)."""


def joined_at(draft: Draft) -> Array:
    """(k, 2) where pieces end, mm: where they meet, or beside their points where they would meet far from them."""
    c, joint = draft.chains, draft.eq.joints.point
    near = (c.points[c.first] + c.points[c.first - 1]) / 2
    astray = np.hypot(*(joint - near).T) > FARTHEST_MM
    return np.where(astray[:, None], near, joint)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])


def _line_block(draft: Draft, i: int, start: Point, end: Point) -> Array:
    """(2, 3) offset to the right about the middle of a line, and turn, by shift, turn and curvature of its piece."""
    p = draft.chains.pieces
    middle = (np.array(start) + end) / 2
    x = float((middle - p.origin[i]) @ [math.cos(p.angle[i]), math.sin(p.angle[i])])
    return np.array([[-1.0, -x, 0.0], [0.0, 1.0, 0.0]])


def _arc_block(draft: Draft, i: int) -> Array:
    """(3, 3) centre and radius of an arc by shift, turn and curvature of its piece."""
    p = draft.chains.pieces
    t = np.array([math.cos(p.angle[i]), math.sin(p.angle[i])])
    n = np.array([-t[1], t[0]])
    r = float(p.radius()[i])
    block = np.zeros((3, 3))
    block[:2] = np.stack([n, -r * t, -r * r * n], 1)
    block[2, 2] = -r * r * math.copysign(1, r)
    return block


def _curve(draft: Draft, i: int, span: int) -> tuple[Point, ...]:
    """Points along a run of pieces, arcs flattened, both ends included."""
    c = draft.chains
    k = len(c.first)
    joint = joined_at(draft)
    points: list[Point] = [_point(joint[i])]
    for j in range(i, i + span):
        a, b = joint[j % k], joint[(j + 1) % k]
        if c.pieces.arc[j % k]:
            turn: Turn = "ccw" if c.pieces.curvature[j % k] > 0 else "cw"
            centre, radius = _point(c.pieces.centre()[j % k]), abs(float(c.pieces.radius()[j % k]))
            arc = Arc("", 0, _point(a), _point(b), centre=centre, radius=radius, turn=turn)
            points += [_point(q) for q in flatten(arc, PLAIN_MM)[1:-1]]
        points.append(_point(b))
    return tuple(points)
