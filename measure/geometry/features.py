"""Labelled features of an outline, and their parameters for the adjustment.

Frame: millimetres, x right, y up, as seen from the photographed face. The outer loop (0) runs counter-clockwise,
holes (1…) clockwise, so material lies on the left of travel and the right-hand normal points from material to empty.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Kind = Literal["line", "arc", "circle", "curve"]
Turn = Literal["ccw", "cw"]
Array = NDArray[np.float64]
Point = tuple[float, float]

PARAMETERS: dict[str, int] = {"line": 2, "arc": 3, "circle": 3, "curve": 0}
"""How many parameters a feature of each kind has in the adjustment.

line: offset (mm) of the line along its right-hand normal and turn (rad, counter-clockwise), both about the middle of
the segment as first traced; arc and circle: x and y of the centre, radius (mm); curve: none.
"""


@dataclass(frozen=True, slots=True)
class Feature:
    """One piece of a loop. Which of the optional fields are set follows from `kind`."""

    label: str
    kind: Kind
    loop: int
    start: Point | None = None
    end: Point | None = None
    centre: Point | None = None
    radius: float | None = None
    turn: Turn | None = None
    points: tuple[Point, ...] | None = None
    origin: Literal["seen", "completed"] = "seen"


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


def direction(f: Feature) -> Array:
    """(2,) unit vector along a line, from start to end."""
    assert f.start is not None
    assert f.end is not None
    x, y = f.end[0] - f.start[0], f.end[1] - f.start[1]
    size = math.hypot(x, y)
    return np.array([x / size, y / size])


def right_normal(f: Feature) -> Array:
    """(2,) unit normal of a line, from material to empty."""
    u = direction(f)
    return np.array([u[1], -u[0]])


def middle(f: Feature) -> Array:
    """(2,) middle of a line, mm."""
    assert f.start is not None
    assert f.end is not None
    return np.array([(f.start[0] + f.end[0]) / 2, (f.start[1] + f.end[1]) / 2])


def length(f: Feature) -> float:
    """Length of a line, arc, circle or curve, mm."""
    if f.kind == "line":
        assert f.start is not None
        assert f.end is not None
        return math.hypot(f.end[0] - f.start[0], f.end[1] - f.start[1])
    if f.kind == "curve":
        assert f.points is not None
        return float(np.hypot(*np.diff(np.array(f.points), axis=0).T).sum())
    assert f.radius is not None
    return abs(sweep_rad(f)) * f.radius


def sweep_rad(f: Feature) -> float:
    """Signed angle that an arc or circle covers, radians, counter-clockwise positive."""
    if f.kind == "circle":
        return 2 * math.pi * (1 if f.loop == 0 else -1)
    assert f.centre is not None
    assert f.start is not None
    assert f.end is not None
    a, b = np.subtract(f.start, f.centre), np.subtract(f.end, f.centre)
    d = (math.atan2(b[1], b[0]) - math.atan2(a[1], a[0])) % (2 * math.pi)
    return d - 2 * math.pi if f.turn == "cw" else d


def flatten(f: Feature, tolerance_mm: float = 0.002) -> Array:
    """(n, 2) points along a feature in the sense of travel, both ends included; a circle closes on itself."""
    if f.kind == "line":
        return np.array([f.start, f.end], float)
    if f.kind == "curve":
        return np.array(f.points, float)
    assert f.centre is not None
    assert f.radius is not None
    sweep = sweep_rad(f)
    step = 2 * math.acos(max(1 - tolerance_mm / max(f.radius, tolerance_mm), 0.5))
    n = max(24 if f.kind == "circle" else 3, math.ceil(abs(sweep) / step))
    first = 0.0
    if f.kind == "arc":
        assert f.start is not None
        first = math.atan2(f.start[1] - f.centre[1], f.start[0] - f.centre[0])
    a = first + np.linspace(0, sweep, n + 1)
    return np.array(f.centre) + f.radius * np.stack([np.cos(a), np.sin(a)], 1)


def moved(f: Feature, turn_rad: float, shift_mm: Point) -> Feature:
    """The feature turned about the origin, then shifted."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)

    def at(p: Point) -> Point:
        return (c * p[0] - s * p[1] + shift_mm[0], s * p[0] + c * p[1] + shift_mm[1])

    return replace(
        f,
        start=at(f.start) if f.start else None,
        end=at(f.end) if f.end else None,
        centre=at(f.centre) if f.centre else None,
        points=tuple(at(p) for p in f.points) if f.points else None,
    )
