"""Angles between edges, and lengths that lie neither level nor upright."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from calib.arrays import Array
from measure.dimensioning.gauging import crossing, shape_of
from measure.dimensioning.scheme.values import PlannedDimension
from measure.geometry.features import Feature, Line, Point, as_line, as_round
from measure.geometry.segments import segments
from measure.sheet.layout.board import Board, What, line_meets_box
from measure.sheet.layout.caption import Caption
from measure.sheet.layout.drawn import GAP_MM, INSIDE_MM, OVERSHOOT_MM, ROW_FIRST_MM, STUB_MM, Drawn
from measure.sheet.layout.ground import Ground
from measure.sheet.marks import LONG_DASH_DOT, NARROW, Fill, Mark, Path, arc, arrow, line, polylines

CROSSING = {What.OUTLINE: 5.0, What.CENTRE: 1.0, What.EXTENSION: 3.0, What.DIMENSION: 9.0, What.LEADER: 12.0}
RADII_MM = (10.0, 13.0, 16.0, 20.0, 24.0, 29.0, 35.0, 42.0, 50.0)


@dataclass(frozen=True, slots=True)
class _Leg:
    """One leg of an angle: a stretch of edge, or of a line between two centres."""

    start: Array
    end: Array
    drawn: bool  # an edge is drawn already, a line between centres is not


@dataclass(frozen=True, slots=True)
class _Built:
    """A way to draw a dimension, drawn."""

    marks: tuple[Mark, ...]
    boxes: Array
    points: tuple[Point, ...]
    text_at: Point
    angle_rad: float = 0.0
    letters: Array = field(default_factory=lambda: np.zeros((0, 5)))
    priced: int = 0  # how many of the first marks the variant's cost covers already


@dataclass(frozen=True, slots=True)
class _Variant:
    """A way to draw a dimension: what it costs by itself, and how to draw it."""

    cost: float
    build: Callable[[], _Built]


def lay_angle(
    wanted: PlannedDimension, caption: Caption, of: Mapping[str, Feature], ground: Ground, board: Board
) -> tuple[Drawn, float] | None:
    """Place an angle; None where there is no room."""
    first = of[wanted.stated.labels[0]]
    if wanted.stated.kind == "bearing":
        a, b = (as_round(of[x]).centre for x in wanted.stated.labels[1:])
        legs = (_edge(as_line(first)), _Leg(np.array(a), np.array(b), False))
    else:
        legs = (_edge(as_line(first)), _edge(as_line(of[wanted.stated.labels[1]])))
    return _best(wanted, caption, _angle_variants(wanted, caption, legs, board), ground, board)


def lay_aligned(wanted: PlannedDimension, caption: Caption, ground: Ground, board: Board) -> tuple[Drawn, float] | None:
    """Place a length along its own direction; None where there is no room."""
    return _best(wanted, caption, _aligned_variants(wanted, caption), ground, board)


def _edge(f: Line) -> _Leg:
    return _Leg(np.array(f.start), np.array(f.end), True)


def _best(
    wanted: PlannedDimension, caption: Caption, variants: Iterator[_Variant], ground: Ground, board: Board
) -> tuple[Drawn, float] | None:
    best: tuple[float, _Built] | None = None
    low, high = board.extent()
    for variant in sorted(variants, key=lambda t: t.cost):
        if best is not None and variant.cost >= best[0]:
            break
        t = variant.build()
        if not board.box_free(t.boxes).all():
            continue
        fresh = _lines(t.marks[t.priced :])
        if not board.line_free(fresh).all() or line_meets_box(_lines(t.marks, True), t.letters).any():
            continue
        cost = variant.cost + float(board.crossings(fresh, CROSSING).sum())
        corners = np.concatenate([t.boxes[:, :2] - t.boxes[:, 2:4], t.boxes[:, :2] + t.boxes[:, 2:4]])
        cost += 6.0 * bool(ground.within(corners).any())
        cost += 0.12 * float(np.maximum(low - corners.min(0), 0).sum() + np.maximum(corners.max(0) - high, 0).sum())
        if best is None or cost < best[0]:
            best = (cost, t)
    if best is None:
        return None
    t = best[1]
    for m in t.marks:
        if isinstance(m, Path):
            what = What.CENTRE if m.layer == "CENTRE" else What.EXTENSION if m is not t.marks[0] else What.DIMENSION
            board.draw(segments(polylines(m, 0.1)), what)
    board.write(t.boxes)
    board.tips = np.vstack([board.tips, *(m.points[0] for m in t.marks if isinstance(m, Fill))])
    return Drawn(wanted, caption, t.marks, t.points, t.text_at, t.angle_rad), best[0]


def _lines(marks: tuple[Mark, ...], all_of_them: bool = False) -> Array:
    """(n, 4) pieces of what is drawn, with or without centre lines."""
    paths = [m for m in marks if isinstance(m, Path) and (all_of_them or m.layer != "CENTRE")]
    return np.concatenate([np.zeros((0, 4)), *(segments(polylines(m, 0.1)) for m in paths)])


# ---------------------------------------------------------------- angles
def _angle_variants(
    wanted: PlannedDimension, caption: Caption, legs: tuple[_Leg, _Leg], board: Board
) -> Iterator[_Variant]:
    shapes = [shape_of(Line("", 0, _point(g.start), _point(g.end))) for g in legs]
    apex = np.array(crossing(*shapes))
    if not np.isfinite(apex).all():
        return
    value = math.radians(wanted.stated.value)
    for s, t in itertools.product((0.0, math.pi), (0.0, math.pi)):
        if not legs[1].drawn and t:
            continue  # towards the second centre only
        a, b = shapes[0].s + s, shapes[1].s + t
        turn = (b - a + math.pi) % (2 * math.pi) - math.pi
        if abs(abs(turn) - value) > math.radians(1.5):
            continue
        for radius in RADII_MM:
            yield from _arcs(caption, legs, apex, a, turn, radius, board)


def _arcs(
    caption: Caption, legs: tuple[_Leg, _Leg], apex: Array, first: float, turn: float, radius: float, board: Board
) -> Iterator[_Variant]:
    ends = [apex + radius * _unit(first), apex + radius * _unit(first + turn)]
    extensions, away, points = [], 0.0, []
    for leg, angle in zip(legs, (first, first + turn), strict=True):
        u = _unit(angle)
        along = sorted((float((leg.start - apex) @ u), float((leg.end - apex) @ u)))
        points += [_point(leg.start), _point(leg.end)]
        if not leg.drawn:
            reach = max(along[1], radius + 2)
            extensions.append(line(_point(apex), _point(apex + reach * u), "CENTRE", LONG_DASH_DOT.fitted(reach)))
            continue
        if along[0] - 0.5 <= radius <= along[1] + 0.5:
            continue
        near = along[1] + GAP_MM if radius > along[1] else along[0] - GAP_MM
        far = radius + math.copysign(OVERSHOOT_MM, radius - along[1])
        away += abs(far - near)
        extensions.append(line(_point(apex + near * u), _point(apex + far * u), "DIMENSIONS"))
    size = abs(turn) * radius
    outside = size < INSIDE_MM
    stub = STUB_MM / radius if outside else 0.0
    sign = math.copysign(1.0, turn)
    curve = arc(_point(apex), radius, first - sign * stub, turn + 2 * sign * stub, "DIMENSIONS")
    lean = math.asin(min(1.5 / radius, 0.5))  # an arrowhead lies along the chord that it covers
    heads: list[Fill] = []
    for p, angle, way in ((ends[0], first, -sign), (ends[1], first + turn, sign)):
        if outside:
            heads.append(arrow(_point(p), angle - way * (math.pi / 2 - lean)))
        else:
            heads.append(arrow(_point(p), angle + way * (math.pi / 2 - lean)))
    common: tuple[Mark, ...] = (curve, *extensions, *heads)
    if not board.line_free(_lines(common, True)).all():
        return
    base = 0.25 * away + 0.10 * radius + float(board.crossings(_lines(common), CROSSING).sum())
    middle = first + turn / 2
    room = caption.width_mm(False)
    on_arc = _point(apex + radius * _unit(middle))
    points = [*points, on_arc]
    if size > room + 2:
        yield _Variant(base, partial(_on_arc, caption, common, apex, radius, middle, tuple(points)))
    for stacked, reach, lean in itertools.product(
        (False, True) if caption.spread else (False,), (4.0, 7.0, 11.0, 16.0, 22.0), (0.0, 0.5, -0.5)
    ):
        foot = apex + radius * _unit(middle)
        elbow = foot + reach * _unit(middle + lean)
        cost = base + 1.5 + 0.2 * reach + 0.8 * stacked + abs(lean)
        yield _Variant(cost, partial(_on_shelf, caption, common, foot, elbow, stacked, tuple(points)))


def _on_arc(
    caption: Caption, common: tuple[Mark, ...], apex: Array, radius: float, middle: float, points: tuple[Point, ...]
) -> _Built:
    """The words along the arc's chord, just clear of it."""
    room = caption.width_mm(False)
    angle = _readable(middle - math.pi / 2)
    u = _unit(angle)
    v = np.array([-u[1], u[0]])
    start = apex + radius * _unit(middle) - room / 2 * u
    if float(v @ _unit(middle)) < 0:  # towards the apex, where the arc's ends stand above the chord through its middle
        start = start + (radius - math.sqrt(max(radius**2 - (room / 2) ** 2, 0.0))) * v
    boxes = caption.boxes(start[None], angle, False, 0.3)
    boxes[:, 3] -= 0.3
    marks = (*common, *caption.marks(_point(start), angle, False))
    letters = np.concatenate(caption.letter_boxes(start, False, 0.15, angle))
    text_at = _point(start + room / 2 * u + 2.5 * v)
    return _Built(marks, boxes, points, text_at, letters=letters, priced=len(common))


