"""Sizes of an outline: what a dimension or a reading is worth, and how it changes with the features' parameters.

`distance` is square to the first edge, at the middles of both; `offset` is square to the edge. Gradients are with
respect to the parameters of `measure.geometry.features.PARAMETERS`, each line's about its own present middle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.arrays import Array
from calib.tools.budget import K95
from measure.geometry.features import (
    Estimate,
    Feature,
    Line,
    Round,
    as_line,
    as_round,
    direction,
    is_round,
    length,
    middle,
    right_normal,
    sweep_rad,
)

DimensionKind = Literal["distance", "diameter", "radius", "centres", "offset"]
Basis = Literal["photo", "caliper", "both"]
BIG_ARC_RAD = math.radians(100)
"""An arc that covers more than this has a centre worth measuring from."""
PARALLEL_RAD, NEARLY_RAD, SURELY_RAD = math.radians(2), math.radians(2.1), math.radians(0.3)
"""Edges farther from parallel have no distance; those a little farther are looked at; nearer ones have one for sure."""
LEAST_MM, ABREAST = 0.3, 0.2
"""Smaller sizes are not told; edges that share less of their length come after those that do (chosen)."""
MOST_OF_A_KIND: dict[DimensionKind, int] = {"distance": 20, "diameter": 20, "radius": 16, "centres": 14, "offset": 16}
"""So many of each kind are listed: what fits on a page of readings (chosen)."""
BIG_RADIUS_MM = 1.0
"""A smaller arc's centre is not worth measuring from (chosen)."""
ACROSS_RAD = math.radians(30)
"""An edge that crosses the first at more than this tells a place the other way (chosen)."""

_OWN_RADIUS = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class Dimension:
    """One size with its uncertainty: the truth lies within ± u95_mm 19 times in 20."""

    kind: DimensionKind
    features: tuple[str, ...]
    value_mm: float
    u95_mm: float
    basis: Basis = "photo"


@dataclass(frozen=True, slots=True)
class Size:
    """A size and its gradient.

    Attributes:
        value_mm: never negative.
        gradients: one array of PARAMETERS[kind] numbers for each feature.
    """

    value_mm: float
    gradients: tuple[Array, ...]


def distance(a: Line, b: Line) -> Size:
    """Between two edges, square to the first, at their middles."""
    (ux, uy), (wx, wy) = direction(a).tolist(), direction(b).tolist()
    x, y = (middle(b) - middle(a)).tolist()
    v = ux * y - uy * x
    s = math.copysign(1.0, v)
    return Size(abs(v), (np.array([s, -s * (ux * x + uy * y)]), np.array([-s * (ux * wx + uy * wy), 0.0])))


def diameter(f: Round) -> Size:
    """Of a circle or an arc."""
    return Size(2 * f.radius, (np.array([0.0, 0.0, 2.0]),))


def radius(f: Round) -> Size:
    """Of a circle or an arc."""
    return Size(f.radius, (np.array([0.0, 0.0, 1.0]),))


def centres(a: Round, b: Round) -> Size:
    """Between two centres."""
    apart = np.subtract(b.centre, a.centre)
    v = float(np.hypot(*apart))
    e = apart / v if v > 1e-12 else np.array([1.0, 0.0])
    return Size(v, (np.array([-e[0], -e[1], 0.0]), np.array([e[0], e[1], 0.0])))


def offset(c: Round, edge: Line) -> Size:
    """From a centre to a straight edge, square to the edge."""
    u, n, apart = direction(edge), right_normal(edge), np.subtract(c.centre, middle(edge))
    h = float(n @ apart)
    s = math.copysign(1.0, h)
    return Size(abs(h), (np.array([n[0], n[1], 0.0]) * s, np.array([-1.0, float(u @ apart)]) * s))


