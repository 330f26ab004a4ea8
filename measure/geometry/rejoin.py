"""Neighbours of a loop: which of them run tangent into each other, and where they meet after they have moved.

An adjustment moves each line, arc and circle by its own parameters. Tangent neighbours are held tangent by condition
equations (`tangencies`), then every junction is found anew (`rejoined`), so that the loop stays closed.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.geometry.features import (
    PARAMETERS,
    Arc,
    Circle,
    Curve,
    F,
    Feature,
    Line,
    Open,
    Point,
    Round,
    as_line,
    as_round,
    direction,
    middle,
    right_normal,
    sweep_rad,
)
from measure.geometry.polylines import arc_lengths

TANGENT_RAD = math.radians(6)
"""Neighbours that meet at less than this and nearly touch are tangent."""
TOUCH_MM = 0.03
"""How far off touching two tangent neighbours may have been traced."""
ONE_CENTRE_MM = 0.2
"""Two arcs whose centres lie nearer than this can't say whether they are tangent (chosen)."""
FLAT_RAD = math.radians(3)
"""Lines that meet at less than this have no crossing worth computing."""
APART_MM = 0.5
"""Ends further apart than this are no junction."""
FAR_MM = 1.0
"""A junction that would jump further than this stays beside its old place."""


@dataclass(frozen=True, slots=True)
class Joint:
    """Feature number `first` ends where number `second` starts."""

    first: int
    second: int
    tangent: bool


@dataclass(frozen=True, slots=True)
class Touch:
    """How far two neighbours are from being tangent, mm, and the gradient in the parameters of each."""

    gap_mm: float
    of_first: Array
    of_second: Array


def joints(features: Sequence[Feature]) -> list[Joint]:
    """All junctions, loop by loop in the sense of travel; a circle has none, nor has an open end."""
    loops: dict[int, list[int]] = {}
    for i, f in enumerate(features):
        loops.setdefault(f.loop, []).append(i)
    out = []
    for members in loops.values():
        if len(members) > 1:
            for i, j in zip(members, [*members[1:], members[0]], strict=True):
                a, b = features[i], features[j]
                if a.kind == "circle" or b.kind == "circle":
                    continue
                if np.hypot(*np.subtract(a.end, b.start)) < APART_MM:
                    out.append(Joint(i, j, _is_tangent(a, b)))
    return out


def heading(f: Line | Arc, at_end: bool) -> Array:
    """(2,) direction of travel at the start or end of a line or arc."""
    if f.kind == "line":
        return direction(f)
    r = np.subtract(f.end if at_end else f.start, f.centre)
    r = r / np.hypot(*r)
    return np.array([-r[1], r[0]]) * (1 if f.turn == "ccw" else -1)


def _is_tangent(a: Feature, b: Feature) -> bool:
    if not isinstance(a, Line | Arc) or not isinstance(b, Line | Arc) or a.kind == b.kind == "line":
        return False
    u, w = heading(a, True), heading(b, False)
    if abs(math.atan2(u[0] * w[1] - u[1] * w[0], u @ w)) > TANGENT_RAD:
        return False
    touch = tangency(a, b)
    return touch is not None and abs(touch.gap_mm) < TOUCH_MM


def tangency(a: Feature, b: Feature) -> Touch | None:
    """The condition that two neighbours are tangent.

    None where there is none: of two lines, of what is neither line nor arc, and of two arcs of nearly one centre.
    """
    if a.kind == "circle" or a.kind == "curve" or b.kind == "circle" or b.kind == "curve":
        return None
    if a.kind == "line":
        if b.kind == "line":
            return None
        k = 1.0 if b.turn == "ccw" else -1.0
        u, n, reach = direction(a), right_normal(a), middle(a) - b.centre
        gap = float(reach @ n) - k * b.radius
        return Touch(gap, np.array([1.0, float(reach @ u)]), np.array([-n[0], -n[1], -k]))
    if b.kind == "line":
        other = tangency(b, a)
        return other and Touch(other.gap_mm, other.of_second, other.of_first)
    apart = np.subtract(b.centre, a.centre)
    d = float(np.hypot(*apart))
    if d < ONE_CENTRE_MM:
        return None
    e = apart / d
    if a.turn != b.turn:
        return Touch(d - a.radius - b.radius, np.array([-e[0], -e[1], -1.0]), np.array([e[0], e[1], -1.0]))
    s = 1.0 if a.radius > b.radius else -1.0
    return Touch(d - s * (a.radius - b.radius), np.array([-e[0], -e[1], -s]), np.array([e[0], e[1], s]))


LEAST_LEFT = 0.04
"""Of half an arc's radius, what is left at the least when it shrinks."""


