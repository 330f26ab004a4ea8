"""Chains of lines and arcs fitted to their points together, tangent or crossing at their joints.

Each point has a say in one piece only, so the normal equations fall into one 3 × 3 block for each piece; tangent
joints are exact conditions between neighbours (Lagrange multipliers; E. Mikhail, "Observations and Least Squares",
1976, chapter 9, combined adjustment with conditions between parameters), whose system is tridiagonal along a chain.
That lets hundreds of short chains, each a supposition about a stretch of the outline, be fitted in one go.

Points are weighed by Student's t distribution (K. Lange, R. Little and J. Taylor, "Robust statistical modeling using
the t distribution", 1989). After each step, joints are found anew and the points between them dealt out again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solveh_banded

from measure.features import Array
from measure.pieces import (
    FLATTEST,
    Index,
    Mask,
    Pieces,
    contact_gap,
    crossing,
    distance,
    distance_and_slopes,
    moved,
    travel_at,
)

TAIL = 5.0
"""Degrees of freedom of the t distribution that residuals are weighed by."""

BUMP_HEIGHT_MM = 0.5
"""A point that strays further is no accident."""

GUESSED_MM = 0.15
"""Standard deviation of a point that only bridges a gap: it lies near the edge because its neighbours do."""

_REACH = 6
"""A joint moves by at most so many points a step."""

_DAMPING = np.array([1e-2, 1e-1, 1e-1])


@dataclass(frozen=True, slots=True)
class Chains:
    """Chains of pieces laid end to end, and their points.

    Attributes:
        points: (n, 2) of all chains, one after the other, mm.
        variance: (n,) of the points along the normal, mm²; GUESSED_MM squared where there is no edge.
        most: (n,) the most that a point may cost: finite where a bump is taken for an accident.
        pieces: of all chains, k in all.
        first: (k,) index of each piece's first point; rising.
        linked: (k,) whether the piece starts at a joint with the one before it (in a closed loop the first with the
            last); False for the first piece of each open chain.
        tangent: (k,) whether that joint is tangent.
        step_mm: between neighbouring points.
        blur_mm: standard width of the blur of the edge: optics, and averaging along it.
        closed: the chains are one closed loop.
    """

    points: Array
    variance: Array
    most: Array
    pieces: Pieces
    first: Index
    linked: Mask
    tangent: Mask
    step_mm: float
    blur_mm: float
    closed: bool = False

    @property
    def seen(self) -> Mask:
        """(n,) which points are edge points and not bridges."""
        return np.asarray(self.variance != GUESSED_MM**2)


@dataclass(frozen=True, slots=True)
class Normal:
    """The last normal equations of a fit.

    Attributes:
        residual: (n,) signed distances, mm.
        weight: (n,) weights that the points ended up with, 1/mm².
        slopes: (n, 3) derivatives of the residuals by their piece's parameters.
        owner: (n,) the piece each point belongs to.
        cost: (n,) what each point costs, minus twice its log-likelihood up to a constant.
        inverse: (k, 3, 3) inverse blocks of the normal matrix.
        joint: (k, 2) the joint at the start of each piece, mm (meaningless where not linked).
        met: (k,) whether the pieces really meet there.
    """

    residual: Array
    weight: Array
    slopes: Array
    owner: Index
    cost: Array
    inverse: Array
    joint: Array
    met: Mask


def owners(first: Index, n: int) -> Index:
    """(n,) the piece each point belongs to; points before the first piece's belong to the last (closed loops)."""
    mark = np.zeros(n, np.intp)
    np.add.at(mark, first, 1)
    return np.asarray((np.cumsum(mark) - 1) % len(first))


def joints(c: Chains) -> tuple[Array, Mask]:
    """(k, 2) the joints at the start of each piece, and whether neighbours really meet there."""
    k, n = len(c.first), len(c.points)
    before = c.pieces.take(np.arange(k) - 1)
    near = (c.points[c.first] + c.points[(c.first - 1) % n]) / 2
    point = near.copy()
    met = np.ones(k, bool)
    t = np.flatnonzero(c.linked & c.tangent)
    if len(t):
        point[t] = contact_gap(before.take(t), c.pieces.take(t))[3]
    s = np.flatnonzero(c.linked & ~c.tangent)
    if len(s):
        point[s], met[s] = crossing(before.take(s), c.pieces.take(s), near[s])
    return point, met


