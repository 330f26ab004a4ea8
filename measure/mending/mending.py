"""A saying carried out: the features that it names become one, fitted to the same edge points; all others stay."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from calib.arrays import Array
from calib.errors import PartRefused, WrongUsage
from calib.words import Words
from measure.broken.breaks import Break, outer
from measure.broken.completion.assembling import fresh_label
from measure.broken.completion.extending import extended
from measure.broken.completion.outcome import Completed
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import PARAMETERS, Arc, Circle, Estimate, Feature, Line, Turn, flatten
from measure.geometry.offsetting import area
from measure.geometry.rejoin import Joint, closing, heading, joints, rejoined, shifted_all
from measure.mending.fitting import LEAST_POINTS, Fitted, better, circle_through, line_through, part_of
from measure.mending.sayings import Statement, run_of
from measure.mending.tangents import tangent_again

CORNER_MM = 0.3
"""So much of a run is left out at both ends, where blur rounds the corner: three times the edges' blur (chosen)."""
MOST_BEND_DEG = 30.0
"""An edge and an arc that meet at more have a corner, whoever says otherwise (chosen)."""
MOST_OFF_MM = 1.0
"""Points further off in the mean show that a feature is not what it is said to be (chosen; a saying may be wrong)."""


@dataclass(frozen=True, slots=True)
class MendedOutline:
    """The outline after a saying, the labels of the features that stand there now, and the edge points of each loop."""

    estimate: Estimate
    labels: tuple[str, ...]
    edges: tuple[EdgeLoop, ...]


def mended_by_hand(
    estimate: Estimate, edges: Sequence[EdgeLoop], said: Statement, subject: Literal["part", "opening"] = "part"
) -> MendedOutline:
    """The outline as it is after a saying.

    Args:
        estimate: as it is now.
        edges: the edge points of each loop, in the frame of the features.
        said: what a person says.
        subject: part or opening.

    Raises:
        WrongUsage: it can't be said of these features.
        PartRefused: the points don't bear it out, or the outline would cross itself.
    """
    run = run_of(estimate.features, said)
    if said.say == "ignore":
        return _without(estimate, edges, run, said, subject)
    loop = [f for f in estimate.features if f.loop == run[0].loop]
    if run[0].loop >= len(edges):
        raise WrongUsage(Words("The edge points of this outline are not kept: trace the photo again."), "mend")
    edge = edges[run[0].loop]
    if said.say == "round":
        if run[0].loop == 0 and len(run) < len(loop):
            raise WrongUsage(
                Words("{where} is not all of the outside: a round hole is meant, or an arc.", where=said.where), "mend"
            )
        fit = circle_through(edge)
        x, y, r = (float(v) for v in fit.parameters)
        letter = fresh_label("D", [f.label for f in estimate.features])
        whole = Circle(run[0].label if run[0].kind == "circle" else letter, run[0].loop, (x, y), r)
        return MendedOutline(_checked(_replaced(estimate, loop, whole, fit), said, fit), (whole.label,), tuple(edges))
    if any(f.kind == "circle" for f in run):
        raise WrongUsage(
            Words("{where} is a full circle: it can only be ignored, or be round.", where=said.where), "mend"
        )
    if len(run) == len(loop):
        raise WrongUsage(Words("{where} is all of this outline: it can't be one edge.", where=said.where), "mend")
    if said.say == "smooth" and len(run) < 2:
        raise WrongUsage(Words("A corner lies between two features: name both, such as E3-E4."), "mend")
    if said.say == "smooth" and len(run) == 2 and "arc" in (run[0].kind, run[1].kind) and run[0].kind != run[1].kind:
        return MendedOutline(_touching(estimate, run, said), (run[0].label, run[1].label), tuple(edges))
    points = _points_of(edge, run)
    fit, new = _as_one(points, run, said)
    if not new.label:
        letter = "E" if new.kind == "line" else "R"
        new = replace(new, label=fresh_label(letter, [f.label for f in estimate.features]))
    now = _checked(_replaced(estimate, run, new, fit), said, fit)
    return MendedOutline(tangent_again(now, new.label), (new.label,), tuple(edges))


