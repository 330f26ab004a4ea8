"""Strokes that a person has painted over the photo: here is part, here is none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Stroke = NDArray[np.float64]
"""(n, 2) points along it, pixels of the upright photo; a single one is a dot."""


@dataclass(frozen=True, slots=True)
class Strokes:
    """What a person is sure of.

    Attributes:
        part: strokes that lie on the part.
        away: strokes that lie on what is not the part: the table, a shadow, another thing, or the floor of a hole.
    """

    part: tuple[Stroke, ...] = ()
    away: tuple[Stroke, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.part or self.away)


NO_STROKES = Strokes()
