"""A loop of features as one closed path of straight pieces and arcs."""

from __future__ import annotations

import math
from collections.abc import Sequence

from measure.geometry.features import Circle, Feature, by_loop, sweep_rad

Vertex = tuple[float, float, float]
"""x, y and bulge: the tangent of a quarter of the angle of the arc that starts here, positive counter-clockwise."""


def bulge(sweep: float) -> float:
    """Bulge of an arc through a signed sweep (rad) of less than a full turn."""
    return math.tan(sweep / 4)


def loop_vertices(loop: Sequence[Feature]) -> tuple[Vertex, ...]:
    """Vertices of a closed loop; a curve contributes all its points.

    Args:
        loop: lines, arcs and curves that join end to end.
    """
    out: list[Vertex] = []
    for f in loop:
        if f.kind == "curve":
            out += [(x, y, 0.0) for x, y in f.points[:-1]]
        elif f.kind != "circle":
            out.append((*f.start, bulge(sweep_rad(f)) if f.kind == "arc" else 0.0))
    return tuple(out)


def loops(features: Sequence[Feature]) -> list[Circle | tuple[Vertex, ...]]:
    """Each loop: its one circle, or the vertices of its closed path."""
    out: list[Circle | tuple[Vertex, ...]] = []
    for fs in by_loop(features).values():
        first = fs[0]
        out.append(first if len(fs) == 1 and first.kind == "circle" else loop_vertices(fs))
    return out
