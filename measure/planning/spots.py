"""Where a reading is taken on an outline: the points that jaws touch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.features import (
    COARSE_MM,
    PLAIN_MM,
    Feature,
    Line,
    as_line,
    as_round,
    direction,
    flatten,
    is_round,
    middle,
)

ACROSS_DEG = (30, 60, 120, 150)
"""Directions in which a full circle is measured, the best first: not where centre lines run (chosen)."""
ALONG = (0.5, 0.25, 0.75, 0.12, 0.88)
"""Where along the stretch that two edges share, the best first (chosen)."""
GAUGE_MM = 8.0
"""How far beyond an arc's centre, or outside the arc, the balloon of a gauge may stand (chosen)."""
NOWHERE_MM = 1e-9
"""No direction leads over less than this."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a reading is taken: between two points, with arrows at both; or a leader to one."""

    start: Array
    end: Array
    both: bool


def spots(kind: str, f: Sequence[Feature]) -> list[Spot]:
    """Places where jaws can be put for a reading, in the features' frame."""
    if kind in ("width", "gap"):
        return _across(as_line(f[0]), as_line(f[1]))
    if kind in ("web", "span"):
        return _between(f[0], f[1], far=kind == "span")
    if kind in ("bore", "boss", "radius"):
        c, r = _round(f[0])
        if kind == "radius":
            m = flatten(f[0], PLAIN_MM)
            tip = m[len(m) // 2]
            return [Spot(tip, tip + (c - tip) / max(r, NOWHERE_MM) * k, False) for k in (r + GAUGE_MM, r, -GAUGE_MM)]
        out = []
        for a in np.radians(ACROSS_DEG) if f[0].kind == "circle" else [_across_arc(f[0])]:
            d = r * np.array([np.cos(a), np.sin(a)])
            out.append(Spot(c - d, c + d, True))
        return out
    return []


def _across_arc(f: Feature) -> float:
    """Direction of the diameter that an arc of half a turn or more has both ends of, rad."""
    points = flatten(f, COARSE_MM)
    x, y = points[len(points) // 2] - np.array(as_round(f).centre)
    return float(np.arctan2(y, x)) + np.pi / 2


def _across(a: Line, b: Line) -> list[Spot]:
    u = direction(a)
    normal = np.array([-u[1], u[0]])
    ends = [sorted(float(np.dot(p, u)) for p in (f.start, f.end)) for f in (a, b)]
    low, high = max(ends[0][0], ends[1][0]), min(ends[0][1], ends[1][1])
    heights = [float(middle(f) @ normal) for f in (a, b)]
    out = []
    for t in ALONG:
        along = low + t * (high - low)
        p, q = (along * u + h * normal for h in heights)
        out.append(Spot(p, q, True))
    return out


def _between(a: Feature, b: Feature, far: bool) -> list[Spot]:
    if not is_round(a):
        a, b = b, a
    c, r = _round(a)
    if is_round(b):
        d, s = _round(b)
        u = (d - c) / max(float(np.hypot(*(d - c))), NOWHERE_MM)
        return [Spot(c - r * u, d + s * u, True) if far else Spot(c + r * u, d - s * u, True)]
    b = as_line(b)
    u = direction(b)
    foot = middle(b) + float((c - middle(b)) @ u) * u
    towards = (foot - c) / max(float(np.hypot(*(foot - c))), NOWHERE_MM)
    return [Spot(c + r * towards, foot, True)]


def _round(f: Feature) -> tuple[Array, float]:
    f = as_round(f)
    return np.array(f.centre), f.radius