def _on_shelf(
    caption: Caption,
    common: tuple[Mark, ...],
    foot: Array,
    elbow: Array,
    stacked: bool,
    points: tuple[Point, ...],
) -> _Built:
    """The words on a shelf, joined to the arc by a short line."""
    room = caption.width_mm(stacked)
    across = np.array([room, 0.0])
    right = bool(elbow[0] >= foot[0])
    start = elbow if right else elbow - across
    end = elbow + across if right else start
    path = Path(tuple((float(x), float(y), 0.0) for x, y in (foot, elbow, end)), "DIMENSIONS", NARROW)
    marks = (*common, path, *caption.marks(_point(start), 0.0, stacked))
    boxes = caption.boxes(start[None], 0.0, stacked, 0.4)
    letters = np.concatenate(caption.letter_boxes(start, stacked, 0.25))
    text_at = (float(start[0] + room / 2), float(start[1] + 2.5))
    return _Built(marks, boxes, points, text_at, letters=letters, priced=len(common))


# ---------------------------------------------------------------- lengths in their own direction
def _aligned_variants(wanted: PlannedDimension, caption: Caption) -> Iterator[_Variant]:
    assert wanted.ends is not None
    u = _unit(_readable(wanted.direction_rad))
    angle = math.atan2(u[1], u[0])
    v = np.array([-u[1], u[0]])
    ends = sorted(wanted.ends, key=lambda e: float(np.mean([np.dot(p, u) for p in e.points])))
    at = [float(np.mean([np.dot(p, u) for p in e.points])) for e in ends]
    middle = sum(at) / 2
    low, high = middle - wanted.paper_mm / 2, middle + wanted.paper_mm / 2
    outside = high - low < INSIDE_MM
    stub = STUB_MM if outside else 0.0
    for side, away, stacked in itertools.product(
        (1.0, -1.0),
        (ROW_FIRST_MM, 14.0, 18.0, 24.0, 30.0, 38.0, 48.0, 60.0, 72.0),
        (False, True) if caption.spread else (False,),
    ):
        feet = []
        for e, t in zip(ends, (low, high), strict=True):
            p = max(e.points, key=lambda p: side * float(np.dot(p, v)))
            feet.append((t, float(np.dot(p, v)), e.clear_mm))
        h = side * max(side * f[1] for f in feet) + side * away
        room = caption.width_mm(stacked)
        lead = max(stub, 1.2) + 0.6
        starts = [(high + lead, low - stub, high + lead + room, 1.5)]
        starts.append((low - lead - room, low - lead - room, high + stub, 1.5))
        if high - low > room + 2.4:
            starts.insert(0, ((low + high - room) / 2, low - stub, high + stub, 0.0))
        for start, first, last, extra in starts:
            cost = extra + 0.15 * away + 0.8 * stacked
            build = partial(_aligned, caption, angle, stacked, side, h, start, (first, last), (low, high), tuple(feet))
            yield _Variant(cost, build)


