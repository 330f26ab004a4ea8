"""The whole view: outline, centre lines, dimensions, leaders and labels, each where it touches nothing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from calib.arrays import Array
from calib.languages import ENGLISH
from measure.dimensioning.scheme.values import CIRCLES, Plan, PlannedDimension
from measure.geometry.features import COARSE_MM, Feature, as_line, by_loop, flatten
from measure.geometry.polylines import closed
from measure.geometry.segments import segments
from measure.sheet.layout.angles import lay_aligned, lay_angle
from measure.sheet.layout.board import Board, State, What
from measure.sheet.layout.caption import Caption, caption
from measure.sheet.layout.centre_lines import centre_lines
from measure.sheet.layout.drawn import Drawn
from measure.sheet.layout.ground import Ground
from measure.sheet.layout.labels import lay_labels
from measure.sheet.layout.leaders import lay_leader
from measure.sheet.layout.linear import NO_ROOM, crossing_cost, lay_linear
from measure.sheet.marks import THIN, CircleMark, Mark, Path, line, polyline, polylines

CHEAP = 9.0
"""Price up to which a leader lies well."""
DEAR = 13.0
"""Price from which on a leader lies badly."""
MISSED = 1000.0
"""Price of an overall size that finds no room: any other has to give way."""
OVERALL_MM = 0.3
"""A size that comes so near to the part's own is overall, as where dimensions are chosen."""
FAR_OUT = 6.0
"""Price of extension lines from which on a leader is the better way to tell a slot's width."""


@dataclass(frozen=True, slots=True)
class PartView:
    """A part with its dimensions, in the drawing's frame.

    Attributes:
        drawn: the dimensions that found a place.
        marks: centre lines, labels and construction lines.
        listed: dimensions for which there was no room, to be given in a table.
        unlabelled: labels for which there was no room.
        low, high: (2,) corners of all that is drawn.
    """

    drawn: tuple[Drawn, ...]
    marks: tuple[Mark, ...]
    listed: tuple[PlannedDimension, ...]
    unlabelled: tuple[str, ...]
    low: Array
    high: Array


def arrange(
    plan: Plan,
    decimal_mark: str = ".",
    extra: tuple[Feature, ...] = (),
    thin: tuple[Feature, ...] = (),
    language: str = ENGLISH,
) -> PartView:
    """Lay out a dimensioning.

    Args:
        plan: what to state.
        decimal_mark: in the figures.
        extra: more features to keep clear of, such as a fracture beside the completed outline.
        thin: lines across thin places, to be drawn and labelled.
        language: of the words beside figures.
    """
    of = {f.label: f for f in plan.features}
    board = Board()
    loops = [np.concatenate([flatten(f, COARSE_MM)[:-1] for f in fs]) for fs in by_loop(plan.features).values()]
    outline = np.concatenate([segments(closed(p)) for p in loops])
    ground = Ground(loops)
    board.draw(outline, What.OUTLINE)
    for f in extra:
        board.draw(segments(flatten(f, COARSE_MM)), What.OUTLINE)
    marks = [*centre_lines(plan), *_corner_lines(plan, of), *(polyline(flatten(f), "THIN", THIN) for f in thin)]
    for m in marks:
        if isinstance(m, Path | CircleMark):
            board.draw(segments(polylines(m, 0.1)), What.CENTRE)

    say = partial(caption, decimal_mark=decimal_mark, language=language)
    worded = [_noted(w, say(w), outline, say) for w in plan.wanted]
    drawn, listed = _lay(plan, worded, outline, ground, board, of)
    names, unlabelled = [], []
    for named in (thin, plan.named):
        written, left = lay_labels(named, board)
        names += written
        unlabelled += left
    low, high = board.extent()
    return PartView(tuple(drawn), (*marks, *names), tuple(listed), tuple(unlabelled), low, high)


