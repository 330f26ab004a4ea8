"""What could be changed about a loop's pieces: every supposition worth a trial.

Stretches put together into one line or arc, pieces left out so that their neighbours meet, lines bent and arcs
straightened, joints made tangent or not, corners rounded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.chains import sound
from measure.drafts import SHALLOW_PRICE, UNSOUND, WAVE_POINTS, Draft, shallow, sums_of
from measure.features import Array
from measure.meeting import crossing
from measure.moments import RunningSums
from measure.pieces import Index, frames, square_to
from measure.trials import Piece, Supposition
from measure.unevenness import joint_excuse

OUTER_POINTS = 30
"""Points that the outermost piece of a window is fitted to."""
BUMP_LENGTH_MM = 4.0
"""A longer stretch that strays is no bump."""
BUMP_PRICE = 8.0
"""What it costs to take a stretch for a bump, besides what its points cost."""
ALIKE_RAD = 0.15
"""Pieces that turn so differently are never excused as one feature that is uneven."""
FAINT_RAD = 0.8
"""At a corner that turns by less, sharp and rounded are hard to tell apart."""


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
        return self.arc[j] and self.tangent[j] and self.tangent[(j + 1) % self.k] and turn < 2.5

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


def _merges(ring: Ring) -> list[Move]:
    """Two to five neighbours as one line or one arc, where that is not out of the question."""
    windows = [(at, span) for at in range(ring.k) for span in range(2, min(6, ring.k)) if ring.news(at, span)]
    if not windows:
        return []
    begin = np.array([ring.start(at) for at, _ in windows])
    end = np.array([ring.start(at + span) for at, span in windows])
    f = ring.sums.fits(begin, end)
    length = (end - begin) * ring.draft.step_mm
    # a bump may leave a large mean square on a short stretch, but nothing else may
    least = 9 * ring.typical + 0.01 * np.minimum(1, 6 / length)
    fair = np.stack([f.line_ms < least, f.circle_ms < least], 1)
    out = []
    for (at, span), ok, radius in zip(windows, fair, f.radius, strict=True):
        if ok.any():
            start, stop = ring.start(at), ring.start(at + span)
            inner = (max(ring.start(at + 1) - 2, start), min(ring.start(at + span - 1) + 2, stop))
            short = (inner[1] - inner[0]) * ring.draft.step_mm <= BUMP_LENGTH_MM
            accident = (
                inner if span > 2 and short and _borne(inner[0] - start, stop - inner[1], inner[1] - inner[0]) else None
            )
            for arc in (False, True):
                if not ok[int(arc)] or stop - start < (4 if arc else 2):
                    continue
                ahead, behind = ring.arc[(at - 1) % ring.k], ring.arc[(at + span) % ring.k]
                as_is = ring.tangent[at % ring.k], ring.tangent[(at + span) % ring.k]
                for before, after in {as_is, (True, True)}:
                    piece = Piece(start, before and (arc or ahead), arc=arc)
                    after = after and (arc or behind)
                    smooth = ring.length(at, span) if ring.alike(at, span, arc, radius) else 0.0
                    out.append(Move(at, span, (piece,), after, accident, smooth, extent=ring.least(at, span)))
    return out


def _left_out(ring: Ring) -> list[Move]:
    """A piece left out, its neighbours meeting."""
    out = []
    for at in range(ring.k if ring.k > 2 else 0):
        if ring.length(at + 1) > 8 or not ring.news(at, 3):
            continue
        a, gone, b = (ring.piece(i) for i in range(at, at + 3))
        middle = (gone.start + b.start) // 2
        for tangent in (False, True) if a.arc or b.arc else (False,):
            pair = (a, replace(b, start=middle, tangent=tangent))
            after = ring.tangent[(at + 3) % ring.k]
            rounds = -1 if ring.is_fillet(at + 1) and not tangent else 0
            out.append(Move(at, 3, pair, after, rounds=rounds, extent=ring.least(at + 1, 1)))
    return out


def _borne(before: int, behind: int, between: int) -> bool:
    """Whether what lies before and behind a stretch is long enough to say that the stretch is an accident."""
    return min(before, behind) >= between / 2 and before + behind >= 1.5 * between


def _bumps(ring: Ring) -> list[Move]:
    """A few short pieces taken for a bump or a shadow, where their neighbours would meet without them."""
    out = []
    for at in range(ring.k):
        for span in (1, 2, 3, 4):
            if ring.k < span + 3 or not ring.news(at, span + 2) or (span == 1 and ring.is_fillet(at + 1)):
                continue
            a, b = ring.piece(at), ring.piece(at + span + 1)
            begin, end = ring.start(at + 1), ring.start(at + span + 1)
            if (end - begin) * ring.draft.step_mm > 0.75 * BUMP_LENGTH_MM:
                break
            if not _borne(begin - a.start, ring.start(at + span + 2) - end, end - begin):
                continue
            after = ring.tangent[(at + span + 2) % ring.k]
            accident = (begin, end)
            for tangent in (False, True) if a.arc or b.arc else (False,):
                pair = (a, replace(b, start=(begin + end) // 2, tangent=tangent))
                out.append(Move(at, span + 2, pair, after, accident, bias=-BUMP_PRICE, extent=end - begin))
    return out


def _other_kinds(ring: Ring) -> list[Move]:
    """A line bent to an arc, an arc straightened."""
    out = []
    for at in range(ring.k):
        if not ring.news(at, 1):
            continue
        p = ring.piece(at)
        after = ring.tangent[(at + 1) % ring.k]
        ahead, behind = ring.arc[(at - 1) % ring.k], ring.arc[(at + 1) % ring.k]
        if p.arc:
            if ring.length(at) > 1.5 * abs(1 / ring.draft.chains.pieces.curvature[at]):
                continue
            for before, then in {(p.tangent, after), (True, True)}:
                line = Piece(p.start, before and ahead)
                out.append(Move(at, 1, (line,), then and behind, smooth=ring.length(at), extent=ring.least(at, 1)))
        elif ring.start(at + 1) - p.start >= 3:
            for tangent in {(True, True), (p.tangent, after)}:
                arc = Piece(p.start, tangent[0], arc=True)
                out.append(Move(at, 1, (arc,), tangent[1], smooth=ring.length(at), extent=ring.least(at, 1)))
    return out


def _other_joints(ring: Ring) -> list[Move]:
    """A joint made tangent, or not; both ends of an arc at once."""
    out = []
    for at in range(ring.k):
        if not ring.news(at, 2):
            continue
        a, b = ring.piece(at), ring.piece(at + 1)
        after = ring.tangent[(at + 2) % ring.k]
        if a.arc or b.arc:
            excuse = float(ring.excuse[(at + 1) % ring.k])
            pair = (a, replace(b, tangent=not b.tangent))
            out.append(Move(at, 2, pair, after, extent=ring.least(at, 2), excuse=excuse))
        if a.arc and not (a.tangent and b.tangent) and ring.k > 2:
            excuse = float(max(ring.excuse[at % ring.k], ring.excuse[(at + 1) % ring.k]))
            out.append(Move(at, 1, (replace(a, tangent=True),), True, extent=ring.least(at, 1), excuse=excuse))
    return out


def _bridged(ring: Ring) -> list[Move]:
    """A straight piece, tangent to both, put between an arc and what it meets at a corner."""
    out = []
    for at in range(ring.k):
        a, b = ring.piece(at), ring.piece(at + 1)
        if b.tangent or not (a.arc and b.arc) or not ring.news(at, 2):
            continue
        before, behind = b.start - a.start, ring.start(at + 2) - b.start
        start, stop = b.start - max(1, min(4, before // 3)), b.start + max(1, min(4, behind // 3))
        if before < 4 or behind < 4:
            continue
        move = (a, Piece(start, True), replace(b, start=stop, tangent=True))
        after = ring.tangent[(at + 2) % ring.k]
        out.append(Move(at, 2, move, after, rounds=1, extent=stop - start))
    return out


def _roundings(ring: Ring) -> list[Move]:
    """Arcs tangent to both sides put into corners, or in place of short pieces there.

    The radius is the one that the nearest points speak for. Where most corners of a loop are rounded, a corner that
    can't be told is more likely rounded too: odds after Jeffreys' prior.
    """
    c = ring.draft.chains
    if ring.k < 3:
        return []
    corners = [(j - 1 + ring.k, 2) for j in np.flatnonzero(c.linked & ~c.tangent).tolist() if ring.news(j - 1, 2)]
    corners += [
        (j - 1 + ring.k, 3)
        for j in range(ring.k)
        if not ring.is_fillet(j) and ring.start(j + 1) - ring.start(j) <= 8 and ring.k > 3 and ring.news(j - 1, 3)
    ]
    if not corners:
        return []
    before = np.array([at for at, _ in corners]) % ring.k
    behind = np.array([at + span - 1 for at, span in corners]) % ring.k
    begin = np.array([ring.start(at + 1) for at, _ in corners])
    end = np.array([ring.start(at + span - 1) for at, span in corners])
    middle = (begin + end) // 2
    sides = np.stack([before, behind])
    pair = frames(c.pieces)[:, sides]
    near = (c.points[middle % ring.n] + c.points[(middle - 1) % ring.n]) / 2
    point, met = crossing(pair, c.pieces.arc[sides].any(0), near)
    _, nx, ny = square_to(pair, point[:, 0], point[:, 1])
    ta, tb = np.stack([ny, -nx], 2)
    half = np.abs(np.arctan2(ta[:, 0] * tb[:, 1] - ta[:, 1] * tb[:, 0], (ta * tb).sum(1))) / 2
    sign = np.sign(ta[:, 0] * tb[:, 1] - ta[:, 1] * tb[:, 0])
    around = (middle[:, None] + np.arange(-8, 8)) % ring.n
    nearest = np.hypot(*np.moveaxis(c.points[around] - point[:, None], 2, 0)).min(1)
    step = ring.draft.step_mm
    out = []
    for i, (at, span) in enumerate(corners):
        if not met[i] or not 0.1 < half[i] < 1.45:
            continue
        reach_mm = 0.6 * min(ring.start(at + 1) - ring.start(at), ring.start(at + span) - end[i]) * step
        bulge = 1 / np.cos(half[i]) - 1
        # a point every step: the nearest one lies up to half a step beside the middle of the arc
        r0 = max(nearest[i] - 0.1 * step, 0.02) / bulge
        flank = np.clip(r0 * np.tan(half[i]), 0.8 * step, max(reach_mm, 0.8 * step) + (end[i] - begin[i]) * step / 2)
        r = float(flank / np.tan(half[i]))
        inward = tb[i] - ta[i]
        origin = point[i] + inward / np.hypot(*inward) * r * bulge
        angle = float(np.arctan2(*(ta[i] + tb[i])[::-1]))
        reach = max(1, round(float(flank) / step))
        first, last = ring.piece(at), ring.piece(at + span - 1)
        start = max(int(middle[i]) - reach, first.start + 1)
        stop = min(int(middle[i]) + reach, ring.start(at + span) - 1)
        if stop - start < 1:
            continue
        corner = Piece(start, True, arc=True, state=(float(origin[0]), float(origin[1]), angle, float(sign[i]) / r))
        move = (first, corner, replace(last, start=stop, tangent=True))
        out.append(Move(at, span, move, ring.tangent[(at + span) % ring.k], rounds=1, extent=stop - start))
    return out


def all_moves(ring: Ring) -> list[Move]:
    """All that is worth a trial where something has changed."""
    return (
        _merges(ring)
        + _left_out(ring)
        + _bumps(ring)
        + _other_kinds(ring)
        + _other_joints(ring)
        + _bridged(ring)
        + _roundings(ring)
    )


def corners(draft: Draft) -> tuple[int, int]:
    """How many corners of a loop are rounded and how many are sharp, of those that can be told."""
    return Ring(draft, sums_of(draft), [False] * len(draft.chains.first)).corners()
