"""Edges and arcs that run across a break, and what they tell of how its two pieces lie.

Where a break cuts an edge, both pieces show a part of it. That they are one is a hypothesis: it is taken for an
observation where it agrees with the placing by the break itself within their covariance, else left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.adjustment.equations import with_edge_error
from measure.adjustment.least_squares import chi2_limit
from measure.broken.boundary import Boundary, runs_of
from measure.broken.mating import Mating, judge
from measure.geometry.features import (
    Estimate,
    Feature,
    as_round,
    flatten,
    length,
    right_normal,
    same_kind,
)
from measure.geometry.relative import about, relative
from measure.tracing.following import Followed

BESIDE_MM = 2.0
"""So far from the end of the break the edge that it cuts is looked for."""
SHORTEST_MM = 2.5
"""A shorter edge beside a break may be a piece of it."""
ALPHA = 1e-3
"""Chance at which two parts of one edge are held to be two edges."""
MOST_MM, MOST_RAD = 0.6, math.radians(4)
"""However unsure the placing: two edges farther apart than this are not one."""


@dataclass(frozen=True, slots=True)
class _Mouth:
    """An end of the break: where it is, and the feature of each piece that it cuts."""

    at: Array
    of_first: Feature
    of_second: Feature


def steadied(first: Followed, second: Followed, m: Mating) -> Mating:
    """The placing with what edges tell that run across the break.

    Args:
        first, second: the pieces.
        m: how the second lies on the first by the break alone.
    """
    one, two = with_edge_error(first.estimate), with_edge_error(second.estimate)
    q, response, middle, now = m.covariance, m.response, m.about_mm, m.motion
    for mouth in _mouths(first, second, m):
        laid = now.of(mouth.of_second)
        r, J, own, other, limit = _offset(mouth, laid, middle)
        if (np.abs(r) > limit).any():
            continue
        a, b = one.slices()[mouth.of_first.label], two.slices()[mouth.of_second.label]
        turn = np.eye(len(r))
        if laid.kind == "arc":
            turn[:2, :2] = now.matrix()
        own_rows, other_rows = own, other @ turn
        noise = own_rows @ one.white[a, a] @ own_rows.T + other_rows @ two.white[b, b] @ other_rows.T
        spread = J @ q @ J.T + noise
        inverse = np.linalg.pinv(spread, rcond=1e-10, hermitian=True)
        if float(r @ inverse @ r) > chi2_limit(len(r), ALPHA):
            continue
        gain = q @ J.T @ inverse
        terms = response.shape[1]  # those that points share; what outlines add to them does not move a piece
        by_shared = other_rows @ two.sensitivity[b, :terms] - own_rows @ one.sensitivity[a, :terms] + J @ response
        now = now.nudged(-gain @ r, middle)
        q, response = q - gain @ J @ q, response - gain @ by_shared
    if now is m.motion:
        return m
    again = judge(Boundary(first.located[0]), Boundary(second.located[0]), now)
    if again is None:
        return m
    return replace(again, covariance=(q + q.T) / 2, response=response, about_mm=middle)


def _mouths(first: Followed, second: Followed, m: Mating) -> Iterator[_Mouth]:
    """Ends of the break where it cuts a long enough line or arc of both pieces."""
    a, b = first.located[0].points_mm, second.located[0].points_mm
    starts, ends = [r[0] for r in runs_of(~m.second)], [r[-1] for r in runs_of(~m.second)]
    laid = m.motion.points(b)
    for run in runs_of(~m.first):
        # where a stretch of one piece ends, one of the other begins
        begins = min(starts, key=lambda i: math.dist(laid[i], a[run[-1]]))
        stops = min(ends, key=lambda i: math.dist(laid[i], a[run[0]]))
        for i, j, way in ((run[-1], begins, 1), (run[0], stops, -1)):
            f = _beside(first.estimate, a, int(i), -way)
            g = _beside(second.estimate, b, int(j), way)
            if f is not None and g is not None and same_kind(f, g):
                yield _Mouth((a[i] + laid[j]) / 2, f, g)


def _beside(e: Estimate, points: Array, at: int, way: int) -> Feature | None:
    """The line or arc that runs into a point of the outer boundary, some way before it (-1) or after (1)."""
    import shapely

    n, walked, i = len(points), 0.0, at
    while walked < BESIDE_MM:
        walked += math.dist(points[i], points[(i + way) % n])
        i = (i + way) % n
    here = shapely.Point(points[i])
    outer = [f for f in e.features if f.loop == 0]
    f = min(outer, key=lambda f: shapely.LineString(flatten(f)).distance(here))
    return f if f.kind in ("line", "arc") and length(f) >= SHORTEST_MM else None


def _offset(mouth: _Mouth, laid: Feature, middle: Array) -> tuple[Array, Array, Array, Array, Array]:
    """How far the second piece's feature lies from the first's at the mouth; its slopes by turn and shift of the
    piece, by the first's parameters and by the second's; and the most that it may be."""
    f = mouth.of_first
    r = relative(laid, f)
    if f.kind == "line":
        n, arm = right_normal(f), mouth.at - middle
        J = np.array([[arm[0] * n[1] - arm[1] * n[0], n[0], n[1]], [1.0, 0.0, 0.0]])
        own, other = about(f, mouth.at), about(laid, mouth.at)
        return own @ r, J, own, other, np.array([MOST_MM, MOST_RAD])  # an edge that runs back is turned by far more
    arm = np.array(as_round(laid).centre) - middle
    J = np.array([[-arm[1], 1.0, 0.0], [arm[0], 0.0, 1.0], [0.0, 0.0, 0.0]])
    return r, J, np.eye(3), np.eye(3), np.full(3, 2 * MOST_MM)
