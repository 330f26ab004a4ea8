"""Lines of other light in a face: steps in it, or holes so narrow that little more than their walls is seen.

The wall of a step in the face, and its shadow, are lines of other light, and both show the face's own material. A hole
shows the ground, or its shadow: its own colour within a ring of wall, or instead of the face's.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.silhouette.evidence import filled
from measure.silhouette.rectified import F32, Mask, Rectified

LINE_MM, LONG = 1.1, 3.0
"""A hole that holds no disc so wide, and is so many times as large as the largest that it does, is a line: steps of
rendered faces, 0.3 to 0.8 mm high, show lines of 0.3 to 1.0 mm (chosen)."""
RING_MM2, NOT_FACE, NARROW_MM2 = 1.5, 0.7, 20.0
"""What a line goes round tells from this size on, mm², and is no face if this share of it has not its colour: 0.94 to
0.97 in narrow holes of a dark part. With its line it is no larger than the third (chosen)."""
APART, NEARER = 6.0, 0.5
"""Hues of ground and face tell one from the other that lie so many standard deviations of the face's apart; a line then
shows the ground if its hue is so much nearer to that one's (chosen)."""
CORE = 0.5
"""Share of a line's depth from which on its colour is its own, and not its edges' blur (chosen)."""


@dataclass(frozen=True, slots=True)
class HoleLooks:
    """What tells a hole's colours from its face's.

    Attributes:
        hue: (h, w, 2) of each cell less the face's; odd: (h, w) whether its colour is none of the face's.
        ground: (2,) the ground's hue less the face's; sd: (2,) standard deviation of the face's.
    """

    hue: F32
    odd: NDArray[np.bool_]
    ground: Array
    sd: Array

    @classmethod
    def of(cls, off_face: F32, odd: NDArray[np.bool_], region: Mask, ground: Mask) -> HoleLooks | None:
        """From cells' log colours less the face's (h, w, 3), and which are none of its (h, w); None where there is too
        little of face or ground."""
        inside = cv2.erode(region, np.ones((5, 5), np.uint8)) > 0
        if not inside.any() or not ground.any():
            return None
        hue = np.asarray(off_face[..., 1:], np.float32)
        of_ground = np.median(hue[ground > 0], axis=0).astype(float)
        own = hue[inside & ~odd]
        sd = np.maximum(own.std(0), LEAST_SD).astype(float) if len(own) else np.full(2, LEAST_SD)
        return cls(hue, odd, of_ground, sd)

    def show_ground(self, cells: NDArray[np.bool_]) -> bool:
        """Whether cells have the ground's hue rather than the face's."""
        own = np.median(self.hue[cells], axis=0)
        face, ground, apart = (float(np.hypot(*(v / self.sd))) for v in (own, own - self.ground, self.ground))
        return apart > APART and ground < NEARER * face

    def are_no_face(self, cells: NDArray[np.bool_], step_mm: float) -> bool:
        """Whether cells, if they are many enough to tell, have another colour than the face, and the ground's hue."""
        enough = cells.sum() * step_mm**2 > RING_MM2 and self.odd[cells].mean() > NOT_FACE
        return bool(enough and self.show_ground(cells))


LEAST_SD = 0.005
"""Least standard deviation of a face's hue: rounding to codes."""


def without_lines(region: Mask, plan: Rectified, marked: F32, looks: HoleLooks | None = None) -> tuple[Mask, bool]:
    """A region without holes that are lines, and whether there were any.

    A line that goes round something that is not the face is the wall of a hole, which is then opened; one that shows
    the ground is left. So is one that a person marks as not the part.

    Args:
        region: (h, w) the face; plan: of the window; marked: (h, w) negative where it is said not to be the part.
        looks: what tells a hole's colours from the face's, where the face is even.
    """
    inside = (filled(region) > 0) & (region == 0)
    n, label, stats, _ = cv2.connectedComponentsWithStats(inside.astype(np.uint8), connectivity=8)
    if n < 2:
        return region, False
    room = np.zeros(n)
    deep = cv2.distanceTransform(np.pad(inside, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1] * plan.step_mm
    np.maximum.at(room, label[inside], deep[inside])
    room -= plan.step_mm / 2  # it is taken to the middle of the next cell
    area = stats[:, cv2.CC_STAT_AREA] * plan.step_mm**2
    line = (room < LINE_MM / 2) & (area > LONG * np.pi * room**2)
    line[np.unique(label[marked < 0])] = False
    line[0] = False
    opened = np.zeros_like(region)
    for i in np.flatnonzero(line).tolist():
        if looks is None:
            break
        own = label == i
        within = _hull(own)
        ring = within.sum() * plan.step_mm**2 < NARROW_MM2
        if ring and looks.are_no_face(within & ~own & (region > 0) & (marked <= 0), plan.step_mm):
            opened |= within.astype(np.uint8)
            line[i] = False
        elif looks.show_ground(own & (deep > CORE * deep[own].max())):
            line[i] = False
    return np.asarray((region | line[label]) & (1 - opened), np.uint8), bool(line.any())


def _hull(cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells within the convex hull of some."""
    outlines, _ = cv2.findContours(cells.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros(cells.shape, np.uint8)
    cv2.fillConvexPoly(out, cv2.convexHull(np.concatenate(outlines)), 1)
    return out > 0
