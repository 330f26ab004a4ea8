"""Which of the possible readings jaws of an ordinary caliper take well, so that they may be asked for.

`jaw_reach` refuses what can't be; here what would be a struggle is left out as well: inside jaws in a tiny hole, a jaw
that finds no seat beside a step. All limits: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from calib.tools.at_hand import AtHand
from measure.geometry.dimensions import size_of
from measure.geometry.features import (
    COARSE_MM,
    Arc,
    Estimate,
    Feature,
    Line,
    as_line,
    as_round,
    by_loop,
    direction,
    flatten,
    is_round,
    length,
    middle,
    right_normal,
    sweep_rad,
)
from measure.geometry.segments import segments
from measure.readings.jaw_reach import possible_readings
from measure.readings.readings import ReadingKind
from measure.subject import Subject

POCKET = AtHand()
SEAT_MM = 3.0
"""What a jaw needs of an edge when something stands out beside it."""
RADIUS_MM = (1.0, 25.0)
"""The leaves of a set of radius gauges."""
LEAST_SWEEP_RAD = np.radians(40)
"""A shorter arc does not tell one leaf from the next."""

ROOM_AT = (0.25, 0.5, 0.75)
"""Where along an edge it is asked whether a jaw goes in before it, shares of its length (chosen)."""
LEAST_WEB_MM = 0.5
"""A thinner web bends between the jaws (common practice, no source)."""
PARALLEL = 1e-12
STANDS_OUT_MM = 0.05
"""What stands out over an edge by less than this does not keep a jaw off it (chosen)."""


def comfortable_readings(
    estimate: Estimate, thickness_mm: float, subject: Subject = "part", caliper: AtHand = POCKET
) -> list[tuple[ReadingKind, tuple[str, ...], float]]:
    """Kind, features and expected value of every reading that is easily taken.

    Args:
        estimate: the features.
        thickness_mm: of the part; 0 where it is not known.
        subject: part or opening.
        caliper: that it is taken with.
    """
    walls = np.concatenate([segments(flatten(f, COARSE_MM)) for f in estimate.features])
    named = {f.label: f for f in estimate.features}
    beside = {
        f.label: (fs[i - 1], fs[(i + 1) % len(fs)])
        for fs in by_loop(estimate.features).values()
        for i, f in enumerate(fs)
    }
    out: list[tuple[ReadingKind, tuple[str, ...], float]] = []
    for kind, labels in possible_readings(estimate, subject):
        if kind == "thickness":
            if subject == "part" and thickness_mm > 0:
                out.append((kind, labels, thickness_mm))
            continue
        features = [named[x] for x in labels]
        value = size_of(kind, features).value_mm
        if kind != "radius" and value > caliper.reach_mm:
            continue
        seated = kind != "width" or all(_seat(as_line(f), *beside[f.label]) for f in features)
        if not seated or not _easy(kind, features, value, caliper) or not _touches(kind, features):
            continue
        if kind not in ("width", "web") or all(_has_room(f, walls, caliper.tip_mm) for f in features):
            out.append((kind, labels, value))
    return out


def _easy(kind: str, features: Sequence[Feature], value_mm: float, caliper: AtHand) -> bool:
    if kind in ("gap", "bore"):
        return value_mm >= caliper.inside_mm
    if kind == "span":
        return all(2 * as_round(f).radius >= caliper.inside_mm for f in features)
    if kind == "web":
        return value_mm > LEAST_WEB_MM and all(
            f.kind == "line" or 2 * as_round(f).radius >= caliper.tip_mm for f in features
        )
    if kind == "radius":
        return RADIUS_MM[0] <= value_mm <= RADIUS_MM[1] and abs(sweep_rad(as_round(features[0]))) >= LEAST_SWEEP_RAD
    return True


def _has_room(f: Feature, walls: Array, tip_mm: float) -> bool:
    """Whether the tip of an outside jaw goes in before a straight edge somewhere: in a slot or a notch it may not.

    Args:
        f: the edge; anything round has been judged by its diameter.
        walls: (m, 4) the whole outline.
        tip_mm: how wide the tip is.
    """
    if f.kind != "line":
        return True
    out = right_normal(f)
    a, d = walls[:, :2], walls[:, 2:] - walls[:, :2]
    for share in ROOM_AT:
        begin = np.array(f.start) + share * np.subtract(f.end, f.start) + STANDS_OUT_MM * out
        turned = d[:, 0] * out[1] - d[:, 1] * out[0]
        turned = np.where(np.abs(turned) < PARALLEL, np.inf, turned)
        w = begin - a
        along = (w[:, 0] * out[1] - w[:, 1] * out[0]) / turned  # on the wall, 0 to 1
        far = (w[:, 0] * d[:, 1] - w[:, 1] * d[:, 0]) / turned
        if not ((along >= 0) & (along <= 1) & (far > 0) & (far < tip_mm - STANDS_OUT_MM)).any():
            return True
    return False


def _touches(kind: str, features: Sequence[Feature]) -> bool:
    """Whether the rims that a web or a span is taken between are there: the end of a slot has only half of one."""
    if kind not in ("web", "span"):
        return True
    for one, other in (features, features[::-1]):
        if one.kind == "arc":
            centre = np.array(one.centre)
            if is_round(other):
                towards = np.array(other.centre) - centre
            else:
                other = as_line(other)
                u = direction(other)
                towards = middle(other) - centre - float((middle(other) - centre) @ u) * u
            if kind == "span":
                towards = -towards
            if not _on_arc(one, float(np.arctan2(towards[1], towards[0]))):
                return False
    return True


def _on_arc(arc: Arc, angle_rad: float) -> bool:
    first = float(np.arctan2(arc.start[1] - arc.centre[1], arc.start[0] - arc.centre[0]))
    sweep = sweep_rad(arc)
    gone = (angle_rad - first) * np.sign(sweep) % (2 * np.pi)
    return bool(gone <= abs(sweep))


def _seat(edge: Line, before: Feature, after: Feature) -> bool:
    """Whether a jaw lies flat on an edge: it is long enough, or the outline falls away at both its ends."""
    if length(edge) >= SEAT_MM:
        return True
    along = direction(edge)
    outward = np.array([along[1], -along[0]])
    return _falls_away(before, np.array(edge.start), outward) and _falls_away(after, np.array(edge.end), outward)


def _falls_away(f: Feature, corner: Array, outward: Array) -> bool:
    """Whether no end of a neighbour stands out over the edge."""
    ends = () if f.kind == "circle" else (f.start, f.end)
    return all(float((np.array(p) - corner) @ outward) < STANDS_OUT_MM for p in ends)
