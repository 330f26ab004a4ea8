"""Which pieces a loop has: suppositions about parts of it, the best of them taken until none is better.

From the first cut, stretches are put together into one line or arc, pieces left out so that their neighbours meet,
lines bent and arcs straightened, joints made tangent or not, and corners rounded. Each such supposition is fitted
together with its neighbours and priced by Schwarz's criterion; those that pay are taken, the best first, where they
do not overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.outline.chains import rolled
from measure.outline.drafts import NOT_ONE_MM, UNEVEN_MM, UNEVEN_OVER_MM, Draft, settled, shallow, sums_of, total
from measure.outline.joining import BUMP_HEIGHT_MM, normal
from measure.outline.moves import all_moves
from measure.outline.pieces import FLATTEST, Index, Mask, Pieces
from measure.outline.ring import Move, Ring
from measure.outline.roundness import as_circle, round_enough
from measure.outline.suppositions import FittedSuppositions, Question, Supposition, fit_all
from measure.outline.unevenness import stray

ROUNDS = 20
LEAST_GAIN = 0.5
"""A move must pay by so much."""
PATIENCE = 60.0
"""How much dearer than what is there a move may look at first."""
SLACK = 2.0
"""What evenness excuses may cost so much more than was foreseen."""
SAME_COST = 0.1
"""A draft of the same pieces that is dearer than one before, or cheaper by less, has been seen (chosen)."""
LISTED = 8
"""So many single moves are looked at where the group of all does not pay, and so many turns settle each (chosen)."""
VAGUE = 2.0
"""A curvature smaller than so many of its standard deviations is none."""
LEAST_RADIUS_MM = 0.25
"""A tighter arc can't be told from a sharp corner that blur has rounded."""


@dataclass(frozen=True, slots=True)
class _MoveSet:
    """What a ring asks: its moves, the windows that they compete with, and which is whose.

    Attributes:
        windows: how many windows come first among the suppositions.
        was: (m,) the window of each move.
    """

    ring: Ring
    moves: list[Move]
    windows: int
    was: Index
    question: Question


def _move_set(ring: Ring, moves: list[Move]) -> _MoveSet:
    windows: dict[tuple[int, int], int] = {}
    suppositions: list[Supposition] = []
    for m in moves:
        key = (m.at % ring.k, m.span)
        if key not in windows:
            windows[key] = len(suppositions)
            suppositions.append(ring.window(*key))
    base = len(suppositions)
    was = np.array([windows[m.at % ring.k, m.span] for m in moves])
    suppositions += [ring.with_move(m) for m in moves]
    # evenness may excuse a lot, but only of what is one feature
    patience = np.append(np.full(base, np.inf), [PATIENCE * (6 if m.smooth else 1) for m in moves])
    rival = np.append(np.arange(base), was)
    return _MoveSet(ring, moves, base, was, Question(ring.draft, ring.sums, suppositions, rival, patience))


def _gains(move_set: _MoveSet, fit: FittedSuppositions) -> tuple[Array, Array]:
    """(m,) how much cheaper each move makes the loop, with and without allowance for uneven edges."""
    ring, moves, base, was = move_set.ring, move_set.moves, move_set.windows, move_set.was
    suppositions = move_set.question.suppositions
    draft = ring.draft
    own = np.arange(base, base + len(moves))
    # what the window costs now is the less of what its own fit and the whole loop's fit make of it
    standing, faults = ring.standing(suppositions[:base])
    shared = draft.noise.shared_by
    now_better = standing / shared + faults < fit.cost[:base] / shared + fit.extra[:base]
    was_cost = np.where(now_better, standing, fit.cost[:base])[was]
    was_extra = np.where(now_better, faults, fit.extra[:base])[was]
    saved = was_cost - fit.cost[own]
    extra = was_extra - fit.extra[own]
    lead = fit.begins[own] + np.array([ring.margin(m.span) for m in moves])
    smooth = np.array([m.smooth for m in moves])
    uneven = UNEVEN_MM * np.minimum(1, smooth / UNEVEN_OVER_MM)
    shared_mm = _strays(ring, moves, fit, lead, saved)
    uneven = np.hypot(uneven, shared_mm)
    counted = smooth / draft.step_mm * uneven**2 / (ring.typical * draft.noise.shared_by)
    ends = np.minimum(np.append(fit.chains.first, len(fit.wave_mm)), len(fit.wave_mm))  # the last may have no points
    largest = np.maximum.reduceat(np.append(fit.wave_mm, 0), np.stack([ends[lead], ends[lead + 1]], 1).ravel())[::2]
    long_wave = largest < 3 * uneven + ring.ripple_mm
    spared = draft.price * (fit.parameters[was] - fit.parameters[own]) + np.array([m.bias for m in moves])
    rounds = np.array([m.rounds for m in moves])
    over = draft.noise.shared_over(np.array([m.extent for m in moves]))
    excuse = np.where(long_wave & (smooth > 0), counted, np.array([m.excuse for m in moves]))
    gain = (saved / over + extra) / (1 + excuse) + spared
    asking = {m.at + m.span for m, g in zip(moves, gain, strict=True) if m.rounds > 0 and g > 0}
    bias = ring.rounding_bias(rounds, len(asking))
    gain, spared = gain + bias, spared + bias
    gain[fit.worst_mm[own] > BUMP_HEIGHT_MM] = -np.inf
    waves = np.maximum.reduceat(np.append(fit.wave_mm, 0), ends[fit.begins])
    gain[(waves[own] > NOT_ONE_MM) & (waves[own] > waves[was]) & (saved < 0)] = -np.inf
    tight = fit.chains.pieces.arc & (np.abs(fit.chains.pieces.curvature) > 1 / LEAST_RADIUS_MM)
    gain[np.add.reduceat(tight, fit.begins)[own] > np.add.reduceat(tight, fit.begins)[was]] = -np.inf
    return gain, saved / shared + extra + spared