def _dealt(c: Chains, joint: Array) -> Index:
    """The pieces' first points after the joints have moved: a point belongs to the side of the joint it lies on."""
    n, k = len(c.points), len(c.first)
    at = np.flatnonzero(c.linked)
    if not len(at):
        return c.first
    a, b = c.pieces.take(at - 1), c.pieces.take(at)
    travel = travel_at(a, joint[at]) + travel_at(b, joint[at])
    around = c.first[at][:, None] + np.arange(-_REACH, _REACH)
    if not c.closed:
        low, high = _bounds(c)
        around = np.clip(around, low[at, None], high[at, None])
    d = c.points[around % n] - joint[at][:, None]
    behind = (d * travel[:, None]).sum(2) < 0
    first = c.first.copy()
    first[at] += behind.sum(1) - _REACH
    # every piece keeps at least one point
    up = np.arange(k)
    if c.closed:
        first = np.maximum.accumulate(first - up) + up
        last = first[0] + n
        return np.asarray(np.minimum(first, last - k + up))
    floor = np.where(c.linked, -1, c.first)
    first = np.where(c.linked, first, c.first)
    first = np.maximum.accumulate(np.maximum(first, floor) - up) + up
    ends = np.append(np.where(c.linked[1:], n + k, c.first[1:]), n)
    ceiling = np.minimum.accumulate((ends - up)[::-1])[::-1] + up - 1
    return np.asarray(np.minimum(first, ceiling))


def _bounds(c: Chains) -> tuple[Index, Index]:
    """(k,) first and last point of the open chain that each piece belongs to."""
    low = np.maximum.accumulate(np.where(c.linked, 0, c.first))
    begin = np.append(np.where(c.linked[1:], len(c.points), c.first[1:]), len(c.points))
    return low, np.minimum.accumulate(begin[::-1])[::-1] - 1


def corner_variance(c: Chains, joint: Array) -> Array:
    """(n,) the points' variances, larger near sharp corners by what blur may have rounded off there."""
    at = np.flatnonzero(c.linked & ~c.tangent)
    if not len(at):
        return c.variance
    n = len(c.points)
    ta = travel_at(c.pieces.take(at - 1), joint[at])
    tb = travel_at(c.pieces.take(at), joint[at])
    turn = np.abs(np.arctan2(ta[:, 0] * tb[:, 1] - ta[:, 1] * tb[:, 0], (ta * tb).sum(1)))
    offset = np.arange(-3, 3)
    around = c.first[at][:, None] + offset
    if c.closed:
        around %= n
    else:
        low, high = _bounds(c)
        around = np.clip(around, low[at, None], high[at, None])
    u = (np.abs(offset + 0.5) * c.step_mm / c.blur_mm)[None, :]
    # blurred bend of slope ±tan(turn / 2) at u blur widths from the corner: 2 (φ(u) - u Φ(-u)), here in a short form
    rounded = c.blur_mm * np.sin(turn / 2)[:, None] * 0.8 * np.exp(-1.1 * u - 0.47 * u * u)
    variance = c.variance.copy()
    np.maximum.at(variance, around, c.variance[around] + rounded**2)
    return variance


def _sums(rows: Array, first: Index) -> Array:
    """Sums of rows over the runs that begin at `first`."""
    return np.asarray(np.add.reduceat(rows, first, axis=0))


