"""Simulated broken parts: true outlines of our own invention, a stretch of them torn out, seen through known errors."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from calib.arrays import Array
from measure.geometry.features import Curve, Estimate, Feature, flatten
from tests.simulated_parts import circle, polygon
from tests.simulated_traces import features_of, trace


@dataclass(frozen=True)
class Broken:
    """A broken part: what is true of the whole, and what was seen of the rest.

    Attributes:
        whole: true features of the part when it was new.
        missing: (n, 2) points along the true boundary that is missing.
        estimate: the rest as traced.
    """

    whole: tuple[Feature, ...]
    missing: Array
    estimate: Estimate


def tear(whole: tuple[Feature, ...], at: tuple[float, float], rng: np.random.Generator, depth: float = 2.0) -> Broken:
    """Tear out the outer boundary between two shares of its length.

    Args:
        whole: true features; the outer loop first.
        at: shares of the outer loop's length where the break begins and ends, in order of travel.
        rng: for the fracture and the noise.
        depth: how ragged the fracture is, mm.
    """
    loop = [f for f in whole if f.loop == 0]
    sizes = np.array([shapely.LineString(flatten(f, 0.0005)).length for f in loop])
    ends = np.r_[0, np.cumsum(sizes)]
    a, b = at[0] * ends[-1], at[1] * ends[-1]
    i, j = (int(np.searchsorted(ends, x, side="right") - 1) for x in (a, b))

    def cut(f: Feature, s: float) -> tuple[float, float]:
        p = shapely.LineString(flatten(f, 0.0005)).interpolate(s)
        return (p.x, p.y)

    start, end = cut(loop[i], a - ends[i]), cut(loop[j], b - ends[j])
    middle = (np.array(start) + end) / 2
    t = np.linspace(0, 1, 9)[:, None]
    jag = np.array(start) * (1 - t) + np.array(end) * t
    centre = np.mean([flatten(f)[0] for f in loop], axis=0)
    inward = (centre - middle) / np.hypot(*(centre - middle))
    jag[1:-1] += inward * rng.uniform(0.3, 1.0, (7, 1)) * depth
    points = tuple((float(x), float(y)) for x, y in jag)
    fracture = Curve("C1", 0, points=points)
    if i == j:
        two = replace(loop[i], start=end, label=loop[i].label + "9")
        kept = [*loop[:i], replace(loop[i], end=start), fracture, two, *loop[i + 1 :]]
        gone = [replace(loop[i], start=start, end=end)]
    elif i < j:
        kept = [*loop[:i], replace(loop[i], end=start), fracture, replace(loop[j], start=end), *loop[j + 1 :]]
        gone = [replace(loop[i], start=start), *loop[i + 1 : j], replace(loop[j], end=end)]
    else:
        kept = [replace(loop[j], start=end), *loop[j + 1 : i], replace(loop[i], end=start), fracture]
        gone = [replace(loop[i], start=start), *loop[i + 1 :], *loop[:j], replace(loop[j], end=end)]
    left = (*kept, *(f for f in whole if f.loop > 0))
    missing = np.concatenate([_spaced(f) for f in gone])
    return Broken(whole, missing, trace(left, 4.0, rng).estimate)


def _spaced(f: Feature) -> Array:
    line = shapely.LineString(flatten(f, 0.0005))
    return shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(0.05, line.length, 0.1)))


def off_mm(b: Broken, estimate: Estimate) -> Array:
    """(n,) how far the completed outline is from the true missing boundary, laid on each other by what is left.

    The trace's own errors of scale and shape are taken out by the best turn and shift of the whole outline.
    """
    ring = np.concatenate([flatten(f, 0.005)[:-1] for f in estimate.features if f.loop == 0])
    outline = shapely.LinearRing(ring)
    true = np.concatenate([_spaced(f)[::4] for f in b.whole if f.loop == 0])
    x = np.zeros(3)
    centre = true.mean(0)

    def laid(p: Array) -> Array:
        c, s = math.cos(x[0]), math.sin(x[0])
        return (p - centre) @ np.array([[c, s], [-s, c]]) + centre + x[1:]

    for _ in range(3):
        q = laid(true)
        foot = shapely.get_coordinates(
            shapely.line_interpolate_point(outline, shapely.line_locate_point(outline, shapely.points(q)))
        )
        r = foot - q
        arm = q - centre
        J = np.zeros((len(q), 2, 3))
        J[:, 0, 0], J[:, 1, 0] = -arm[:, 1], arm[:, 0]
        J[:, 0, 1] = J[:, 1, 2] = 1
        keep = np.hypot(*r.T) <= np.quantile(np.hypot(*r.T), 0.9)
        x = x + np.linalg.lstsq(J[keep].reshape(-1, 3), r[keep].ravel(), rcond=None)[0]
    return np.asarray(shapely.distance(outline, shapely.points(laid(b.missing))))


def roof(rng: np.random.Generator, arched: bool) -> tuple[tuple[Feature, ...], tuple[float, float]]:
    """A house whose ridge, at the origin, turns by 25° to 80°, one side of it arched; and shares of the outer boundary
    between which the ridge may break off."""
    half = math.radians(rng.uniform(25, 80)) / 2
    down = np.array([math.cos(half), -math.sin(half)])
    right, left = down * rng.uniform(8, 30), down * [-1, 1] * rng.uniform(8, 30)
    loop = polygon([(right[0], -45, 0), (*right, 0), (0, 0, 0), (*left, 0), (left[0], -45, 0)])
    k = next(i for i, s in enumerate(loop) if np.hypot(*s["start"]) < 1e-9)
    if arched:
        size = float(np.hypot(*left))
        radius, across = size * rng.uniform(0.9, 2.5), np.array([-left[1], left[0]]) / size
        centre = left / 2 + across * math.sqrt(radius**2 - size**2 / 4)
        loop[k] |= {"kind": "arc", "centre": tuple(centre), "radius": radius, "turn": "ccw"}
    features = features_of([loop])
    sizes = [shapely.LineString(flatten(f, 0.0005)).length for f in features]
    to = sum(sizes[:k])
    ends = to - rng.uniform(0.1, 0.6) * sizes[k - 1], to + rng.uniform(0.1, 0.6) * sizes[k]
    return features, (ends[0] / sum(sizes), ends[1] / sum(sizes))


def bridge() -> tuple[Feature, ...]:
    """Mirrored about x = 0: a foot with two bolt holes and an arch, invented."""
    right = [(28, 0, 2), (28, 9, 2), (15, 9, 3), (11, 22, 2)]
    outline = [*right, *((-x, y, r) for x, y, r in reversed(right))]
    return features_of([polygon(outline), circle(-21, 4.5, 2), circle(21, 4.5, 2), circle(0, 14, 3)])


def star_knob(n: int = 5) -> tuple[Feature, ...]:
    """Repeats n times round its hub, and is no mirror image of itself: teeth lean to one side, invented."""
    corners = []
    for k in range(n):
        for r, a, fillet in ((18.0, 0.0, 1.5), (18.0, 0.22, 1.5), (12.0, 0.62, 2.0), (12.0, 1.05, 1.0)):
            angle = 2 * math.pi / n * (k + a * 5 / (2 * math.pi))
            corners.append((r * math.cos(angle), r * math.sin(angle), fillet))
    return features_of([polygon(corners), circle(0, 0, 4)])


def wedge() -> tuple[Feature, ...]:
    """Like no image of itself, with sharp corners, invented."""
    return features_of([polygon([(0, 0, 0), (44, 0, 0), (37, 26, 0), (6, 17, 0)]), circle(12, 7, 2.5)])
