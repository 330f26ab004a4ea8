"""Can jaws take this reading at all? Kinds of reading against the features that they name.

Material lies on the left of travel along every loop (`measure.geometry.features`), so an edge's right-hand normal
points to where it is empty: two edges that face away from each other have material between them, two that face each
other a gap. For an opening the outer loop is the rim, and the empty side is its inside.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TypeGuard

import numpy as np

from calib.errors import ReadingsRefused
from calib.words import Words
from measure.geometry.dimensions import angle_between, overlap_mm, size_of
from measure.geometry.features import (
    Estimate,
    Feature,
    Line,
    Round,
    direction,
    is_round,
    length,
    middle,
    right_normal,
    same_kind,
    sweep_rad,
)
from measure.readings.readings import FEATURES, Reading, ReadingKind
from measure.subject import Subject

PARALLEL_RAD = math.radians(2.0)
"""Edges this close to parallel are parallel for jaws."""
MOST_RAD = math.radians(6.0)
"""However uncertain two short edges' directions are, jaws do not sit on edges further apart than this."""
SHARED_MM, WEB_MM = 2.0, 1.5
"""Two edges share so much of a stretch for jaws to sit on both; an edge so long bounds a web. Common practice."""
HALF_ROUND_RAD = math.radians(120)
"""Jaws need half a circle; the ends of an arc that runs tangent into its neighbours are only roughly known."""
SAME_SHARE, SAME_CENTRE_MM, SAME_RADIUS_MM = 0.05, 0.1, 0.05
"""Arcs are pieces of one circle when centres and radii differ by a share of the radius and this (chosen)."""
OUTERMOST_MM = 0.05
"""An edge is an outermost one when nothing of the part lies farther out than this."""


def check_reading(reading: Reading, estimate: Estimate, subject: Subject = "part") -> None:
    """Refuse a reading that names unknown features or that jaws can't take on them.

    Raises:
        ReadingsRefused: the sentence says what does not fit and what would.
    """
    named = {f.label: f for f in estimate.features}
    missing = [x for x in reading.features if x not in named]
    if missing:
        near = sorted(x for x in named if x[0] == missing[0][0]) or sorted(named)
        have = ", ".join(sorted(near, key=lambda x: (x[0], int("".join(c for c in x if c.isdigit()) or 0))))
        raise _refusal(
            reading,
            Words("the outline has no {missing}; it has {have}", missing=missing[0], have=have),
            "reading-label",
        )
    features = [named[x] for x in reading.features]
    made_up = [f.label for f in features if f.origin == "completed"]
    if made_up:
        raise _refusal(
            reading,
            Words(
                "{made_up} was completed where the part is broken off, so there is nothing there that jaws could touch",
                made_up=made_up[0],
            ),
            "reading-geometry",
        )
    problem = obstacle(reading.kind, features, estimate, subject)
    if problem:
        raise _refusal(reading, problem, "reading-geometry")


def check_readings(readings: Iterable[Reading], estimate: Estimate, subject: Subject = "part") -> None:
    """`check_reading` for each; the first that does not fit is refused."""
    for r in readings:
        check_reading(r, estimate, subject)


def _refusal(reading: Reading, what: str, code: str) -> ReadingsRefused:
    said = Words("“{reading}”: {what}.", reading=reading.words(), what=what)
    return ReadingsRefused(Words("Line {line}: {what}", line=reading.line, what=said) if reading.line else said, code)


def obstacle(kind: str, features: Sequence[Feature], estimate: Estimate, subject: Subject = "part") -> str | None:
    """What keeps jaws from taking this reading, in words; None where nothing does."""
    if kind == "thickness":
        return None
    if kind in ("width", "gap"):
        return _between(kind, features[0], features[1], estimate, subject)
    if kind == "bore":
        return _bore(features[0], estimate, subject)
    if kind == "boss":
        return _boss(features[0], estimate, subject)
    if kind == "radius":
        return None if is_round(features[0]) else Words("{label} is not an arc", label=features[0].label)
    if kind == "span":
        bad = [f.label for f in features if not _is_hole(f, subject)]
        return Words("{bad} is not a hole, and a span goes over two holes", bad=bad[0]) if bad else None
    return _web(features, subject)


