"""Where two edges or arcs would meet if both went on across a break."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.words import Words
from measure.adjustment.equations import with_edge_error
from measure.geometry.features import (
    Arc,
    Estimate,
    Feature,
    Line,
    Point,
    between,
    length,
    right_normal,
    same_kind,
)
from measure.geometry.rejoin import crossings, heading
from measure.geometry.relative import about, relative

FARTHEST, OWN_LENGTHS = 2.0, 2.0
"""Neither neighbour goes on farther than so many times the break's width, nor than so many times what is seen of it."""
FLATTEST_RAD = math.radians(20)
"""Neighbours that would meet at less than this meet nowhere in particular."""
LEAST_SURE_MM = 0.5
"""A corner whose place is less sure than this (u95, where it is least sure) is no corner to print."""
SIGMAS, LEEWAY_MM = 3.0, 0.05
LEEWAY_RAD = 0.01
"""Pieces of one edge may differ by so many standard deviations and this."""
MOST_MM, MOST_RAD = 1.0, 0.1
"""However unsure they are, pieces that differ by more are not of one edge or arc."""
BACK_MM, ANYWAY_MM = 0.3, 1.0
"""A meeting point may lie so far before an edge's end; and an edge goes on so far, be the break ever so narrow."""


@dataclass(frozen=True, slots=True)
class Meeting:
    """Where they meet; `one` when they are pieces of one edge or arc, and there is no corner at all.

    `u95_mm` is how sure a corner's place is, along the way in which it is least sure.
    """

    at: Point
    one: bool
    u95_mm: float = 0.0


def meeting(estimate: Estimate, before: Feature, after: Feature, gap_mm: float) -> Meeting | str:
    """Where the neighbours of a break meet, or in words why they don't.

    Args:
        estimate: whose features they are.
        before, after: the features that the break cuts, in order of travel.
        gap_mm: width of the break.
    """
    if not isinstance(before, Line | Arc) or not isinstance(after, Line | Arc):
        return Words("{label} and {after_label} can't be extended", label=before.label, after_label=after.label)
    if before is after:
        return Meeting(before.end, True) if before.kind == "arc" else Words("there is only one edge")
    if _same(estimate, before, after):
        return Meeting(before.end, True)
    end, start = np.array(before.end), np.array(after.start)
    best: tuple[float, Array] | None = None
    for p in crossings(before, after):
        ahead, back = _on(before, end, p, True), _on(after, start, p, False)
        if min(ahead, back) < -BACK_MM or max(ahead, back) > FARTHEST * gap_mm + ANYWAY_MM:
            continue
        if ahead > OWN_LENGTHS * length(before) or back > OWN_LENGTHS * length(after):
            continue
        if best is None or ahead + back < best[0]:
            best = (ahead + back, p)
    if best is None:
        return Words(
            "{label} and {after_label}, beside the break, don't meet when they go on",
            label=before.label,
            after_label=after.label,
        )
    p = (float(best[1][0]), float(best[1][1]))
    u, w = heading(between(before, end=p), True), heading(between(after, start=p), False)
    if abs(math.atan2(u[0] * w[1] - u[1] * w[0], u @ w)) < FLATTEST_RAD:
        return Words(
            "{label} and {after_label}, beside the break, meet too flatly to say where",
            label=before.label,
            after_label=after.label,
        )
    u95_mm = 2 * math.sqrt(float(np.linalg.eigvalsh(corner_covariance(estimate, before, after, best[1]))[-1]))
    if u95_mm > LEAST_SURE_MM:
        return Words(
            "{label} and {after_label}, beside the break, meet too flatly or too far on: their "
            "corner is known to ± {u95_mm:.1f} mm only, and more than ± {least_sure_mm:g} mm is a "
            "guess",
            label=before.label,
            after_label=after.label,
            u95_mm=u95_mm,
            least_sure_mm=LEAST_SURE_MM,
        )
    return Meeting(p, False, u95_mm)


def corner_covariance(estimate: Estimate, before: Line | Arc, after: Line | Arc, at: Array) -> Array:
    """(2, 2) covariance of the point where two features meet when they go on, mm².

    Either feature moves square to itself there by what its parameters are off; the corner is where both moves are
    met, which is so much the farther along as they meet more flatly.

    Args:
        estimate: whose features they are.
        before, after: lines or arcs.
        at: (2,) where they meet.
    """
    c, slices = with_edge_error(estimate).covariance(), estimate.slices()
    normals, rows = np.zeros((2, 2)), np.zeros((2, len(c)))
    for k, f in enumerate((before, after)):
        if f.kind == "line":
            normals[k] = right_normal(f)
            rows[k, slices[f.label]] = about(f, at)[0]
        else:
            away = at - np.array(f.centre)
            normals[k] = away / np.hypot(*away)
            rows[k, slices[f.label]] = [*normals[k], 1.0]
    moves = np.linalg.solve(normals, rows)
    return np.asarray(moves @ c @ moves.T)


def _same(estimate: Estimate, b: Line | Arc, a: Line | Arc) -> bool:
    """Are both pieces of one line or circle, within their uncertainty where the other lies?"""
    if not same_kind(a, b):
        return False
    if b.kind == "line" and np.dot(np.subtract(b.end, b.start), np.subtract(a.end, a.start)) < 0:
        return False
    c, at = with_edge_error(estimate).covariance(), estimate.slices()
    one, two = (b, a) if length(b) >= length(a) else (a, b)
    r = relative(two, one)
    if one.kind == "line":  # about the middle of the break, where both are best known together
        p = (np.array(b.end) + a.start) / 2
        r = about(one, p) @ r
        own, other = about(one, p), about(two, p)
    else:
        own = other = np.eye(3)
    rows = np.zeros((len(r), len(c)))
    rows[:, at[two.label]] += other
    rows[:, at[one.label]] -= own
    sd = np.sqrt(np.diag(rows @ c @ rows.T))
    limit = SIGMAS * sd + np.where(np.arange(len(r)) == 1, LEEWAY_RAD if one.kind == "line" else LEEWAY_MM, LEEWAY_MM)
    loose = np.array([MOST_MM, MOST_RAD]) if one.kind == "line" else np.full(3, MOST_MM)
    return bool((np.abs(r) <= np.minimum(limit, loose)).all())


def _on(f: Line | Arc, end: Array, p: Array, forward: bool) -> float:
    """How far along a feature, beyond its end (before its start), a point lies, mm."""
    way = 1.0 if forward else -1.0
    if f.kind == "line":
        u = np.subtract(f.end, f.start) / length(f)
        return way * float((p - end) @ u)
    a, b = np.subtract(end, f.centre), np.subtract(p, f.centre)
    turn = math.atan2(a[0] * b[1] - a[1] * b[0], a @ b)
    return way * (1.0 if f.turn == "ccw" else -1.0) * turn * f.radius