def web(a: Round, b: Line | Round) -> Size:
    """Least material between a hole and another hole, a straight edge, or a round outside that goes round it."""
    if b.kind == "line":
        size = offset(a, b)
        return Size(size.value_mm - a.radius, (size.gradients[0] - _OWN_RADIUS, size.gradients[1]))
    size = centres(a, b)
    ga, gb = size.gradients
    if size.value_mm + min(a.radius, b.radius) <= max(a.radius, b.radius):  # one within the other: a ring
        s = 1.0 if b.radius > a.radius else -1.0
        return Size(s * (b.radius - a.radius) - size.value_mm, (-ga - _OWN_RADIUS * s, -gb + _OWN_RADIUS * s))
    return Size(size.value_mm - a.radius - b.radius, (ga - _OWN_RADIUS, gb - _OWN_RADIUS))


def span(a: Round, b: Round) -> Size:
    """Over two holes, far side to far side."""
    size = centres(a, b)
    ga, gb = size.gradients
    return Size(size.value_mm + a.radius + b.radius, (ga + _OWN_RADIUS, gb + _OWN_RADIUS))


def size_of(kind: str, features: Sequence[Feature]) -> Size:
    """The size that a dimension or a reading of this kind is about (all kinds of both but `thickness`)."""
    if kind in ("distance", "width", "gap"):
        return distance(as_line(features[0]), as_line(features[1]))
    if kind in ("diameter", "bore", "boss"):
        return diameter(as_round(features[0]))
    if kind == "radius":
        return radius(as_round(features[0]))
    if kind == "centres":
        return centres(as_round(features[0]), as_round(features[1]))
    if kind == "span":
        return span(as_round(features[0]), as_round(features[1]))
    if kind in ("offset", "web"):
        turned = not is_round(features[0])
        a, b = features[::-1] if turned else features
        size = web(as_round(a), b) if kind == "web" and is_round(b) else None
        if size is None:
            size = (offset if kind == "offset" else web)(as_round(a), as_line(b))
        return Size(size.value_mm, size.gradients[::-1]) if turned else size
    raise ValueError(f"no size of kind {kind!r}")


def stacked(size: Size, labels: Sequence[str], slices: dict[str, slice], m: int) -> Array:
    """(m,) gradient of a size with respect to the stacked parameters of all features."""
    row = np.zeros(m)
    for label, g in zip(labels, size.gradients, strict=True):
        row[slices[label]] += g
    return row


def angle_between(a: Line, b: Line) -> float:
    """Signed angle from one edge's line to the other's, radians, -π/2 to π/2, whichever way they run."""
    (ux, uy), (wx, wy) = direction(a).tolist(), direction(b).tolist()
    angle = math.atan2(ux * wy - uy * wx, ux * wx + uy * wy)
    return angle - math.copysign(math.pi, angle) if abs(angle) > math.pi / 2 else angle


def nearly_parallel(lines: Sequence[Line], within_rad: float) -> list[tuple[Line, Line]]:
    """The pairs of edges whose lines are about as close in direction as this, or closer, in order.

    Many pairs are told apart at once, so that only few need be looked at one by one.
    """
    if not lines:
        return []
    u = np.array([direction(x) for x in lines])
    across = np.abs(u[:, :1] * u[None, :, 1] - u[:, 1:] * u[None, :, 0])
    i, j = np.nonzero(np.triu(across <= math.sin(within_rad), 1))
    return [(lines[a], lines[b]) for a, b in zip(i.tolist(), j.tolist(), strict=True)]


def overlap_mm(a: Line, b: Line) -> float:
    """Length of the stretch that two edges share, seen square to the first; negative where they share none."""
    x, y = map(float, direction(a))
    one = sorted((x * a.start[0] + y * a.start[1], x * a.end[0] + y * a.end[1]))
    two = sorted((x * b.start[0] + y * b.start[1], x * b.end[0] + y * b.end[1]))
    return min(one[1], two[1]) - max(one[0], two[0])


def list_dimensions(estimate: Estimate, limit: int = 60) -> list[Dimension]:
    """The dimensions worth reporting: every kind that the outline offers, the telling ones first, no more than `limit`.

    All diameters; a radius for each arc; distances between parallel edges, longest and overlapping ones first; centres
    of holes and big arcs; offsets of those centres from the two longest edges that are not parallel to each other.

    Args:
        estimate: the features with their covariance.
        limit: at most so many.
    """
    f = {x.label: x for x in estimate.features}
    covariance, slices = estimate.covariance(), estimate.slices()
    wanted = _choice(estimate, covariance, limit)
    rows, values = [], []
    for kind, labels in wanted:
        size = size_of(kind, [f[x] for x in labels])
        rows.append(stacked(size, labels, slices, len(covariance)))
        values.append(size.value_mm)
    if not rows:
        return []
    r = np.array(rows)
    u = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", r, covariance, r, optimize=True), 0.0))
    return [
        Dimension(kind, labels, value, K95 * float(s))
        for (kind, labels), value, s in zip(wanted, values, u, strict=True)
    ]


