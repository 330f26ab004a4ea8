"""The mark that is sunk into the photographed face: an arrow, UP, and the number of the fit.

Letters have a left and a right: seen from behind, or on a mirrored print, they read the wrong way round. Where there
is no room for letters the arrow has a barb on its right side only, and dots tell the fits apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from measure.geometry.features import Point

LEAST_LETTER_MM = 2.6
"""Height of letters that a 0.4 mm nozzle still draws (common practice)."""
TALLEST_MM = 8.0
STROKE = 0.19
"""Width of a stroke as a share of the letters' height: half a millimetre at the least."""
FOUND_WITHIN_MM = 0.05
"""How exactly the widest place is found (chosen)."""
FILLED, BARB_FILLED, WIDEST_MM = 0.92, 0.8, 9.0
"""Share of that place that letters, and the arrow with one barb, take; and the widest one that the arrow makes use of
(chosen)."""
LEAST_RADIUS_MM = 2.0
"""Radius of the smallest place that any mark is legible in."""

# Strokes on a field one high; the widest is 0.6 wide.
GLYPHS: Mapping[str, tuple[tuple[Point, ...], ...]] = {
    "U": (((0.0, 1.0), (0.0, 0.22), (0.12, 0.05), (0.27, 0.0), (0.42, 0.05), (0.54, 0.22), (0.54, 1.0)),),
    "P": (((0.0, 0.0), (0.0, 1.0), (0.34, 1.0), (0.5, 0.9), (0.54, 0.74), (0.5, 0.58), (0.34, 0.48), (0.0, 0.48)),),
    "1": (((0.05, 0.78), (0.27, 1.0), (0.27, 0.0)), ((0.05, 0.0), (0.49, 0.0))),
    "2": (((0.02, 0.82), (0.14, 0.97), (0.32, 1.0), (0.48, 0.9), (0.5, 0.7), (0.02, 0.0), (0.52, 0.0)),),
    "3": (((0.02, 1.0), (0.5, 1.0), (0.24, 0.6), (0.44, 0.52), (0.52, 0.3), (0.42, 0.08), (0.22, 0.0), (0.0, 0.1)),),
    "4": (((0.38, 0.0), (0.38, 1.0), (0.0, 0.32), (0.54, 0.32)),),
    "↑": (((0.22, 0.0), (0.22, 1.0)), ((0.0, 0.72), (0.22, 1.0), (0.44, 0.72))),
}
GAP = 0.34

# The arrow with one barb, two high, about its middle: its stem, half a head, and dots on its right.
BARB_STEM = (-0.2, -1.0, 0.2, 0.9)
BARB_HEAD = ((-0.2, 1.0), (0.75, 0.05), (-0.2, 0.05))
BARB_DOT, BARB_DOT_STEP, BARB_DOT_RADIUS = (0.5, -0.2), 0.25, 0.09


@dataclass(frozen=True, slots=True)
class Engraving:
    """What is to be sunk into a face, and whether it has letters, or is the arrow with one barb."""

    shape: BaseGeometry
    lettered: bool


def engraving(shape: shapely.Polygon, number: int) -> Engraving | None:
    """The mark, in the widest place of a face.

    Args:
        shape: the face, mm, as seen from above.
        number: of the fit; 0 for none.

    Returns:
        the mark; None where there is no room.
    """
    circle = shapely.maximum_inscribed_circle(shape, tolerance=FOUND_WITHIN_MM)
    at, radius = np.array(circle.coords[0]), float(circle.length)
    if radius < LEAST_RADIUS_MM:
        return None
    words = f"↑UP{number or ''}"
    flat = _written(words)
    x0, y0, x1, y1 = flat.bounds
    tall = min(FILLED * radius / (np.hypot(x1 - x0, y1 - y0) / 2), TALLEST_MM)
    if tall < LEAST_LETTER_MM:
        flat, tall = _barb(number), min(radius, WIDEST_MM) * BARB_FILLED
        return Engraving(affinity.translate(affinity.scale(flat, tall, tall, origin=(0, 0)), *at), False)
    flat = affinity.translate(flat, -(x0 + x1) / 2, -(y0 + y1) / 2)
    return Engraving(affinity.translate(affinity.scale(flat, tall, tall, origin=(0, 0)), *at), True)


def _written(words: str) -> BaseGeometry:
    """Words on a line, one high."""
    out: list[BaseGeometry] = []
    x = 0.0
    for c in words:
        lines = shapely.MultiLineString([list(s) for s in GLYPHS[c]])
        out.append(affinity.translate(lines.buffer(STROKE / 2, quad_segs=4), x, 0))
        x += lines.bounds[2] + GAP
    return shapely.unary_union(out)


def _barb(dots: int) -> BaseGeometry:
    """An arrow with half a head, two high, about its middle; dots on its right."""
    x, y = BARB_DOT
    spots = [shapely.Point(x, y - BARB_DOT_STEP * k).buffer(BARB_DOT_RADIUS) for k in range(dots)]
    return shapely.unary_union([shapely.box(*BARB_STEM), shapely.Polygon(BARB_HEAD), *spots])
