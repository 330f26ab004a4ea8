"""A line, arc or circle described about a point of it, so that two sightings of it differ little and linearly.

Centre and radius of a short arc are hardly known one by one, and far from linear in what is: where it runs, in which
direction, and how curved it is. Two sightings are compared in those.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.features import PARAMETERS, Arc, Fitted, direction, middle, sweep_rad
from measure.geometry.motion import Motion
from measure.geometry.rejoin import shifted

STEP = 1e-4
"""Step of the differences by which derivatives are found: mm, rad."""


@dataclass(frozen=True, slots=True)
class Base:
    """Where a feature is described: a point, and the direction of travel there."""

    at: Array
    along: Array


def base_of(f: Fitted) -> Base:
    """The middle of a line or arc; the centre of a circle."""
    if f.kind == "line":
        return Base(middle(f), direction(f))
    centre = np.array(f.centre)
    if f.kind == "circle":
        return Base(centre, np.array([1.0, 0.0]))
    arm = np.subtract(f.start, centre)
    half = sweep_rad(f) / 2
    c, s = math.cos(half), math.sin(half)
    arm = np.array([c * arm[0] - s * arm[1], s * arm[0] + c * arm[1]])
    arm *= f.radius / np.hypot(*arm)
    way = _bend(f)
    return Base(centre + arm, np.array([-arm[1], arm[0]]) / np.hypot(*arm) * way)


def _bend(f: Arc) -> float:
    return 1.0 if f.turn == "ccw" else -1.0


def form(f: Fitted, base: Base) -> Array:
    """(p,) line: distance to the right of the base (mm), turn (rad); arc: the same and curvature (1/mm, positive
    where it turns left); circle: centre and radius."""
    if f.kind == "circle":
        return np.array([*f.centre, f.radius])
    if f.kind == "line":
        u, reach = direction(f), middle(f) - base.at
        return np.array([reach @ [u[1], -u[0]], _turn(u, base.along)])
    k, arm = _bend(f), base.at - np.array(f.centre)
    far = float(np.hypot(*arm))
    tangent = np.array([-arm[1], arm[0]]) / far * k
    return np.array([k * (f.radius - far), _turn(tangent, base.along), k / f.radius])


def _turn(u: Array, v: Array) -> float:
    """Angle from v to u."""
    return math.atan2(v[0] * u[1] - v[1] * u[0], v @ u)


def parameters_of(values: Array, f: Fitted, base: Base) -> Array:
    """(p,) change of a feature's parameters that gives it this form; for an arc or circle exact.

    Args:
        values: as `form` gives them.
        f: the feature; of a line, the base must be its own.
        base: where it is described.
    """
    if f.kind == "line":
        return values.copy()
    if f.kind == "arc":
        c, s = math.cos(values[1]), math.sin(values[1])
        u = np.array([c * base.along[0] - s * base.along[1], s * base.along[0] + c * base.along[1]])
        right = np.array([u[1], -u[0]])
        centre = base.at + right * (values[0] - 1 / values[2])
        values = np.array([*centre, abs(1 / values[2])])
    return np.asarray(values - [*f.centre, f.radius])


def by_parameters(f: Fitted, base: Base) -> Array:
    """(p, p) change of a feature's form with its parameters."""
    columns = []
    for step in STEP * np.eye(PARAMETERS[f.kind]):
        columns.append((form(shifted(f, step), base) - form(shifted(f, -step), base)) / (2 * STEP))
    return np.stack(columns, 1)


def by_motion(f: Fitted, base: Base) -> Array:
    """(p, 3) change of a feature's form when it is turned about the origin, and shifted along x and along y."""
    columns = []
    for turn, x, y in STEP * np.eye(3):
        there, back = Motion(turn, (x, y)).of(f), Motion(-turn, (-x, -y)).of(f)
        columns.append((form(there, base) - form(back, base)) / (2 * STEP))
    return np.stack(columns, 1)
