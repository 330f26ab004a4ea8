"""Mirror axes, even pitches, and parts that are nearly their own mirror image.

What is found here decides how a part is drawn, not how large it is: a plate whose two sides agree within their
uncertainty is dimensioned across its centre line, as a draughtsperson would.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.geometry.features import Feature, as_round, flatten, length, sweep_rad
from measure.geometry.segments import nearest, segments

AS_LONG_AS = 0.25
"""Mirrored pieces may differ in length by this share: where a fillet ends is much less sure than where it lies."""

SAMPLED = (0.1, 0.5, 0.9)
"""Where along a piece it is compared with its partner: near its ends and in the middle."""
OUTLINE_MM = 0.02
"""How far chords may lie from arcs where the whole outline is meant."""
CENTRED_MM, OTHER_AXIS_RAD, ROUGHLY_MM = 1e-3, 0.02, 0.3
"""Pieces nearer to the centre say nothing of an axis; axes that differ by less are one; and partners are looked for so
much farther off than they may lie in the end (chosen)."""
STEP = 1e-5
"""Step of differences: mm, rad."""
KEPT = 0.9
"""Share of the points that decide how an outline is laid on its mirror image."""


@dataclass(frozen=True, slots=True)
class Axis:
    """A mirror axis.

    Attributes:
        through_mm: (2,) a point on it.
        angle_rad: its direction, 0 to π.
        partner: for each feature, the position of its mirror image in the list (itself when it lies across the axis).
    """

    through_mm: tuple[float, float]
    angle_rad: float
    partner: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Turning:
    """An outline that repeats n times round a centre.

    Attributes:
        centre_mm: (2,) what it turns about.
        order: n, 3 or more.
        partner: for each feature of the list, the position of the one that it becomes after one n-th of a turn; -1
            for features that take no part.
    """

    centre_mm: tuple[float, float]
    order: int
    partner: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Carriers:
    """Features as arrays, for testing many isometries at once."""

    round: NDArray[np.bool_]  # (n,)
    hole: NDArray[np.bool_]  # (n,)
    middle: Array  # (n, 2)
    centre: Array  # (n, 2); a line's middle
    radius: Array  # (n,); 0 for lines
    normal: Array  # (n, 2); 0 for rounds
    bulge: Array  # (n,) sign of an arc's turn
    length: Array  # (n,)
    samples: Array  # (n, 3, 2)


def _carriers(features: Sequence[Feature]) -> _Carriers:
    n = len(features)
    middle, centre, normal, samples = np.zeros((n, 2)), np.zeros((n, 2)), np.zeros((n, 2)), np.zeros((n, 3, 2))
    radius, bulge, size = np.zeros(n), np.zeros(n), np.zeros(n)
    for i, f in enumerate(features):
        size[i] = length(f)
        if f.kind == "line":
            p, q = np.array(f.start), np.array(f.end)
            middle[i] = centre[i] = (p + q) / 2
            u = (q - p) / max(size[i], 1e-9)
            normal[i] = u[1], -u[0]
            samples[i] = p + np.array(SAMPLED)[:, None] * (q - p)
        else:
            f = as_round(f)
            c, sweep = np.array(f.centre), sweep_rad(f)
            first = 0.0 if f.kind == "circle" else math.atan2(f.start[1] - c[1], f.start[0] - c[0])
            a = first + sweep * np.array(SAMPLED)
            samples[i] = c + f.radius * np.stack([np.cos(a), np.sin(a)], 1)
            middle[i] = c if f.kind == "circle" else samples[i, 1]
            centre[i], radius[i] = c, f.radius
            bulge[i] = 0 if f.kind == "circle" else np.sign(sweep)
    rounds = np.array([f.kind != "line" for f in features])
    hole = np.array([f.loop > 0 for f in features])
    return _Carriers(rounds, hole, middle, centre, radius, normal, bulge, size, samples)


def _apply(points: Array, matrix: Array, about: Array) -> Array:
    out: Array = (points - about) @ matrix.T + about
    return out


def _off(c: _Carriers, points: Array, j: NDArray[np.int64]) -> Array:
    """Distances of points (n, 3, 2) from the carriers j (n,)."""
    d = points - c.centre[j][:, None]
    off: Array = np.where(
        c.round[j][:, None], np.hypot(*np.moveaxis(d, 2, 0)) - c.radius[j][:, None], (d * c.normal[j][:, None]).sum(2)
    )
    return off


def _pair(c: _Carriers, matrix: Array, about: Array, tolerance_mm: float) -> NDArray[np.int64] | None:
    """For each feature the one that it becomes under an isometry, or None when one of them becomes nothing."""
    image = _apply(c.middle, matrix, about)
    slack = np.maximum(1.0, AS_LONG_AS * c.length) + 2 * tolerance_mm
    apart = np.hypot(*(image[:, None] - c.middle[None]).transpose(2, 0, 1))
    alike = (c.round[:, None] == c.round[None]) & (c.hole[:, None] == c.hole[None]) & (c.bulge[:, None] == c.bulge)
    alike &= np.abs(c.length[:, None] - c.length[None]) <= slack[:, None]
    apart[~alike] = np.inf
    j: NDArray[np.int64] = apart.argmin(1)
    if (apart[np.arange(len(j)), j] > slack).any() or len(set(j.tolist())) != len(j):
        return None
    if np.abs(_off(c, _apply(c.samples, matrix, about), j)).max() > tolerance_mm:
        return None
    return j


def _mirror(angle_rad: float) -> Array:
    c, s = math.cos(2 * angle_rad), math.sin(2 * angle_rad)
    return np.array([[c, s], [s, -c]])


def centroid(points: Array) -> Array:
    """(2,) centre of area of a closed polygon (n, 2)."""
    p = points - points[0]
    q = np.roll(p, -1, 0)
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    out: Array = points[0] + ((p + q) * cross[:, None]).sum(0) / (3 * cross.sum())
    return out


def outer_loop(features: Sequence[Feature], tolerance_mm: float = OUTLINE_MM) -> Array:
    """(n, 2) polygon of the outer boundary."""
    return np.concatenate([flatten(f, tolerance_mm)[:-1] for f in features if f.loop == 0])


NO_REACH_MM = 1e-9
"""What lies in the centre itself has no direction from there."""


def mirror_axes(features: Sequence[Feature], tolerance_mm: float) -> list[Axis]:
    """Axes about which the part is its own mirror image within a tolerance, best first.

    Every mirror axis of a shape runs through its centre of area and carries the feature farthest from there onto one
    of its kind, so that few axes need trying. Each is then refined by least squares.

    Args:
        features: all loops.
        tolerance_mm: how far a mirrored piece may lie from its partner.
    """
    if not features or any(f.kind == "curve" for f in features):
        return []
    c = _carriers(features)
    about = centroid(outer_loop(features))
    arm = c.middle - about
    reach = np.hypot(*arm.T)
    first = int(reach.argmax())
    if reach[first] < max(tolerance_mm, CENTRED_MM):
        angles = [0.0]
    else:
        near = np.flatnonzero((np.abs(reach - reach[first]) < 2 + tolerance_mm) & (c.round == c.round[first]))
        way = arm / np.maximum(reach, NO_REACH_MM)[:, None]
        angles = [float(np.arctan2(*(way[first] + way[j])[::-1])) for j in near]
        angles += [math.atan2(*arm[first][::-1]) + math.pi / 2]
    found: list[tuple[float, Axis]] = []
    for angle in angles:
        axis = _settle(c, about, angle % math.pi, tolerance_mm)
        if axis is not None and all(_between(axis[1].angle_rad, o.angle_rad) > OTHER_AXIS_RAD for _, o in found):
            found.append(axis)
    return [a for _, a in sorted(found, key=lambda e: e[0])]


def _between(a: float, b: float) -> float:
    d = abs(a - b) % math.pi
    return min(d, math.pi - d)


def _settle(c: _Carriers, about: Array, angle: float, tolerance_mm: float) -> tuple[float, Axis] | None:
    """Refine one axis; None when the part is not mirrored about it."""
    j = _pair(c, _mirror(angle), about, 3 * tolerance_mm + ROUGHLY_MM)
    if j is None:
        return None
    x = np.array([angle, 0.0])

    def off(x: Array) -> Array:
        normal = np.array([-math.sin(x[0]), math.cos(x[0])])
        return _off(c, _apply(c.samples, _mirror(x[0]), about + x[1] * normal), j).ravel()

    for _ in range(3):
        r = off(x)
        J = np.stack([(off(x + step) - r) / STEP for step in STEP * np.eye(2)], 1)
        x = x - np.linalg.lstsq(J, r, rcond=None)[0]
    through = about + x[1] * np.array([-math.sin(x[0]), math.cos(x[0])])
    partner = _pair(c, _mirror(x[0]), through, tolerance_mm)
    if partner is None:
        return None
    rms = float(np.sqrt(np.mean(off(x) ** 2)))
    return rms, Axis((float(through[0]), float(through[1])), float(x[0] % math.pi), tuple(partner.tolist()))


def turning(features: Sequence[Feature], tolerance_mm: float) -> Turning | None:
    """How often the outer boundary repeats in a turn, when it does so three times or more.

    Args:
        features: all loops; only loop 0 is tested.
        tolerance_mm: how far a turned piece may lie from its partner.
    """
    outer = [i for i, f in enumerate(features) if f.loop == 0]
    if len(outer) < 3 or any(features[i].kind == "curve" for i in outer):
        return None
    c = _carriers([features[i] for i in outer])
    about = centroid(outer_loop(features))
    for n in range(len(outer), 2, -1):
        if len(outer) % n:
            continue
        a = 2 * math.pi / n
        j = _pair(c, np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]]), about, tolerance_mm)
        if j is not None and (j != np.arange(len(j))).all():
            partner = [-1] * len(features)
            for i, k in zip(outer, j.tolist(), strict=True):
                partner[i] = outer[k]
            return Turning((float(about[0]), float(about[1])), n, tuple(partner))
    return None


def mirror_gap(features: Sequence[Feature], outer_only: bool = False) -> tuple[float, tuple[float, float]]:
    """How far the part is from being its own mirror image.

    The boundary is mirrored, laid on itself by turns about the centre of area (every 4°, the best few refined by
    point-to-line steps), and the largest remaining distance is returned with the place where it is found.

    Args:
        features: all loops.
        outer_only: leave the holes out.

    Returns:
        The distance, mm, and the point of the part where it occurs.
    """
    kept = [f for f in features if not (outer_only and f.loop)]
    paths = [flatten(f, OUTLINE_MM) for f in kept]
    among = np.concatenate([segments(p) for p in paths])
    about = centroid(outer_loop(features))
    among = among - np.tile(about, 2)
    samples = _evenly(among)
    coarse = samples[:: max(1, len(samples) // 75)]
    trial = np.arange(0, math.pi, math.radians(4))
    turned = np.stack([coarse @ _mirror(float(a)).T for a in trial])
    at_x, at_y = turned[..., 0, None], turned[..., 1, None]
    apart = np.sqrt(((at_x - coarse[:, 0]) ** 2 + (at_y - coarse[:, 1]) ** 2).min(2)).mean(1)
    best = (math.inf, (0.0, 0.0))
    for k in np.argsort(apart)[:2]:
        x = np.array([trial[k], 0.0, 0.0])
        for _ in range(5):
            q = coarse @ _mirror(x[0]).T + x[1:]
            foot, normal, _ = nearest(q, among)
            J = np.stack([2 * (normal * np.stack([-q[:, 1], q[:, 0]], 1)).sum(1), normal[:, 0], normal[:, 1]], 1)
            r = ((q - foot) * normal).sum(1)
            keep = np.abs(r) <= np.quantile(np.abs(r), KEPT) + 1e-9
            x = x - np.linalg.lstsq(J[keep], r[keep], rcond=None)[0]
        foot, _, d = nearest(samples @ _mirror(x[0]).T + x[1:], among)
        i = int(d.argmax())
        if d[i] < best[0]:
            best = (float(d[i]), (float(foot[i, 0] + about[0]), float(foot[i, 1] + about[1])))
    return best


def _evenly(among: Array, count: int = 300) -> Array:
    """(about count, 2) points spread over segments (m, 4) by their length, at least one in the middle of each."""
    d = among[:, 2:] - among[:, :2]
    size = np.hypot(*d.T)
    n = np.maximum(1, np.round(size / size.sum() * count)).astype(int)
    i = np.repeat(np.arange(len(n)), n)
    t = (np.arange(len(i)) - np.repeat(np.cumsum(n) - n, n) + 0.5) / n[i]
    out: Array = among[i, :2] + t[:, None] * d[i]
    return out
