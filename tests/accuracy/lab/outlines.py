"""Outlines by chance: parts with holes, and openings. Millimetres, as `tests.accuracy.shapes` has them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from tests.accuracy import shapes as sh

Loop = list[dict[str, Any]]
WALL_MM = 1.8
"""Least material between holes and to the rim."""
HOLES = ((0, 0.08), (1, 0.27), (2, 0.35), (3, 0.2), (4, 0.1))
"""How many holes, how often."""


@dataclass(frozen=True)
class Draw:
    """Numbers by chance: a width and a height of a body, and what is asked for."""

    rng: np.random.Generator
    w: float
    h: float

    def u(self, lo: float, hi: float) -> float:
        """A number between two."""
        return float(self.rng.uniform(lo, hi))

    def f(self, hi: float = 4.0) -> float:
        """A fillet's radius from 0.5 mm on, in tenths."""
        return float(np.round(self.rng.uniform(0.5, hi), 1))


def _plate(d: Draw) -> Loop:
    return sh.rounded(d.w, d.h, min(d.f(8), d.h / 2 - 1))


def _notched(d: Draw) -> Loop:
    w, h, f = d.w, d.h, d.f
    n, deep = d.u(5, w * 0.4), d.u(3, h * 0.5)
    x = d.u(-w / 2 + n / 2 + 4, w / 2 - n / 2 - 4)
    top = [
        (x + n / 2, h / 2, 0.8),
        (x + n / 2, h / 2 - deep, f(1.5)),
        (x - n / 2, h / 2 - deep, f(1.5)),
        (x - n / 2, h / 2, 0.8),
    ]
    corners = [(-w / 2, -h / 2, f()), (w / 2, -h / 2, f()), (w / 2, h / 2, f()), *top, (-w / 2, h / 2, f())]
    return sh.polygon(corners)


def _ell(d: Draw) -> Loop:
    w, h, f = d.w, d.h, d.f
    a, b = d.u(8, w * 0.5), d.u(8, h * 0.5)
    inner = [(w / 2, -h / 2 + b, f(3)), (-w / 2 + a, -h / 2 + b, f(5)), (-w / 2 + a, h / 2, f(3))]
    return sh.polygon([(-w / 2, -h / 2, f()), (w / 2, -h / 2, f()), *inner, (-w / 2, h / 2, f(3))])


def _tee(d: Draw) -> Loop:
    w, h, f = d.w, d.h, d.f
    a, b = d.u(8, w * 0.5), d.u(7, h * 0.5)
    y = h / 2 - b
    stem = [(-a / 2, y, f(4)), (-a / 2, -h / 2, f(3)), (a / 2, -h / 2, f(3)), (a / 2, y, f(4))]
    return sh.polygon([(-w / 2, y, f(2.5)), *stem, (w / 2, y, f(2.5)), (w / 2, h / 2, f(2.5)), (-w / 2, h / 2, f(2.5))])


def _yoke(d: Draw) -> Loop:
    w, h, f = d.w, d.h, d.f
    a, y = d.u(6, w * 0.5), h / 2 - d.u(6, h - 7)
    mouth = [(a / 2, h / 2, f(1.5)), (a / 2, y, f(2.5)), (-a / 2, y, f(2.5)), (-a / 2, h / 2, f(1.5))]
    return sh.polygon(
        [(-w / 2, -h / 2, f()), (w / 2, -h / 2, f()), (w / 2, h / 2, f(2)), *mouth, (-w / 2, h / 2, f(2))]
    )


def _belt(d: Draw) -> Loop:
    n = int(d.rng.integers(2, 5))
    at = [2 * math.pi * k / n for k in range(n)]
    ends = [(d.w / 2 * math.cos(a + d.u(-0.4, 0.4)), d.h / 2 * math.sin(a + d.u(-0.4, 0.4)), d.u(4, 11), 1) for a in at]
    return sh.belt(ends)


def _wheel(d: Draw) -> Loop:
    return sh.circle((0, 0), d.u(9, 32))


