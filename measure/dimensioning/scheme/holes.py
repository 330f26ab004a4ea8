"""Bores, slots, windows, flats, patterns of holes, and outlines that repeat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Literal

from measure.dimensioning.gauging import SIZES, Shape, Stated
from measure.dimensioning.scheme import relations as rel
from measure.dimensioning.scheme.groups import LOCATED, MORE_THAN_HALF, Opening, equal_rounds, evenly_round
from measure.dimensioning.scheme.scheme import Scheme
from measure.dimensioning.scheme.values import Form, PlannedDimension
from measure.geometry.features import Feature, Point, Round, by_loop, length, sweep_rad
from measure.geometry.symmetry import Turning

RoundSize = Literal["diameter", "radius"]
Side = tuple[str, Feature, Feature]
"""A size of an opening: its kind, and the features that it runs between."""

LEVEL = 0.7
"""A line whose cosine is larger is rather level than upright."""
BEARING_DEG = 40
"""Of the angles that may tie a ring of holes to a flat, the one nearest to this is drawn: its arrows have room
(chosen)."""
HUB_MM, HUB_SHARE = 0.3, 0.05
"""A round so near to the centre of what repeats is its hub; an arc within this share of its radius is about it."""


def bores(scheme: Scheme) -> None:
    """Diameters of circles and of arcs that are more than half a turn."""
    circles = [f for f in scheme.features if f.kind == "circle"]
    big = [f for f in scheme.features if f.kind == "arc" and abs(sweep_rad(f)) > MORE_THAN_HALF]
    inside = [f for f in circles + big if f.loop > 0]
    outside = [f for f in circles + big if f.loop == 0]
    for pool in (inside, outside):
        equal(scheme, pool, "diameter")


def equal(scheme: Scheme, pool: Sequence[Round], kind: RoundSize) -> None:
    """A size for each group of equal rounds."""
    for group in equal_rounds([f for f in pool if scheme.is_known(f)], scheme.gauge):
        labels = tuple(f.label for f in group)
        for a, b in rel.chain(labels):
            rel.same_radius(scheme.free, a, b)
        scheme.take(kind, labels, partial(_of_all, scheme, kind, labels), over=1)


def _of_all(scheme: Scheme, kind: RoundSize, labels: tuple[str, ...], mean: Stated) -> PlannedDimension:
    """A size that several equal rounds share: its uncertainty reaches to each of them, and is not less than that of the
    least sure, which may be another's size by as much."""
    if mean.u95 is not None and len(labels) > 1:
        each = [scheme.gauge(kind, (x,)) for x in labels]
        mean = replace(mean, u95=max(max(abs(s.value - mean.value), s.u95 or 0.0) for s in each))
    return PlannedDimension(kind, mean, len(labels), labels)


def flats(scheme: Scheme) -> None:
    """Flats of D-shaped bores, from the bore's centre."""
    common = {o.loop for o in scheme.openings}
    for n, loop in by_loop(scheme.features).items():
        if n == 0 or n in common:
            continue
        big = [f for f in loop if f.kind == "arc" and abs(sweep_rad(f)) > MORE_THAN_HALF]
        for f in loop:
            if f.kind == "line" and big:
                scheme.linear("offset", big[0], f, scheme.upright_or_none(big[0], f))


def windows_and_slots(scheme: Scheme) -> None:
    """Width and length of slots and windows; equal ones are told once."""
    for form in ("slot", "window"):
        sides = [(o, _sides(scheme, o)) for o in scheme.openings if o.form == form]
        for k in (0, 1):
            for group in _alike(scheme, [(o, s[k]) for o, s in sides]):
                _common_size(scheme, group)


def _alike(scheme: Scheme, sides: Sequence[tuple[Opening, Side]]) -> list[list[tuple[Opening, Side]]]:
    """Openings with one size in common."""
    groups: list[tuple[float, list[tuple[Opening, Side]]]] = []
    for o, side in sides:
        size = scheme.gauge(side[0], (side[1].label, side[2].label)).value
        for known, group in groups:
            if abs(known - size) < 2 * scheme.tolerance:
                group.append((o, side))
                break
        else:
            groups.append((size, [(o, side)]))
    return [group for _, group in groups]


def _common_size(scheme: Scheme, group: Sequence[tuple[Opening, Side]]) -> None:
    """A size that several openings share; a slot's width may be noted on a leader to any of their ends."""
    first, (kind, a, b) = group[0]
    if scheme.linear(kind, a, b, scheme.upright_or_none(a, b)):
        noted = kind == "distance" and first.form == "slot"
        ends = tuple(e.label for o, _ in group for e in o.ends) if noted else ()
        scheme.wanted[-1] = replace(scheme.wanted[-1], count=len(group), members=ends)
    f = SIZES[kind]
    for _, (_, c, d) in group[1:]:
        scheme.free.relate(lambda p, q, r, s: f(p, q) - f(r, s), [x.label for x in (a, b, c, d)])


