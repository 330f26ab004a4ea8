"""Level and upright dimensions: on which side of the part, in which row, and where along the line their words stand.

All of them are laid out together by a beam search: dimensions from the shortest to the longest, each in the lowest row
that is free on either side, in several ways; the cheapest few arrangements are kept at each step.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from calib.arrays import Array
from measure.dimensioning.scheme.values import End, PlannedDimension
from measure.geometry.features import Point
from measure.geometry.segments import nearest, segments
from measure.sheet.layout.board import Board, What, corners, line_meets_line
from measure.sheet.layout.caption import Caption
from measure.sheet.layout.drawn import INSIDE_MM, OVERSHOOT_MM, ROW_FIRST_MM, ROW_STEP_MM, STUB_MM, Drawn
from measure.sheet.marks import ARROW_MM, Mark, Path, arrow, line, polylines

BEAM = 6
ROWS = 10
ROOMY_MM = 8.0
"""Words that leave this much of their line free stand between the arrowheads, in one line."""
NO_ROOM = 60.0
"""Price of a dimension that finds no place."""
CLEAR_ALONG = 0.8
CLEAR_ACROSS = 0.3
"""Half the least distance between words and anything else, along their line and square to it."""


class Rect(NamedTuple):
    """An upright rectangle on the board: words (0), a dimension line (1) or an extension line (2)."""

    x0: float
    y0: float
    x1: float
    y1: float
    what: int


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to draw a dimension."""

    upper: bool  # above or right of the part
    row: int
    stacked: bool
    start: float  # of the words, along the line
    first: float  # ends of the line with its stubs
    last: float
    cost: float
    rects: tuple[Rect, ...]


@dataclass(frozen=True, slots=True)
class _DimensionToPlace:
    """A dimension to be laid out, in its own terms: along the line, and away from the part."""

    wanted: PlannedDimension
    caption: Caption
    upright: bool  # measured upright
    low: float
    high: float
    feet: tuple[tuple[Point, float], tuple[Point, float]] = field(compare=False)  # for the lower side
    feet_upper: tuple[tuple[Point, float], tuple[Point, float]] = field(compare=False)
    crossed: tuple[float, float]  # cost of extension lines that cross the outline, lower and upper side


def lay_linear(
    wanted: Sequence[tuple[PlannedDimension, Caption]], outline: Array, board: Board
) -> tuple[list[Drawn], list[PlannedDimension], float]:
    """Place level and upright dimensions.

    Args:
        wanted: dimensions with their words.
        outline: (n, 4) pieces of the part's boundary.
        board: what lies there already; the dimensions are drawn on it.

    Returns:
        Those that found a place, those that did not, and the price of the arrangement.
    """
    points = outline.reshape(-1, 2)
    low, high = points.min(0), points.max(0)
    tasks = [_task(w, c, outline, low, high) for w, c in wanted]
    tasks.sort(key=lambda t: (t.upright, t.wanted.auxiliary, round(t.high - t.low, 1)))
    price, ways = _beam(tasks, _taken(board), low, high, {})
    for upright in (False, True):  # words beside short dimensions block the way of longer ones: gather them on one side
        if any(w is None and t.upright == upright for t, w in zip(tasks, ways, strict=True)):
            more = (_beam(tasks, _taken(board), low, high, {upright: upper}) for upper in (False, True))
            price, ways = min([(price, ways), *more], key=lambda way: way[0])
    drawn, failed = [], []
    for task, way in zip(tasks, ways, strict=True):
        if way is None:
            failed.append(task.wanted)
            continue
        d = _draw(task, way, low, high)
        drawn.append(d)
        for m in d.marks:
            if isinstance(m, Path):
                what = What.DIMENSION if m is d.marks[0] else What.EXTENSION
                board.draw(segments(polylines(m)), what)
        start = _at(task, way.start, _line_at(task, way.upper, way.row, low, high))
        board.write(task.caption.boxes(np.array([start]), math.pi / 2 if task.upright else 0.0, way.stacked, 0.3))
    return drawn, failed, price


def _beam(
    tasks: Sequence[_DimensionToPlace], taken: tuple[Rect, ...], low: Array, high: Array, gathered: Mapping[bool, bool]
) -> tuple[float, tuple[_Way | None, ...]]:
    """The cheapest arrangement found, and its price.

    Args:
        tasks: in the order in which they are placed.
        taken: what lies there already.
        low, high: (2,) corners of the part.
        gathered: for level (False) or upright (True) dimensions, the only side on which words may stand beside a
            dimension.
    """
    states: list[tuple[float, tuple[Rect, ...], tuple[_Way | None, ...]]] = [(0.0, taken, ())]
    for task in tasks:
        only = gathered.get(task.upright)
        grown = []
        for cost, rects, ways in states:
            grown.append((cost + NO_ROOM, rects, (*ways, None)))
            options = _ways(task, rects, low, high, only)
            grown += [(cost + w.cost, rects + w.rects, (*ways, w)) for w in options]
        grown.sort(key=lambda s: s[0])
        states = grown[:BEAM]
    return states[0][0], states[0][2]


