"""Suppositions about parts of an outline, fitted by the hundred in one go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.outline.chains import Chains, sound
from measure.outline.drafts import SHALLOW_PRICE, UNSOUND, Draft, shallow, wave
from measure.outline.joining import Normal, refined
from measure.outline.moments import RunningSums
from measure.outline.pieces import Index, Mask, Pieces, joined

ACCIDENT_COST = 4.0
"""The most that a point in a bump costs."""

FIRST_STEPS = 3
"""Steps after which the hopeless are told."""
MORE_STEPS = 4


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a supposition.

    Attributes:
        start: its first point, counted on beyond the end of the loop where need be.
        tangent: to the piece before it.
        old: which piece of the draft it is, or -1.
        arc: for new pieces.
        state: origin x, y, angle and curvature of a new piece; left out, it is fitted to its points.
    """

    start: int
    tangent: bool
    old: int = -1
    arc: bool = False
    state: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Supposition:
    """An open chain that could stand for a part of the loop.

    Attributes:
        pieces: in order of travel.
        stop: one past its last point.
        accident: range of points taken for an accident (a bump, a shadow), which may cost only so much.
    """

    pieces: tuple[Piece, ...]
    stop: int
    accident: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """Suppositions about one loop.

    Attributes:
        draft: the loop.
        sums: its running sums.
        suppositions: m of them.
        rival: (m,) which supposition each is compared with.
        patience: (m,) how much dearer than its rival it may still be after a few steps.
    """

    draft: Draft
    sums: RunningSums
    suppositions: Sequence[Supposition]
    rival: Index
    patience: Array


@dataclass(frozen=True, slots=True)
class FittedSuppositions:
    """Fitted suppositions about one loop.

    Attributes:
        cost: (m,) what the residuals cost if all points are independent.
        extra: (m,) what unsound and shallow pieces cost.
        parameters: (m,) that each chain has.
        begins: (m,) first piece of each chain in `chains`.
        chains: all of them; `offset` (m,) is to be added to their point numbers.
        offset: (m,)
        wave_mm: (n,) means of neighbouring residuals, accidents left out.
        worst_mm: (m,) largest residual in the accident range, 0 without one.
    """

    cost: Array
    extra: Array
    parameters: Index
    begins: Index
    chains: Chains
    offset: Index
    wave_mm: Array
    worst_mm: Array


@dataclass(frozen=True, slots=True)
class _ChainStarts:
    """Where chains lie in the arrays: first piece and first point of each, one more for the end."""

    begins: Index
    base: Index


def fit_all(questions: Sequence[Question]) -> list[FittedSuppositions]:
    """All suppositions about all loops fitted together, the hopeless for a few steps only."""
    laid = [_laid_out(q) for q in questions]
    pieces = np.cumsum([0, *(len(c.first) for c, _, _ in laid)])
    points = np.cumsum([0, *(len(c.points) for c, _, _ in laid)])
    chains = _end_to_end([c for c, _, _ in laid])
    layout = _ChainStarts(
        np.append(
            np.concatenate([at.begins[:-1] + p for (_, at, _), p in zip(laid, pieces, strict=False)]), pieces[-1]
        ),
        np.append(np.concatenate([at.base[:-1] + p for (_, at, _), p in zip(laid, points, strict=False)]), points[-1]),
    )
    chains, eq, _ = refined(chains, FIRST_STEPS)
    keep = _hopeful(questions, laid, layout, eq)
    chains, eq = _further(chains, eq, layout, keep)
    bad = sound(chains, eq.joints)
    out = []
    for i, (q, (_, at, offset)) in enumerate(zip(questions, laid, strict=True)):
        k, n = slice(pieces[i], pieces[i + 1]), slice(points[i], points[i + 1])
        own = replace(
            chains,
            points=chains.points[n],
            variance=chains.variance[n],
            most=chains.most[n],
            pieces=chains.pieces.take(k),
            first=chains.first[k] - points[i],
            linked=chains.linked[k],
            tangent=chains.tangent[k],
        )
        begins = at.begins[:-1]
        worst = np.zeros(len(begins))
        residual = np.abs(eq.residual[n])
        for j, s in enumerate(q.suppositions):
            if s.accident:
                worst[j] = residual[s.accident[0] - offset[j] : s.accident[1] - offset[j]].max()
        out.append(
            FittedSuppositions(
                cost=np.add.reduceat(eq.cost[n], at.base[:-1]),
                extra=UNSOUND * np.add.reduceat(~bad[k], begins)
                + SHALLOW_PRICE * np.add.reduceat(shallow(own), begins),
                parameters=np.add.reduceat(_parameters(own), begins),
                begins=begins,
                chains=own,
                offset=offset,
                wave_mm=wave(own, eq.residual[n]),
                worst_mm=worst,
            )
        )
    return out


def _parameters(c: Chains) -> Index:
    """(k,) free parameters of each piece, less one for its tangency to the piece before it."""
    return np.asarray(2 + c.pieces.arc.astype(int) - (c.tangent & c.linked))


