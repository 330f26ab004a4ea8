"""Centre lines: crosses on round features, axes of slots, mirror axes, circles through holes and round teeth."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from measure.dimensioning.scheme.groups import located, openings
from measure.dimensioning.scheme.values import CIRCLES, Plan
from measure.geometry.features import Point, Round, as_round, flatten
from measure.sheet.marks import LONG_DASH_DOT, NARROW, CircleMark, Mark, Path, line

BEYOND_MM = 2.5
"""How far a centre line runs past the feature that it belongs to (mirror axes a little more)."""
SHORT_MM = 12.0
"""A centre line no longer than this is drawn in full (ISO 128: where dashes would not show)."""

Run = tuple[float, float, float]  # across, from, to


def centre_lines(plan: Plan) -> list[Mark]:
    """All centre lines of a part, each drawn once, in the drawing's frame."""
    runs: dict[bool, list[Run]] = {True: [], False: []}  # upright lines, level lines
    free: list[tuple[Point, Point]] = []
    slots = [o for o in openings(plan.features) if o.form == "slot"]
    for o in slots:
        _slot(o.ends, runs, free)
    in_slots = {e.label for o in slots for e in o.ends}
    rounds = [f for f in located(plan.features, slots) if f.label not in in_slots]
    on_pitch = {label for _, labels in plan.pitches for label in labels}
    for f in rounds:
        if f.label in on_pitch:
            continue
        arm = f.radius + BEYOND_MM if f.kind == "circle" or f.loop > 0 else BEYOND_MM
        for up in (True, False):
            x, y = f.centre if up else f.centre[::-1]
            runs[up].append((x, y - arm, y + arm))
    of = {f.label: f for f in plan.features}
    for up, labels in plan.shared:
        _shared(up, [as_round(of[x]) for x in labels], runs)
    points = np.array([p for f in plan.features for p in flatten(f, 0.1)])
    for axis in plan.axes:
        up = abs(math.sin(axis.angle_rad)) > 0.7
        k = 1 if up else 0
        rim = points[:, k].min() - BEYOND_MM - 1, points[:, k].max() + BEYOND_MM + 1
        runs[up].append((axis.through_mm[0 if up else 1], float(rim[0]), float(rim[1])))
    marks: list[Mark] = []
    for up, several in runs.items():
        for at, first, last in _merged(several):
            p, q = ((at, first), (at, last)) if up else ((first, at), (last, at))
            marks.append(_line(p, q))
    marks += [_line(p, q) for p, q in free]
    for middle, labels in plan.pitches:
        marks += _pitch(middle, [as_round(of[x]) for x in labels])
    if plan.turning:
        for w in plan.wanted:
            if w.form in CIRCLES:  # ISO 2203 has root circles as narrow lines
                marks.append(CircleMark(plan.turning.centre_mm, w.paper_mm / 2, "CENTRE", NARROW))
    return marks


def _line(p: Point, q: Point) -> Path:
    size = math.dist(p, q)
    return line(p, q, "CENTRE", LONG_DASH_DOT.fitted(size) if size > SHORT_MM else NARROW)


def _slot(ends: Sequence[Round], runs: dict[bool, list[Run]], free: list[tuple[Point, Point]]) -> None:
    a, b = (np.array(e.centre) for e in ends)
    r = ends[0].radius
    u = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    v = np.array([-u[1], u[0]])
    pairs = [(a - (r + BEYOND_MM) * u, b + (r + BEYOND_MM) * u)]
    pairs += [(c - (r + BEYOND_MM) * v, c + (r + BEYOND_MM) * v) for c in (a, b)]
    for p, q in pairs:
        d = np.abs(q - p)
        if d.min() > 0.02 * d.max():
            free.append(((float(p[0]), float(p[1])), (float(q[0]), float(q[1]))))
            continue
        up = bool(d[1] > d[0])
        k = 1 if up else 0
        runs[up].append((float(p[1 - k] + q[1 - k]) / 2, float(min(p[k], q[k])), float(max(p[k], q[k]))))


def _shared(up: bool, features: Sequence[Round], runs: dict[bool, list[Run]]) -> None:
    """One line through centres that share a dimension."""
    k = 1 if up else 0
    at, first, last = [], [], []
    for f in features:
        at.append(f.centre[1 - k])
        arm = f.radius + BEYOND_MM
        first.append(f.centre[k] - arm)
        last.append(f.centre[k] + arm)
    runs[up].append((float(np.mean(at)), min(first), max(last)))


def _merged(runs: Sequence[Run], same_mm: float = 0.25) -> list[Run]:
    """Lines in line that overlap become one."""
    out: list[list[float]] = []
    for at, first, last in sorted(runs):
        for o in out:
            if abs(o[0] - at) < same_mm and first < o[2] and last > o[1]:
                o[1], o[2] = min(o[1], first), max(o[2], last)
                break
        else:
            out.append([at, first, last])
    return [(o[0], o[1], o[2]) for o in out]


def _pitch(middle: Point, features: Sequence[Round]) -> list[Mark]:
    """A pitch circle, with a short radial line through each hole."""
    c = np.array(middle)
    radius = float(np.mean([math.dist(f.centre, middle) for f in features]))
    marks: list[Mark] = [CircleMark(middle, radius, "CENTRE", LONG_DASH_DOT.fitted(2 * math.pi * radius, closed=True))]
    for f in features:
        d = np.array(f.centre) - c
        u = d / max(float(np.hypot(*d)), 1e-9)
        arm = min(f.radius + BEYOND_MM, radius * 0.8)
        p, q = c + (radius - arm) * u, c + (radius + arm) * u
        marks.append(_line((float(p[0]), float(p[1])), (float(q[0]), float(q[1]))))
    return marks