def _taken(board: Board) -> tuple[Rect, ...]:
    """What lies on the board besides the outline and centre lines, as upright rectangles."""
    out = []
    for c in corners(board.boxes):
        (x0, y0), (x1, y1) = c.min(0).tolist(), c.max(0).tolist()
        out.append(Rect(x0, y0, x1, y1, 0))
    for (x0, y0, x1, y1), what in zip(board.lines.tolist(), board.what.tolist(), strict=True):
        if what > What.CENTRE:
            out.append(Rect(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1), 2 if what == What.EXTENSION else 1))
    return tuple(out)


def crossing_cost(w: PlannedDimension, c: Caption, outline: Array) -> float:
    """What it costs at least to bring a dimension's extension lines out of the part."""
    points = outline.reshape(-1, 2)
    return min(_task(w, c, outline, points.min(0), points.max(0)).crossed)


def _task(w: PlannedDimension, c: Caption, outline: Array, low: Array, high: Array) -> _DimensionToPlace:
    upright = abs(math.sin(w.direction_rad)) > 0.7
    k = 1 if upright else 0
    assert w.ends is not None
    at = [float(np.mean([p[k] for p in e.points])) for e in w.ends]
    ends = w.ends if at[0] <= at[1] else w.ends[::-1]
    middle = sum(at) / 2
    first, last = middle - w.paper_mm / 2, middle + w.paper_mm / 2
    sides, crossed = [], []
    for upper in (False, True):
        feet = tuple(_foot(e, t, k, upper, outline) for e, t in zip(ends, (first, last), strict=True))
        sides.append(feet)
        crossed.append(_crossing_cost(feet, k, upper, outline, low, high))
    return _DimensionToPlace(w, c, upright, first, last, sides[0], sides[1], (crossed[0], crossed[1]))  # type: ignore[arg-type]


def _foot(end: End, t: float, k: int, upper: bool, outline: Array) -> tuple[Point, float]:
    """The place nearest to a side where an extension line may start, moved onto the dimension's end, and its gap.

    Past the end of an edge the line starts only where it stands clear of the fillet that follows.
    """
    p = (max if upper else min)(end.points, key=lambda p: p[1 - k])
    foot = (t, p[1]) if k == 0 else (p[0], t)
    if len(end.points) < 2:
        return foot, end.clear_mm
    gaps = np.arange(end.clear_mm, end.clear_mm + 10, 0.25)
    starts = np.tile(foot, (len(gaps), 1))
    starts[:, 1 - k] += gaps if upper else -gaps
    clear = np.flatnonzero(nearest(starts, outline)[2] >= 0.95 * end.clear_mm)
    return foot, float(gaps[clear[0]]) if len(clear) else end.clear_mm


def _crossing_cost(
    feet: Sequence[tuple[Point, float]], k: int, upper: bool, outline: Array, low: Array, high: Array
) -> float:
    rim = float((high if upper else low)[1 - k])
    sign = 1 if upper else -1
    cost = 0.0
    for p, clear in feet:
        a = p[1 - k] + sign * min(clear, 1.0)
        run = (rim - a) * sign
        if run <= 0:
            continue
        b = rim + sign
        ray = np.array([[p[0], a, p[0], b]]) if k == 0 else np.array([[a, p[1], b, p[1]]])
        cost += 0.1 * run + 1.8 * int(line_meets_line(ray, outline).sum())
    return cost


def _line_at(task: _DimensionToPlace, upper: bool, row: int, low: Array, high: Array) -> float:
    """Where the dimension line lies, square to itself."""
    k = 0 if task.upright else 1
    away = ROW_FIRST_MM + row * ROW_STEP_MM
    return float(high[k] + away) if upper else float(low[k] - away)


def _at(task: _DimensionToPlace, t: float, line_at: float, above: float = 0.0) -> Point:
    """Point at t along the line and above it, as it is read."""
    return (line_at - above, t) if task.upright else (t, line_at + above)


def _rect(task: _DimensionToPlace, t0: float, t1: float, line_at: float, below: float, above: float, what: int) -> Rect:
    if task.upright:
        return Rect(line_at - above, t0, line_at + below, t1, what)
    return Rect(t0, line_at - below, t1, line_at + above, what)


def _ways(
    task: _DimensionToPlace, rects: Sequence[Rect], low: Array, high: Array, beside_only: bool | None = None
) -> Iterator[_Way]:
    """Free ways to draw a dimension among what is placed, each in its lowest row."""
    span = task.high - task.low
    outside = span < INSIDE_MM
    stub = STUB_MM if outside else 0.0
    for upper in (False, True):
        base = task.crossed[upper] + (0.3 if upper else 0.0)
        for stacked in (False, True) if task.caption.spread else (False,):
            if stacked and span - task.caption.width_mm(False) > ROOMY_MM:
                continue
            room = task.caption.width_mm(stacked)
            for start, first, last, cost in _starts(task, span, room, stub):
                if beside_only not in (None, upper) and not task.low <= start <= task.high:
                    continue
                for row in range(ROWS):
                    way = _way(task, upper, row, stacked, start, first, last, base + cost, rects, low, high)
                    if way is not None:
                        yield way
                        break


