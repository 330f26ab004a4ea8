"""Sizes that a drawing states, as functions of the features' parameters, with their uncertainty.

A size is named by its kind and the labels of the features between which it runs. The first five kinds are those of the
result file; the rest are what a complete dimensioning needs besides (angles, theoretical corners, pitch circles).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from calib.arrays import Array
from calib.tools.budget import K95
from measure.geometry.features import PARAMETERS, Estimate, Feature, as_round

STEP = 1e-5
"""Step of the central differences, mm or rad: sizes are smooth over micrometres, and doubles leave ten digits."""


class Shape(NamedTuple):
    """What is measured of a feature: a line's middle and direction (rad), or a round's centre and radius (mm)."""

    is_round: bool
    x: float
    y: float
    s: float

    def varied(self, k: int, by: float) -> Shape:
        """The shape with its k-th parameter changed (see measure.geometry.features.PARAMETERS)."""
        if self.is_round:
            return Shape(True, self.x + by * (k == 0), self.y + by * (k == 1), self.s + by * (k == 2))
        if k == 0:
            return Shape(False, self.x + by * math.sin(self.s), self.y - by * math.cos(self.s), self.s)
        return Shape(False, self.x, self.y, self.s + by)

    @property
    def parameters(self) -> int:
        """How many parameters the shape has."""
        return 3 if self.is_round else 2


@dataclass(frozen=True, slots=True)
class Stated:
    """A size as the drawing states it.

    Attributes:
        kind: see SIZES, and OVERALL.
        labels: the features that it runs between.
        value: mm, or degrees for angles.
        u95: half-width of the interval that holds the truth 19 times in 20, same unit; None where nothing is known.
    """

    kind: str
    labels: tuple[str, ...]
    value: float
    u95: float | None

    @property
    def is_angle(self) -> bool:
        """Whether the value is in degrees."""
        return self.kind in ANGLES


HARDLY = 0.25
"""A radius whose u95 is a larger share of it tells nobody what to draw: so it is with shallow arcs (chosen)."""


def hardly_known(size: Stated) -> bool:
    """Whether a radius, or another size, is so unsure that a drawing had better not state it."""
    return size.u95 is not None and size.u95 > HARDLY * abs(size.value)


LOST_MM = 1.0
"""Nobody sets out a length that is known to no better, where that is a large share of it as well (chosen)."""


def as_good_as_unknown(size: Stated) -> bool:
    """Whether a length says nothing that could be drawn by: so it is with the corner of edges that hardly differ in
    direction, and beside a short edge that somebody drew."""
    return not size.is_angle and hardly_known(size) and (size.u95 or 0.0) > LOST_MM


class Gauge(Protocol):
    """Whatever can say how large a size is and how sure that is."""

    def __call__(self, kind: str, labels: Sequence[str]) -> Stated:
        """The size of this kind between these features."""
        ...


def shape_of(f: Feature) -> Shape:
    """The shape of a line, arc or circle."""
    if f.kind == "line":
        dx, dy = f.end[0] - f.start[0], f.end[1] - f.start[1]
        return Shape(False, (f.start[0] + f.end[0]) / 2, (f.start[1] + f.end[1]) / 2, math.atan2(dy, dx))
    f = as_round(f)
    return Shape(True, f.centre[0], f.centre[1], f.radius)


def square_to(line: Shape, x: float, y: float) -> float:
    """Signed distance of a point from a line, positive on its left."""
    return (y - line.y) * math.cos(line.s) - (x - line.x) * math.sin(line.s)


def crossing(a: Shape, b: Shape) -> tuple[float, float]:
    """Where two lines meet: the theoretical corner."""
    sine = math.sin(b.s - a.s)
    if abs(sine) < 1e-9:
        return math.inf, math.inf
    t = ((b.x - a.x) * math.sin(b.s) - (b.y - a.y) * math.cos(b.s)) / sine
    return a.x + t * math.cos(a.s), a.y + t * math.sin(a.s)


def line_through(a: Shape, b: Shape) -> Shape:
    """The line from one centre to another."""
    return Shape(False, (a.x + b.x) / 2, (a.y + b.y) / 2, math.atan2(b.y - a.y, b.x - a.x))


def acute_deg(turn_rad: float) -> float:
    """The angle between two undirected lines, 0 to 90 degrees."""
    a = abs(math.degrees(turn_rad)) % 180
    return min(a, 180 - a)


def _sorted_offset(a: Shape, b: Shape) -> float:
    line, centre = (b, a) if a.is_round else (a, b)
    return abs(square_to(line, centre.x, centre.y))


def _apart(a: Shape, b: Shape) -> float:
    return math.hypot(a.x - b.x, a.y - b.y)


def _along(a: Shape, b: Shape, line: Shape) -> float:
    return abs((b.x - a.x) * math.cos(line.s) + (b.y - a.y) * math.sin(line.s))


def _corner(a: Shape, b: Shape, datum: Shape) -> float:
    return abs(square_to(datum, *crossing(a, b)))


def _corners(a: Shape, b: Shape, c: Shape, d: Shape) -> float:
    (x1, y1), (x2, y2) = crossing(a, b), crossing(c, d)
    return math.hypot(x2 - x1, y2 - y1)


def _bearing(line: Shape, a: Shape, b: Shape) -> float:
    return acute_deg(line.s - math.atan2(b.y - a.y, b.x - a.x))


def _fan(centre: Shape, a: Shape, b: Shape) -> float:
    turn = math.atan2(b.y - centre.y, b.x - centre.x) - math.atan2(a.y - centre.y, a.x - centre.x)
    turn = abs(math.degrees(turn)) % 360
    return min(turn, 360 - turn)


def _run(a: Shape, b: Shape, p: Shape, q: Shape) -> float:
    d = math.hypot(b.x - a.x, b.y - a.y)
    return abs((q.x - p.x) * (b.x - a.x) + (q.y - p.y) * (b.y - a.y)) / d


def _rise(a: Shape, b: Shape, p: Shape, q: Shape) -> float:
    d = math.hypot(b.x - a.x, b.y - a.y)
    return abs((q.y - p.y) * (b.x - a.x) - (q.x - p.x) * (b.y - a.y)) / d


def _pitch(*rounds: Shape) -> float:
    n = len(rounds)
    x, y = sum(r.x for r in rounds) / n, sum(r.y for r in rounds) / n
    return 2 * sum(math.hypot(r.x - x, r.y - y) for r in rounds) / n


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def _mean_reach(points: Sequence[tuple[float, float]]) -> float:
    x, y = _middle(points)
    return sum(math.hypot(p - x, q - y) for p, q in points) / len(points)


def _tips(*rounds: Shape) -> float:
    return 2 * (_mean_reach([(r.x, r.y) for r in rounds]) + sum(r.s for r in rounds) / len(rounds))


def _peaks(*lines: Shape) -> float:
    return 2 * _mean_reach([crossing(a, b) for a, b in zip(lines[::2], lines[1::2], strict=True)])


def _roots(*shapes: Shape) -> float:
    middle = _middle([(s.x, s.y) for s in shapes])
    if not shapes[0].is_round:
        return 2 * sum(abs(square_to(s, *middle)) for s in shapes) / len(shapes)
    return 2 * (_mean_reach([(s.x, s.y) for s in shapes]) - sum(s.s for s in shapes) / len(shapes))


def _stretch(a: Shape, b: Shape, *line: Shape) -> float:
    return (_along(a, b, line[0]) if line else _apart(a, b)) + a.s + b.s


SIZES: Mapping[str, Callable[..., float]] = {
    "distance": lambda a, b: abs(square_to(a, b.x, b.y)),
    "diameter": lambda *r: 2 * sum(s.s for s in r) / len(r),
    "radius": lambda *r: sum(s.s for s in r) / len(r),
    "centres": _apart,
    "offset": _sorted_offset,
    "angle": lambda a, b: acute_deg(a.s - b.s),
    "along": _along,
    "across": lambda a, b, line: abs(square_to(line, b.x, b.y) - square_to(line, a.x, a.y)),
    "run": _run,
    "rise": _rise,
    "bearing": _bearing,
    "fan": _fan,
    "corner": _corner,
    "corners": _corners,
    "pitch": _pitch,
    "tips": _tips,
    "peaks": _peaks,
    "roots": _roots,
    "reach": lambda a, b: _sorted_offset(a, b) + (a.s if a.is_round else b.s),
    "stretch": _stretch,
}
"""Every kind of size.

