"""Where a reading is taken, on paper: arrows where the jaws go, and the balloon with its number, clear of all else."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.features import Feature, Point
from measure.planning.planning import Suggestion
from measure.planning.spots import Spot
from measure.planning.spots import spots as spots_of
from measure.sheet.layout.board import Board, What
from measure.sheet.lettering import FIGURES_MM
from measure.sheet.marks import NARROW, WIDE, CircleMark, Mark, Text, arrow, line

BALLOON_MM = 3.6
CLEAR_MM = 0.6
"""Between a balloon and whatever else is written (chosen)."""
ON_LINE = (0.5, 0.35, 0.65, 0.2, 0.8)
"""Where on a line between two jaws a balloon may stand, the best first (chosen)."""
OFF_LINE_MM = (8.0, 12.0, 17.0, 24.0, 33.0, 45.0)
"""How far beside the line, where there is no room on it (chosen)."""
TURNS = 16
PRICES = {What.OUTLINE: 1.0, What.DIMENSION: 6.0, What.LEADER: 6.0}
"""What it costs to cross a line (chosen)."""
OVER_OUTLINE, OVER_ARROW, OUTWARD = 2.0, 30.0, 0.1
"""What it costs a balloon to lie over a line of the outline, over another reading's arrow, and to stand a millimetre
off its own (chosen)."""
NEXT_BEST = 0.5
"""What it costs an arrow not to be at the best place of its kind (chosen)."""

Frame = tuple[float, float, float, float]
"""Left, bottom, right and top, mm on paper."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a balloon may stand: its middle, and where its leader begins if it does not stand on its line."""

    at: Array
    foot: Array
    off: bool
    cost: float


def lay_arrows(features: Sequence[Feature], suggestions: Sequence[Suggestion], board: Board) -> dict[int, Spot]:
    """Where the jaws go for each reading, by its number from 1; the arrows are on the board then.

    Args:
        features: on paper.
        suggestions: numbered in this order.
        board: with the outline.
    """
    named = {f.label: f for f in features}
    chosen: dict[int, Spot] = {}
    rows = [(n, spots_of(s.kind, [named[x] for x in s.features])) for n, s in enumerate(suggestions, 1)]
    for n, spots in sorted(rows, key=lambda row: len(row[1])):  # whoever has the least choice comes first
        if spots:
            chosen[n] = _best_spot(spots, board)
            if chosen[n].both:
                board.draw(_line(chosen[n]), What.DIMENSION)
    return chosen


def lay_balloons(spots: Mapping[int, Spot], board: Board, room: Frame) -> list[Mark]:
    """Arrows with their numbered balloons; they are put on the board as well.

    Args:
        spots: of `lay_arrows`.
        board: with the outline, the arrows, and the labels that a reading needs.
        room: nothing leaves it.
    """
    marks: list[Mark] = []
    for n, spot in sorted(spots.items(), key=lambda row: _long(row[1])):  # a short arrow has the least room
        place = _best_place(spot, [s for m, s in spots.items() if m != n and s.both], board, room)
        marks += _drawn(n, spot, place, board)
    return marks


def _line(spot: Spot) -> Array:
    """(4,) from one end to the other."""
    return np.array([*spot.start, *spot.end])


def _long(spot: Spot) -> float:
    return float(np.hypot(*(spot.end - spot.start)))


def _best_spot(spots: Sequence[Spot], board: Board) -> Spot:
    """Where the arrows cross least."""
    lines = np.array([_line(s) for s in spots])
    cost = board.crossings(lines, PRICES)
    return spots[int(np.argmin(cost + NEXT_BEST * np.arange(len(spots))))]


def _best_place(spot: Spot, others: Sequence[Spot], board: Board, room: Frame) -> _Place:
    """The cheapest place where nothing written is touched; the cheapest at all where there is none such."""
    places = list(_places(spot))
    grown = BALLOON_MM + CLEAR_MM
    boxes = np.array([(*p.at, grown, grown, 0.0) for p in places])
    leaders = np.array([(*p.foot, *p.at) for p in places])
    outline, arrows, written = Board(), Board(), Board()
    outline.draw(board.lines[board.what == What.OUTLINE], What.OUTLINE)
    arrows.draw(np.array([_line(s) for s in others]).reshape(-1, 4), What.DIMENSION)
    arrows.draw(board.lines[board.what == What.LEADER], What.LEADER)
    written.write(board.boxes)
    cost = np.array([p.cost for p in places]) + outline.crossings(leaders, PRICES) + arrows.crossings(leaders, PRICES)
    cost += OVER_OUTLINE * ~outline.box_free(boxes) + OVER_ARROW * ~arrows.box_free(boxes)
    inside = (boxes[:, 0] - grown > room[0]) & (boxes[:, 1] - grown > room[1])
    inside &= (boxes[:, 0] + grown < room[2]) & (boxes[:, 1] + grown < room[3])
    free = inside & written.box_free(boxes) & written.line_free(leaders)
    return places[int(np.lexsort((cost, ~free))[0])]


def _places(spot: Spot) -> Iterator[_Place]:
    """Places for a spot's balloon: on its line, then beside it."""
    shares = ON_LINE if spot.both else (1.0,)
    angles = 2 * math.pi * np.arange(TURNS) / TURNS
    for k, t in enumerate(shares):
        foot = spot.start + t * (spot.end - spot.start)
        yield _Place(foot, foot if spot.both else spot.start, False, 0.2 * k)
        for far in OFF_LINE_MM:
            for a in angles:
                at = foot + far * np.array([math.cos(a), math.sin(a)])
                yield _Place(at, foot if spot.both else spot.start, True, 0.2 * k + 1 + OUTWARD * far)


def _drawn(number: int, spot: Spot, place: _Place, board: Board) -> list[Mark]:
    """A balloon with its arrows."""
    marks: list[Mark] = []
    at = place.at
    for end in (spot.start, spot.end) if spot.both else (spot.start,):
        begin, gap = (place.foot, 0.0) if place.off and spot.both else (at, BALLOON_MM)
        long = float(np.hypot(*(end - begin)))
        if long > gap:
            way = (end - begin) / long
            marks += [line(_point(begin + gap * way), _point(end), "DIMENSIONS", NARROW)]
            marks += [arrow(_point(end), math.atan2(way[1], way[0]))]
    if not spot.both:
        board.draw(np.array([*spot.start, *at]), What.LEADER)
    elif place.off:
        way = (place.foot - at) / float(np.hypot(*(place.foot - at)))
        marks.append(line(_point(at + BALLOON_MM * way), _point(place.foot), "DIMENSIONS", NARROW))
        board.draw(np.array([*at, *place.foot]), What.LEADER)
    marks.append(CircleMark(_point(at), BALLOON_MM, "DIMENSIONS", WIDE))
    marks.append(Text((float(at[0]), float(at[1]) - FIGURES_MM / 2), str(number), FIGURES_MM, "DIMENSIONS", "middle"))
    board.write(np.array([*at, BALLOON_MM, BALLOON_MM, 0.0]))
    return marks


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])