def _between(kind: str, a: Feature, b: Feature, estimate: Estimate, subject: Subject) -> str | None:
    if a.kind != "line" or b.kind != "line":
        bad = b if a.kind == "line" else a
        return Words(
            "{label} is not a straight edge, and a {kind} is taken between two parallel straight edges",
            label=bad.label,
            kind=kind,
        )
    off = abs(angle_between(a, b))
    if off > _tolerance(a, b, estimate):
        return Words(
            "{label} and {b_label} are not parallel ({degrees:.1f}° apart)",
            label=a.label,
            b_label=b.label,
            degrees=math.degrees(off),
        )
    if direction(a) @ direction(b) > 0:
        return Words(
            "{label} and {b_label} face the same way, so no jaws fit over or between them",
            label=a.label,
            b_label=b.label,
        )
    material = _is_material(a, b, subject)
    if material and kind == "gap":
        return Words("between {label} and {b_label} is material; write width", label=a.label, b_label=b.label)
    if not material and kind == "width":
        return Words("between {label} and {b_label} it is empty; write gap", label=a.label, b_label=b.label)
    return None


def _is_material(a: Line, b: Line, subject: Subject) -> bool:
    """Whether material, not air, lies between an edge and another that faces the other way."""
    return (float(right_normal(a) @ (middle(b) - middle(a))) < 0) == (subject == "part")


def _tolerance(a: Feature, b: Feature, estimate: Estimate) -> float:
    slices, s = estimate.slices(), estimate.sensitivity
    i, j = slices[a.label].start + 1, slices[b.label].start + 1
    turn = s[i] - s[j]
    var = estimate.white[i, i] + estimate.white[j, j] - 2 * estimate.white[i, j] + turn @ estimate.shared @ turn
    return min(PARALLEL_RAD + 3 * math.sqrt(max(float(var), 0.0)), MOST_RAD)


def is_hollow(f: Feature, subject: Subject = "part") -> bool:
    """Is it round with the empty side within?"""
    if f.kind == "circle":
        return f.loop > 0 or subject == "opening"
    return f.kind == "arc" and f.turn == ("cw" if subject == "part" or f.loop > 0 else "ccw")


def _covered_rad(f: Round, features: Iterable[Feature]) -> float:
    """Angle that a round feature covers, together with pieces of the same circle in its loop."""
    total = 0.0
    for g in features:
        if g.loop != f.loop or not same_kind(f, g) or not is_round(g):
            continue
        near = np.hypot(*np.subtract(g.centre, f.centre)) < SAME_SHARE * f.radius + SAME_CENTRE_MM
        if g.label == f.label or (near and abs(g.radius - f.radius) < SAME_SHARE * f.radius + SAME_RADIUS_MM):
            total += abs(sweep_rad(g))
    return total


def _is_hole(f: Feature, subject: Subject) -> TypeGuard[Round]:
    return is_round(f) and is_hollow(f, subject) and abs(sweep_rad(f)) > HALF_ROUND_RAD


def _bore(f: Feature, estimate: Estimate, subject: Subject) -> str | None:
    if not is_round(f) or not is_hollow(f, subject):
        if is_round(f):
            return Words("{label} is not a hole; write boss", label=f.label)
        return Words("{label} is not a hole", label=f.label)
    if _covered_rad(f, estimate.features) < HALF_ROUND_RAD:
        return Words(
            "{label} is less than half a circle, so inside jaws find no diameter; use a radius gauge", label=f.label
        )
    return None


def _boss(f: Feature, estimate: Estimate, subject: Subject) -> str | None:
    if not is_round(f) or is_hollow(f, subject):
        if is_round(f):
            return Words("{label} is not a round outside; write bore", label=f.label)
        return Words("{label} is not a round outside", label=f.label)
    if _covered_rad(f, estimate.features) < HALF_ROUND_RAD:
        return Words(
            "{label} is less than half a circle, so outside jaws find no diameter; use a radius gauge", label=f.label
        )
    return None


