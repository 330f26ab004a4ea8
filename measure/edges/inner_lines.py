"""Where the line between the face and a rounded or chamfered rim was taken for the outline.

Such a rim shows two lines: one where the face ends, and the outline. Along hidden and narrow walls a step of light may
find either, whichever is the stronger. The light across longer stretches, with the rim in it (`rim_seen`), tells where
the outline lies; where that is much farther out than the step, the step was the inner line, and the outline is put
where the light says. Walls that are seen wide have their foot to tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.edges.narrow_walls import told_by
from measure.edges.rim_seen import RimSeen
from measure.edges.rounded import Rim

SURE = 0.8
"""A rim that is less likely rounded or chamfered moves nothing (chosen)."""
FARTHER = 0.5
"""The inner line lies so many radii or more inside the outline: a chamfer's 1, a rounding's 0.7 to 1, where its outer
one lies 0.1 to 0.3 inside."""


@dataclass(frozen=True, slots=True)
class RimPlaces:
    """The outline by stretches of hidden and narrow walls of a part whose rim is not sharp.

    Attributes:
        line_mm: (m, 2) where light was taken; points_mm, outwards: (b, 2) stretches and where they face.
        place_mm: (b,) how far outside of that line the outline lies; by_radius: (b,) how that changes with the radius.
        least_mm: a step so much farther in is the inner line.
    """

    line_mm: Array
    points_mm: Array
    outwards: Array
    place_mm: Array
    by_radius: Array
    least_mm: float

    def at(self, points_mm: Array, normals: Array, step_mm: Array) -> tuple[Array, Array, Array]:
        """(n,) how far outwards of points (n, 2) the outline lies, mm, how that changes with the radius, and how sure
        it is, 0 to 1, that a step found the inner line.

        Args:
            step_mm: (n,) how far outwards steps of light were found.
        """
        from scipy.spatial import cKDTree

        share, known = told_by(self.points_mm, self.outwards, points_mm, normals)
        nearest = self.line_mm[cKDTree(self.line_mm).query(points_mm)[1]]
        place = ((nearest - points_mm) * normals).sum(1) + share @ self.place_mm
        return place, share @ self.by_radius, np.where(place - step_mm > self.least_mm, known, 0.0)


def rim_places(shown: RimSeen, rim: Rim, before_mm: Sequence[Array]) -> RimPlaces | None:
    """The outline by the light along outlines (n, 2) `before_mm`; None where the rim may be sharp.

    Args:
        shown: that light.
        rim: what is known of the rim by now.
    """
    bands = shown.bands
    at = bands.hidden | bands.narrow
    if rim.rounded < SURE or not at.any():
        return None
    mean, by_radius = shown.places(*rim.if_rounded_mm)
    line = np.concatenate(list(before_mm))
    return RimPlaces(line, bands.points_mm[at], bands.outwards[at], mean[at], by_radius[at], FARTHER * rim.radius_mm)
