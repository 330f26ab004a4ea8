"""What a drawing is made of, in millimetres on paper: x right, y up, from the lower left corner of the sheet.

Every mark has a layer and, but for text and fills, a pen. The writers of the file formats know these few forms only.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calib.arrays import Array
from measure.geometry.features import Point
from measure.geometry.motion import Motion

Layer = Literal["OUTLINE", "COMPLETED", "FRACTURE", "CENTRE", "THIN", "DIMENSIONS", "LABELS", "NOTES", "TITLE"]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Pen:
    """A line: its width and its dashes (mm; lengths of stroke and gap in turn, none for a full line).

    grey runs from 0, black, to 1, white. stretch makes dashes longer or shorter.
    """

    width_mm: float
    dashes_mm: tuple[float, ...] = ()
    grey: float = 0.0
    stretch: float = 1.0

    @property
    def pattern_mm(self) -> tuple[float, ...]:
        """The dashes as they are drawn."""
        return tuple(d * self.stretch for d in self.dashes_mm)

    def fitted(self, length_mm: float, closed: bool = False) -> Pen:
        """The pen with its dashes stretched a little, so that a line begins and ends with a long one."""
        if not self.dashes_mm:
            return self
        once, last = sum(self.dashes_mm), 0.0 if closed else self.dashes_mm[0]
        times = max(1, round((length_mm - last) / once))
        return replace(self, stretch=length_mm / (times * once + last))


# ISO 128: wide to narrow is 2 : 1; a long-dashed dotted line has dashes of 24, gaps of 3 and dots of half a line width.
WIDE = Pen(0.5)
NARROW = Pen(0.25)
FRAME = Pen(0.7)
LONG_DASH_DOT = Pen(0.25, (6.0, 0.75, 0.125, 0.75))
LONG_DASH_TWO_DOTS = Pen(0.25, (6.0, 0.75, 0.125, 0.75, 0.125, 0.75))
DASHED = Pen(0.25, (3.0, 0.75))
LIGHT = Pen(0.18, (), 0.45)
THIN = Pen(0.7, (0.9, 0.6))  # unlike any line that dimensions or centres are drawn with


@dataclass(frozen=True, slots=True)
class Path:
    """Straight lines and arcs end to end.

    Attributes:
        vertices: (x, y, bulge); the bulge is the tangent of a quarter of the angle that the piece after the vertex
            turns through, positive counter-clockwise, 0 for a straight line.
    """

    vertices: tuple[tuple[float, float, float], ...]
    layer: Layer
    pen: Pen
    closed: bool = False


@dataclass(frozen=True, slots=True)
class CircleMark:
    """A full circle."""

    centre: Point
    radius: float
    layer: Layer
    pen: Pen


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text on its base line. The height is that of capitals and figures."""

    at: Point
    content: str
    height_mm: float
    layer: Layer
    anchor: Anchor = "start"
    angle_rad: float = 0.0
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class Fill:
    """A filled polygon: an arrowhead, a piece of the scale bar."""

    points: tuple[Point, ...]
    layer: Layer


Mark = Path | CircleMark | Text | Fill

ARROW_MM = 3.0
ARROW_HALF_WIDTH_MM = 0.45
"""An arrowhead of 17° whose length is 3.3 times its width."""


def line(p: Point, q: Point, layer: Layer, pen: Pen = NARROW) -> Path:
    """A straight line."""
    return Path(((p[0], p[1], 0.0), (q[0], q[1], 0.0)), layer, pen)


def polyline(points: Array, layer: Layer, pen: Pen = NARROW, closed: bool = False) -> Path:
    """Straight lines through points (n, 2)."""
    return Path(tuple((float(x), float(y), 0.0) for x, y in points), layer, pen, closed)


def arc(centre: Point, radius: float, start_rad: float, sweep_rad: float, layer: Layer, pen: Pen = NARROW) -> Path:
    """An arc from an angle on through a signed sweep of less than a full turn."""
    end = start_rad + sweep_rad
    p = (centre[0] + radius * math.cos(start_rad), centre[1] + radius * math.sin(start_rad))
    q = (centre[0] + radius * math.cos(end), centre[1] + radius * math.sin(end))
    return Path(((*p, math.tan(sweep_rad / 4)), (*q, 0.0)), layer, pen)