def normal(c: Chains, known: tuple[Array, Mask] | None = None) -> Normal:
    """Residuals, robust weights and normal equations of chains as they stand. In a closed loop `first[0]` must be 0.

    `known` are the joints, if they have been found already.
    """
    joint, met = joints(c) if known is None else known
    owner = owners(c.first, len(c.points))
    residual, slopes = distance_and_slopes(c.pieces.take(owner), c.points)
    slopes[~c.pieces.arc[owner], 2] = 0
    # blur moves a bent edge towards its centre by half the blur's variance over the radius
    residual -= np.clip(c.pieces.curvature * (c.blur_mm / 2), -0.3, 0.3)[owner] * c.blur_mm
    variance = corner_variance(c, joint)
    u2 = residual**2 / variance
    weight = (TAIL + 1) / (TAIL + u2) / variance
    cost = (TAIL + 1) * np.log1p(u2 / TAIL)
    bump = (cost >= c.most) & (np.abs(residual) < BUMP_HEIGHT_MM)
    cost[bump] = c.most[bump]
    weight[bump] *= 0.02
    wj = slopes * weight[:, None]
    blocks = _sums((wj[:, :, None] * slopes[:, None, :]).reshape(-1, 9), c.first).reshape(-1, 3, 3)
    blocks[~c.pieces.arc, 2, 2] = 1e12
    blocks[:, [0, 1, 2], [0, 1, 2]] += _DAMPING
    return Normal(residual, weight, slopes, owner, cost, np.asarray(np.linalg.inv(blocks), float), joint, met)


@dataclass(frozen=True, slots=True)
class Conditions:
    """Tangencies between neighbours, linearised: gap + before . step[p - 1] + after . step[p] = 0 at the start of p.

    Attributes:
        gap: (k,) mm; 0 where the joint is not tangent.
        before, after: (k, 3) slopes by the parameters of the pieces on either side; 0 where not tangent.
        active: (k,) which joints are tangent.
    """

    gap: Array
    before: Array
    after: Array
    active: Mask


def conditions(c: Chains, everywhere: bool = False) -> Conditions:
    """The tangencies of chains as they stand; or what they would be at every joint that has an arc."""
    k = len(c.first)
    gap, before, after = np.zeros(k), np.zeros((k, 3)), np.zeros((k, 3))
    bent = c.pieces.arc | np.roll(c.pieces.arc, 1)
    active = c.linked & bent if everywhere else c.linked & c.tangent
    t = np.flatnonzero(active)
    if len(t):
        gap[t], before[t], after[t], _ = contact_gap(c.pieces.take(t - 1), c.pieces.take(t))
    return Conditions(gap, before, after, active)


def _solve(inverse: Array, at: Conditions, rhs: Array, closed: bool) -> Array:
    """Multipliers (k,) of the conditions for a right-hand side (k,)."""
    previous = np.roll(inverse, 1, axis=0)
    own = np.einsum("ki,kij->kj", at.after, inverse)
    diagonal = (own * at.after).sum(1) + np.einsum("ki,kij,kj->k", at.before, previous, at.before)
    # a condition shares the piece after it with the next condition
    beside = (own * np.roll(at.before, -1, axis=0)).sum(1)
    diagonal = np.where(at.active, diagonal * (1 + 1e-9) + 1e-14, 1.0)
    k = len(rhs)
    if closed and k > 1:
        s = np.diag(diagonal)
        i = np.arange(k)
        j = (i + 1) % k
        np.add.at(s, (i, j), beside)
        np.add.at(s, (j, i), beside)
        return np.asarray(np.linalg.solve(s, rhs))
    beside[-1] = 0
    return np.asarray(solveh_banded(np.stack([np.append(0, beside[:-1]), diagonal]), rhs))


def _step(c: Chains, eq: Normal) -> Array:
    """(k, 3) the Gauss-Newton step under the tangencies."""
    wj = eq.slopes * (eq.weight * eq.residual)[:, None]
    free = -np.einsum("kij,kj->ki", eq.inverse, _sums(wj, c.first))
    at = conditions(c)
    if at.active.any():
        rhs = at.gap + (at.before * np.roll(free, 1, axis=0)).sum(1) + (at.after * free).sum(1)
        m = _solve(eq.inverse, at, rhs, c.closed)
        pull = at.after * m[:, None] + np.roll(at.before * m[:, None], -1, axis=0)
        free = free - np.einsum("kij,kj->ki", eq.inverse, pull)
    return np.asarray(free)