def _laid_out(q: Question) -> tuple[Chains, _ChainStarts, Index]:
    """A question's chains with their starting values, where they lie, and (m,) what to add to their point numbers."""
    c, suppositions = q.draft.chains, q.suppositions
    n = len(c.points)
    starts = np.array([s.pieces[0].start for s in suppositions])
    lengths = np.array([s.stop for s in suppositions]) - starts
    base = np.append(0, np.cumsum(lengths))
    offset = starts - base[:-1]
    at = (np.arange(base[-1]) + np.repeat(offset, lengths)) % n
    counts = np.array([len(s.pieces) for s in suppositions])
    begins = np.append(0, np.cumsum(counts))
    flat = [p for s in suppositions for p in s.pieces]
    start = np.array([p.start for p in flat])
    stop = np.append(start[1:], 0)
    stop[begins[1:] - 1] = [s.stop for s in suppositions]
    old = np.array([p.old for p in flat])
    linked = np.ones(len(flat), bool)
    linked[begins[:-1]] = False
    sources, where = [c.pieces], old.copy()
    new = np.flatnonzero((old < 0) & [p.state is None for p in flat])
    if len(new):
        begin = start[new] % n
        sources.append(q.sums.pieces(begin, begin + stop[new] - start[new], np.array([flat[i].arc for i in new])))
        where[new] = len(c.pieces) + np.arange(len(new))
    given = [i for i, p in enumerate(flat) if p.state is not None]
    if given:
        v = np.array([flat[i].state for i in given], float)
        sources.append(Pieces(v[:, :2], v[:, 2], v[:, 3], np.array([flat[i].arc for i in given])))
        where[given] = len(c.pieces) + len(new) + np.arange(len(given))
    most = c.most[at]
    for i, s in enumerate(suppositions):
        if s.accident:
            most[s.accident[0] - offset[i] : s.accident[1] - offset[i]] = ACCIDENT_COST
    chains = replace(
        c,
        points=c.points[at],
        variance=c.variance[at],
        most=most,
        pieces=joined(sources).take(where),
        first=start - np.repeat(offset, counts),
        linked=linked,
        tangent=np.array([p.tangent for p in flat]) & linked,
        closed=False,
    )
    return chains, _ChainStarts(begins, base), offset


def _end_to_end(parts: list[Chains]) -> Chains:
    """Chains of several loops in one."""
    if len(parts) == 1:
        return parts[0]
    points = np.cumsum([0, *(len(c.points) for c in parts)])
    return replace(
        parts[0],
        points=np.concatenate([c.points for c in parts]),
        variance=np.concatenate([c.variance for c in parts]),
        most=np.concatenate([c.most for c in parts]),
        pieces=joined([c.pieces for c in parts]),
        first=np.concatenate([c.first + p for c, p in zip(parts, points, strict=False)]),
        linked=np.concatenate([c.linked for c in parts]),
        tangent=np.concatenate([c.tangent for c in parts]),
    )


def _hopeful(
    questions: Sequence[Question], laid: Sequence[tuple[Chains, _ChainStarts, Index]], layout: _ChainStarts, eq: Normal
) -> Mask:
    """(m,) which chains of all questions may still turn out cheaper than their rivals."""
    cost = np.add.reduceat(eq.cost, layout.base[:-1])
    out, at = [], 0
    for q, (c, own, _) in zip(questions, laid, strict=True):
        m = len(q.suppositions)
        parameters = np.add.reduceat(_parameters(c), own.begins[:-1])
        total = cost[at : at + m] / q.draft.noise.shared_by + q.draft.price * parameters
        out.append(total - total[q.rival] < q.patience)
        at += m
    return np.concatenate(out)


def _further(c: Chains, eq: Normal, layout: _ChainStarts, keep: Mask) -> tuple[Chains, Normal]:
    """Chains of which some have been fitted further."""
    k = np.repeat(keep, np.diff(layout.begins))
    n = np.repeat(keep, np.diff(layout.base))
    lost = np.cumsum(np.append(0, ~n))
    some = replace(
        c,
        points=c.points[n],
        variance=c.variance[n],
        most=c.most[n],
        pieces=c.pieces.take(np.flatnonzero(k)),
        first=(c.first - lost[c.first])[k],
        linked=c.linked[k],
        tangent=c.tangent[k],
    )
    # a chain's first piece begins where it did: that tells where all its points were
    back = np.repeat(layout.base[:-1] - lost[layout.base[:-1]], np.diff(layout.begins))[k]
    home = np.repeat(layout.base[:-1], np.diff(layout.begins))[k]
    some, better, _ = refined(some, MORE_STEPS, hold=0)
    p, q = c.pieces, some.pieces
    origin, angle, curvature, first = p.origin.copy(), p.angle.copy(), p.curvature.copy(), c.first.copy()
    origin[k], angle[k], curvature[k], first[k] = q.origin, q.angle, q.curvature, some.first - back + home
    residual, cost = eq.residual.copy(), eq.cost.copy()
    residual[n], cost[n] = better.residual, better.cost
    point, met = eq.joints.point.copy(), eq.joints.met.copy()
    point[k], met[k] = better.joints.point, better.joints.met
    chains = replace(c, pieces=Pieces(origin, angle, curvature, p.arc), first=first)
    return chains, replace(eq, residual=residual, cost=cost, joints=replace(eq.joints, point=point, met=met))
