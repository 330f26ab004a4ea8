"""Toothed outlines: how many teeth, their tip and root circles; one tooth goes into the table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from measure.dimensioning.gauging import Stated
from measure.dimensioning.scheme.scheme import Scheme
from measure.dimensioning.scheme.values import CIRCLES, Form, PlannedDimension
from measure.geometry.features import Fitted, Point, sweep_rad
from measure.geometry.segments import nearest, segments

AT_ITS_END_MM = 0.002
"""A line whose farthest point is so near to its end is farthest there: at a corner."""
PAST_RAD = 0.15
"""An arc that ends so little before it faces straight away from the centre is taken to reach there."""


@dataclass(frozen=True, slots=True)
class _Extreme:
    """The piece of a tooth that lies farthest out or in, and whether it does so at the corner with the next one."""

    piece: int
    corner: bool


def teeth(scheme: Scheme) -> None:
    """Tip and root circle of an outline whose teeth are known to be alike."""
    if scheme.turning is None or not scheme.toothed:
        return
    outer = [f for f in scheme.features if f.loop == 0 and f.kind != "curve"]
    per, centre = len(outer) // scheme.turning.order, scheme.turning.centre_mm
    for form, sign in CIRCLES.items():
        _circle(scheme, outer, per, _extreme(outer, per, centre, sign), form, centre)


def _extreme(outer: Sequence[Fitted], per: int, centre: Point, sign: int) -> _Extreme:
    """Which piece of a tooth reaches farthest out (1) or in (-1)."""
    reach = [sign * _reach(f, centre, sign) for f in outer[:per]]
    i = int(np.argmax(reach))
    f = outer[i]
    if f.kind == "line":
        for end, before in ((f.end, i), (f.start, i - 1)):
            beside = outer[(i + 1) % len(outer) if before == i else i - 1]
            if beside.kind == "line" and sign * math.dist(end, centre) > reach[i] - AT_ITS_END_MM:
                return _Extreme(before, True)
    return _Extreme(i, False)


def _reach(f: Fitted, centre: Point, sign: int) -> float:
    """The largest (1) or smallest (-1) distance of a piece from the centre, mm."""
    if f.kind == "circle":
        return f.radius
    reached = [math.dist(f.start, centre), math.dist(f.end, centre)]
    if f.kind == "line":
        reached.append(float(nearest(np.array([centre]), segments(np.array([f.start, f.end])))[2][0]))
    else:
        away = np.subtract(f.centre, centre)
        far, outwards = float(np.hypot(*away)), f.turn == "ccw"
        # a convex arc is farthest where it faces away from the centre, a hollow one nearest where it faces the centre
        at = math.atan2(away[1], away[0]) + (0 if outwards else math.pi)
        first = math.atan2(f.start[1] - f.centre[1], f.start[0] - f.centre[0])
        run = (at - first) * (1 if outwards else -1) + PAST_RAD
        if outwards == (sign > 0) and run % (2 * math.pi) < abs(sweep_rad(f)) + 2 * PAST_RAD:
            reached.append(far + sign * f.radius if far > f.radius else f.radius)
    return sign * max(sign * r for r in reached)


def _circle(scheme: Scheme, outer: Sequence[Fitted], per: int, at: _Extreme, form: Form, centre: Point) -> None:
    """Take the circle that the same piece of every tooth gives, or the same corner."""
    n = len(outer) // per
    pieces = [outer[(at.piece + k * per) % len(outer)] for k in range(n)]
    if at.corner:
        after = [outer[(at.piece + 1 + k * per) % len(outer)] for k in range(n)]
        labels = tuple(f.label for pair in zip(pieces, after, strict=True) for f in pair)
        scheme.take("peaks", labels, partial(_wanted, form, n, labels))
        return
    first, labels = pieces[0], tuple(f.label for f in pieces)
    if first.kind == "arc" and math.dist(first.centre, centre) < first.radius:  # about the wheel's centre, or nearly
        scheme.take("diameter", labels, partial(_wanted, form, n, labels), over=1)
    elif first.kind == "arc" or form == "roots":
        scheme.take(form, labels, partial(_wanted, form, n, labels))


def _wanted(form: Form, count: int, labels: tuple[str, ...], stated: Stated) -> PlannedDimension:
    return PlannedDimension(form, stated, count, labels)
