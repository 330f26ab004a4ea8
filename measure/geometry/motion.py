"""Rigid motions of the plane: what they make of points, features and features' parameters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.features import PARAMETERS, F, Feature, Point, backwards, mapped


@dataclass(frozen=True, slots=True)
class Motion:
    """Mirrored at the y axis or not, then turned about the origin, then shifted.

    Attributes:
        turn_rad: counter-clockwise.
        shift_mm: along x and y.
        mirrored: whether it turns the part over first.
    """

    turn_rad: float = 0.0
    shift_mm: Point = (0.0, 0.0)
    mirrored: bool = False

    def matrix(self) -> Array:
        """(2, 2) what it does to directions."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        return np.array([[c, -s], [s, c]]) @ np.diag([-1.0 if self.mirrored else 1.0, 1.0])

    def point(self, p: Point) -> Point:
        """Where a point goes."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        x, y = -p[0] if self.mirrored else p[0], p[1]
        return c * x - s * y + self.shift_mm[0], s * x + c * y + self.shift_mm[1]

    def points(self, points_mm: Array) -> Array:
        """(n, 2) where points go."""
        return np.asarray(points_mm @ self.matrix().T + self.shift_mm)

    def of(self, f: F) -> F:
        """The feature as laid, material still on the left of travel: one that is mirrored is run through backwards."""
        new = mapped(f, self.point)
        return backwards(new) if self.mirrored else new

    def of_parameters(self, f: Feature) -> Array:
        """(p, p) change of the laid feature's parameters with its own."""
        if f.kind == "line":
            return np.diag([1.0, -1.0 if self.mirrored else 1.0])
        out = np.eye(PARAMETERS[f.kind])
        if len(out):
            out[:2, :2] = self.matrix()
        return out

    def then(self, other: Motion) -> Motion:
        """This one, and another one after it."""
        turn = other.turn_rad + (-self.turn_rad if other.mirrored else self.turn_rad)
        return Motion(turn, other.point(self.shift_mm), self.mirrored != other.mirrored)

    def nudged(self, step: Array, about_mm: Array) -> Motion:
        """The same, and then turned by step[0] about a point (2,) and shifted by step[1:]."""
        turn = Motion(float(step[0]))
        x, y = turn.points((np.array(self.shift_mm) - about_mm)[None])[0] + about_mm + step[1:]
        return Motion(self.turn_rad + turn.turn_rad, (float(x), float(y)), self.mirrored)

    def back(self) -> Motion:
        """What undoes it."""
        turn = self.turn_rad if self.mirrored else -self.turn_rad
        x, y = Motion(turn, mirrored=self.mirrored).point(self.shift_mm)
        return Motion(turn, (-x, -y), self.mirrored)
