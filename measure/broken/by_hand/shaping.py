"""Steps become lines and arcs, from where a break begins to where it ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.errors import WrongUsage
from calib.words import Words
from measure.broken.breaks import Break, outer
from measure.broken.by_hand.words import As, Bend, Goal, On, Step, To
from measure.geometry.features import (
    Arc,
    Feature,
    Line,
    Point,
    Turn,
    backwards,
    flatten,
    length,
    mapped,
)
from measure.geometry.polylines import arc_lengths, at_lengths
from measure.geometry.rejoin import crossings, heading

REACHED_MM = 0.02
"""What ends so near to where it should has reached it: a tenth of what an outline may be open by."""
OF_CURVE_MM = 1.0
"""A free line's direction is that of its last stretch of so much (chosen)."""
FLAT_RAD = math.radians(0.5)
"""An arc that would turn by less is a straight line (chosen)."""


@dataclass(frozen=True, slots=True)
class Shaped:
    """A feature that was drawn; `on` is the label of the straight edge that it goes on from, `radius_told` whether its
    radius was typed. `label` of a feature is the number of its place in the drawing."""

    feature: Line | Arc
    on: str = ""
    radius_told: bool = False


@dataclass(slots=True)
class _Tip:
    """Where the drawing has come to, which way it goes, and the seen edge that it still lies on."""

    at: Array
    way: Array
    edge: str


def shaped(features: Sequence[Feature], which: Break, steps: Sequence[Step], *, closed: bool = True) -> list[Shaped]:
    """What the steps draw.

    Args:
        features: as seen.
        which: the break that they fill.
        steps: see there.
        closed: whether what does not reach the end of the break goes there straight.

    Raises:
        WrongUsage: a step can't be drawn.
    """
    loop = outer(features)
    before, after = loop[which.before()], loop[which.after()]
    way = _way_out(before)
    begin, end = (np.array(p) for p in ends_of(loop, which))
    pen = _Tip(begin, way, before.label if before.kind == "line" else "")
    of = {f.label: f for f in features}
    out: list[Shaped] = []
    for step in steps:
        if isinstance(step, As):
            out += _as(loop, step, pen, end)
        else:
            out.append(_drawn(step, pen, end, of))
        last = out[-1].feature
        pen.at, pen.way, pen.edge = np.array(last.end), heading(last, True), out[-1].on
    if closed and math.dist(pen.at, end) > REACHED_MM:
        out.append(Shaped(_line(pen.at, end)))
    elif out and math.dist(pen.at, end) <= REACHED_MM:
        out[-1] = replace(out[-1], feature=replace(out[-1].feature, end=_pair(end)))
    if closed and out and not out[-1].on and _on_one_line(out[-1].feature, after):
        out[-1] = replace(out[-1], on=after.label)
    return out


def ends_of(loop: Sequence[Feature], which: Break) -> tuple[Point, Point]:
    """Where a break begins and where it ends.

    Raises:
        WrongUsage: the loop is a full circle.
    """
    before, after = loop[which.before()], loop[which.after()]
    if before.kind == "circle" or after.kind == "circle":
        raise WrongUsage(Words("A full circle has no break to draw in."), "draw")
    return before.end, after.start


def _on_one_line(a: Feature, b: Feature) -> bool:
    """Whether one straight edge goes on as another."""
    if a.kind != "line" or b.kind != "line":
        return False
    u = np.subtract(b.end, b.start) / length(b)
    arms = [np.subtract(p, b.start) for p in (a.start, a.end)]
    beside = all(abs(u[0] * x[1] - u[1] * x[0]) < REACHED_MM for x in arms)
    return beside and bool(np.subtract(a.end, a.start) @ u > 0)