def _lobes(d: Draw) -> Loop:
    n, r = int(d.rng.integers(3, 8)), d.u(12, 22)
    return sh.lobed(n, r, r * d.u(0.25, 0.34), r * d.u(0.2, 0.3), d.u(0, 1))


def _oval(d: Draw) -> Loop:
    return sh.oval(d.u(10, 18), d.u(14, 30), d.u(6, 10))


def _ring(d: Draw) -> Loop:
    r = d.u(12, 26)
    return sh.open_ring(r, r - d.u(5, 9), d.u(40, 110), 1)


def _teeth(d: Draw) -> Loop:
    n, r = int(d.rng.integers(8, 26)), d.u(12, 26)
    if d.rng.random() < 0.6:
        return sh.toothed(n, r, r - d.u(1.6, 3), 0.5, 0.5)
    return sh.sawtooth(min(n, 16), r, r - d.u(2, 3.4), 0.4, 0.6)


def _stair(d: Draw) -> Loop:
    w, h, f = d.w, d.h, d.f
    a, b = w / 3, h / 3
    steps = [
        (w / 2, b - h / 2, f(2)),
        (w / 2 - a, b - h / 2, f(2)),
        (w / 2 - a, 2 * b - h / 2, f(2)),
        (a - w / 2, 2 * b - h / 2, f(2)),
    ]
    return sh.polygon(
        [(-w / 2, -h / 2, f(3)), (w / 2, -h / 2, f(3)), *steps, (a - w / 2, h / 2, f(2)), (-w / 2, h / 2, f(2))]
    )


def _house(d: Draw) -> Loop:
    w, h, f = d.w, d.h, d.f
    roof = [(w / 2 - d.u(0, 6), h * 0.1, f(4)), (d.u(-6, 6), h / 2, f(4)), (-w / 2 + d.u(0, 6), h * 0.1, f(4))]
    return sh.polygon([(-w / 2, -h / 2, f(3)), (w / 2, -h / 2, f(3)), *roof])


def _bar(d: Draw) -> Loop:
    long = d.u(70, 150)
    if d.rng.random() < 0.5:
        return sh.slot((-long / 2, 0), (long / 2, 0), d.u(9, 18))
    return sh.rounded(long, d.u(9, 20), d.f(3))


def _dee(d: Draw) -> Loop:
    r = d.u(8, 24)
    return sh.d_hole(r, r * d.u(0.4, 0.85))


BODIES: dict[str, Callable[[Draw], Loop]] = {
    "plate": _plate,
    "notched": _notched,
    "ell": _ell,
    "tee": _tee,
    "yoke": _yoke,
    "belt": _belt,
    "wheel": _wheel,
    "lobes": _lobes,
    "oval": _oval,
    "ring": _ring,
    "teeth": _teeth,
    "stair": _stair,
    "house": _house,
    "bar": _bar,
}
CUT_OUT: dict[str, Callable[[Draw], Loop]] = {
    **{k: BODIES[k] for k in ("plate", "notched", "ell", "tee", "belt", "wheel", "oval", "stair")},
    "dee": _dee,
}
"""What is cut into panels."""


def part(rng: np.random.Generator) -> tuple[str, list[Loop]]:
    """Kind of body; its outline with holes that keep walls of `WALL_MM` or more."""
    kind, outer, polygon = _sound(rng, BODIES)
    room, loops = polygon.buffer(-WALL_MM), [outer]
    counts, odds = zip(*HOLES, strict=True)
    for _ in range(int(rng.choice(counts, p=odds))):
        for _ in range(60):
            if room.is_empty:
                break
            hole = _hole(rng, room.bounds)
            there = shapely.Polygon(sh.flatten(hole, 0.02))
            if room.contains(there):
                room = room.difference(there.buffer(WALL_MM))
                loops.append(hole)
                break
    return kind, loops


def opening(rng: np.random.Generator) -> tuple[str, list[Loop]]:
    """Kind of an opening and its rim, run through counter-clockwise, what is empty on the left."""
    kind, outer, _ = _sound(rng, CUT_OUT)
    return kind, [outer]