def _aligned(
    caption: Caption,
    angle: float,
    stacked: bool,
    side: float,
    h: float,
    start: float,
    ends: tuple[float, float],
    between: tuple[float, float],
    feet: tuple[tuple[float, float, float], ...],
) -> _Built:
    u = _unit(angle)
    v = np.array([-u[1], u[0]])
    low, high = between
    outside = high - low < INSIDE_MM
    marks: list[Mark] = [line(_point(ends[0] * u + h * v), _point(ends[1] * u + h * v), "DIMENSIONS")]
    for t, foot, clear in feet:
        a, b = foot + side * clear, h + side * OVERSHOOT_MM
        if (b - a) * side > 0:
            marks.append(line(_point(t * u + a * v), _point(t * u + b * v), "DIMENSIONS"))
    marks.append(arrow(_point(low * u + h * v), angle + (0 if outside else math.pi)))
    marks.append(arrow(_point(high * u + h * v), angle + (math.pi if outside else 0)))
    p = start * u + h * v
    marks += caption.marks(_point(p), angle, stacked)
    points = (*(_point(t * u + f * v) for t, f, _ in feet), _point(high * u + h * v))
    text_at = _point((start + caption.width_mm(stacked) / 2) * u + (h + 2.5) * v)
    return _Built(tuple(marks), caption.boxes(p[None], angle, stacked, 0.3), points, text_at, angle)


def _readable(angle: float) -> float:
    """The direction, or its opposite, in which words are read from below or from the right."""
    a = (angle + math.pi) % (2 * math.pi) - math.pi
    if a > math.pi / 2 + 0.02:
        return a - math.pi
    return a + math.pi if a <= -math.pi / 2 + 0.02 else a


def _unit(angle: float) -> Array:
    return np.array([math.cos(angle), math.sin(angle)])


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