def _way_out(f: Feature) -> Array:
    """(2,) which way the boundary goes where a feature ends."""
    if isinstance(f, Line | Arc):
        return heading(f, True)
    points = flatten(f)
    along = arc_lengths(points)
    back = at_lengths(points, along, np.array([max(along[-1] - OF_CURVE_MM, 0.0)]))[0]
    return np.asarray((points[-1] - back) / max(math.dist(points[-1], back), REACHED_MM))


def _drawn(step: On | To | Bend, pen: _Tip, end: Array, of: dict[str, Feature]) -> Shaped:
    if isinstance(step, On):
        return Shaped(_line(pen.at, _on(step, pen, end, of)), on=pen.edge)
    if isinstance(step, To):
        return Shaped(_line(pen.at, _place(step.to, pen.at, end, of)))
    goal = _place(step.to, pen.at, end, of)
    if math.dist(pen.at, goal) <= REACHED_MM:
        raise WrongUsage(Words("An arc leads to where it begins: give it another end."), "draw")
    return Shaped(_bent(step, pen, goal), radius_told=step.radius_mm is not None)


def _on(step: On, pen: _Tip, end: Array, of: dict[str, Feature]) -> Array:
    """Where going straight on ends."""
    if step.to is None:
        return np.asarray(pen.at + step.by_mm * pen.way)
    if step.to.label:
        goal = _known(step.to.label, of)
        ray = _line(pen.at, pen.at + pen.way)
        if goal.kind == "curve":
            raise WrongUsage(
                Words("{label} is a free line, which nothing is drawn to: give a point.", label=goal.label), "draw"
            )
        ahead = [p for p in crossings(ray, goal) if (p - pen.at) @ pen.way > REACHED_MM]
        if not ahead:
            raise WrongUsage(
                Words("Straight on never meets {label}: draw a corner before it, or give a point.", label=goal.label),
                "draw",
            )
        return np.asarray(min(ahead, key=lambda p: (p - pen.at) @ pen.way))
    reach = float((_place(step.to, pen.at, end, of) - pen.at) @ pen.way)
    if reach <= REACHED_MM:
        raise WrongUsage(Words("Straight on leads away from there: draw a corner first."), "draw")
    return np.asarray(pen.at + reach * pen.way)


def _known(label: str, of: dict[str, Feature]) -> Feature:
    if label not in of:
        raise WrongUsage(Words("The outline has no {label} to draw to.", label=label), "draw")
    return of[label]


def _place(place: Goal, at: Array, end: Array, of: dict[str, Feature]) -> Array:
    if place.point is not None:
        return np.array(place.point)
    if not place.label:
        return end
    goal = _known(place.label, of)
    if goal.kind == "curve":
        raise WrongUsage(
            Words("{label} is a free line, which nothing is drawn to: give a point.", label=goal.label), "draw"
        )
    if goal.kind == "line":
        u = np.subtract(goal.end, goal.start) / length(goal)
        return np.asarray(np.array(goal.start) + u * ((at - goal.start) @ u))
    away = at - goal.centre
    return np.asarray(goal.centre + away * goal.radius / max(float(np.hypot(*away)), REACHED_MM))


def _bent(step: Bend, pen: _Tip, goal: Array) -> Line | Arc:
    """An arc from where the pen is to a goal; a line where it would hardly turn."""
    chord = goal - pen.at
    half, across = float(np.hypot(*chord)) / 2, np.array([-chord[1], chord[0]]) / np.hypot(*chord)
    middle = (pen.at + goal) / 2
    off = math.atan2(pen.way[0] * chord[1] - pen.way[1] * chord[0], pen.way @ chord)  # from the way to the chord
    turn: Turn = "ccw" if off > 0 else "cw"
    if step.through is not None:
        return _through(pen.at, np.array(step.through), goal)
    if step.radius_mm is None:
        if abs(math.sin(off)) < math.sin(FLAT_RAD / 2):
            return _line(pen.at, goal)
        radius = half / abs(math.sin(off))
        deep = abs(off) > math.pi / 2
    else:
        radius, turn, deep = step.radius_mm, step.turn or turn, False
        if radius < half - REACHED_MM:
            raise WrongUsage(
                Words(
                    "An arc of radius {radius:g} mm does not reach: the places are {half:.2f} mm apart, so "
                    "it takes {half2:.2f} mm or more.",
                    radius=radius,
                    half=2 * half,
                    half2=half,
                ),
                "draw",
            )
        radius = max(radius, half)
    side = (1 if turn == "ccw" else -1) * (-1 if deep else 1)
    centre = middle + side * across * math.sqrt(max(radius**2 - half**2, 0.0))
    return Arc("", 0, _pair(pen.at), _pair(goal), _pair(centre), radius, turn, "completed")


