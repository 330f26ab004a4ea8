"""Where the outline lies along a chamfered rim.

A chamfer shows two lines a leg apart, between the face and the slope, and between that and what lies beyond; which of
them a step of light finds hangs on the light. So along hidden and narrow walls the outline's place is taken from the
light across longer stretches, with the chamfer in it (`rim_seen`), as sure as it is that there is one. Walls that are
seen wide have their foot to tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.edges.narrow_walls import told_by
from measure.edges.rim_seen import RimSeen
from measure.edges.rounded import Rim

UNLIKELY = 0.3
"""A chamfer that is less likely moves nothing (chosen)."""


@dataclass(frozen=True, slots=True)
class ChamferedRim:
    """The outline by stretches of hidden and narrow walls, if the rim is chamfered.

    Attributes:
        line_mm: (m, 2) where light was taken; points_mm, outwards: (b, 2) stretches and where they face.
        place_mm: (b,) how far outside of that line the outline lies; by_leg: (b,) how that changes with the leg.
        likely: the probability.
    """

    line_mm: Array
    points_mm: Array
    outwards: Array
    place_mm: Array
    by_leg: Array
    likely: float

    def at(self, points_mm: Array, normals: Array) -> tuple[Array, Array, Array]:
        """(n,) how far outwards of points (n, 2) the outline lies, mm, how that changes with the leg, and how sure it
        is, 0 to 1."""
        from scipy.spatial import cKDTree

        share, known = told_by(self.points_mm, self.outwards, points_mm, normals)
        nearest = self.line_mm[cKDTree(self.line_mm).query(points_mm)[1]]
        to_line = ((nearest - points_mm) * normals).sum(1)
        return to_line + share @ self.place_mm, share @ self.by_leg, self.likely * known


def chamfered_rim(shown: RimSeen, rim: Rim, before_mm: Sequence[Array]) -> ChamferedRim | None:
    """A chamfer's outline by the light along outlines (n, 2) `before_mm`; None where there is hardly one.

    Args:
        shown: that light.
        rim: what is known of the rim by now.
    """
    chamfer, mean, by_leg = shown.chamfer(*rim.if_rounded_mm)
    bands, likely = shown.bands, rim.rounded * chamfer
    at = bands.hidden | bands.narrow
    if likely < UNLIKELY or not at.any():
        return None
    line = np.concatenate(list(before_mm))
    return ChamferedRim(line, bands.points_mm[at], bands.outwards[at], mean[at], by_leg[at], likely)