def _sides(scheme: Scheme, o: Opening) -> tuple[Side, Side]:
    """Width and length of a slot; height and width of a window."""
    if o.form == "slot":
        return ("distance", o.lines[0], o.lines[1]), ("centres", o.ends[0], o.ends[1])
    a, b, c, d = o.lines
    pairs = [(a, c), (b, d)] if abs(math.cos(scheme.shapes[a.label].s)) > LEVEL else [(b, d), (a, c)]
    return ("distance", *pairs[0]), ("distance", *pairs[1])


def patterns(scheme: Scheme) -> None:
    """Holes on a pitch circle, and outlines that repeat."""
    circles = [f for f in scheme.features if f.kind == "circle" and f.loop > 0]
    for group in equal_rounds(circles, scheme.gauge):
        middle = evenly_round(group, scheme.tolerance)
        if middle is None:
            continue
        hub = [f for f in scheme.rounds if math.dist(f.centre, middle) < 3 * scheme.tolerance]
        if len(group) < 5 and not hub:
            continue
        _even(scheme, group, hub[0] if hub else None, middle)
    if scheme.turning:
        _repeats(scheme)


def _even(scheme: Scheme, group: Sequence[Round], hub: Round | None, middle: Point) -> None:
    """Equal holes at even steps on a pitch circle."""
    labels = tuple(f.label for f in sorted(group, key=lambda f: _turn_about(middle, f)))
    n = len(labels)
    for i in range(n - 2):
        scheme.free.relate(lambda a, b, c: _chord(a, b) - _chord(b, c), labels[i : i + 3])
    if hub is not None:
        for i in range(n - 1):
            scheme.free.relate(lambda h, a, b: _chord(h, a) - _chord(h, b), [hub.label, *labels[i : i + 2]])
    else:
        share = 2 * math.sin(math.pi / n)  # of a step's chord in the pitch radius
        scheme.free.relate(lambda a, b, c: _radius_through(a, b, c) * share - _chord(a, b), labels[:3])
    scheme.take("pitch", labels, partial(_counted, "pitch", n, labels))
    scheme.pitches.append((middle, labels))


def _repeats(scheme: Scheme) -> None:
    """Tip and root circles of an outline that repeats, or the pitch circle of its lobes."""
    turning = scheme.turning
    if turning is None:
        return
    hubs = [f for f in scheme.rounds if math.dist(f.centre, turning.centre_mm) < HUB_MM]
    for hub in hubs:
        rel.concentric(scheme.free, rel.CENTRE, hub.label)
    seen: set[str] = set()
    for i, j in enumerate(turning.partner):
        f = scheme.features[i]
        if j < 0 or f.label in seen or f.kind != "arc" or scheme.toothed:
            continue
        orbit = _orbit(scheme, turning, i)
        labels = tuple(g.label for g in orbit)
        seen.update(labels)
        if math.dist(f.centre, turning.centre_mm) < HUB_SHARE * f.radius + scheme.tolerance:
            rel.concentric(scheme.free, rel.CENTRE, f.label)
            scheme.take("diameter", labels, partial(_counted, "diameter", 1, labels), over=1)
        elif f.turn == "ccw" and abs(sweep_rad(f)) > LOCATED:
            n = len(labels)
            scheme.take("radius", labels, partial(_counted, "radius", n, labels), over=1)
            if scheme.take("pitch", labels, partial(_counted, "pitch", n, labels)):
                scheme.pitches.append((turning.centre_mm, labels))
            if hubs:
                _turned_against(scheme, hubs[0], orbit)


def _orbit(scheme: Scheme, turning: Turning, first: int) -> list[Feature]:
    """A piece of a repeating outline and all that it becomes."""
    out, i = [scheme.features[first]], first
    while (i := turning.partner[i]) != first:
        out.append(scheme.features[i])
    return out


def _counted(form: Form, count: int, labels: tuple[str, ...], stated: Stated) -> PlannedDimension:
    return PlannedDimension(form, stated, count, labels)


def _turned_against(scheme: Scheme, hub: Feature, orbit: Sequence[Feature]) -> None:
    """How the lobes stand to the flat of a bore or to another straight edge."""
    lines = [*scheme.lines[True], *scheme.lines[False]]
    if not lines:
        return
    flat = max(lines, key=length)
    pairs = [(flat.label, hub.label, f.label) for f in orbit]
    pairs.sort(key=lambda x: abs(scheme.gauge("bearing", x).value - BEARING_DEG))
    scheme.angle("bearing", pairs[0])


def _chord(a: Shape, b: Shape) -> float:
    return math.hypot(a.x - b.x, a.y - b.y)


def _turn_about(middle: Point, f: Round) -> float:
    return math.atan2(f.centre[1] - middle[1], f.centre[0] - middle[0])


def _radius_through(a: Shape, b: Shape, c: Shape) -> float:
    """Radius of the circle through three centres."""
    area = abs((b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x))
    return _chord(a, b) * _chord(b, c) * _chord(c, a) / max(2 * area, 1e-12)