def _starts(
    task: _DimensionToPlace, span: float, room: float, stub: float
) -> Iterator[tuple[float, float, float, float]]:
    """Starts of the words with the line's ends and what the place costs."""
    low, high = task.low, task.high
    first, last = low - stub, high + stub
    slack = span - room - 2 * 1.2
    if slack >= 0:
        yield low + (span - room) / 2, first, last, 0.0
        if slack > ROOMY_MM:
            yield low + 1.2 + ARROW_MM, first, last, 0.5
            yield high - 1.2 - ARROW_MM - room, first, last, 0.5
            return
    lead = max(stub, 1.2) + 0.6
    yield high + lead, first, high + lead + room, 1.6
    yield low - lead - room, low - lead - room, last, 1.6


def _way(
    task: _DimensionToPlace,
    upper: bool,
    row: int,
    stacked: bool,
    start: float,
    first: float,
    last: float,
    cost: float,
    rects: Sequence[Rect],
    low: Array,
    high: Array,
) -> _Way | None:
    at = _line_at(task, upper, row, low, high)
    below, above = task.caption.height_mm(stacked)
    room = task.caption.width_mm(stacked)
    words = _rect(
        task, start - CLEAR_ALONG, start + room + CLEAR_ALONG, at, below + CLEAR_ACROSS, above + CLEAR_ACROSS, 0
    )
    along = _rect(task, first + 0.2, last - 0.2, at, 0.5, 0.5, 1)
    mine = [words, along]
    sign = 1 if upper else -1
    for p, clear in task.feet_upper if upper else task.feet:
        k = 1 if task.upright else 0
        a, b = p[1 - k] + sign * clear, at + sign * OVERSHOOT_MM
        if (b - a) * sign <= 0:
            a = b - sign * OVERSHOOT_MM
        t = p[k]
        a, b = min(a, b), max(a, b)
        mine.append(Rect(a, t, b, t, 2) if task.upright else Rect(t, a, t, b, 2))
    extra = _touching(mine, rects)
    if extra is None:
        return None
    cost += 0.9 * row + (0.7 if stacked else 0.0) + extra
    return _Way(upper, row, stacked, start, first, last, cost, tuple(mine))


def _touching(mine: Sequence[Rect], others: Sequence[Rect]) -> float | None:
    """Price of lines that cross, or None where words would be touched or dimension lines meet."""
    cost = 0.0
    for ax0, ay0, ax1, ay1, a in mine:
        for bx0, by0, bx1, by1, b in others:
            if a == b == 0 and ax0 <= bx1 and bx0 <= ax1 and ay0 <= by1 + 1 and by0 <= ay1 + 1:
                cost += 1.0  # words close above each other look crowded
            if ax0 > bx1 or bx0 > ax1 or ay0 > by1 or by0 > ay1:
                continue
            if a == 0 or b == 0 or a == b == 1:
                return None
            if a + b == 3:
                cost += 4.0
            elif (ax0 == ax1) != (bx0 == bx1):
                cost += 0.6
    return cost


def _draw(task: _DimensionToPlace, way: _Way, low: Array, high: Array) -> Drawn:
    at = _line_at(task, way.upper, way.row, low, high)
    sign = 1 if way.upper else -1
    angle = math.pi / 2 if task.upright else 0.0
    outside = task.high - task.low < INSIDE_MM
    marks: list[Mark] = [line(_at(task, way.first, at), _at(task, way.last, at), "DIMENSIONS")]
    feet = task.feet_upper if way.upper else task.feet
    for p, clear in feet:
        k = 1 if task.upright else 0
        a, b = p[1 - k] + sign * clear, at + sign * OVERSHOOT_MM
        if (b - a) * sign > 0:
            q, r = ((a, p[1]), (b, p[1])) if task.upright else ((p[0], a), (p[0], b))
            marks.append(line(q, r, "DIMENSIONS"))
    marks.append(arrow(_at(task, task.low, at), angle + (0 if outside else math.pi)))
    marks.append(arrow(_at(task, task.high, at), angle + (math.pi if outside else 0)))
    start = _at(task, way.start, at)
    marks += task.caption.marks(start, angle, way.stacked)
    text_at = _at(task, way.start + task.caption.width_mm(way.stacked) / 2, at, 2.5)
    points = (feet[0][0], feet[1][0], _at(task, task.high, at))
    return Drawn(task.wanted, task.caption, tuple(marks), points, text_at, angle)
