"""A touch on the photo becomes the next step of what is drawn: in the same words that a person would type."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Literal

import numpy as np

from calib.arrays import Array
from measure.broken.breaks import Break, outer
from measure.broken.by_hand.shaping import ends_of, shaped
from measure.broken.by_hand.words import steps_of
from measure.geometry.features import Feature, Line, is_round
from measure.geometry.rejoin import crossings
from measure.tracing.sighted import Sighted

Tool = Literal["on", "to", "arc"]
"""Straight on, straight to there, and an arc to there."""


def pointed(
    features: Sequence[Feature], which: Break, words: str, tool: Tool, at_px: Array, size_mm: float | None,
    sighted: Sighted, near_px: float,
) -> str:  # fmt: skip
    """The words of what is drawn, with one step more.

    Args:
        features: as seen.
        which: the break.
        words: what is drawn so far; empty at first.
        tool: what leads there.
        at_px: (2,) where the photo was touched.
        size_mm: how far straight on, or the arc's radius, where that is known.
        sighted: how the features lie in the photo.
        near_px: a touch so near to a corner or an edge's line means that.

    Raises:
        WrongUsage: what is drawn so far can't be.
    """
    loop = outer(features)
    drawn = shaped(features, which, steps_of(words), closed=False) if words.strip() else []
    begin, finish = ends_of(loop, which)
    come = np.array(drawn[-1].feature.end if drawn else begin)
    there = sighted.place_mm(at_px, come)
    near_mm = near_px * sighted.view.mm_per_px(there)
    end = np.array(finish)
    step = _step(tool, size_mm, there, end, near_mm, loop)
    so_far = words.strip(" ;\n")
    return f"{so_far}; {step}" if so_far else step


def _step(tool: Tool, size_mm: float | None, there: Array, end: Array, near_mm: float, loop: Sequence[Feature]) -> str:
    known = f"{size_mm:g} " if size_mm else ""
    if tool == "on" and known:
        return f"on {known}".strip()
    goal = "end" if math.dist(there, end) < near_mm else _snapped(tool, there, near_mm, loop)
    if tool == "arc":
        return f"arc {known}to {goal}"
    return f"{'on to' if tool == 'on' else 'to'} {goal}"


def _snapped(tool: Tool, there: Array, near_mm: float, loop: Sequence[Feature]) -> str:
    """A point: that of a corner nearby, of one where edges would meet if they went on, or on such an edge's line; for
    going straight on the edge itself."""
    lines = [f for f in loop if f.kind == "line"]
    off = {f.label: abs(_across(f, there)) for f in lines}
    if tool == "on" and off and min(off.values()) < near_mm:
        return min(off, key=lambda label: off[label])
    corners = [np.array(p) for f in loop if f.kind != "circle" for p in (f.start, f.end)]
    rounds = [f for f in loop if is_round(f)]
    corners += [p for a, b in combinations(lines, 2) for p in crossings(a, b)]
    corners += [p for a in lines for b in rounds for p in crossings(a, b)]
    nearest = min(corners, key=lambda p: math.dist(p, there), default=there)
    if math.dist(nearest, there) >= near_mm and off:
        line = min(lines, key=lambda f: off[f.label])
        u = np.subtract(line.end, line.start) / math.dist(line.end, line.start)
        nearest = np.array(line.start) + u * ((there - line.start) @ u)
    x, y = nearest if math.dist(nearest, there) < near_mm else there
    return f"{x:.2f},{y:.2f}"


def _across(f: Line, p: Array) -> float:
    """How far a point lies from the line that an edge lies on, mm."""
    u = np.subtract(f.end, f.start) / math.dist(f.end, f.start)
    x, y = p - f.start
    return float(u[0] * y - u[1] * x)