def _lay(
    plan: Plan,
    worded: list[tuple[PlannedDimension, Caption]],
    outline: Array,
    ground: Ground,
    board: Board,
    of: dict[str, Feature],
) -> tuple[list[Drawn], list[PlannedDimension]]:
    """Place all dimensions on a board; those that found room, and those that did not."""
    middles = {labels: at for at, labels in plan.pitches}
    square = [(w, c) for w, c in worded if w.form == "linear" and _is_square(w)]
    slanting = [(w, c) for w, c in worded if w.form == "angle" or (w.form == "linear" and not _is_square(w))]
    order = {"tips": 0, "roots": 0, "pitch": 1, "slot": 2, "diameter": 2, "radius": 3}
    late = [(w, c) for w, c in worded if w.form in order]
    late.sort(key=lambda e: (order[e[0].form], -len(e[0].members)))

    def lay(w: PlannedDimension, c: Caption) -> tuple[Drawn, float] | None:
        if w.form == "linear":
            return lay_aligned(w, c, ground, board)
        if w.form == "angle":
            return lay_angle(w, c, of, ground, board)
        of_teeth = plan.turning.centre_mm if plan.turning and w.form in CIRCLES else None
        return lay_leader(w, c, of, ground, board, of_teeth or middles.get(w.members))

    start = board.state()
    ways = []
    for slanting_first in (False, True):
        board.restore(start)
        before = [lay(w, c) for w, c in slanting] if slanting_first else []
        placed, failed, price = lay_linear(square, outline, board)
        turned = before or [lay(w, c) for w, c in slanting]
        price += sum(NO_ROOM if d is None else d[1] for d in turned)
        price += sum(MISSED for w in failed if _spans(w, outline))
        ways.append((price, [*placed, *(d[0] for d in turned if d is not None)], board.state(), failed, turned))
        if all(d is not None and d[1] < CHEAP for d in turned) and not any(_spans(w, outline) for w in failed):
            break  # they lie well although they came last, or there are none
    _, drawn, state, failed, turned = min(ways, key=lambda way: way[0])
    board.restore(state)

    found = _in_order(late, board, lay)
    if max((_price(f) for f in found), default=0.0) > DEAR:  # once more, those that lay badly first
        first, as_laid = found, board.state()
        hardest = sorted(range(len(late)), key=lambda i: -_price(first[i]))
        board.restore(state)
        again = _in_order([late[i] for i in hardest], board, lay)
        if sum(map(_price, again)) < sum(map(_price, first)):
            late, found = [late[i] for i in hardest], again
        else:
            board.restore(as_laid)
    listed = [*failed, *(w for (w, _), d in zip([*slanting, *late], [*turned, *found], strict=True) if d is None)]
    return [*drawn, *(d[0] for d in found if d is not None)], listed


Found = tuple[Drawn, float] | None
Lay = Callable[[PlannedDimension, Caption], Found]


def _price(found: Found) -> float:
    return NO_ROOM if found is None else found[1]


def _in_order(wanted: list[tuple[PlannedDimension, Caption]], board: Board, lay: Lay) -> list[Found]:
    """Leaders one after the other; the dearest are then taken up once more, now that all the others lie."""
    base = board.state()
    found: list[Found] = []
    pieces: list[State] = []
    for w, c in wanted:
        before = board.state()
        found.append(lay(w, c))
        pieces.append(State.between(before, board.state()))
    for i in sorted(range(len(found)), key=lambda i: -_price(found[i]))[:3]:
        if _price(found[i]) < CHEAP:
            break
        board.restore(base, [p for j, p in enumerate(pieces) if j != i])
        before = board.state()
        new = lay(*wanted[i])
        if new is not None:
            found[i], pieces[i] = new, State.between(before, board.state())
    board.restore(base, pieces)
    return found


def _noted(
    w: PlannedDimension, c: Caption, outline: Array, say: Callable[[PlannedDimension], Caption]
) -> tuple[PlannedDimension, Caption]:
    """A slot's width goes on a leader where its extension lines would run through other features."""
    if w.form == "linear" and w.members and (not _is_square(w) or crossing_cost(w, c, outline) > FAR_OUT):
        w = replace(w, form="slot")
        return w, say(w)
    return w, c


def _spans(w: PlannedDimension, outline: Array) -> bool:
    """Whether a dimension tells the overall size."""
    points = outline.reshape(-1, 2)
    k = 1 if abs(math.sin(w.direction_rad)) > 0.7 else 0
    return bool(w.paper_mm > np.ptp(points[:, k]) - OVERALL_MM)


def _is_square(w: PlannedDimension) -> bool:
    return min(abs(math.sin(w.direction_rad)), abs(math.cos(w.direction_rad))) < 0.02


def _corner_lines(plan: Plan, of: dict[str, Feature], beyond_mm: float = 1.5) -> list[Mark]:
    """Edges drawn on, narrow, to the theoretical corners that dimensions refer to."""
    out: list[Mark] = []
    done = set()
    for w in plan.wanted:
        for end in w.ends or ():
            for label in end.corner or ():
                f, corner = as_line(of[label]), np.array(end.points[0])
                p, q = sorted((np.array(f.start), np.array(f.end)), key=lambda e: float(np.hypot(*(e - corner))))
                gap = p - q
                u = gap / max(float(np.hypot(*gap)), 1e-9)
                if (corner - p) @ u < 0.3 or (label, end.points[0]) in done:
                    continue
                done.add((label, end.points[0]))
                far = corner + beyond_mm * u
                out.append(line((float(p[0]), float(p[1])), (float(far[0]), float(far[1])), "DIMENSIONS"))
    return out
