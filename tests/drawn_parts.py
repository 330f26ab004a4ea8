"""Parts of our own invention that are hard to draw, for tests of the sketch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from measure.geometry.features import Curve, Estimate, Feature
from measure.sheet.sheet import Drawing, Sheet, sketch
from tests.jobs import estimate
from tests.simulated_parts import Segment, circle, polygon, reverse, slot
from tests.simulated_traces import features_of

Loops = Sequence[Sequence[Segment]]


def belt(pulleys: Sequence[tuple[float, float, float]], hole: bool = False) -> list[Segment]:
    """A belt round pulleys (x, y, radius), counter-clockwise, its straight runs tangent."""
    runs = []
    for (x1, y1, r1), (x2, y2, r2) in zip(pulleys, [*pulleys[1:], pulleys[0]], strict=True):
        d = math.hypot(x2 - x1, y2 - y1)
        a = math.atan2(y2 - y1, x2 - x1) - math.asin((r2 - r1) / d)
        nx, ny = -math.sin(a), math.cos(a)
        runs.append(((x1 - r1 * nx, y1 - r1 * ny), (x2 - r2 * nx, y2 - r2 * ny)))
    out: list[Segment] = []
    for i, (x, y, r) in enumerate(pulleys):
        out.append(_arc((x, y), r, runs[i - 1][1], runs[i][0]))
        out.append({"kind": "line", "start": runs[i][0], "end": runs[i][1]})
    return reverse(out) if hole else out


def _arc(
    c: tuple[float, float], r: float, p: tuple[float, float], q: tuple[float, float], turn: str = "ccw"
) -> Segment:
    return {"kind": "arc", "centre": c, "radius": r, "start": p, "end": q, "turn": turn}


def _at(radius: float, angle: float) -> tuple[float, float]:
    return radius * math.cos(angle), radius * math.sin(angle)


def lobes(n: int, pitch: float, out: float, hollow: float, phase: float = 0.3) -> list[Segment]:
    """n round lobes (radius out, centres on the pitch radius) joined by tangent hollows."""
    half = math.pi / n
    far = pitch * math.cos(half) + math.sqrt((out + hollow) ** 2 - (pitch * math.sin(half)) ** 2)
    loop = []
    for k in range(n):
        a = phase + 2 * half * k
        c, before, after, following = _at(pitch, a), _at(far, a - half), _at(far, a + half), _at(pitch, a + 2 * half)
        share = out / (out + hollow)
        p, q, s = (
            (u[0] + (v[0] - u[0]) * share, u[1] + (v[1] - u[1]) * share)
            for u, v in ((c, before), (c, after), (following, after))
        )
        loop += [_arc(c, out, p, q), _arc(after, hollow, q, s, "cw")]
    return loop


def d_bore(radius: float, flat: float, angle: float) -> list[Segment]:
    """A round hole with a flat at a distance from its centre."""
    a = math.acos(flat / radius)
    p, q = _at(radius, angle + a), _at(radius, angle - a)
    return reverse([_arc((0.0, 0.0), radius, p, q), {"kind": "line", "start": q, "end": p}])


def open_ring(outer: float, inner: float, gap_deg: float) -> list[Segment]:
    """A ring with a gap and round tips."""
    tip, middle, g = (outer - inner) / 2, (outer + inner) / 2, math.radians(gap_deg) / 2
    a, b = g, 2 * math.pi - g
    o = (0.0, 0.0)
    return [
        _arc(o, outer, _at(outer, a), _at(outer, b)),
        _arc(_at(middle, b), tip, _at(outer, b), _at(inner, b)),
        _arc(o, inner, _at(inner, b), _at(inner, a), "cw"),
        _arc(_at(middle, a), tip, _at(inner, a), _at(outer, a)),
    ]


def toothed(n: int, tip: float, root: float, irregular: float = 0.0) -> list[Segment]:
    """n teeth of four straight pieces each."""
    rng = np.random.default_rng(5)
    v = []
    for k in range(n):
        for radius, share in ((tip, -0.18), (tip, 0.18), (root, 0.33), (root, 0.67)):
            a = 2 * math.pi * (k + share + irregular * rng.uniform(-0.1, 0.1)) / n
            v.append((*_at(radius + irregular * rng.uniform(-1, 1), a), 0.0))
    return polygon(v)


def comb(teeth: int, pitch: float, depth: float) -> list[Segment]:
    """A comb: a back with straight teeth."""
    wide = (teeth - 0.5) * pitch
    v = [(0.0, 0.0, 1.5), (wide, 0.0, 1.5)]
    for k in reversed(range(teeth)):
        x = k * pitch
        v += [(x + 0.5 * pitch, 8 + depth, 0.6), (x, 8 + depth, 0.6)]
        if k:
            v += [(x, 8.0, 0.6), (x - 0.5 * pitch, 8.0, 0.6)]
    return polygon(v)


def broken_plate() -> list[Segment]:
    """A plate with one corner broken off."""
    jag = [(50.0, 18.0), (47.1, 20.2), (45.4, 19.6), (42.9, 23.0), (40.2, 23.4), (38.0, 27.1), (34.0, 30.0)]
    return [
        {"kind": "line", "start": (0.0, 0.0), "end": (50.0, 0.0)},
        {"kind": "line", "start": (50.0, 0.0), "end": (50.0, 18.0)},
        {"kind": "curve", "points": jag, "start": jag[0], "end": jag[-1]},
        {"kind": "line", "start": (34.0, 30.0), "end": (0.0, 30.0)},
        {"kind": "line", "start": (0.0, 30.0), "end": (0.0, 0.0)},
    ]


def _turned(loops: Loops, deg: float) -> Loops:
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    out = []
    for loop in loops:
        new = []
        for segment in loop:
            moved = dict(segment)
            for k in ("start", "end", "centre"):
                if k in moved:
                    x, y = moved[k]  # type: ignore[misc]
                    moved[k] = (c * x - s * y, s * x + c * y)
            new.append(moved)
        out.append(new)
    return out


def _loops() -> dict[str, Loops]:
    r = 2.25
    six = [(x, y) for x in (-31.0, 0.0, 31.0) for y in (-13.0, 13.0)]
    flange = [
        circle(0, 0, 24),
        circle(0, 0, 9.1),
        *(circle(*_at(17, math.pi / 6 + k * math.pi / 3), 2.2) for k in range(6)),
    ]
    return {
        "plate with six holes": [
            polygon([(-38, -20, 4), (38, -20, 4), (38, 20, 4), (-38, 20, 4)]),
            *(circle(x, y, r) for x, y in six),
        ],
        "knob of twelve arcs": [lobes(6, 15.5, 5.2, 6.4), d_bore(3.05, 2.3, 1.1)],
        "open ring": [open_ring(13.4, 9.2, 70)],
        "slotted bar": [
            slot(0, 0, 110, 22, hole=False),
            slot(-15, 0, 46, 6.2),
            slot(32, 0, 20, 6.2),
            circle(-46, 0, 3.3),
        ],
        "tiny latch": [
            polygon([(0, 0, 0.8), (12, 0, 0.8), (12, 4, 0.5), (5, 4, 1), (5, 9, 0.5), (0, 9, 0.8)]),
            circle(2.5, 6.4, 0.9),
            circle(9.2, 2, 0.7),
        ],
        "uneven wheel": [toothed(9, 21, 16, irregular=0.7), circle(0, 0, 4)],
        "even wheel": [toothed(9, 21, 16), circle(0, 0, 4)],
        "gusset": [
            polygon([(0, 0, 2), (58, 0, 2), (58, 9, 2), (20, 41, 3), (0, 41, 2)]),
            circle(9, 31, 2.6),
            circle(47, 6.5, 1.7),
        ],
        "washer": [circle(0, 0, 14), circle(0.0, 0.0, 5.25)],
        "bare square": [polygon([(0, 0, 0), (25, 0, 0), (25, 25, 0), (0, 25, 0)])],
        "three-cornered link": [
            belt([(0, 0, 8), (44, 6, 6), (17, 33, 5)]),
            circle(0, 0, 4.1),
            circle(44, 6, 2.6),
            circle(17, 33, 2.1),
        ],
        "plate with a slanting slot": [
            polygon([(0, 0, 3), (64, 0, 3), (64, 36, 3), (0, 36, 3)]),
            belt([(20, 12, 3), (42, 25, 3)], hole=True),
        ],
        "long plate": [
            polygon([(0, 0, 6), (262, 0, 6), (262, 118, 6), (0, 118, 6)]),
            *(circle(x, y, 4) for x in (14, 248) for y in (14, 104)),
            slot(131, 60, 90, 12),
        ],
        "flange": flange,
        "clip": [
            polygon(
                [(0, 0, 3), (33, 0, 3), (33, 21, 1), (24, 21, 1), (24, 8, 2.5), (9, 8, 2.5), (9, 17, 1), (0, 17, 1)]
            ),
            circle(16.5, 3.9, 1.6),
        ],
        "nearly even plate": [
            polygon([(-26, -13, 4), (26, -13, 4), (26, 13, 4), (-26, 13, 4)]),
            circle(-17, 3, 2.6),
            circle(17.8, 3, 2.6),
        ],
        "comb": [comb(7, 7.0, 12.0)],
        "broken plate": [broken_plate(), circle(10, 10, 2.5)],
        "gusset lying askew": _turned(
            [polygon([(0, 0, 2), (58, 0, 2), (58, 9, 2), (20, 41, 3), (0, 41, 2)]), circle(9, 31, 2.6)], 17.0
        ),
    }


def drawn_parts() -> dict[str, tuple[Feature, ...]]:
    """Features of each part by name."""
    return {name: features_of(loops) for name, loops in _loops().items()}


@lru_cache
def features_named(name: str) -> tuple[Feature, ...]:
    """Features of one part."""
    return drawn_parts()[name]


@lru_cache
def sheet_named(name: str) -> Sheet:
    """The finished sheet of one part."""
    features = features_named(name)
    return sketch(Drawing(name, features, estimate=estimate_of(features), thickness_mm=4.2))


def completed_plate() -> tuple[tuple[Feature, ...], tuple[Feature, ...]]:
    """A broken plate completed, and its fracture as it was seen."""
    features = features_of([polygon([(0, 0, 0), (50, 0, 0), (50, 30, 0), (0, 30, 0)]), circle(10, 10, 2.5)])
    whole = tuple(replace(f, origin="completed") if f.label == "E2" else f for f in features)
    jag = ((50.0, 6.0), (47.5, 9.0), (48.4, 14.0), (46.0, 17.0), (47.2, 22.0), (50.0, 25.0))
    return whole, (Curve("C1", 0, points=jag),)


def estimate_of(features: tuple[Feature, ...]) -> Estimate:
    """With 0.02 mm of edge noise and shared terms."""
    return estimate(features)