def _as_one(points: EdgeLoop, run: Sequence[Feature], said: Statement) -> tuple[Fitted, Line | Arc]:
    """The one line or arc that the points make."""
    line, arc = line_through(points), circle_through(points)
    kind = {"straight": "line", "arc": "arc"}.get(said.say) or better(line, arc, len(points.points_mm))
    start, end = (np.array(p) for p in (_first(run), _last(run)))
    label = next((f.label for f in run if f.kind == kind), "")
    if kind == "line":
        at, way = line.parameters[:2], np.array([math.cos(line.parameters[2]), math.sin(line.parameters[2])])
        ends = [at + way * ((p - at) @ way) for p in (start, end)]
        middle = (ends[0] + ends[1]) / 2
        moved = np.array([[1.0, -float((middle - at) @ way)], [0.0, 1.0]])
        line = replace(line, white=moved @ line.white @ moved.T, sensitivity=moved @ line.sensitivity)
        return line, Line(label, run[0].loop, _pair(ends[0]), _pair(ends[1]))
    centre, radius = arc.parameters[:2], float(arc.parameters[2])
    p = points.points_mm
    a, b = p[0] - centre, p[len(p) // 2] - centre
    turn: Turn = "ccw" if a[0] * b[1] - a[1] * b[0] > 0 else "cw"
    ends = [centre + (q - centre) * radius / max(float(np.hypot(*(q - centre))), CORNER_MM) for q in (start, end)]
    return arc, Arc(label, run[0].loop, _pair(ends[0]), _pair(ends[1]), _pair(centre), radius, turn)


def _first(run: Sequence[Feature]) -> tuple[float, float]:
    f = run[0]
    if f.kind == "circle":
        raise WrongUsage(Words("{label} is a full circle.", label=f.label), "mend")
    return f.start


def _last(run: Sequence[Feature]) -> tuple[float, float]:
    f = run[-1]
    if f.kind == "circle":
        raise WrongUsage(Words("{label} is a full circle.", label=f.label), "mend")
    return f.end


def _points_of(edge: EdgeLoop, run: Sequence[Feature]) -> EdgeLoop:
    """The edge points along a run of features, but for its ends."""
    points = edge.points_mm
    begin = int(np.argmin(np.hypot(*(points - _first(run)).T)))
    stop = int(np.argmin(np.hypot(*(points - _last(run)).T)))
    stop += len(points) * (stop <= begin)
    step = float(np.median(np.hypot(*np.diff(points, axis=0).T)))
    rim = max(min(round(CORNER_MM / step), (stop - begin - LEAST_POINTS) // 4), 0)
    if stop - begin - 2 * rim < LEAST_POINTS:
        raise PartRefused(Words("Too few edge points were seen there to fit anything to."), "mend")
    return part_of(edge, begin + rim, stop - rim)


def _replaced(estimate: Estimate, run: Sequence[Feature], new: Feature, fit: Fitted) -> Estimate:
    """The estimate with one feature in place of a run, its neighbours ending where they meet it."""
    gone = {f.label for f in run}
    loop = [f for f in estimate.features if f.loop == run[0].loop]
    at = [f.label for f in loop].index(run[0].label)
    ring = [new, *(f for f in (*loop[at:], *loop[:at]) if f.label not in gone)]
    if len(ring) > 1:
        ring = rejoined(ring, [Joint(len(ring) - 1, 0, False), Joint(0, 1, False)])
    begin = next((i for i, f in enumerate(ring) if f.label == loop[0].label), 0)
    ring = [*ring[begin:], *ring[:begin]]
    features = [f for f in estimate.features if f.loop < run[0].loop]
    features += [*ring, *(f for f in estimate.features if f.loop > run[0].loop)]
    return _stacked(estimate, features, {new.label: fit})


def _touching(estimate: Estimate, run: Sequence[Feature], said: Statement) -> Estimate:
    """The estimate with an edge and an arc made tangent, by the smallest change of both."""
    a, b = run
    if isinstance(a, Line | Arc) and isinstance(b, Line | Arc):
        turned = float(np.degrees(math.acos(float(np.clip(heading(a, True) @ heading(b, False), -1, 1)))))
        if turned > MOST_BEND_DEG:
            raise PartRefused(
                Words("{where} turns by {turned:.0f}°: that is a corner.", where=said.where, turned=turned), "mend"
            )
    at = [f.label for f in estimate.features].index(a.label)
    after = [f.label for f in estimate.features].index(b.label)
    joint = [Joint(at, after, True)]
    moved = shifted_all(estimate.features, closing(estimate.features, joint))
    now = _stacked(
        estimate, rejoined(moved, [*(j for j in joints(moved) if (j.first, j.second) != (at, after)), *joint]), {}
    )
    if area(now.features) is None or not _joined(now.features):
        raise PartRefused(Words("{where} can't be made to meet without a corner.", where=said.where), "mend")
    return now


def _stacked(estimate: Estimate, features: Sequence[Feature], fits: dict[str, Fitted]) -> Estimate:
    """Features in a new order, with what is known of each."""
    from measure.geometry.relative import about

    old = {f.label: f for f in estimate.features}
    slices, s = estimate.slices(), len(estimate.shared_names)
    m = sum(PARAMETERS[f.kind] for f in features)
    take, white, sensitivity, at = np.zeros((m, len(estimate.white))), np.zeros((m, m)), np.zeros((m, s)), 0
    for f in features:
        own = slice(at, at + PARAMETERS[f.kind])
        at += PARAMETERS[f.kind]
        if f.label in fits:
            fit = fits[f.label]
            white[own, own] = fit.white
            sensitivity[own, : fit.sensitivity.shape[1]] = fit.sensitivity
        else:
            rows = np.eye(PARAMETERS[f.kind])
            if f.kind == "line":
                rows = about(old[f.label], (np.array(f.start) + f.end) / 2)
            take[own, slices[f.label]] = rows
    white += take @ estimate.white @ take.T
    sensitivity += take @ estimate.sensitivity
    return replace(estimate, features=tuple(features), white=(white + white.T) / 2, sensitivity=sensitivity)


def _without(
    estimate: Estimate,
    edges: Sequence[EdgeLoop],
    run: Sequence[Feature],
    said: Statement,
    subject: Literal["part", "opening"],
) -> MendedOutline:
    """The outline without a hole, or with the neighbours of what is ignored going on across it."""
    if run[0].loop > 0:
        left = [f for f in estimate.features if f.loop != run[0].loop]
        left = [replace(f, loop=f.loop - (f.loop > run[0].loop)) for f in left]
        others = tuple(e for k, e in enumerate(edges) if k != run[0].loop)
        return MendedOutline(_stacked(estimate, left, {}), (), others)
    loop = outer(estimate.features)
    if len(run) + 2 > len(loop):
        raise WrongUsage(Words("{where} is all of the outside: it can't be ignored.", where=said.where), "mend")
    at = [f.label for f in loop].index(run[0].label)
    done = extended(estimate, Break(at, len(run), len(loop)), subject)
    if not isinstance(done, Completed):
        raise PartRefused(Words("{where} can't be ignored: {why}.", where=said.where, why=done.why), "mend")
    return MendedOutline(done.estimate, done.prolonged, tuple(edges))


def _checked(now: Estimate, said: Statement, fit: Fitted) -> Estimate:
    """Refuse what the points don't bear out, or what crosses itself."""
    if fit.rms_mm > MOST_OFF_MM:
        raise PartRefused(
            Words(
                "{where} is not so: its edge points lie {rms_mm:.1f} mm off in the mean.",
                where=said.where,
                rms_mm=fit.rms_mm,
            ),
            "mend",
        )
    if area(now.features) is None or not _joined(now.features):
        raise PartRefused(
            Words("Then {where} would not join its neighbours, or the outline would cross itself.", where=said.where),
            "mend",
        )
    return now


def _joined(features: Sequence[Feature]) -> bool:
    """Whether the loops close."""
    for number in {f.loop for f in features}:
        loop = [flatten(f) for f in features if f.loop == number]
        if any(math.dist(a[-1], b[0]) > CORNER_MM / 2 for a, b in pairwise([*loop, loop[0]])):
            return False
    return True


def _pair(p: Array) -> tuple[float, float]:
    return float(p[0]), float(p[1])
