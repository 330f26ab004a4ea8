"""Labelled features of an outline, and their parameters for the adjustment.

Frame: millimetres, x right, y up, as seen from the photographed face. The outer loop (0) runs counter-clockwise,
holes (1…) clockwise, so material lies on the left of travel and the right-hand normal points from material to empty.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar, Literal, TypeVar

import numpy as np

from calib.arrays import Array

if TYPE_CHECKING:
    from typing_extensions import TypeIs

Kind = Literal["line", "arc", "circle", "curve"]
Turn = Literal["ccw", "cw"]
Origin = Literal["seen", "completed"]
Point = tuple[float, float]

PARAMETERS: dict[str, int] = {"line": 2, "arc": 3, "circle": 3, "curve": 0}
"""How many parameters a feature of each kind has in the adjustment.

line: offset (mm) of the line along its right-hand normal and turn (rad, counter-clockwise), both about the middle of
the segment as first traced; arc and circle: x and y of the centre, radius (mm); curve: none.
"""


FINEST_MM, FINE_MM, PLAIN_MM, COARSE_MM = 0.001, 0.002, 0.01, 0.05
"""How far chords may lie from the arc that they stand for: where points along a feature are seen in a photo, what is
measured at, what is compared with something as fine, and what only has to be found. A tenth and less of what is
told there: 0.01 mm is what edges have wrong together (`EDGE_SD_MM`), 0.1 mm what a printer keeps (`GOAL_MM`)."""
CIRCLE_CHORDS, ARC_CHORDS = 24, 3
"""Fewest chords of a circle and of an arc, however coarse: so that they look like ones (chosen)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight edge, from start to end in the sense of travel, mm."""

    label: str
    loop: int
    start: Point
    end: Point
    origin: Origin = "seen"
    kind: ClassVar[Literal["line"]] = "line"


@dataclass(frozen=True, slots=True)
class Arc:
    """A part of a circle, from start to end in the sense of travel, mm, turning left (ccw) or right (cw)."""

    label: str
    loop: int
    start: Point
    end: Point
    centre: Point
    radius: float
    turn: Turn
    origin: Origin = "seen"
    kind: ClassVar[Literal["arc"]] = "arc"


@dataclass(frozen=True, slots=True)
class Circle:
    """A loop of its own: a hole, or a round part's outer boundary, mm."""

    label: str
    loop: int
    centre: Point
    radius: float
    origin: Origin = "seen"
    kind: ClassVar[Literal["circle"]] = "circle"


@dataclass(frozen=True, slots=True)
class Curve:
    """A free line such as a fracture: points in the sense of travel, both ends included, mm."""

    label: str
    loop: int
    points: tuple[Point, ...]
    origin: Origin = "seen"
    kind: ClassVar[Literal["curve"]] = "curve"

    @property
    def start(self) -> Point:
        """Its first point."""
        return self.points[0]

    @property
    def end(self) -> Point:
        """Its last point."""
        return self.points[-1]


Feature = Line | Arc | Circle | Curve
"""One piece of a loop."""
Round = Arc | Circle
"""What has a centre and a radius."""
Fitted = Line | Arc | Circle
"""What has parameters in the adjustment."""
Open = Line | Arc | Curve
"""What has two ends."""
OF_KIND: dict[Kind, Callable[..., Feature]] = {"line": Line, "arc": Arc, "circle": Circle, "curve": Curve}
F = TypeVar("F", bound=Feature)
E = TypeVar("E", bound=Line | Arc)


def as_line(f: Feature) -> Line:
    """A feature that is known to be a line.

    Raises:
        TypeError: it is something else.
    """
    if f.kind != "line":
        raise TypeError(f"{f.label} is no line")
    return f


def as_round(f: Feature) -> Round:
    """A feature that is known to be an arc or a circle.

    Raises:
        TypeError: it is something else.
    """
    if f.kind == "line" or f.kind == "curve":
        raise TypeError(f"{f.label} is neither arc nor circle")
    return f


def as_fitted(f: Feature) -> Fitted:
    """A feature that is known to be no curve.

    Raises:
        TypeError: it is one.
    """
    if f.kind == "curve":
        raise TypeError(f"{f.label} is a free curve")
    return f


def is_round(f: Feature) -> TypeIs[Round]:
    """Is it an arc or a circle?"""
    return f.kind in ("arc", "circle")


