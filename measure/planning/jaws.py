"""Where the jaws of the caliper go for a reading, as plain bars that touch the outline at the points that are read.

Outside jaws lie beyond both points, inside jaws between them, pushed apart. The height of a part is taken with one jaw
over an edge and the other below it; the depth of a seat with the rod, the caliper's end laid over the rim.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.arrays import Array
from calib.tools.at_hand import AtHand
from measure.geometry.features import Feature, Line, as_round, direction, is_round, length, middle, right_normal
from measure.planning.reach import POCKET
from measure.planning.spots import Spot, spots
from measure.subject import Subject

LONG_MM = 9.0
"""Of a jaw along what it touches (common practice: the jaws of a pocket caliper seen from above)."""
OF_EDGE, OF_ROUND, OF_GAP = 0.8, 0.5, 0.3
"""A bar is no longer than this share of the edge that it touches or of the radius of the round, and no thicker than
this share of the gap that it is in: it has to stay on what it touches (chosen)."""
OVER_MM, OUT_MM = 6.0, 5.0
"""How far a jaw reaches over the part where its height is taken, and how far it stands out (chosen)."""

Level = Literal["upper", "lower"]


@dataclass(frozen=True, slots=True)
class Bar:
    """One jaw, seen from above.

    Attributes:
        corners: (4, 2) in the features' frame.
        at: (2,) the point of the outline that it touches.
        along: (2,) unit direction of the outline there, in its sense of travel.
        loop: of the outline.
        level: at which edge of the wall it lies where it touches no wall; a jaw on a wall is where the wall is seen.
        on_wall: whether it touches a wall.
    """

    corners: Array
    at: Array
    along: Array
    loop: int
    level: Level = "upper"
    on_wall: bool = True


def jaw_bars(
    kind: str,
    features: Sequence[Feature],
    outline: Sequence[Feature],
    subject: Subject = "part",
    caliper: AtHand = POCKET,
    *,
    spot: Spot | None = None,
    share: float = 1.0,
) -> tuple[Bar, ...]:
    """The jaws of a reading; none of a radius, which a gauge's leaf takes.

    Args:
        kind: of the reading.
        features: that it names.
        outline: all features.
        subject: part or opening.
        caliper: that it is taken with.
        spot: where it is taken; the best place by default.
        share: of their true size, where the outline is not at its own.
    """
    if kind == "thickness":
        return _over_an_edge(outline, subject, caliper, share)
    places = [spot] if spot else spots(kind, features)
    if kind == "radius" or not places:
        return ()
    begin, end = places[0].start, places[0].end
    apart = float(np.hypot(*(end - begin)))
    if apart <= 0:
        return ()
    way = (end - begin) / apart
    inside = kind in ("gap", "bore", "span")
    thick = share * (caliper.inside_mm / 2 if inside else caliper.tip_mm)
    if inside:
        thick = min(thick, OF_GAP * apart)
    touched = (features[0], features[-1]) if len(features) > 1 else (features[0], features[0])
    if kind in ("web", "span") and not is_round(features[0]):
        touched = touched[::-1]  # a place begins at the round one
    bars = []
    for at, towards, f in ((begin, way, touched[0]), (end, -way, touched[1])):
        bars.append(_bar(at, towards if inside else -towards, f, kind, thick, share * LONG_MM))
    return tuple(bars)


def _bar(at: Array, away: Array, f: Feature, kind: str, thick_mm: float, long_mm: float) -> Bar:
    """A bar from the point that it touches on."""
    if is_round(f):
        radius = as_round(f).radius
        long_mm = min(long_mm, 2 * OF_ROUND * radius) if kind != "boss" else long_mm
        thick_mm = min(thick_mm, radius) if kind in ("web", "span") else thick_mm
    else:
        long_mm = min(long_mm, OF_EDGE * length(f))
    side = np.array([-away[1], away[0]])
    half = long_mm / 2 * side
    corners = np.array([at - half, at + half, at + half + thick_mm * away, at - half + thick_mm * away])
    return Bar(corners, at, _along(f, at), f.loop)


def _along(f: Feature, at: Array) -> Array:
    """(2,) sense of travel at a point of a line, arc or circle."""
    if isinstance(f, Line):
        return direction(f)
    f = as_round(f)
    x, y = at - np.array(f.centre)
    far = max(float(np.hypot(x, y)), 1e-9)
    left = f.turn == "ccw" if f.kind == "arc" else f.loop == 0
    return np.array([-y, x]) / far if left else np.array([y, -x]) / far


def _over_an_edge(outline: Sequence[Feature], subject: Subject, caliper: AtHand, share: float) -> tuple[Bar, ...]:
    """A jaw over the longest straight edge and one below it; of an opening the caliper's end over it, and the rod."""
    outside = [f for f in outline if f.loop == 0 and f.origin == "seen"]
    lines = [f for f in outside if isinstance(f, Line)]
    if lines:
        edge = max(lines, key=length)
        at, along, out = middle(edge), direction(edge), right_normal(edge)
        loop = edge.loop
    else:
        rounds = [f for f in outside if is_round(f)]
        if not rounds:
            return ()
        f = max(rounds, key=length)
        place = spots("boss", [f])[0]
        at, loop = place.end, f.loop
        along = _along(f, at)
        out = np.array([along[1], -along[0]])
    if subject == "opening":
        rod = share * caliper.inside_mm
        beam = _across_edge(at, along, out, 3 * rod, -rod, share * OUT_MM)
        end = _across_edge(at, along, out, rod, -rod, 0.0)
        return Bar(beam, at, along, loop, "upper", False), Bar(end, at, along, loop, "lower", False)
    wide = share * caliper.tip_mm
    jaw = _across_edge(at, along, out, wide, -share * OVER_MM, share * OUT_MM)
    return Bar(jaw, at, along, loop, "upper", False), Bar(jaw, at, along, loop, "lower", False)


def _across_edge(at: Array, along: Array, out: Array, wide: float, inward: float, outward: float) -> Array:
    """(4, 2) a bar square to an edge, from so far inside to so far outside."""
    half = wide / 2 * along
    return np.array(
        [
            at - half + inward * out,
            at + half + inward * out,
            at + half + outward * out,
            at - half + outward * out,
        ]
    )