def _strays(ring: Ring, moves: list[Move], fit: FittedSuppositions, lead: Index, saved: Array) -> Array:
    """(m,) how far shared errors may bend what each move takes for one feature, mm; found only where it matters."""
    out = np.zeros(len(moves))
    if not ring.shifts.shape[1]:
        return out
    c = fit.chains
    ends = np.append(c.first, len(c.points))
    for i, m in enumerate(moves):
        if m.smooth and saved[i] < 0:
            a, b = ends[lead[i]], ends[lead[i] + 1]
            where = np.arange(a, b) + fit.offset[fit.begins.searchsorted(lead[i], "right") - 1]
            piece = c.pieces.take(lead[i : i + 1])
            out[i] = stray(piece, c.points[a:b], 1 / c.variance[a:b], ring.shifts[where % ring.n])
    return out


def _taken(ring: Ring, fit: FittedSuppositions, chosen: list[tuple[Move, int]]) -> tuple[Draft, list[bool]]:
    """The draft after some moves that do not overlap, and which pieces are new or have a new neighbour."""
    c = ring.draft.chains
    drop = np.zeros(ring.k, bool)
    most = c.most.copy()
    entries: list[tuple[int, float, float, float, float, bool, bool, bool]] = []
    after: dict[int, bool] = {}
    for move, row in chosen:
        drop[[(move.at + i) % ring.k for i in range(move.span)]] = True
        m = ring.margin(move.span)
        begin = fit.begins[row] + m
        lift = ring.start(move.at + ring.k) - ring.start(move.at)
        for i in range(len(move.pieces)):
            p, j = fit.chains.pieces, begin + i
            # the outermost pieces keep their starts, which the neighbours share
            start = int(fit.chains.first[j] + fit.offset[row] - lift) if i else move.pieces[0].start
            entries.append(
                (start % ring.n, *p.origin[j], float(p.angle[j]), float(p.curvature[j]), bool(p.arc[j]),
                 move.pieces[i].tangent, True)
            )  # fmt: skip
        after[(move.at + move.span) % ring.k] = move.after
        if move.accident:
            most[np.arange(*move.accident) % ring.n] = fit.chains.most.min()
    for i in np.flatnonzero(~drop).tolist():
        p = c.pieces
        tangent = after.get(i, ring.tangent[i])
        entries.append(
            (ring.first[i], *p.origin[i], float(p.angle[i]), float(p.curvature[i]), bool(p.arc[i]), tangent, False)
        )
    entries.sort(key=lambda e: e[0])
    v = np.array([e[1:5] for e in entries], float)
    arc = np.array([e[5] for e in entries])
    k = len(entries)
    tangent = np.array([e[6] for e in entries]) & (arc | np.roll(arc, 1)) & (k > 1)
    first = np.array([e[0] for e in entries])
    up = np.arange(k)
    first = np.minimum(np.maximum.accumulate(first - up) + up, ring.n - k + up)
    chains = replace(
        c,
        pieces=Pieces(v[:, :2], v[:, 2], v[:, 3], arc),
        first=first,
        linked=np.full(k, k > 1),
        tangent=tangent,
        most=most,
    )
    chains, shift = rolled(chains)
    new = [e[7] for e in entries]
    fresh = [new[i - 1] or new[i] or new[(i + 1) % k] for i in range(k)]
    return replace(ring.draft, chains=chains, eq=normal(chains), shift=(ring.draft.shift + shift) % ring.n), fresh