def _choice(estimate: Estimate, covariance: Array, limit: int) -> list[tuple[DimensionKind, tuple[str, ...]]]:
    """Which dimensions, in the order of the contract's kinds, each kind's share bounded."""
    circles = [x for x in estimate.features if x.kind == "circle"]
    arcs = [x for x in estimate.features if x.kind == "arc"]
    centred: list[Round] = [
        *circles,
        *(x for x in arcs if abs(sweep_rad(x)) > BIG_ARC_RAD and x.radius > BIG_RADIUS_MM),
    ]
    pools: list[tuple[int, list[tuple[DimensionKind, tuple[str, ...]]]]] = [
        (MOST_OF_A_KIND["distance"], [("distance", p) for p in _parallel_pairs(estimate, covariance)]),
        (MOST_OF_A_KIND["diameter"], [("diameter", (x.label,)) for x in sorted(circles, key=lambda x: -x.radius)]),
        (MOST_OF_A_KIND["radius"], [("radius", (x.label,)) for x in sorted(arcs, key=lambda x: -length(x))]),
        (MOST_OF_A_KIND["centres"], [("centres", p) for p in _centre_pairs(centred)]),
        (MOST_OF_A_KIND["offset"], [("offset", p) for p in _offset_pairs(centred, estimate)]),
    ]
    kept = [pool[:most] for most, pool in pools]
    while sum(map(len, kept)) > limit:
        max(kept, key=len).pop()
    spare = limit - sum(map(len, kept))
    for i, (most, pool) in enumerate(pools):
        extra = pool[most : most + spare] if i == 1 else []  # no diameter is left out while there is room
        kept[i] = kept[i] + extra
        spare -= len(extra)
    return [d for k in kept for d in k]


def _parallel_pairs(estimate: Estimate, covariance: Array) -> list[tuple[str, str]]:
    lines = [x for x in estimate.features if x.kind == "line" and length(x) > 1.0]
    slices = estimate.slices()
    out = []
    for a, b in nearly_parallel(lines, NEARLY_RAD):
        ta, tb = slices[a.label].start + 1, slices[b.label].start + 1
        var = covariance[ta, ta] + covariance[tb, tb] - 2 * covariance[ta, tb]
        off = abs(angle_between(a, b))
        if off > PARALLEL_RAD or off > max(3 * math.sqrt(max(var, 0.0)), SURELY_RAD):
            continue
        if distance(a, b).value_mm < LEAST_MM:
            continue
        reach = min(length(a), length(b))
        out.append((overlap_mm(a, b) < ABREAST * reach, -reach, (a.label, b.label)))
    return [p for *_, p in sorted(out, key=lambda e: e[:2])]


def _centre_pairs(centred: Sequence[Round]) -> list[tuple[str, str]]:
    pairs = [(a, b) for i, a in enumerate(centred) for b in centred[i + 1 :] if centres(a, b).value_mm > LEAST_MM]
    pairs.sort(key=lambda p: (p[0].kind != "circle") + (p[1].kind != "circle"))
    return [(a.label, b.label) for a, b in pairs]


def _offset_pairs(centred: Sequence[Round], estimate: Estimate) -> list[tuple[str, str]]:
    lines = sorted((x for x in estimate.features if x.kind == "line" and length(x) > 2.0), key=lambda x: -length(x))
    if not lines:
        return []
    first = lines[0]
    across = next((x for x in lines if abs(angle_between(first, x)) > ACROSS_RAD), None)
    edges = [first, *([across] if across else [])]
    return [(c.label, e.label) for c in centred for e in edges if offset(c, e).value_mm > LEAST_MM]
