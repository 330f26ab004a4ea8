"""True outlines of parts of our own invention, and readings that jaws can take on them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from measure.geometry.features import Estimate, Feature
from measure.readings.jaw_reach import possible_readings
from measure.subject import Subject
from tests.simulated_traces import features_of

Segment = dict[str, object]


@dataclass(frozen=True)
class Part:
    """A true part."""

    name: str
    features: tuple[Feature, ...]
    thickness_mm: float
    readings: tuple[tuple[str, tuple[str, ...]], ...]
    subject: Subject = "part"


def circle(x: float, y: float, r: float) -> list[Segment]:
    return [{"kind": "circle", "centre": (x, y), "radius": r}]


def polygon(vertices: Sequence[tuple[float, float, float]], hole: bool = False) -> list[Segment]:
    """Counter-clockwise corners (x, y, fillet radius, 0 for a sharp one); a hole is turned round."""
    v = list(vertices)
    cuts = []
    for i, (x, y, r) in enumerate(v):
        p, a, b = np.array([x, y]), np.array(v[i - 1][:2]), np.array(v[(i + 1) % len(v)][:2])
        u, w = (a - p) / np.hypot(*(a - p)), (b - p) / np.hypot(*(b - p))
        half = math.acos(float(np.clip(u @ w, -1, 1))) / 2
        d = r / math.tan(half) if r else 0.0
        centre = p + (u + w) / np.hypot(*(u + w)) * (r / math.sin(half)) if r else p
        left = -u[0] * w[1] + u[1] * w[0] > 0
        cuts.append((p + d * u, p + d * w, centre, r, left))
    out: list[Segment] = []
    for i, (p, q, c, r, left) in enumerate(cuts):
        if r:
            out.append({"kind": "arc", "centre": tuple(c), "radius": r, "start": tuple(p), "end": tuple(q)})
            out[-1]["turn"] = "ccw" if left else "cw"
        nxt = cuts[(i + 1) % len(cuts)][0]
        if np.hypot(*(nxt - q)) > 1e-6:
            out.append({"kind": "line", "start": tuple(q), "end": tuple(nxt)})
    return reverse(out) if hole else out


def reverse(loop: Sequence[Segment]) -> list[Segment]:
    out = []
    for s in reversed(loop):
        t = {**s, "start": s["end"], "end": s["start"]}
        if "turn" in s:
            t["turn"] = "cw" if s["turn"] == "ccw" else "ccw"
        out.append(t)
    return out


def slot(x: float, y: float, length: float, width: float, hole: bool = True) -> list[Segment]:
    """A rounded slot along x, overall `length`."""
    r, h = width / 2, (length - width) / 2
    ends = [(x - h, y - r), (x + h, y - r), (x + h, y + r), (x - h, y + r)]
    loop: list[Segment] = [
        {"kind": "line", "start": ends[0], "end": ends[1]},
        {"kind": "arc", "centre": (x + h, y), "radius": r, "start": ends[1], "end": ends[2], "turn": "ccw"},
        {"kind": "line", "start": ends[2], "end": ends[3]},
        {"kind": "arc", "centre": (x - h, y), "radius": r, "start": ends[3], "end": ends[0], "turn": "ccw"},
    ]
    return reverse(loop) if hole else loop


def _part(name: str, loops: Sequence[Sequence[Segment]], thickness: float, subject: Subject = "part") -> Part:
    features = features_of(loops)
    none = np.zeros((200, 0))
    bare = Estimate(features, np.eye(200) * 1e-8, (), none, np.zeros((0, 0)))
    found: dict[str, list[tuple[str, tuple[str, ...]]]] = {}
    for kind, labels in possible_readings(bare, subject):
        found.setdefault(kind, []).append((kind, labels))
    chosen: list[tuple[str, tuple[str, ...]]] = []
    while len(chosen) < 8 and any(found.values()):  # a mix of kinds, as people take them
        for pool in found.values():
            if pool and len(chosen) < 8:
                chosen.append(pool.pop(0))
    return Part(name, features, thickness, tuple(chosen), subject)


def parts() -> list[Part]:
    """Six parts: plate, bracket, lever, clip, ring, and an opening."""
    plate = [
        polygon([(-30, -18, 4), (30, -18, 4), (30, 18, 4), (-30, 18, 4)]),
        circle(-20, 9, 2.2),
        circle(20, 9, 2.2),
        slot(0, -6, 22, 5.5),
    ]
    bracket = [
        polygon([(0, 0, 2), (46, 0, 2), (46, 9, 1.5), (12, 9, 3), (12, 38, 1.5), (0, 38, 2)]),
        circle(6, 31, 1.75),
        circle(38, 4.5, 1.75),
    ]
    lever = [slot(0, 0, 64, 15, hole=False), circle(-24, 0, 4.1), circle(25, 0, 2.6), slot(1, 0, 16, 3.4)]
    clip = [
        polygon([(0, 0, 3), (33, 0, 3), (33, 21, 1), (24, 21, 1), (24, 8, 2.5), (9, 8, 2.5), (9, 17, 1), (0, 17, 1)]),
        circle(16.5, 3.9, 1.6),
    ]
    ring = [circle(0, 0, 19), circle(0.0, 0.0, 7.3), circle(0, 13, 2.1), circle(11.258, -6.5, 2.1)]
    hatch = [polygon([(-26, -13, 3), (26, -13, 3), (26, 6, 3), (8, 6, 2), (8, 13, 3), (-26, 13, 3)])]
    return [
        _part("plate", plate, 4.2),
        _part("bracket", bracket, 6.0),
        _part("lever", lever, 5.1),
        _part("clip", clip, 8.0),
        _part("ring", ring, 3.0),
        _part("hatch", hatch, 0.0, "opening"),
    ]