def shifted(f: F, by: Array) -> F:
    """The feature with its parameters changed; start and end of an arc go along, so that they stay on it.

    An arc of a few tenths of a millimetre can be so badly known that a linear step would take its radius below nothing.
    It shrinks to a half as told, and more and more slowly from there, never to nothing; its centre keeps step.
    """
    d = by.tolist()  # plain numbers: many small steps, for which arrays are slow
    if isinstance(f, Curve) or not any(d):
        return f
    if isinstance(f, Line):
        (x0, y0), (x1, y1) = f.start, f.end
        vx, vy = (x1 - x0) / 2, (y1 - y0) / 2
        half = math.hypot(vx, vy)
        mx, my = (x0 + x1) / 2 + d[0] * vy / half, (y0 + y1) / 2 - d[0] * vx / half
        c, s = math.cos(d[1]), math.sin(d[1])
        wx, wy = c * vx - s * vy, s * vx + c * vy
        return replace(f, start=(mx - wx, my - wy), end=(mx + wx, my + wy))
    half = f.radius / 2
    if d[2] < -half:
        left = half * max(math.exp(1 + d[2] / half), LEAST_LEFT)
        d = [v * (f.radius - left) / -d[2] for v in d]
    c2 = (f.centre[0] + d[0], f.centre[1] + d[1])
    r2 = f.radius + d[2]
    if isinstance(f, Circle):
        return replace(f, centre=c2, radius=r2)
    start, end = (_on_circle(c2, r2, (p[0] + d[0], p[1] + d[1])) for p in (f.start, f.end))
    return replace(f, centre=c2, radius=r2, start=start, end=end)


def shifted_all(features: Sequence[Feature], by: Array) -> list[Feature]:
    """Each feature with its share of the stacked changes (m,)."""
    out, at = [], 0
    for f in features:
        n = PARAMETERS[f.kind]
        out.append(shifted(f, by[at : at + n]))
        at += n
    return out


def touching(features: Sequence[Feature], found: Sequence[Joint]) -> tuple[Array, Array]:
    """The conditions that tangent neighbours touch: (t, m) gradients and (t,) gaps, mm."""
    ends = np.cumsum([PARAMETERS[f.kind] for f in features])
    rows, gaps = [np.zeros((0, ends[-1]))], []
    for j in found:
        touch = tangency(features[j.first], features[j.second]) if j.tangent else None
        if touch:
            row = np.zeros((1, ends[-1]))
            for i, g in ((j.first, touch.of_first), (j.second, touch.of_second)):
                row[0, ends[i] - len(g) : ends[i]] += g
            rows.append(row)
            gaps.append(touch.gap_mm)
    return np.vstack(rows), np.array(gaps)


def closing(features: Sequence[Feature], found: Sequence[Joint], held: Collection[int] = ()) -> Array:
    """(m,) smallest change of parameters that lets tangent neighbours touch again.

    Conditions that were linear when features moved leave gaps of some micrometres, which have nothing to do with how
    well anything is known: they are shared between the neighbours by their size alone, directions left as they are.
    Features numbered in `held` stay.
    """
    rows, gaps = touching(features, found)
    free = [[1.0, 0.0] if f.kind == "line" else [1.0] * PARAMETERS[f.kind] for f in features]
    for i in held:
        free[i] = [0.0] * len(free[i])
    a = rows * np.concatenate(free)
    return np.asarray(-a.T @ np.linalg.solve(a @ a.T + np.eye(len(a)) * 1e-6, gaps))


def rejoined(features: Sequence[Feature], found: Sequence[Joint]) -> list[Feature]:
    """The same lines, circles and curves with junctions where neighbours really meet.

    Lines and centres and radii are left as they are; only starts and ends move along them. A curve is stretched
    between its new ends.

    Args:
        features: moved features.
        found: junctions as `joints` found them before the move.
    """
    starts: dict[int, Point] = {}
    ends: dict[int, Point] = {}
    for j in found:
        a, b = features[j.first], features[j.second]
        if a.kind == "circle" or b.kind == "circle":
            continue
        ends[j.first] = starts[j.second] = _point(_meeting(a, b, j.tangent))
    return [_with_ends(f, starts.get(i), ends.get(i)) for i, f in enumerate(features)]


def about_new_middles(now: Sequence[Feature], joined: Sequence[Feature]) -> Array:
    """(m, m) change of parameters from lines' old middles to their new ones, which lie further along them."""
    m = sum(PARAMETERS[f.kind] for f in now)
    out, at = np.eye(m), 0
    for a, b in zip(now, joined, strict=True):
        if a.kind == "line":
            out[at, at + 1] = -float((middle(as_line(b)) - middle(a)) @ direction(a))
        at += PARAMETERS[a.kind]
    return out


