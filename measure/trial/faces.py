"""Faces of an outline: how they move outward, and by how much they lie apart in two states of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from measure.geometry.features import Feature, as_line, as_round, flatten, middle, right_normal


def outward(f: Feature) -> Array:
    """Change of a face's place with the feature's parameters, outward from the material: (PARAMETERS[kind],)."""
    if f.kind == "line":
        return np.array([1.0, 0.0])
    if f.kind == "circle":
        return np.array([0.0, 0.0, 1.0 if f.loop == 0 else -1.0])
    if f.kind == "curve":
        return np.zeros(0)
    p = flatten(f)
    out = p[len(p) // 2] - np.array(f.centre)
    side = 1.0 if f.turn == "ccw" else -1.0
    return np.array([*(side * out / max(float(np.hypot(*out)), 1e-12)), side])


def moved_by(now: Feature, then: Feature) -> float:
    """How far out a face lay or lies in another state of the outline, mm.

    Args:
        now: the feature; lines are compared square to it.
        then: the same feature in the other state.
    """
    if now.kind == "line":
        return float(right_normal(now) @ (middle(as_line(then)) - middle(now)))
    if now.kind == "curve":
        return 0.0
    then = as_round(then)
    apart = np.array([*np.subtract(then.centre, now.centre), then.radius - now.radius])
    return float(outward(now) @ apart)


def growth(f: Feature) -> Array:
    """Change of a feature's parameters where its boundary moves out by one, square to itself."""
    if f.kind == "arc":
        return np.array([0.0, 0.0, 1.0 if f.turn == "ccw" else -1.0])
    return np.zeros(0) if f.kind == "curve" else outward(f)


def groups_of(moves: Sequence[tuple[str, float, float]]) -> list[tuple[str, float, float]]:
    """Faces that move alike in one: their labels in a row, how far, and the largest u95, the farthest first.

    Args:
        moves: label, mm and u95 (mm) of each.
    """
    alike: dict[float, list[tuple[str, float, float]]] = {}
    for m in moves:
        alike.setdefault(round(m[1], 2) + 0.0, []).append(m)
    return [
        (" ".join(label for label, _, _ in same), by, max(u for _, _, u in same))
        for by, same in sorted(alike.items(), key=lambda e: -abs(e[0]))
    ]
