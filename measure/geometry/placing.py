"""Mirroring and turning in the plane: what they make of points and features, with slopes.

An isometry has two free numbers, held about a point of the part so that they are well apart: a mirror's turn (rad) and
shift across its axis (mm), or the centre (mm) of a turn by a known angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calib.arrays import Array
from measure.geometry.features import (
    PARAMETERS,
    F,
    Feature,
    Point,
    as_line,
    as_round,
    backwards,
    direction,
    mapped,
    middle,
    right_normal,
)

STEP = 1e-6


@dataclass(frozen=True, slots=True)
class Placing:
    """A mirror or a turn.

    Attributes:
        way: which.
        through_mm: (2,) a point of the axis, or the centre.
        angle_rad: direction of the axis, or the angle of the turn, counter-clockwise.
    """

    way: Literal["mirror", "turn"]
    through_mm: Point
    angle_rad: float

    def matrix(self) -> Array:
        """(2, 2) what it does to directions."""
        if self.way == "mirror":
            c, s = math.cos(2 * self.angle_rad), math.sin(2 * self.angle_rad)
            return np.array([[c, s], [s, -c]])
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return np.array([[c, -s], [s, c]])

    def of(self, points: Array) -> Array:
        """Where points (n, 2) go."""
        return np.asarray((points - self.through_mm) @ self.matrix().T + self.through_mm)

    def back(self) -> Placing:
        """What undoes it."""
        return self if self.way == "mirror" else replace(self, angle_rad=-self.angle_rad)

    def adjusted(self, step: Array) -> Placing:
        """After a step (2,) of its free numbers."""
        x, y = self.through_mm
        if self.way == "turn":
            return replace(self, through_mm=(x + float(step[0]), y + float(step[1])))
        a = self.angle_rad
        across = (x - math.sin(a) * float(step[1]), y + math.cos(a) * float(step[1]))
        return replace(self, through_mm=across, angle_rad=a + float(step[0]))

    def slopes(self, points: Array) -> Array:
        """(n, 2, 2) change of the images of points (n, 2) with the free numbers (last axis)."""
        steps = [(self.adjusted(h).of(points) - self.adjusted(-h).of(points)) / (2 * STEP) for h in STEP * np.eye(2)]
        return np.stack(steps, 2)

    def image(self, f: F) -> F:
        """What becomes of a feature, in the loop's own sense of travel: a mirrored one is turned round."""
        new = mapped(f, lambda p: _point(self.of(np.array([p]))[0]))
        # the mirror turns an arc's sense round, and so does going along it backwards
        return new if self.way == "turn" else backwards(new)

    def of_parameters(self, f: Feature) -> tuple[Array, Array]:
        """Slopes of the image's parameters: (p, p) by the feature's own, (p, 2) by the free numbers."""
        n = PARAMETERS[f.kind]
        if f.kind == "curve":
            return np.zeros((0, 0)), np.zeros((0, 2))
        now = self.image(f)
        by = np.stack(
            [(_off(self.adjusted(h).image(f), now) - _off(self.adjusted(-h).image(f), now)) / (2 * STEP)
             for h in STEP * np.eye(2)],
            1,
        )  # fmt: skip
        if f.kind == "line":
            return np.diag([1.0, -1.0 if self.way == "mirror" else 1.0]), by
        own = np.eye(n)
        own[:2, :2] = self.matrix()
        return own, by


def _off(f: Feature, known: Feature) -> Array:
    """(p,) parameters of a feature relative to one of its kind that it all but is."""
    if f.kind == "line":
        known = as_line(known)
        u, w = direction(known), direction(f)
        shift = float(right_normal(known) @ (middle(f) - middle(known)))
        return np.array([shift, math.atan2(u[0] * w[1] - u[1] * w[0], u @ w)])
    f, known = as_round(f), as_round(known)
    return np.array([*np.subtract(f.centre, known.centre), f.radius - known.radius])


def relative(f: Feature, known: Feature) -> Array:
    """(p,) parameters of a line, arc or circle as seen from one of its kind that lies near it: about its middle."""
    if f.kind != "line":
        return _off(f, known)
    known = as_line(known)
    u, n = direction(f), right_normal(f)
    turn = float(_off(f, known)[1])
    along = float((middle(known) - middle(f)) @ u)
    foot = middle(f) + along * u
    return np.array([float(n @ (foot - middle(known))), turn])


def about(f: Feature, point: Array) -> Array:
    """(p, p) from a feature's parameters to those about another point along it: only lines differ."""
    out = np.eye(PARAMETERS[f.kind])
    if f.kind == "line":
        out[0, 1] = -float((point - middle(f)) @ direction(f))
    return out


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