@dataclass(frozen=True, slots=True)
class Estimate:
    """Features with the covariance of their parameters.

    The parameters of all features are stacked in order (see PARAMETERS; a curve adds none). Their errors are
    ``white + sensitivity @ shared @ sensitivity.T``: independent edge noise, and terms that all features share (view,
    thickness, doubt about which edge was seen).

    Attributes:
        features: in order of loop and travel.
        white: (m, m) covariance of the stacked parameters from edge noise alone, mm² (rad for a line's turn).
        shared_names: s names of the shared terms, such as ``"thickness"``.
        sensitivity: (m, s) change of each parameter with each shared term.
        shared: (s, s) covariance of the shared terms.
    """

    features: tuple[Feature, ...]
    white: Array
    shared_names: tuple[str, ...]
    sensitivity: Array
    shared: Array

    def covariance(self) -> Array:
        """(m, m) full covariance of the stacked parameters."""
        return self.white + self.sensitivity @ self.shared @ self.sensitivity.T

    def slices(self) -> dict[str, slice]:
        """Where each feature's parameters stand in the stack, by label."""
        out, at = {}, 0
        for f in self.features:
            n = PARAMETERS[f.kind]
            out[f.label] = slice(at, at + n)
            at += n
        return out


def by_loop(features: Iterable[Feature]) -> dict[int, list[Feature]]:
    """Features of each loop, in order."""
    out: dict[int, list[Feature]] = {}
    for f in features:
        out.setdefault(f.loop, []).append(f)
    return out


def direction(f: Line) -> Array:
    """(2,) unit vector along a line, from start to end."""
    x, y = f.end[0] - f.start[0], f.end[1] - f.start[1]
    size = math.hypot(x, y)
    return np.array([x / size, y / size])


def right_normal(f: Line) -> Array:
    """(2,) unit normal of a line, from material to empty."""
    u = direction(f)
    return np.array([u[1], -u[0]])


def middle(f: Line) -> Array:
    """(2,) middle of a line, mm."""
    return np.array([(f.start[0] + f.end[0]) / 2, (f.start[1] + f.end[1]) / 2])


def length(f: Feature) -> float:
    """Length of a feature, mm."""
    if isinstance(f, Line):
        return math.hypot(f.end[0] - f.start[0], f.end[1] - f.start[1])
    if isinstance(f, Curve):
        return float(np.hypot(*np.diff(np.array(f.points), axis=0).T).sum())
    return abs(sweep_rad(f)) * f.radius


def sweep_rad(f: Round) -> float:
    """Signed angle that an arc or circle covers, radians, counter-clockwise positive."""
    if isinstance(f, Circle):
        return 2 * math.pi * (1 if f.loop == 0 else -1)
    a, b = np.subtract(f.start, f.centre), np.subtract(f.end, f.centre)
    d = (math.atan2(b[1], b[0]) - math.atan2(a[1], a[0])) % (2 * math.pi)
    return d - 2 * math.pi if f.turn == "cw" else d


def flatten(f: Feature, tolerance_mm: float = FINE_MM) -> Array:
    """(n, 2) points along a feature in the sense of travel, both ends included; a circle closes on itself."""
    if isinstance(f, Line):
        return np.array([f.start, f.end], float)
    if isinstance(f, Curve):
        return np.array(f.points, float)
    sweep = sweep_rad(f)
    step = 2 * math.acos(max(1 - tolerance_mm / max(f.radius, tolerance_mm), 0.5))
    n = max(CIRCLE_CHORDS if isinstance(f, Circle) else ARC_CHORDS, math.ceil(abs(sweep) / step))
    first = 0.0 if isinstance(f, Circle) else math.atan2(f.start[1] - f.centre[1], f.start[0] - f.centre[0])
    a = first + np.linspace(0, sweep, n + 1)
    return np.array(f.centre) + f.radius * np.stack([np.cos(a), np.sin(a)], 1)


def mapped(f: F, at: Callable[[Point], Point]) -> F:
    """The feature with each of its points where a motion of the plane takes it; sizes and senses of turning stay."""
    if isinstance(f, Line):
        return replace(f, start=at(f.start), end=at(f.end))
    if isinstance(f, Arc):
        return replace(f, start=at(f.start), end=at(f.end), centre=at(f.centre))
    if isinstance(f, Circle):
        return replace(f, centre=at(f.centre))
    return replace(f, points=tuple(at(p) for p in f.points))


def backwards(f: F) -> F:
    """The feature with its ends exchanged and its points in the other order; the name of an arc's turn stays.

    That is the mirror image of what has been mirrored, in the loop's own sense of travel: a mirror exchanges left and
    right, and so does going the other way.
    """
    if isinstance(f, Line | Arc):
        return replace(f, start=f.end, end=f.start)
    return f if isinstance(f, Circle) else replace(f, points=f.points[::-1])


def between(f: E, start: Point | None = None, end: Point | None = None) -> E:
    """The line or arc with other ends, where they are given."""
    return replace(f, start=start or f.start, end=end or f.end)


def same_kind(a: Feature, b: Feature) -> bool:
    """Whether two features are of a kind, and arcs turn the same way."""
    return a.kind == b.kind and (a.kind != "arc" or b.kind != "arc" or a.turn == b.turn)