distance: second line's middle from the first line. diameter, radius: of one round, or the mean of several equal ones.
centres: between two centres. offset: a centre from a line. angle: between two lines, acute. along, across: between two
centres, parallel and square to a line. run, rise: from the third centre to the fourth, parallel and square to the line
from the first to the second. bearing: a line against the line from one centre to another, acute. fan: seen from the
first centre, between the second and the third. tips: diameter of the circle that evenly spaced rounds touch from
within. peaks: of the one through the crossings of lines, two and two. roots: of the one that evenly spaced rounds touch
from without, or lines. corner: the crossing of two lines from a third line. corners: between
two such crossings. pitch: diameter of the circle through several centres. reach: from a line to the far side of a
round. stretch: over two rounds, outside to outside, parallel to a line where one is named.
"""

OVERALL = "overall"
"""Kind of a size that is no function of parameters: from the outermost points on one side to those on the other."""

ANGLES = frozenset({"angle", "bearing", "fan"})


def slopes(f: Callable[..., float], shapes: Sequence[Shape]) -> list[Array]:
    """Derivatives of a scalar function of shapes after each shape's parameters, by central differences."""
    out = []
    for i, shape in enumerate(shapes):
        row = np.empty(shape.parameters)
        for k in range(shape.parameters):
            up, down = [[*shapes[:i], shape.varied(k, h), *shapes[i + 1 :]] for h in (STEP, -STEP)]
            row[k] = (f(*up) - f(*down)) / (2 * STEP)
        out.append(row)
    return out


