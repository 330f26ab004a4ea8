"""Located edge points of one loop: what the outline is fitted to."""

from __future__ import annotations

from dataclasses import dataclass

from calib.arrays import Array


@dataclass(frozen=True, slots=True)
class EdgeLoop:
    """Located boundary of one loop, in order of travel.

    Attributes:
        points_mm: (n, 2) on the true outline.
        normals: (n, 2) unit, to the right of travel: from material to empty, for an opening's rim the reverse.
        sigma_mm: (n,) white standard deviation along the normal; inf where no edge was found.
        sensitivity: (n, s) change of the point along its normal with each shared term.
    """

    points_mm: Array
    normals: Array
    sigma_mm: Array
    sensitivity: Array

    def flipped(self) -> EdgeLoop:
        """The same with its normals the other way."""
        return EdgeLoop(self.points_mm, -self.normals, self.sigma_mm, -self.sensitivity)