def _web(features: Sequence[Feature], subject: Subject) -> str | None:
    holes = [f for f in features if _is_hole(f, subject)]
    if not holes:
        return Words(
            "neither {label} nor {label2} is a hole; a web starts at a hole",
            label=features[0].label,
            label2=features[1].label,
        )
    other = features[1] if features[0] is holes[0] else features[0]
    if other.kind == "curve":
        return Words(
            "{label} is a free curve; a web is taken between two holes, or a hole and an edge", label=other.label
        )
    if size_of("web", _hole_first(features, subject)).value_mm <= 0:
        return Words(
            "there is no material between {label} and {label2}", label=features[0].label, label2=features[1].label
        )
    return None


def _hole_first(features: Sequence[Feature], subject: Subject) -> list[Feature]:
    return sorted(features, key=lambda f: not _is_hole(f, subject))


def possible_readings(estimate: Estimate, subject: Subject = "part") -> list[tuple[ReadingKind, tuple[str, ...]]]:
    """Every reading that jaws can take on the part, in the contract's order of kinds.

    Edges must share a stretch of 2 mm for a width or a gap, or half of that where both are the outermost, as the tips
    of teeth are; a hole must lie abreast of an edge for a web.
    """
    f = [x for x in estimate.features if x.origin == "seen"]
    lines = [x for x in f if x.kind == "line" and length(x) > SHARED_MM / 2]
    outermost = _outermost(lines, f)
    holes = [x for x in f if _is_hole(x, subject) and size_of("radius", [x]).value_mm > 0.5]
    out: list[tuple[ReadingKind, tuple[str, ...]]] = []
    u = np.array([direction(x) for x in lines]).reshape(-1, 2)
    facing = u @ u.T < -math.cos(MOST_RAD)
    for i, j in zip(*np.nonzero(np.triu(facing)), strict=True):
        a, b = lines[i], lines[j]
        shared = SHARED_MM / 2 if outermost[i] and outermost[j] else SHARED_MM
        if overlap_mm(a, b) < shared or size_of("distance", (a, b)).value_mm < 0.5:
            continue
        within: ReadingKind = "width" if _is_material(a, b, subject) else "gap"
        if _between(within, a, b, estimate, subject) is None:
            out.append((within, (a.label, b.label)))
    rounds = [x for x in f if is_round(x)]
    out += [("bore", (x.label,)) for x in rounds if _bore(x, estimate, subject) is None]
    out += [("boss", (x.label,)) for x in rounds if _boss(x, estimate, subject) is None]
    for i, a in enumerate(holes):
        beside = [x for x in lines if x.loop != a.loop and length(x) > WEB_MM and _abreast(a, x)]
        for b in (*holes[i + 1 :], *beside):
            if b.loop != a.loop and _web((a, b), subject) is None:
                out.append(("web", (a.label, b.label)))
    out += [("span", (a.label, b.label)) for i, a in enumerate(holes) for b in holes[i + 1 :]]
    out += [("radius", (x.label,)) for x in rounds if x.kind == "arc"]
    out.append(("thickness", ()))
    order = {k: n for n, k in enumerate(FEATURES)}
    return sorted(out, key=lambda r: order[r[0]])


def _outermost(lines: Sequence[Line], features: Sequence[Feature]) -> list[bool]:
    """Whether nothing of the part stands out over an edge by more than a few hundredths."""
    ends = [p for f in features if f.loop == 0 and f.kind != "circle" for p in (f.start, f.end)]
    if not ends:
        return [False] * len(lines)
    points = np.array(ends)
    return [x.loop == 0 and float(((points - middle(x)) @ right_normal(x)).max()) < OUTERMOST_MM for x in lines]


def _abreast(hole: Round, edge: Line) -> bool:
    along = float(direction(edge) @ np.subtract(hole.centre, middle(edge)))
    return abs(along) < length(edge) / 2
