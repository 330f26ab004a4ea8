"""What belongs together on a part: equal rounds, slots and windows, features in line, patterns of holes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeVar

import numpy as np

from calib.arrays import Array
from measure.dimensioning.gauging import Gauge, acute_deg, shape_of
from measure.geometry.features import Arc, F, Feature, Line, Round, by_loop, direction, length, sweep_rad

R = TypeVar("R", bound=Round)

MORE_THAN_HALF = math.radians(190)
"""From here on an arc is dimensioned by its diameter (ISO 129-1: radii for arcs up to half a circle)."""
LOCATED = math.radians(100)
"""From this sweep on an arc is a round end, whose centre is worth locating; below it is a fillet."""
FULL_ROUND_RAD = 0.3
"""How far a slot's end may be from half a circle."""
EQUAL_AT_MOST, EQUAL, EQUAL_MM = (0.05, 0.12), (0.03, 0.01), 0.02
"""Radii are equal within their uncertainty, but within this and this share of the radius at most; where it is not known
within the second pair; always within the last (chosen)."""
ONE_WAY_RAD = math.radians(1.5)
"""Edges that differ by less run the same way."""
ALONG_RAD = math.radians(0.4)
"""An edge that differs by less lies along a direction: less than what counts as level on a drawing (chosen)."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A hole of a common form: two lines and two full-round ends, or four lines with or without fillets."""

    form: Literal["slot", "window"]
    loop: int
    lines: tuple[Line, ...]
    ends: tuple[Arc, ...]


def openings(features: Sequence[Feature]) -> list[Opening]:
    """Slots and windows among the holes."""
    out = []
    for loop, fs in by_loop(features).items():
        lines = tuple(f for f in fs if f.kind == "line")
        arcs = tuple(f for f in fs if f.kind == "arc")
        if loop == 0 or len(lines) + len(arcs) != len(fs):
            continue
        if len(lines) == len(arcs) == 2 and fs[0].kind != fs[1].kind:
            ends_round = all(abs(abs(sweep_rad(a)) - math.pi) < FULL_ROUND_RAD for a in arcs)
            if ends_round and _parallel(*lines):
                out.append(Opening("slot", loop, lines, arcs))
        elif len(lines) == 4 and len(arcs) <= 4 and _parallel(lines[0], lines[2]) and _parallel(lines[1], lines[3]):
            out.append(Opening("window", loop, lines, ()))
    return out


def _parallel(a: Feature, b: Feature, within_deg: float = 3.0) -> bool:
    return acute_deg(shape_of(a).s - shape_of(b).s) < within_deg


def located(features: Sequence[Feature], slots: Sequence[Opening]) -> list[Round]:
    """Rounds whose centres a drawing locates: circles, slot ends, round ends; not fillets."""
    ends = {e.label for s in slots for e in s.ends}
    return [
        f
        for f in features
        if f.kind == "circle" or (f.kind == "arc" and (f.label in ends or abs(sweep_rad(f)) > LOCATED))
    ]


def equal_rounds(rounds: Sequence[R], gauge: Gauge) -> list[list[R]]:
    """Groups of rounds whose radii agree within what both are uncertain by, largest first."""
    groups: list[list[R]] = []
    for f in sorted(rounds, key=lambda f: -f.radius):
        if groups and groups[-1][0].radius - f.radius <= _equal_within(groups[-1][0], f, gauge):
            groups[-1].append(f)
        else:
            groups.append([f])
    return groups


def _equal_within(first: Round, other: Round, gauge: Gauge) -> float:
    """How much the radii of two rounds that are equal may differ, mm."""
    a, b = (gauge("radius", [f.label]).u95 for f in (first, other))
    if a is None or b is None:
        return max(EQUAL[0] + EQUAL[1] * other.radius, EQUAL_MM)
    return max(min(math.hypot(a, b), EQUAL_AT_MOST[0] + EQUAL_AT_MOST[1] * other.radius), EQUAL_MM)


def in_line(places: Sequence[tuple[float, F]], tolerance_mm: float) -> list[list[F]]:
    """Features grouped by equal coordinates: each group spans no more than twice the tolerance, in rising order."""
    out: list[list[F]] = []
    first = -math.inf
    for at, f in sorted(places, key=lambda p: p[0]):
        if at - first > 2 * tolerance_mm:
            out.append([])
            first = at
        out[-1].append(f)
    return out


def evenly_round(group: Sequence[Round], tolerance_mm: float) -> tuple[float, float] | None:
    """Centre of a circle on which equal holes stand at even steps, or None."""
    n = len(group)
    if n < 3:
        return None
    c = np.array([f.centre for f in group])
    middle = c.mean(0)
    d = c - middle
    r = np.hypot(*d.T)
    a = np.sort(np.arctan2(d[:, 1], d[:, 0]))
    step = np.diff(np.append(a, a[0] + 2 * math.pi))
    if np.ptp(r) > 3 * tolerance_mm or np.abs(step - 2 * math.pi / n).max() * r.mean() > 4 * tolerance_mm:
        return None
    return float(middle[0]), float(middle[1])


def tangent(a: Feature, b: Feature, within_deg: float = 5.0) -> bool:
    """Whether b goes on in the direction in which a ends."""
    if not isinstance(a, Line | Arc) or not isinstance(b, Line | Arc):
        return False
    u, v = _heading(a, at_end=True), _heading(b, at_end=False)
    return float(u @ v) > math.cos(math.radians(within_deg))


def _heading(f: Line | Arc, at_end: bool) -> Array:
    """(2,) unit vector in which a feature runs at its start or end."""
    if f.kind == "line":
        return direction(f)
    d = np.subtract(f.end if at_end else f.start, f.centre)
    d = d / max(float(np.hypot(*d)), 1e-9)
    out: Array = np.array([-d[1], d[0]]) * np.sign(sweep_rad(f))
    return out


def main_direction(features: Sequence[Feature], rounds: Sequence[Round]) -> float:
    """Angle (rad) that the part's own horizontal has: that of its straight edges, else of its farthest centres.

    Edges within 1.5° of each other or of square are taken together, weighted by length; an edge of the outer boundary
    counts double.
    """
    lines = [f for f in features if f.kind == "line"]
    if lines:
        angle = np.array([shape_of(f).s for f in lines]) % (math.pi / 2)
        weight = np.array([length(f) * (2 if f.loop == 0 else 1) for f in lines])
        turn = (angle[:, None] - angle + math.pi / 4) % (math.pi / 2) - math.pi / 4
        near = np.abs(turn) < ONE_WAY_RAD
        k = int((near * weight).sum(1).argmax())
        mean = float((near[k] * turn[k] * weight).sum() / (near[k] * weight).sum())
        if np.abs(turn[k] - mean)[near[k]].min() > ALONG_RAD:  # two edges of a slight taper, say: along one of them
            return float(angle[int(np.where(near[k], weight, 0.0).argmax())])
        return float(angle[k] - mean)
    centres = np.array([f.centre for f in rounds])
    if len(centres) > 1:
        apart = np.hypot(*(centres[:, None] - centres).transpose(2, 0, 1))
        i, j = np.unravel_index(apart.argmax(), apart.shape)
        if apart[i, j] > 0.5:
            return float(np.arctan2(*(centres[j] - centres[i])[::-1]))
    return 0.0