class EstimateGauge:
    """Sizes from features with a covariance: first-order propagation (GUM 5.2.2)."""

    def __init__(self, estimate: Estimate) -> None:
        self._shapes = shapes_of(estimate.features)
        self._slices = estimate.slices()
        self._covariance = estimate.covariance()

    def __call__(self, kind: str, labels: Sequence[str]) -> Stated:
        """The size of this kind between these features; a label may occur twice."""
        shapes = [self._shapes[label] for label in labels]
        rows = slopes(SIZES[kind], shapes)
        at = np.concatenate([np.arange(self._slices[x].start, self._slices[x].stop) for x in labels])
        j = np.concatenate(rows)
        variance = float(j @ self._covariance[np.ix_(at, at)] @ j)
        return Stated(kind, tuple(labels), SIZES[kind](*shapes), K95 * math.sqrt(max(variance, 0.0)))


class ListGauge:
    """Sizes from bare features, with u95 only where a list of stated dimensions has it."""

    def __init__(self, features: Iterable[Feature], stated: Iterable[Stated] = ()) -> None:
        self._shapes = shapes_of(features)
        self._stated = {(s.kind, tuple(sorted(s.labels))): s for s in stated}

    def __call__(self, kind: str, labels: Sequence[str]) -> Stated:
        """The size of this kind between these features."""
        known = [self._stated.get((kind, tuple(sorted(part)))) for part in _parts(kind, labels)]
        value = SIZES[kind](*(self._shapes[label] for label in labels))
        sure = [s.u95 for s in known if s is not None and s.u95 is not None]
        if len(known) == 1 and known[0] is not None:
            value = known[0].value
        return Stated(kind, tuple(labels), value, max(sure) if len(sure) == len(known) else None)


def _parts(kind: str, labels: Sequence[str]) -> list[Sequence[str]]:
    """A mean of several equal rounds is as sure as the least sure of them; any other size stands alone."""
    return [[x] for x in labels] if kind in ("diameter", "radius") else [labels]


def shapes_of(features: Iterable[Feature]) -> dict[str, Shape]:
    """Shapes by label; curves have none."""
    return {f.label: shape_of(f) for f in features if PARAMETERS[f.kind]}
