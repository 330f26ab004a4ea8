"""How easily an outline is taken for its own mirror image: those parts get printed or put in the wrong way round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.words import Words
from measure.geometry.features import COARSE_MM, Feature, Point, flatten
from measure.geometry.symmetry import mirror_axes, mirror_gap

TOLERANCE_MM = 0.1
"""A part that equals its mirror image within this goes in either way."""
NEAR_MM, NEAR_SHARE = 2.0, 0.05
"""A part that differs from it by less than this, or this share of its size, is easily mistaken."""
SPACING_MM = 0.1
"""How far chords may lie from arcs where only a part's size is told."""
MARK_IT = Words("Mark the photographed face before you print.")


@dataclass(frozen=True, slots=True)
class Handedness:
    """A part beside its mirror image.

    Attributes:
        kind: same (its own mirror image), nearly, holes (only its holes tell) or different.
        gap_mm: how far they differ at the most; where they are the same, less than the tolerance.
        label: the feature where they do.
    """

    kind: Literal["same", "nearly", "holes", "different"]
    gap_mm: float
    label: str

    def warning(self) -> str:
        """A sentence for parts that are easily mistaken; empty for all others."""
        if self.kind == "holes":
            return Words(
                "Mirror image: the outer shape alone does not show which side is up, only the holes do "
                "({gap_mm:.1f} mm at {label}). {mark_it}",
                gap_mm=self.gap_mm,
                label=self.label,
                mark_it=MARK_IT,
            )
        if self.kind == "nearly":
            return Words(
                "Mirror image: this part differs from its mirror image by {gap_mm:.1f} mm only, at {label}. {mark_it}",
                gap_mm=self.gap_mm,
                label=self.label,
                mark_it=MARK_IT,
            )
        return ""

    def words(self) -> str:
        """A sentence for every part."""
        if self.kind == "same":
            return Words("It is its own mirror image: either face may be up.")
        if self.kind == "different":
            return Words(
                "Its mirror image differs by {gap_mm:.1f} mm at {label}: it is not easily turned over.",
                gap_mm=self.gap_mm,
                label=self.label,
            )
        return self.warning()


def handedness(features: Sequence[Feature], tolerance_mm: float = TOLERANCE_MM) -> Handedness:
    """Compare an outline with its mirror image.

    Args:
        features: all loops, mm.
        tolerance_mm: within which they count as the same.
    """
    if mirror_axes(features, tolerance_mm):
        return Handedness("same", 0.0, "")
    gap, at = mirror_gap(features)
    label = _nearest_label(features, at)
    if gap <= tolerance_mm:
        return Handedness("same", gap, label)
    points = np.concatenate([flatten(f, SPACING_MM) for f in features])
    outer = [f for f in features if f.loop == 0]
    if len(outer) < len(features) and mirror_axes(outer, tolerance_mm):
        return Handedness("holes", gap, label)
    near = gap <= max(NEAR_MM, NEAR_SHARE * float(np.ptp(points, axis=0).max()))
    return Handedness("nearly" if near else "different", gap, label)


def _nearest_label(features: Sequence[Feature], at: Point) -> str:
    return min(features, key=lambda f: float(np.hypot(*(flatten(f, COARSE_MM) - at).T).min())).label
