"""A result laid on the truth: its frame is free, so a turn and a shift are sought, never a mirror or a scale."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import shapely
from scipy.spatial import cKDTree

from calib.arrays import Array
from tests.accuracy import shapes as sh

Segment = dict[str, Any]
"""A feature of trace.json, or a segment of a truth file: both have the same form."""
Loop = list[Segment]

STARTS_DEG, APART_DEG = 6.0, 3.0
FEW = 200
"""Points that starts are tried with."""
BEST = 8
"""Turns tried to the end: a near-symmetric part has several good ones."""


class Laid(NamedTuple):
    """A turn (rad) and a shift (mm), with the mean distance that is left both ways, mm."""

    cost: float
    angle: float
    shift: Array


def loops_of(result: dict[str, Any]) -> list[Loop]:
    """A result's features grouped by loop, in order."""
    out: dict[int, Loop] = {}
    for f in result["features"]:
        out.setdefault(f["loop"], []).append(f)
    return [out[k] for k in sorted(out)]


def points_of(segment: Segment) -> Array:
    """Points along a segment, both ends with it, 0.0005 mm from the true curve at most."""
    if segment["kind"] == "curve":
        return np.array(segment["points"], float)
    p = sh.flatten_segment(segment, 0.0005)
    return np.vstack([p, p[:1] if segment["kind"] == "circle" else [segment["end"]]])


def lines_of(loops: list[Loop]) -> shapely.MultiLineString:
    """All segments as one geometry."""
    return shapely.MultiLineString([points_of(s) for loop in loops for s in loop])


def spaced(geometry: shapely.MultiLineString, step: float) -> Array:
    """Points along lines, `step` apart, each line's own first half a step in."""
    parts = []
    for line in geometry.geoms:
        at = np.arange(step / 2, line.length, step)
        parts.append(shapely.get_coordinates(shapely.line_interpolate_point(line, at)) if len(at) else line.coords[:1])
    return np.concatenate(parts)


def turned(points: Array, angle: float, shift: Array | float) -> Array:
    """Points (n, 2) turned about the origin, then shifted."""
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s], [-s, c]]) + shift


def moved(segment: Segment, laid: Laid) -> Segment:
    """A feature in the truth's frame."""
    out = dict(segment)
    for key in ("start", "end", "centre"):
        if key in out:
            out[key] = turned(np.array([out[key]], float), laid.angle, laid.shift)[0].tolist()
    if "points" in out:
        out["points"] = turned(np.array(out["points"], float), laid.angle, laid.shift).tolist()
    return out


def register(result_loops: list[Loop], truth_loops: list[Loop]) -> tuple[Laid, bool]:
    """How the result lies best on the truth, and whether its mirror image lies on it much better."""
    points, normals = _with_normals(lines_of(truth_loops))
    found = spaced(lines_of(result_loops), 0.4)
    plain, other = _lay(found, points, normals), _lay(found * [-1, 1], points, normals)
    return plain, other.cost < 0.5 * plain.cost and plain.cost - other.cost > 0.1


def _with_normals(lines: shapely.MultiLineString) -> tuple[Array, Array]:
    points, normals = [], []
    for line in lines.geoms:
        p = shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(0.005, line.length, 0.02)))
        if len(p) < 2:
            continue
        e = np.gradient(p, axis=0)
        e /= np.maximum(np.linalg.norm(e, axis=1, keepdims=True), 1e-12)
        points.append(p)
        normals.append(np.c_[e[:, 1], -e[:, 0]])
    return np.concatenate(points), np.concatenate(normals)


def _lay(points: Array, truth: Array, normals: Array) -> Laid:
    """Best turn and shift of points: many starts, then point-to-line steps, the far tail left out of both."""
    tree = cKDTree(truth)
    coarse, few = cKDTree(truth[::5]), points[:: max(1, len(points) // FEW)]
    starts = sorted(_start(few, coarse, a) for a in np.arange(0, 2 * math.pi, math.radians(STARTS_DEG)))
    apart: list[tuple[float, float, tuple[float, float]]] = []
    for s in starts:
        turns = [abs((s[1] - o[1] + math.pi) % (2 * math.pi) - math.pi) for o in apart]
        if len(apart) < BEST and all(t > math.radians(APART_DEG) for t in turns):
            apart.append(s)
    return min((_settled(points, tree, normals, a, np.array(t)) for _, a, t in apart), key=lambda laid: laid.cost)


def _start(points: Array, tree: cKDTree, angle: float) -> tuple[float, float, tuple[float, float]]:
    """A few point-to-point steps from a turn, the far tail left out: mean distance of all, the turn, the shift."""
    truth = tree.data
    shift = truth.mean(0) - turned(points.mean(0)[None], angle, 0.0)[0]
    for _ in range(8):
        d, i = tree.query(turned(points, angle, shift))
        near = d <= np.quantile(d, 0.9)
        P, Q = points[near], truth[i[near]]
        A, B = P - P.mean(0), Q - Q.mean(0)
        angle = math.atan2((A[:, 0] * B[:, 1] - A[:, 1] * B[:, 0]).sum(), (A * B).sum())
        shift = Q.mean(0) - turned(P.mean(0)[None], angle, 0.0)[0]
    d, _ = tree.query(turned(points, angle, shift))
    return float(d.mean()), angle, (float(shift[0]), float(shift[1]))


def _settled(points: Array, tree: cKDTree, normals: Array, angle: float, shift: Array) -> Laid:
    for _ in range(40):
        q = turned(points, angle, shift)
        _, i = tree.query(q)
        n = normals[i]
        r = ((q - tree.data[i]) * n).sum(1)
        near = np.abs(r) <= max(np.quantile(np.abs(r), 0.95), 1e-9)
        J = np.c_[q[:, 0] * n[:, 1] - q[:, 1] * n[:, 0], n][near]
        step = np.linalg.lstsq(J, -r[near], rcond=None)[0]
        angle, shift = angle + step[0], turned(shift[None], step[0], step[1:])[0]
        if np.abs(step).max() < 1e-7:
            break
    laid = turned(points, angle, shift)
    cost = tree.query(laid)[0].mean() + cKDTree(laid).query(tree.data[::20])[0].mean()
    return Laid(float(cost), angle, shift)
