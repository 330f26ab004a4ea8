"""Dimensions that have found their place."""

from __future__ import annotations

from dataclasses import dataclass

from measure.dimensioning.scheme.values import PlannedDimension
from measure.geometry.features import Point
from measure.sheet.layout.caption import Caption
from measure.sheet.marks import Mark


@dataclass(frozen=True, slots=True)
class Drawn:
    """A dimension on the drawing.

    Attributes:
        wanted: what it states.
        caption: its words.
        marks: all that is drawn for it.
        points: what it measures between, by form. linear: both feet and a point of the dimension line. radius,
            diameter, pitch: the centre, the arrow's tip, the shelf's start. angle: start and end of the first and of
            the second leg, and a point of the arc.
        text_at: middle of the words.
        angle_rad: linear only, the direction of the dimension line.
    """

    wanted: PlannedDimension
    caption: Caption
    marks: tuple[Mark, ...]
    points: tuple[Point, ...]
    text_at: Point
    angle_rad: float = 0.0


ROW_FIRST_MM = 10.0
"""Distance of the first dimension line from the outline."""
ROW_STEP_MM = 8.0
"""Distance of dimension lines from each other."""
GAP_MM = 1.0
"""Gap between the outline and an extension line."""
OVERSHOOT_MM = 2.0
"""How far an extension line runs past its dimension line."""
INSIDE_MM = 8.5
"""From this length on a dimension line carries its arrowheads inside."""
STUB_MM = 5.5
"""How far a dimension line runs on where its arrowheads stand outside."""