def _limited(c: Chains, step: Array) -> Array:
    """The step cut down where it would leave the range in which the linear picture holds."""
    k = np.abs(c.pieces.curvature)
    most = np.stack([np.full(len(k), 0.6), np.full(len(k), 0.35), np.maximum(0.5 * k, 5e-3)], 1)
    share = np.min(most / np.maximum(np.abs(step), most), axis=1)
    return np.asarray(step * share[:, None])


def _unwound(c: Chains, step: Array) -> Pieces:
    """Pieces after a step; an arc that would bend the other way stays almost straight instead."""
    p = moved(c.pieces, step)
    least = np.where(c.pieces.curvature < 0, -FLATTEST, FLATTEST)
    k = np.where(p.arc & (p.curvature * least < FLATTEST**2), least, p.curvature)
    return replace(p, curvature=k)


def rolled(c: Chains) -> tuple[Chains, int]:
    """A closed loop with its points turned so that the first piece begins at point 0, and by how much."""
    shift = int(c.first[0])
    if not shift:
        return c, 0
    return replace(
        c,
        points=np.roll(c.points, -shift, axis=0),
        variance=np.roll(c.variance, -shift),
        most=np.roll(c.most, -shift),
        first=c.first - shift,
    ), shift


def refined(c: Chains, steps: int = 8, hold: int = 1, tolerance_mm: float = 1e-5) -> tuple[Chains, Normal, int]:
    """Chains fitted to their points.

    Args:
        c: chains with starting values.
        steps: at most so many Gauss-Newton steps.
        hold: so many steps before points change hands.
        tolerance_mm: a closed loop stops when no piece shifts by more than this.

    Returns:
        The chains, their normal equations, and by how many points a closed loop was rolled on.
    """
    total = 0
    known = None
    for i in range(steps):
        eq = normal(c, known)
        step = _limited(c, _step(c, eq))
        c = replace(c, pieces=_unwound(c, step))
        known = None
        if hold <= i < steps - 1:
            known = joint, met = joints(c)
            keep = np.where(met, _dealt(c, joint), c.first) if not c.closed else _dealt(c, joint)
            same = bool((keep == c.first).all())
            c = replace(c, first=keep)
            if c.closed:
                c, shift = rolled(c)
                total += shift
                if same and np.abs(step[:, 0]).max() < tolerance_mm:
                    break
    return c, normal(c), total


def sound(c: Chains, eq: Normal) -> Mask:
    """(k,) whether each piece runs forward from its first joint to its next, about as far as its points do."""
    end = np.roll(eq.joint, -1, axis=0)
    ends = np.append(c.linked[1:], c.closed)
    starts = c.linked
    n = len(c.points)
    last = np.append(c.first[1:], n) - 1
    a = np.where(starts[:, None], eq.joint, c.points[c.first])
    b = np.where(ends[:, None], end, c.points[last])
    p = c.pieces
    t = travel_at(p, a)
    chord = b - a
    forward = (chord * t).sum(1)
    aside = t[:, 0] * chord[:, 1] - t[:, 1] * chord[:, 0]
    bend = np.where(p.arc, 2 * np.arctan2(np.sign(p.curvature) * aside, forward), 0.0)
    sweep = bend % (2 * np.pi)
    run = np.where(p.arc, sweep / np.maximum(np.abs(p.curvature), FLATTEST), forward)
    steps = np.hypot(*np.diff(c.points, axis=0).T)
    travelled = np.append(0, np.cumsum(steps))[last] - np.append(0, np.cumsum(steps))[c.first]
    gap = np.median(steps) if len(steps) else 0.0
    met = eq.met & np.append(eq.met[1:], eq.met[0] if c.closed else True)
    long = travelled + 2.5 * gap + 2 * np.hypot(*(a - c.points[c.first]).T) + 2 * np.hypot(*(b - c.points[last]).T)
    near_enough = np.hypot(*(a - c.points[c.first]).T) < 3.0
    on_both = ~starts | (np.abs(distance(p, a)) < 0.05)
    return np.asarray(met & (run > 0) & (run < 1.2 * long) & near_enough & on_both)