def _sound(rng: np.random.Generator, bodies: dict[str, Callable[[Draw], Loop]]) -> tuple[str, Loop, shapely.Polygon]:
    """A body without crossings that nowhere is thinner than 4.4 mm."""
    for _ in range(200):
        draw = Draw(rng, float(rng.uniform(22, 90)), float(rng.uniform(16, 50)))
        kind = str(rng.choice(list(bodies)))
        try:
            outer = bodies[kind](draw)
        except (AssertionError, ValueError):  # fillets that do not fit, tangents that do not exist
            continue
        polygon = shapely.Polygon(sh.flatten(outer, 0.02))
        if polygon.is_valid and polygon.area > 120 and _in_one(polygon.buffer(-2.2)) and _joined(outer):
            return kind, outer, polygon
    raise RuntimeError("two hundred bodies and none is sound")


def _in_one(shape: shapely.Geometry) -> bool:
    return shape.geom_type == "Polygon" and not shape.is_empty


def _joined(loop: Loop) -> bool:
    """Whether its segments join end to end without turning back, as fillets that are too large would make them."""
    if len(loop) < 2:
        return True
    area = sh.area(sh.flatten(loop, 0.02))
    ends = all(math.dist(a["end"], b["start"]) < 1e-6 for a, b in zip(loop, [*loop[1:], loop[0]], strict=True))
    return ends and area > 0 and all(math.isfinite(v) for s in loop for v in s["start"])


def _hole(rng: np.random.Generator, bounds: tuple[float, float, float, float]) -> Loop:
    x0, y0, x1, y1 = bounds
    c = (float(np.round(rng.uniform(x0, x1), 1)), float(np.round(rng.uniform(y0, y1), 1)))
    k, r = rng.random(), float(np.round(rng.uniform(1.2, 6), 2))
    if k < 0.68:
        return sh.circle(c, r)
    if k < 0.86:
        a, s = rng.uniform(0, math.pi), rng.uniform(4, 16) / 2
        along = (s * math.cos(a), s * math.sin(a))
        return sh.slot((c[0] - along[0], c[1] - along[1]), (c[0] + along[0], c[1] + along[1]), 2 * min(r, 3.2))
    if k < 0.94:
        return sh.d_hole(max(r, 2.5), max(r, 2.5) * rng.uniform(0.5, 0.8), c, rng.uniform(0, 6))
    return sh.rounded(rng.uniform(5, 16), rng.uniform(4, 10), 0.8, c)


def figure(loops: list[Loop], rng: np.random.Generator) -> list[Loop] | None:
    """A ring, a cross or an arrow that stands up from the face, 1.5 mm or more away from every edge; None: no room."""
    rings = [sh.flatten(loop, 0.02) for loop in loops]
    room = shapely.Polygon(rings[0], rings[1:]).buffer(-1.5)
    if room.is_empty:
        return None
    circle = shapely.maximum_inscribed_circle(room)
    (x, y), r = circle.coords[0], min(circle.length, 12.0)
    if r < 3.0:
        return None
    a, kind = float(rng.uniform(0, 360)), rng.choice(["ring", "cross", "arrow"])
    if kind == "ring":
        return [sh.circle((x, y), r), sh.circle((x, y), r - min(1.5, r / 3))]
    s = r / 3
    if kind == "cross":
        p = [(s, s), (s, 3 * s), (-s, 3 * s), (-s, s), (-3 * s, s), (-3 * s, -s), (-s, -s), (-s, -3 * s)]
        corners = [*p, (s, -3 * s), (s, -s), (3 * s, -s), (3 * s, s)]
        corners = [(0.9 * u, 0.9 * v) for u, v in corners]
    else:
        corners = [(-s, -0.6 * r), (s, -0.6 * r), (s, 0), (2 * s, 0), (0, 0.9 * r), (-2 * s, 0), (-s, 0)]
    return [sh.move(sh.polygon(corners), x, y, a)]
