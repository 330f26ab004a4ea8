"""A break filled by the image of its intact counterpart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from calib.arrays import Array
from calib.words import Words
from measure.broken.breaks import Break, outer
from measure.broken.completion.assembling import assembled
from measure.broken.completion.checking import OUTSIDE_MM
from measure.broken.completion.outcome import Completed, NotCompleted
from measure.broken.completion.pieces import CompletedPiece, as_one, longer, seen, shorter, weighed
from measure.broken.repetition import SHORT_MM, WIDEST, Repetition
from measure.geometry.features import (
    FINE_MM,
    PARAMETERS,
    Arc,
    Estimate,
    Feature,
    Line,
    as_line,
    between,
    direction,
    flatten,
    length,
    right_normal,
    same_kind,
)
from measure.geometry.rejoin import joints

LEAST_ASYMMETRY_MM = 0.03
"""However well the rest agrees, a copy is less sure than what was seen by at least this."""
OWN_SHARE = 0.5
"""Of that, what each copied piece has for itself, beside what the stretch has as a whole."""

TOUCH_MM = 0.005
"""How far chords may lie from the arc that a copy's end is held against (chosen)."""
TURN_FACTOR, SHORTEST_MM = 12, 1.0
"""Variance of a line's turn, in that of its place over its length's square: Σx² of points along it is n L² / 12
(arithmetic); and the least length that is reckoned with."""
REACH_MM, REACH_SHARE = 1.0, 0.3
"""A cut feature is held against its counterpart so far from its end, and at this share from either end (chosen)."""


def copied(estimate: Estimate, which: Break, others: Sequence[Break], found: Repetition) -> Completed | NotCompleted:
    """The break filled by the image of its intact counterpart."""
    loop = outer(estimate.features)
    open_now = {i for b in others for i in b.members()}
    ends: list[int] = []
    for before in (True, False):
        for _ in range(WIDEST + 1):
            at = which.before() if before else which.after()
            partner = _partner(loop, which, loop[at], before, found, open_now)
            if partner is not None:
                ends.append(partner)
                break
            if length(loop[at]) > SHORT_MM or which.count + 3 > which.of:
                return NotCompleted(Words("{label}, beside the break, has no counterpart", label=loop[at].label))
            which = which.wider(before)
        else:
            return NotCompleted(Words("the pieces beside the break have no counterpart"))
    first, last = ends
    n, way = len(loop), -1 if found.placing.way == "mirror" else 1
    between = [(first + way * i) % n for i in range(1, (way * (last - first)) % n)]
    if set(between) & (set(which.members()) | open_now):
        return NotCompleted(Words("its counterpart is broken too"))
    return _filled(estimate, which, found, first, between, last)


def _partner(
    loop: Sequence[Feature], which: Break, f: Feature, before: bool, found: Repetition, open_now: set[int]
) -> int | None:
    """The position of the feature whose image goes on where f is cut; None where there is none of its kind."""
    if f.kind not in ("line", "arc"):
        return None
    back = found.placing.back()
    size = length(f)
    reach = min(REACH_MM, REACH_SHARE * size) / size
    p = back.of(_at_share(f, np.array([1 - reach if before else reach, 1 - REACH_SHARE if before else REACH_SHARE])))
    best: tuple[float, int | None] = (OUTSIDE_MM, None)
    for i, g in enumerate(loop):
        if i in which.members() or i in open_now or not same_kind(f, g):
            continue
        image = found.placing.motion.of(g)
        if f.kind == image.kind == "line" and direction(image) @ direction(f) < 0:
            continue
        path = shapely.LineString(flatten(g, TOUCH_MM))
        off = max(path.distance(shapely.Point(q)) for q in p[:1])
        if off < best[0]:
            best = (off, i)
    return best[1]


def _at_share(f: Feature, t: Array) -> Array:
    line = shapely.LineString(flatten(f, FINE_MM))
    return np.array([line.interpolate(float(x), normalized=True).coords[0] for x in t])


def _filled(
    estimate: Estimate, which: Break, found: Repetition, first: int, between: Sequence[int], last: int
) -> Completed | NotCompleted:
    loop, m, slices = outer(estimate.features), len(estimate.white), estimate.slices()
    b, a = loop[which.before()], loop[which.after()]
    if not isinstance(b, Line | Arc) or not isinstance(a, Line | Arc):
        raise TypeError(f"{b.label} and {a.label} have no counterpart that goes on")
    chain = [first, *between, last] if between or first != last else [first]
    extra = 2 + sum(PARAMETERS[loop[i].kind] for i in chain)
    asymmetry = max(found.rms_mm, LEAST_ASYMMETRY_MM)
    variance = [asymmetry**2] * 2  # the stretch as a whole, along x and y; then each piece's own
    copies: list[CompletedPiece] = []
    of_joint = {(j.first, j.second): j.tangent for j in joints(loop)}
    n = len(loop)
    for k, i in enumerate(chain):
        g = loop[i]
        own, by = found.placing.of_parameters(g)
        rows = np.zeros((PARAMETERS[g.kind], m + extra))
        rows[:, slices[g.label]] = own
        rows[:, :m] += by @ found.response
        image = found.placing.motion.of(g)
        if g.kind == "line":
            rows[0, m : m + 2] = right_normal(as_line(image))
        elif g.kind != "curve":
            rows[:2, m : m + 2] = np.eye(2)
        for j in range(PARAMETERS[g.kind]):
            rows[j, m + len(variance)] = 1.0
            turn = g.kind == "line" and j == 1
            by_place = TURN_FACTOR / max(length(g), SHORTEST_MM) ** 2 if turn else 1.0
            variance.append((OWN_SHARE * asymmetry) ** 2 * by_place)
        nxt = chain[k + 1] if k + 1 < len(chain) else None
        ends = (i, nxt) if nxt is not None and (i + 1) % n == nxt else (nxt, i)
        copies.append(CompletedPiece(image, rows, bool(of_joint.get(ends, False))))  # type: ignore[arg-type]
    own_error = np.array(variance)
    if len(chain) == 1:
        if b is not a and same_kind(b, a):
            piece = as_one(estimate, b, a, m + extra)
        elif b is a and b.kind == "arc":
            piece = as_one(estimate, b, b, m + extra)
        else:
            return NotCompleted(Words("its counterpart is one edge, but the break lies between two unlike ones"))
        merged = (shorter(b, a).label,) if b is not a else ()
        done = assembled(estimate, which, [piece], own_error, found.placing.way, (longer(b, a).label,), merged)
    else:
        start, end = _up_to(b, copies[0].feature), _from(a, copies[-1].feature)
        pieces = [
            replace(weighed(estimate, start, b, seen(b, b, slices, m + extra), copies[0], own_error),
                    tangent=copies[0].tangent),
            *(replace(c, feature=replace(c.feature, origin="completed")) for c in copies[1:-1]),
            weighed(estimate, end, a, seen(a, a, slices, m + extra), copies[-1], own_error),
        ]  # fmt: skip
        done = assembled(estimate, which, pieces, own_error, found.placing.way, (b.label, a.label), ())
    return replace(done, rms_mm=found.rms_mm, worst_mm=found.worst_mm, tested=found.tested,
                   angle_rad=found.placing.angle_rad)  # fmt: skip


def _up_to(b: Line | Arc, copy: Feature) -> Line | Arc:
    return b if copy.kind == "circle" else between(b, end=copy.end)


def _from(a: Line | Arc, copy: Feature) -> Line | Arc:
    return a if copy.kind == "circle" else between(a, start=copy.start)
