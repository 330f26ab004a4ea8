"""A draft seen as a ring of pieces, and what replaces a part of it: the windows that suppositions are fitted in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.outline.chains import sound
from measure.outline.drafts import SHALLOW_PRICE, UNSOUND, WAVE_POINTS, Draft, shallow, sums_of
from measure.outline.moments import RunningSums
from measure.outline.pieces import Index
from measure.outline.suppositions import Piece, Supposition
from measure.outline.unevenness import joint_excuse

OUTER_POINTS = 30
"""Points that the outermost piece of a window is fitted to."""
ALIKE_RAD = 0.15
"""Pieces that turn so differently are never excused as one feature that is uneven."""
FAINT_RAD = 0.8
"""At a corner that turns by less, sharp and rounded are hard to tell apart."""
MOST_FILLET_RAD = 2.5
"""An arc that turns by more rounds no corner: 143°, of an edge that all but runs back (chosen)."""


@dataclass(frozen=True, slots=True)
class Move:
    """A supposition and what it replaces.

    Attributes:
        at, span: first piece it replaces, and how many.
        margin: neighbours on either side that are fitted with it.
        pieces: what comes in their place.
        after: whether the joint behind them is tangent.
        accident: range of points that may be a bump.
        smooth: mm of edge that are taken for one feature, 0 if the move is of another sort.
        bias: what speaks for the move beforehand, in units of cost.
        rounds: 1 if it rounds a corner, -1 if it makes one sharp.
        extent: points of the smallest piece that is at stake.
        excuse: how much more of what speaks against it shared errors explain than noise does.
    """

    at: int
    span: int
    pieces: tuple[Piece, ...]
    after: bool
    accident: tuple[int, int] | None = None
    smooth: float = 0.0
    bias: float = 0.0
    rounds: int = 0
    extent: int = 1000
    excuse: float = 0.0


class Ring:
    """A draft seen as a ring of pieces, with points counted on past the end of the ring."""

    def __init__(self, draft: Draft, sums: RunningSums, fresh: list[bool]) -> None:
        c = draft.chains
        self.sums = sums
        self.fresh = fresh
        self.pieces: dict[int, Piece] = {}
        self.draft = draft
        self.n = len(c.points)
        self.k = len(c.first)
        self.first = c.first.tolist()
        self.arc = c.pieces.arc.tolist()
        self.shifts = np.roll(draft.shifts, -draft.shift, axis=0)
        self.excuse = joint_excuse(c, draft.eq, self.shifts)
        self.tangent = (c.tangent & c.linked).tolist()
        at = np.flatnonzero(c.linked & ~c.tangent)
        ta, tb = draft.eq.joints.incoming[at], draft.eq.joints.outgoing[at]
        self.bend = np.arccos(np.clip((ta * tb).sum(1), -1, 1))
        # three standard deviations of a mean of neighbouring residuals
        self.typical = float(np.median(c.variance[c.seen]))
        self.ripple_mm = 3 * math.sqrt(self.typical * min(draft.noise.shared_by, WAVE_POINTS) / WAVE_POINTS)

    def start(self, i: int) -> int:
        """First point of piece i, for any i from 0 on."""
        return int(self.first[i % self.k] + self.n * (i // self.k))

    def length(self, i: int, span: int = 1) -> float:
        """Of `span` pieces from piece i on, by their points, mm."""
        return (self.start(i + span) - self.start(i)) * self.draft.step_mm

    def least(self, at: int, span: int) -> int:
        """Points of the smallest of some pieces."""
        return min(self.start(i + 1) - self.start(i) for i in range(at, at + span))

    def piece(self, i: int) -> Piece:
        """Piece i as it stands."""
        p = self.pieces.get(i)
        if p is None:
            j = i % self.k
            p = self.pieces[i] = Piece(self.start(i), self.tangent[j], j, self.arc[j])
        return p

    def news(self, at: int, span: int) -> bool:
        """Whether a piece of a window, or a neighbour, has changed since all moves were last weighed."""
        return any(self.fresh[i % self.k] for i in range(at - 1, at + span + 1))

    def alike(self, at: int, span: int, arc: bool, radius: float) -> bool:
        """Whether pieces bend so much alike that unevenness could make one line or arc look like them."""
        own = [(at + i) % self.k for i in range(span)]
        bend = [self.length(i) * float(self.draft.chains.pieces.curvature[i]) for i in own]
        way = 0.0 if not arc else math.copysign(1 / radius, sum(bend))
        return all(abs(b - way * self.length(i)) < ALIKE_RAD for b, i in zip(bend, own, strict=True))

    def is_fillet(self, i: int) -> bool:
        """Whether a piece is an arc tangent to both neighbours that turns through no more than a corner."""
        j = i % self.k
        turn = self.length(j) * abs(float(self.draft.chains.pieces.curvature[j]))
        return self.arc[j] and self.tangent[j] and self.tangent[(j + 1) % self.k] and turn < MOST_FILLET_RAD

    def corners(self) -> tuple[int, int]:
        """How many corners are rounded and how many are sharp, of those that can be told."""
        return sum(self.is_fillet(i) for i in range(self.k)), int((self.bend > FAINT_RAD).sum())

    def rounding_bias(self, rounds: Index, would: int) -> Array:
        """(m,) what other corners say for moves that round one (1), make one sharp (-1) or do neither (0).

        Twice the logarithm of the odds after Jeffreys' prior; the corner itself has no say, corners of the part's other
        loops have half a one.

        Args:
            rounds: (m,).
            would: how many corners that are sharp now ask by themselves to be rounded.
        """
        rounded, sharp = self.corners()
        would = min(would, sharp)
        others_rounded, others_sharp = self.draft.habit
        round_say = np.maximum(rounded + would - (rounds != 0), 0) + others_rounded / 2 + 0.5
        sharp_say = np.maximum(sharp - would - (rounds > 0), 0) + others_sharp / 2 + 0.5
        return np.asarray(rounds * 2 * np.log(round_say / sharp_say))

    def standing(self, windows: Sequence[Supposition]) -> tuple[Array, Array]:
        """(m,) what stretches of points cost as the loop stands: residuals, and unsound and shallow pieces."""
        c, eq = self.draft.chains, self.draft.eq
        extra = np.zeros_like(eq.cost)
        extra[c.first] = UNSOUND * ~sound(c, eq.joints) + SHALLOW_PRICE * shallow(c)
        run = np.concatenate([np.zeros((2, 1)), np.cumsum(np.tile([eq.cost, extra], 3), axis=1)], axis=1)
        start, stop = np.array([w.pieces[0].start for w in windows]), np.array([w.stop for w in windows])
        begin = start % self.n
        cost, more = run[:, begin + stop - start] - run[:, begin]
        return cost, more

    def key(self, move: Move) -> tuple[int, ...]:
        """A move told by its place on the loop and by what it does."""
        shift = self.draft.shift
        where = [(self.start(i + self.k) + shift) % self.n for i in (move.at, move.at + move.span)]
        what = [v for p in move.pieces for v in (int(p.arc), int(p.tangent), int(p.old >= 0))]
        return (*where, *what, int(move.after))

    def margin(self, span: int) -> int:
        """Neighbours on either side that can be fitted with a window of so many pieces."""
        return max(0, min(2, (self.k - span) // 2))

    def ahead(self, a: int, m: int) -> list[Piece]:
        """The m pieces before piece a, the outermost with no more points than a neighbour's neighbour needs."""
        out = [self.piece(i) for i in range(a - m, a)]
        if m > 1 and out[0].start < out[1].start - OUTER_POINTS:
            out[0] = replace(out[0], start=out[1].start - OUTER_POINTS)
        return out

    def stop(self, a: int, m: int) -> int:
        """One past the last point of the m pieces from piece a on, the outermost cut short likewise."""
        last = self.start(a + m)
        return min(last, self.start(a + m - 1) + OUTER_POINTS) if m > 1 else last

    def window(self, at: int, span: int) -> Supposition:
        """The pieces as they stand, with their neighbours."""
        m = self.margin(span)
        a = at + self.k
        pieces = [*self.ahead(a, m), *(self.piece(i) for i in range(a, a + span + m))]
        return Supposition(tuple(pieces), self.stop(a + span, m))

    def with_move(self, move: Move) -> Supposition:
        """The pieces as the move would have them, with the same neighbours."""
        m = self.margin(move.span)
        a = move.at + self.k
        before = self.ahead(a, m)
        behind = [self.piece(i) for i in range(a + move.span, a + move.span + m)]
        if behind and behind[0].tangent != move.after:
            behind[0] = replace(behind[0], tangent=move.after)
        # the move's points are counted from its own first piece: bring them to the window's count
        lift = self.start(a) - self.start(move.at)
        middle = [replace(p, start=p.start + lift) for p in move.pieces] if lift else list(move.pieces)
        accident = move.accident and (move.accident[0] + lift, move.accident[1] + lift)
        return Supposition(tuple(before + middle + behind), self.stop(a + move.span, m), accident)


def corners(draft: Draft) -> tuple[int, int]:
    """How many corners of a loop are rounded and how many are sharp, of those that can be told."""
    return Ring(draft, sums_of(draft), [False] * len(draft.chains.first)).corners()
