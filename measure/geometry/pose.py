"""How a piece is laid: turned about the origin, then shifted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array


@dataclass(frozen=True, slots=True)
class Pose:
    """A turn about the origin (rad, counter-clockwise), and then a shift (2,), mm."""

    turn_rad: float
    shift_mm: Array

    def matrix(self) -> Array:
        """(2, 2) of the turn."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        return np.array([[c, -s], [s, c]])

    def points(self, points_mm: Array) -> Array:
        """(n, 2) points as laid."""
        return np.asarray(points_mm @ self.matrix().T + self.shift_mm)

    def back(self, points_mm: Array) -> Array:
        """(n, 2) where laid points were."""
        return np.asarray((points_mm - self.shift_mm) @ self.matrix())

    def nudged(self, step: Array, about_mm: Array) -> Pose:
        """The same, and then turned by step[0] about a point (2,) and shifted by step[1:]."""
        by = Pose(float(step[0]), np.zeros(2))
        return Pose(self.turn_rad + by.turn_rad, by.points((self.shift_mm - about_mm)[None])[0] + about_mm + step[1:])