def arrow(tip: Point, towards_rad: float, layer: Layer = "DIMENSIONS") -> Fill:
    """An arrowhead whose point lies at tip and points in a direction."""
    u = np.array([math.cos(towards_rad), math.sin(towards_rad)])
    back = np.array(tip) - ARROW_MM * u
    side = ARROW_HALF_WIDTH_MM * np.array([-u[1], u[0]])
    return Fill((tip, _point(back + side), _point(back - side)), layer)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])


def placed(mark: Mark, motion: Motion) -> Mark:
    """The mark turned and shifted; letters can't be mirrored.

    Raises:
        ValueError: the motion mirrors.
    """
    if motion.mirrored:
        raise ValueError("marks are turned and shifted, not mirrored")
    at = motion.point
    if isinstance(mark, Path):
        return replace(mark, vertices=tuple((*at((x, y)), b) for x, y, b in mark.vertices))
    if isinstance(mark, CircleMark):
        return replace(mark, centre=at(mark.centre))
    if isinstance(mark, Text):
        return replace(mark, at=at(mark.at), angle_rad=mark.angle_rad + motion.turn_rad)
    return replace(mark, points=tuple(at(p) for p in mark.points))


def magnified(mark: Mark, factor: float) -> Mark:
    """The mark larger by a factor, about the origin, letters and dashes too; lines stay as wide as they are."""

    def at(p: Point) -> Point:
        return p[0] * factor, p[1] * factor

    if isinstance(mark, Path):
        vertices = tuple((x * factor, y * factor, b) for x, y, b in mark.vertices)
        return replace(mark, vertices=vertices, pen=replace(mark.pen, stretch=mark.pen.stretch * factor))
    if isinstance(mark, CircleMark):
        pen = replace(mark.pen, stretch=mark.pen.stretch * factor)
        return replace(mark, centre=at(mark.centre), radius=mark.radius * factor, pen=pen)
    if isinstance(mark, Text):
        return replace(mark, at=at(mark.at), height_mm=mark.height_mm * factor)
    return replace(mark, points=tuple(at(p) for p in mark.points))


def polylines(mark: Path | CircleMark, tolerance_mm: float = 0.02) -> Array:
    """(n, 2) points along a path or circle, close enough together to stand for it."""
    if isinstance(mark, CircleMark):
        n = max(24, math.ceil(math.pi / math.acos(max(1 - tolerance_mm / max(mark.radius, tolerance_mm), 0.5))))
        a = np.linspace(0, 2 * math.pi, n + 1)
        out: Array = np.array(mark.centre) + mark.radius * np.stack([np.cos(a), np.sin(a)], 1)
        return out
    v = [*mark.vertices, *(mark.vertices[:1] if mark.closed else ())]
    points = [np.array([v[0][:2]])]
    for (x, y, b), (x2, y2, _) in itertools.pairwise(v):
        if b == 0:
            points.append(np.array([[x2, y2]]))
            continue
        centre, radius, start, sweep = bulge_arc((x, y), (x2, y2), b)
        step = 2 * math.acos(max(1 - tolerance_mm / max(radius, tolerance_mm), 0.5))
        n = max(2, math.ceil(abs(sweep) / step))
        a = start + sweep * np.arange(1, n + 1) / n
        points.append(np.array(centre) + radius * np.stack([np.cos(a), np.sin(a)], 1))
    return np.concatenate(points)


def bulge_arc(p: Point, q: Point, bulge: float) -> tuple[Point, float, float, float]:
    """Centre, radius, start angle and signed sweep (rad) of the arc that a bulge stands for."""
    sweep = 4 * math.atan(bulge)
    dx, dy = q[0] - p[0], q[1] - p[1]
    h = (1 - bulge * bulge) / (4 * bulge)  # of the centre over the chord, as a share of its length
    centre = ((p[0] + q[0]) / 2 - h * dy, (p[1] + q[1]) / 2 + h * dx)
    return centre, math.dist(p, centre), math.atan2(p[1] - centre[1], p[0] - centre[0]), sweep
