"""What a drawing shows without words: edges that are tangent, square, in line, rounds that are equal or concentric,
halves that mirror each other, teeth that repeat. Each is a relation that takes freedom from the outline.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from measure.dimensioning.gauging import Shape, square_to
from measure.dimensioning.scheme.freedom import Freedom
from measure.dimensioning.scheme.groups import tangent
from measure.geometry.features import Feature, by_loop
from measure.geometry.symmetry import Axis, Turning

FRAME = "/frame"
"""Name of the bare direction that the drawing's horizontal has."""
CENTRE = "/centre"
"""Name of the point that an outline repeats about."""


def axis_name(i: int) -> str:
    """Name of the i-th mirror axis."""
    return f"/axis{i}"


def join(free: Freedom, features: Sequence[Feature]) -> None:
    """Neighbours that run into each other smoothly stay tangent."""
    for fs in by_loop(features).values():
        for a, b in zip(fs, [*fs[1:], fs[0]], strict=True):
            if a.label == b.label or not tangent(a, b):
                continue
            if a.kind == "line" and b.kind == "line":
                continue
            free.relate(_tangency(free.shapes[a.label], free.shapes[b.label]), [a.label, b.label])


def _tangency(a: Shape, b: Shape) -> Callable[[Shape, Shape], float]:
    if a.is_round and b.is_round:
        apart = math.hypot(a.x - b.x, a.y - b.y)
        sign = 1 if apart > max(a.s, b.s) else -1
        return lambda p, q: math.hypot(p.x - q.x, p.y - q.y) - abs(p.s + sign * q.s)
    return lambda p, q: abs(square_to(q, p.x, p.y)) - p.s if p.is_round else abs(square_to(p, q.x, q.y)) - q.s


def parallel(free: Freedom, a: str, b: str) -> None:
    """Two lines keep the angle between them."""
    free.relate(lambda p, q: (p.s - q.s) * free.arm_mm, [a, b])


def level(free: Freedom, a: str, b: str, upright: bool) -> None:
    """Two centres stay in line, one above the other (upright) or side by side."""

    def f(frame: Shape, p: Shape, q: Shape) -> float:
        c, s = math.cos(frame.s), math.sin(frame.s)
        return (q.x - p.x) * c + (q.y - p.y) * s if upright else (q.y - p.y) * c - (q.x - p.x) * s

    free.relate(f, [FRAME, a, b])


def in_one_line(free: Freedom, a: str, b: str) -> None:
    """Two edges stay parts of one straight line."""
    parallel(free, a, b)
    free.relate(lambda p, q: square_to(p, q.x, q.y), [a, b])


def same_radius(free: Freedom, a: str, b: str) -> None:
    """Two rounds stay equal."""
    free.relate(lambda p, q: p.s - q.s, [a, b])


def concentric(free: Freedom, a: str, b: str) -> None:
    """Two rounds keep one centre."""
    free.relate(lambda p, q: p.x - q.x, [a, b])
    free.relate(lambda p, q: p.y - q.y, [a, b])


def mirrored(free: Freedom, name: str, axis: Axis, features: Sequence[Feature]) -> None:
    """Each feature stays the mirror image of its partner."""
    for i, j in enumerate(axis.partner):
        if j < i:
            continue
        a, b = features[i].label, features[j].label
        if features[i].kind == "line":
            if i != j:
                free.relate(lambda m, p, q: _mirror_offset(m, p, q), [name, a, b])
                free.relate(lambda m, p, q: math.sin(p.s + q.s - 2 * m.s) * free.arm_mm, [name, a, b])
            else:
                free.relate(lambda m, p: math.sin(2 * (p.s - m.s)) * free.arm_mm, [name, a])
            continue
        free.relate(lambda m, p, q: square_to(m, p.x, p.y) + square_to(m, q.x, q.y), [name, a, b])
        if i != j:
            free.relate(lambda m, p, q: (q.x - p.x) * math.cos(m.s) + (q.y - p.y) * math.sin(m.s), [name, a, b])
            same_radius(free, a, b)


def _mirror_offset(axis: Shape, p: Shape, q: Shape) -> float:
    """Distance of the mirror image of q's middle from the line p."""
    d = 2 * square_to(axis, q.x, q.y)
    return square_to(p, q.x + d * math.sin(axis.s), q.y - d * math.cos(axis.s))


def repeated(free: Freedom, turn: Turning, features: Sequence[Feature]) -> None:
    """Each piece stays what its predecessor becomes after one n-th of a turn."""
    step = 2 * math.pi / turn.order
    c, s = math.cos(step), math.sin(step)

    def x_off(m: Shape, p: Shape, q: Shape) -> float:
        return m.x + c * (p.x - m.x) - s * (p.y - m.y) - q.x

    def y_off(m: Shape, p: Shape, q: Shape) -> float:
        return m.y + s * (p.x - m.x) + c * (p.y - m.y) - q.y

    for i, j in enumerate(turn.partner):
        if j < 0:
            continue
        a, b = features[i].label, features[j].label
        if features[i].kind == "line":
            free.relate(lambda p, q: (q.s - p.s) * free.arm_mm, [a, b])
            free.relate(lambda m, p, q: square_to(p, m.x, m.y) - square_to(q, m.x, m.y), [CENTRE, a, b])
        else:
            free.relate(x_off, [CENTRE, a, b])
            free.relate(y_off, [CENTRE, a, b])
            same_radius(free, a, b)


def chain(names: Iterable[str]) -> list[tuple[str, str]]:
    """The first with each of the others."""
    first, *rest = names
    return [(first, x) for x in rest]