def _through(a: Array, b: Array, c: Array) -> Line | Arc:
    """The arc through three points, or the line where they lie on one."""
    u, w = b - a, c - a
    cross = float(u[0] * w[1] - u[1] * w[0])
    if abs(cross) < math.sin(FLAT_RAD) * float(np.hypot(*u) * np.hypot(*w)):
        return _line(a, c)
    uu, ww = float(u @ u), float(w @ w)
    centre = a + np.array([w[1] * uu - u[1] * ww, u[0] * ww - w[0] * uu]) / (2 * cross)
    turn: Turn = "ccw" if cross > 0 else "cw"
    return Arc("", 0, _pair(a), _pair(c), _pair(centre), math.dist(centre, a), turn, "completed")


def _as(loop: Sequence[Feature], step: As, pen: _Tip, end: Array) -> list[Shaped]:
    """The mirror image of a stretch of the boundary, between where the pen is and the end of the break.

    Both ends of the image lie on the line between those places, at like distances from them: an image that is too long
    or too short shows at both.
    """
    at = {f.label: i for i, f in enumerate(loop)}
    for label in (step.first, step.last):
        if label not in at:
            raise WrongUsage(Words("There is no {label} on the outer boundary to draw it like.", label=label), "draw")
    count = (at[step.last] - at[step.first]) % len(loop) + 1
    stretch = [loop[(at[step.first] + i) % len(loop)] for i in range(count)]
    lines = [f for f in stretch if isinstance(f, Line | Arc)]
    if len(lines) < len(stretch):
        raise WrongUsage(Words("Only straight edges and arcs are drawn like others."), "draw")
    p, q = complex(*lines[-1].end), complex(*lines[0].start)  # their images are the first and the last point
    a, b = complex(*pen.at), complex(*end)
    if abs(q - p) < REACHED_MM or abs(b - a) < REACHED_MM:
        raise WrongUsage(Words("What begins where it ends can't be drawn like another stretch."), "draw")
    turn = (b - a) / abs(b - a) / ((q - p) / abs(q - p)).conjugate()
    middle, centre = (a + b) / 2, (p + q) / 2

    def image(point: Point) -> Point:
        z = middle + turn * (complex(*point) - centre).conjugate()
        return z.real, z.imag

    copies = [replace(mapped(backwards(f), image), origin="completed", label="", loop=0) for f in reversed(lines)]
    out = [Shaped(f) for f in copies]
    first, last = out[0].feature, out[-1].feature
    if math.dist(first.start, pen.at) > REACHED_MM:
        out = [Shaped(_line(pen.at, np.array(first.start))), *out]
    else:
        out[0] = replace(out[0], feature=replace(first, start=_pair(pen.at)))
    if math.dist(last.end, end) <= REACHED_MM:
        out[-1] = replace(out[-1], feature=replace(out[-1].feature, end=_pair(end)))
    return out


def _line(a: Array, b: Array) -> Line:
    if math.dist(a, b) <= REACHED_MM / 2:
        raise WrongUsage(Words("A step leads to where it begins: leave it out, or give it another end."), "draw")
    return Line("", 0, _pair(a), _pair(b), "completed")


def _pair(p: Array) -> Point:
    return float(p[0]), float(p[1])
