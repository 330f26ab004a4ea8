"""A mirror or a turn by which a part may repeat itself, with its two free numbers and what they do.

The free numbers are held about a point of the part so that they are well apart: a mirror's turn (rad) and
shift across its axis (mm), or the centre (mm) of a turn by a known angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calib.arrays import Array
from measure.geometry.features import Feature, Point
from measure.geometry.motion import Motion
from measure.geometry.relative import off

STEP = 1e-6


@dataclass(frozen=True, slots=True)
class Repeat:
    """A mirror or a turn.

    Attributes:
        way: which.
        through_mm: (2,) a point of the axis, or the centre.
        angle_rad: direction of the axis, or the angle of the turn, counter-clockwise.
    """

    way: Literal["mirror", "turn"]
    through_mm: Point
    angle_rad: float

    @property
    def motion(self) -> Motion:
        """It as a motion of the plane."""
        mirrored = self.way == "mirror"
        about = Motion(2 * self.angle_rad + math.pi if mirrored else self.angle_rad, mirrored=mirrored)
        x, y = about.point(self.through_mm)
        return replace(about, shift_mm=(self.through_mm[0] - x, self.through_mm[1] - y))

    def of(self, points: Array) -> Array:
        """Where points (n, 2) go."""
        return self.motion.points(points)

    def back(self) -> Repeat:
        """What undoes it."""
        return self if self.way == "mirror" else replace(self, angle_rad=-self.angle_rad)

    def adjusted(self, step: Array) -> Repeat:
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

    def of_parameters(self, f: Feature) -> tuple[Array, Array]:
        """Slopes of the image's parameters: (p, p) by the feature's own, (p, 2) by the free numbers."""
        if f.kind == "curve":
            return np.zeros((0, 0)), np.zeros((0, 2))
        now = self.motion.of(f)
        by = np.stack(
            [(off(self.adjusted(h).motion.of(f), now) - off(self.adjusted(-h).motion.of(f), now)) / (2 * STEP)
             for h in STEP * np.eye(2)],
            1,
        )  # fmt: skip
        return self.motion.of_parameters(f), by