class _PieceSearch:
    """The search for a loop's pieces: the best draft so far, and what has been weighed already."""

    def __init__(self, draft: Draft, fresh: Mask) -> None:
        self.draft = draft
        self.cost = total(draft)
        self.circle = as_circle(draft) if fresh.any() and len(draft.chains.first) > 1 else None
        self.fresh = fresh.tolist()
        self.refused: set[tuple[int, ...]] = set()
        self.seen: dict[tuple[tuple[bool, bool], ...], float] = {}
        # where a move has made the loop dearer on an excuse: once at each place, or excuses would lead round in circles
        self.excused = np.zeros(len(draft.chains.points), bool)
        self.done = len(draft.chains.first) < 2 or not fresh.any()
        self._look_round()

    def _look_round(self) -> None:
        """Take the loop for a circle if it may be one."""
        if self.circle and round_enough(self.circle, self.draft):
            self.draft, self.done = self.circle, True

    def next_question(self) -> _MoveSet | None:
        """What is to be weighed next, if anything."""
        if self.done:
            return None
        ring = Ring(self.draft, sums_of(self.draft), self.fresh)
        moves = [m for m in all_moves(ring) if ring.key(m) not in self.refused] if ring.k > 1 else []
        self.done = not moves
        return _move_set(ring, moves) if moves else None

    def take(self, move_set: _MoveSet, fit: FittedSuppositions) -> None:
        """Take the moves that pay, as many at once as leave each other alone, or the best that does make it cheaper."""
        ring, moves = move_set.ring, move_set.moves
        gain, plain = _gains(move_set, fit)
        order = [int(i) for i in np.argsort(-gain) if gain[i] > LEAST_GAIN]
        order = [i for i in order if plain[i] > 0 or not self.excused[self._where(ring, moves[i])].any()]
        group = _apart(ring, moves, order)
        for some in [group] * (len(group) > 1) + [[i] for i in order[:LISTED]]:
            draft, new = _taken(ring, fit, [(moves[i], move_set.windows + i) for i in some])
            draft = settled(draft, LISTED)
            cost = total(draft)
            signature = _signature(draft)
            if self.seen.get(signature, np.inf) <= cost + SAME_COST:
                continue
            # what evenness excuses may make the loop dearer, but not by more than was foreseen
            foreseen = float(plain[some].sum())
            if cost < self.cost - min(foreseen, 0.0) - LEAST_GAIN / 2 + SLACK * (foreseen < 0):
                self.draft, self.cost = draft, cost
                self.seen[signature] = cost
                for i in some:
                    if plain[i] <= 0:
                        self.excused[self._where(ring, moves[i])] = True
                self.fresh = new if some is group or len(group) == 1 else [True] * len(new)
                self._look_round()
                return
            if len(some) == 1:
                self.refused.add(ring.key(moves[some[0]]))
        self.done = True

    def _where(self, ring: Ring, move: Move) -> Index:
        """The points of what a move replaces, in the order of the given loop."""
        a = move.at % ring.k
        return (np.arange(ring.start(a), ring.start(a + move.span)) + ring.draft.shift) % ring.n


def _signature(draft: Draft) -> tuple[tuple[bool, bool], ...]:
    """A draft told by the kinds of its pieces and joints, wherever it begins."""
    signature = tuple(zip(draft.chains.pieces.arc.tolist(), draft.chains.tangent.tolist(), strict=True))
    return min(signature[i:] + signature[:i] for i in range(len(signature)))


def improve(drafts: Sequence[Draft], fresh: Sequence[Mask] | None = None, rounds: int = ROUNDS) -> list[Draft]:
    """Drafts of a part's loops after all moves that pay.

    Args:
        drafts: one for each loop.
        fresh: for each, (k,) the pieces around which moves are to be weighed at all; everywhere if left out.
        rounds: so many rounds of moves at most.
    """
    everywhere = [np.ones(len(d.chains.first), bool) for d in drafts]
    searches = [_PieceSearch(d, f) for d, f in zip(drafts, fresh or everywhere, strict=True)]
    for _ in range(rounds):
        asking = [(s, a) for s in searches if (a := s.next_question())]
        if not asking:
            break
        fits = fit_all([a.question for _, a in asking])
        for (search, move_set), fit in zip(asking, fits, strict=True):
            search.take(move_set, fit)
    return [s.draft for s in searches]


def _apart(ring: Ring, moves: list[Move], order: list[int]) -> list[int]:
    """The best moves that leave each other's pieces and their neighbours alone."""
    busy: set[int] = set()
    group = []
    for i in order:
        m = moves[i]
        own = {(m.at + j) % ring.k for j in range(-1, m.span + 1)}
        if not own & busy:
            busy |= own
            group.append(i)
    return group


def straightened(draft: Draft) -> Draft:
    """The draft with lines for arcs whose curvature can't be told from none, where they fit nearly as well."""
    c, eq = draft.chains, draft.eq
    spread = np.sqrt(eq.inverse[:, 2, 2] * draft.noise.shared_by)
    vague = c.pieces.arc & (np.abs(c.pieces.curvature) < VAGUE * spread) & shallow(c)
    if not vague.any() or vague.all():
        return draft
    straight = _with_lines(draft, vague)
    if total(straight) < total(draft) + 2 * draft.price:
        return straight
    # an arc that was held at the least curvature is a line whatever the others are: its radius has no covariance
    held = vague & (np.abs(c.pieces.curvature) <= FLATTEST)
    return _with_lines(draft, held) if held.any() else draft


def _with_lines(draft: Draft, which: Mask) -> Draft:
    """The draft with lines for some of its arcs (k,), fitted again."""
    c = draft.chains
    arc = c.pieces.arc & ~which
    pieces = replace(c.pieces, arc=arc, curvature=np.where(which, 0.0, c.pieces.curvature))
    chains = replace(c, pieces=pieces, tangent=c.tangent & (arc | np.roll(arc, 1)))
    return settled(replace(draft, chains=chains, eq=normal(chains)))