def _meeting(a: Open, b: Open, tangent: bool) -> Array:
    old = (np.array(a.end) + np.array(b.start)) / 2
    if a.kind == "curve":
        return old if b.kind == "curve" else _foot(b, old)
    if b.kind == "curve":
        return _foot(a, old)
    if tangent:
        return _tangent_point(a, b)
    common = crossings(a, b)
    if len(common):
        best: Array = common[np.argmin(np.hypot(*(common - old).T))]
        if np.hypot(*(best - old)) < FAR_MM:
            return best
    # No crossing, or one far away: beside the old place, on the line rather than on the arc.
    if a.kind == "line" and b.kind != "line":
        return _foot(a, old)
    if b.kind == "line" and a.kind != "line":
        return _foot(b, old)
    return (_foot(a, old) + _foot(b, old)) / 2


def _tangent_point(a: Line | Arc, b: Line | Arc) -> Array:
    if a.kind == "line":
        return _foot(a, np.array(as_round(b).centre))
    if b.kind == "line":
        return _foot(b, np.array(a.centre))
    ca, cb = np.array(a.centre), np.array(b.centre)
    e = (cb - ca) / np.hypot(*(cb - ca))
    if a.turn == b.turn and a.radius < b.radius:
        return np.asarray((ca - e * a.radius + cb - e * b.radius) / 2)
    s = 1.0 if a.turn == b.turn else -1.0
    return np.asarray((ca + e * a.radius + cb + s * e * b.radius) / 2)


def crossings(a: Line | Round, b: Line | Round) -> Array:
    """(k, 2) points that two lines, or a line and a circle, or two circles have in common."""
    if a.kind == "line" and b.kind == "line":
        u, w, apart = direction(a), direction(b), middle(b) - middle(a)
        cross = u[0] * w[1] - u[1] * w[0]
        if abs(cross) < math.sin(FLAT_RAD):
            return np.zeros((0, 2))
        return np.array([middle(a) + u * (apart[0] * w[1] - apart[1] * w[0]) / cross])
    if a.kind == "line" or b.kind == "line":
        line, arc = (a, as_round(b)) if a.kind == "line" else (as_line(b), a)
        foot = _foot(line, np.array(arc.centre))
        half2 = arc.radius**2 - float(((foot - np.array(arc.centre)) ** 2).sum())
        if half2 < 0:
            return np.zeros((0, 2))
        u = direction(line)
        return np.array([foot - u * math.sqrt(half2), foot + u * math.sqrt(half2)])
    ca = np.array(a.centre)
    apart = np.array(b.centre) - ca
    d = float(np.hypot(*apart))
    if d < 1e-9:
        return np.zeros((0, 2))
    along = (d**2 + a.radius**2 - b.radius**2) / (2 * d)
    half2 = a.radius**2 - along**2
    if half2 < 0:
        return np.zeros((0, 2))
    e = apart / d
    across = np.array([-e[1], e[0]]) * math.sqrt(half2)
    return np.array([ca + e * along - across, ca + e * along + across])


def _foot(f: Line | Round, p: Array) -> Array:
    """Nearest point of the line or circle that a feature lies on."""
    if f.kind == "line":
        u = direction(f)
        return np.asarray(middle(f) + u * ((p - middle(f)) @ u))
    return np.array(_on_circle(f.centre, f.radius, _point(p)))


def _on_circle(centre: Point, radius: float, near: Point) -> Point:
    x, y = near[0] - centre[0], near[1] - centre[1]
    k = radius / max(math.hypot(x, y), 1e-12)
    return centre[0] + x * k, centre[1] + y * k


def _with_ends(f: Feature, start: Point | None, end: Point | None) -> Feature:
    if isinstance(f, Circle):
        return f
    start, end = start or f.start, end or f.end
    if f.kind == "curve":
        points = np.array(f.points)
        t = arc_lengths(points)
        t = (t / max(t[-1], 1e-12))[:, None]
        points = points + (1 - t) * np.subtract(start, points[0]) + t * np.subtract(end, points[-1])
        return replace(f, points=tuple(_point(p) for p in points))
    if f.kind == "line":
        line = replace(f, start=start, end=end)
        return line if direction(line) @ direction(f) > 0 else f  # never turned round
    arc = replace(f, start=start, end=end)
    return arc if abs(sweep_rad(arc) - sweep_rad(f)) < 1.0 else f


def _point(p: Array) -> Point:
    return (float(p[0]), float(p[1]))
