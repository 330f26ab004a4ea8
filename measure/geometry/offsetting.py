"""An outline moved square to itself: lines stay lines and arcs arcs, corners stay corners.

A line moves along its normal, an arc changes its radius about the same centre, and neighbours meet anew where they
then cross: the exact parallel curve, mitred at sharp corners. An arc whose radius would fall to nothing goes, and its
neighbours meet instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from calib.arrays import Array
from calib.words import Words
from measure.geometry.features import PARAMETERS, Curve, Feature, Round, by_loop, flatten, is_round, mapped
from measure.geometry.rejoin import Joint, joints, rejoined, shifted_all

LEAST_RADIUS_MM = 0.01
"""An arc that would become smaller than this goes."""
LARGEST_MM = 1.0
"""Further than this an outline can't be moved: neighbours would have to be looked for afresh."""
FLATNESS_MM, OPEN_MM = 0.002, 1e-6


@dataclass(frozen=True, slots=True)
class NoOffset:
    """Why an outline can't be moved so far. It is false, an outline is true."""

    text: str

    def __bool__(self) -> bool:
        return False


def offset(
    features: Sequence[Feature], outward_mm: float, holes_mm: float | None = None
) -> tuple[Feature, ...] | NoOffset:
    """The outline with all its boundaries, holes included, moved from material towards empty.

    Args:
        features: all loops; free curves are moved point by point.
        outward_mm: how far; negative makes the part smaller and its holes larger.
        holes_mm: the same for the holes, where it differs.
    """
    inner_mm = outward_mm if holes_mm is None else holes_mm
    most = max(abs(outward_mm), abs(inner_mm))
    if not features or most > LARGEST_MM:
        return NoOffset(Words("An outline can be moved by {largest_mm:g} mm at most.", largest_mm=LARGEST_MM))
    out: list[Feature] = []
    for number, loop in by_loop(features).items():
        moved = _moved(loop, inner_mm if number else outward_mm)
        if isinstance(moved, NoOffset):
            return moved
        out += moved
    shapes = area(out)
    if shapes is None or len(shapes.interiors) != len(by_loop(features)) - 1 or _turned_over(features, out):
        return NoOffset(
            Words("A web, slot or step of the outline is too narrow to be moved by {most:.2f} mm.", most=most)
        )
    return tuple(out)


def scaled(features: Sequence[Feature], factor: float) -> tuple[Feature, ...]:
    """The outline larger by a factor, about the origin."""
    larger = [mapped(f, lambda p: (p[0] * factor, p[1] * factor)) for f in features]
    return tuple(replace(f, radius=f.radius * factor) if is_round(f) else f for f in larger)


def area(features: Sequence[Feature], flatness_mm: float = FLATNESS_MM) -> shapely.Polygon | None:
    """The material as a polygon, arcs as chords; None where loops cross themselves or each other."""
    rings = [
        np.concatenate([flatten(f, flatness_mm)[:-1] for f in loop]) for _, loop in sorted(by_loop(features).items())
    ]
    if any(len(r) < 3 for r in rings):
        return None
    found = shapely.Polygon(rings[0], rings[1:])
    return found if found.is_valid and found.area > 0 else None


def _moved(loop: Sequence[Feature], by: float) -> list[Feature] | NoOffset:
    kept = [f for f in loop if not (f.kind == "arc" and f.radius + _growth(f, by) < LEAST_RADIUS_MM)]
    first = loop[0]
    if len(loop) == 1 and first.kind == "circle" and first.radius + _growth(first, by) < LEAST_RADIUS_MM:
        return NoOffset(Words("{label} would close altogether.", label=first.label))
    if len(kept) < len(loop) and len(kept) < 2:
        return NoOffset(Words("Nothing of the outline would be left."))
    steps = np.concatenate([_step(f, by) for f in kept]) if kept else np.zeros(0)
    moved = [_curve(f, by) if f.kind == "curve" else f for f in shifted_all(kept, steps)]
    return rejoined(moved, _joints(kept, moved))


def _joints(kept: Sequence[Feature], moved: Sequence[Feature]) -> list[Joint]:
    """Junctions as they were; where an arc has gone its neighbours meet at a corner."""
    if len(kept) < 2:
        return []
    there = {(j.first, j.second): j for j in joints(kept)}
    n = len(kept)
    return [there.get((i, (i + 1) % n), Joint(i, (i + 1) % n, False)) for i in range(n)]


def _growth(f: Round, by: float) -> float:
    """Change of a round feature's radius: it grows outward where its material lies within."""
    within = f.turn == "ccw" if f.kind == "arc" else f.loop == 0
    return by if within else -by


def _step(f: Feature, by: float) -> Array:
    out = np.zeros(PARAMETERS[f.kind])
    if f.kind == "line":
        out[0] = by
    elif f.kind != "curve":
        out[2] = _growth(f, by)
    return out


def _curve(f: Curve, by: float) -> Curve:
    p = flatten(f)
    along = np.gradient(p, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    q = p + by * np.c_[along[:, 1], -along[:, 0]]
    return replace(f, points=tuple((float(x), float(y)) for x, y in q))


def _turned_over(before: Sequence[Feature], after: Sequence[Feature]) -> bool:
    """Whether a line runs the other way, or two neighbours no longer meet."""
    for loop in by_loop(after).values():
        if len(loop) > 1:
            pairs = zip(loop, [*loop[1:], loop[0]], strict=True)
            if any(a.kind == "circle" or b.kind == "circle" or math.dist(a.end, b.start) > OPEN_MM for a, b in pairs):
                return True
    ways = {f.label: _way(f) for f in before if f.kind == "line"}
    return any(_way(f) @ ways[f.label] <= 0 for f in after if f.kind == "line")


def _way(f: Feature) -> Array:
    p = flatten(f)
    return np.asarray(p[-1] - p[0])
