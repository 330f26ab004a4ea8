"""Which pieces a loop has: suppositions about parts of it, the best of them taken until none is better.

From the first cut, stretches are put together into one line or arc, pieces left out so that their neighbours meet,
lines bent and arcs straightened, joints made tangent or not, and corners rounded. Each such supposition is fitted
together with its neighbours and priced by Schwarz's criterion; those that pay are taken, the best first, where they
do not overlap.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from measure.drafts import (
    SHALLOW_PRICE,
    UNSOUND,
    WAVE_POINTS,
    Draft,
    Piece,
    Supposition,
    Trial,
    settled,
    shallow,
    total,
    tried,
    wave,
)
from measure.features import Array
from measure.joining import normal, rolled, sound
from measure.moments import RunningSums, running_sums
from measure.pieces import Pieces, crossing, travel_at

ROUNDS = 20
OVAL_MM = 0.2
"""A loop that strays so far from its best circle, on average, is no circle."""
OUTER_POINTS = 30
LEAST_GAIN = 0.5
SLACK = 2.0
UNEVEN_MM = 0.012
"""How far a real edge may stray from its line or arc over a long stretch, as standard deviation: two stretches that
differ by no more are one feature."""
UNEVEN_OVER_MM = 20.0
"""The stretch over which an edge strays so far; less over shorter ones."""
BUMP_LENGTH_MM = 3.0
BUMP_HEIGHT_MM = 0.3
ALIKE_RAD = 0.15
"""Pieces that turn so differently are never excused as one feature that is uneven."""
FAINT_RAD = 0.8
"""At a corner that turns by less, sharp and rounded are hard to tell apart."""
LEAST_RADIUS_MM = 0.25
"""A tighter arc can't be told from a sharp corner that blur has rounded."""


@dataclass(frozen=True, slots=True)
class _Move:
    """A supposition and what it replaces.

    Attributes:
        at, span: first piece it replaces, and how many.
        margin: neighbours on either side that are fitted with it.
        pieces: what comes in their place.
        after: whether the joint behind them is tangent.
        accident: range of points that may be a bump.
        smooth: mm of edge that are taken for one feature, 0 if the move is of another sort.
        bias: what speaks for the move beforehand, in units of cost.
    """

    at: int
    span: int
    pieces: tuple[Piece, ...]
    after: bool
    accident: tuple[int, int] | None = None
    smooth: float = 0.0
    bias: float = 0.0


class _Loop:
    """A draft seen as a ring of pieces, with points counted on past the end of the loop."""

    def __init__(self, draft: Draft, sums: RunningSums, fresh: list[bool]) -> None:
        c = draft.chains
        self.sums = sums
        self.fresh = fresh
        self.draft = draft
        self.n = len(c.points)
        self.k = len(c.first)
        self.first = c.first.tolist()
        self.arc = c.pieces.arc.tolist()
        self.tangent = (c.tangent & c.linked).tolist()
        at = np.flatnonzero(c.linked & ~c.tangent)
        ta = travel_at(c.pieces.take(at - 1), draft.eq.joint[at])
        tb = travel_at(c.pieces.take(at), draft.eq.joint[at])
        self.bend = np.arccos(np.clip((ta * tb).sum(1), -1, 1))
        # three standard deviations of a mean of neighbouring residuals
        self.typical = float(np.median(c.variance[np.isfinite(c.variance)]))
        self.ripple_mm = 3 * math.sqrt(self.typical * min(draft.noise.shared_by, WAVE_POINTS) / WAVE_POINTS)

    def start(self, i: int) -> int:
        """First point of piece i, for any i from 0 on."""
        return int(self.first[i % self.k] + self.n * (i // self.k))

    def length(self, i: int, span: int = 1) -> float:
        """Of `span` pieces from piece i on, by their points, mm."""
        return (self.start(i + span) - self.start(i)) * self.draft.step_mm

    def piece(self, i: int) -> Piece:
        """Piece i as it stands."""
        return Piece(self.start(i), self.tangent[i % self.k], i % self.k, self.arc[i % self.k])

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

    def rounded_odds(self) -> float:
        """Twice the logarithm of the odds that a corner of this loop is rounded, judged by those that can be told."""
        rounded = sum(self.is_fillet(i) for i in range(self.k))
        sharp = int((self.bend > FAINT_RAD).sum())
        return 2 * math.log((rounded + 1) / (sharp + 1))

    def standing(self, windows: list[Supposition]) -> Array:
        """(m,) what stretches of points cost as the loop stands, unsound pieces included."""
        c, eq = self.draft.chains, self.draft.eq
        cost = eq.cost / self.draft.noise.shared_by
        cost[c.first] += UNSOUND * ~sound(c, eq) + SHALLOW_PRICE * shallow(c)
        run = np.append(0, np.cumsum(np.tile(cost, 3)))
        start, stop = np.array([w.pieces[0].start for w in windows]), np.array([w.stop for w in windows])
        begin = start % self.n
        return np.asarray(run[begin + stop - start] - run[begin])

    def key(self, move: _Move) -> tuple[int, ...]:
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
        if m > 1:
            out[0] = replace(out[0], start=max(out[0].start, out[1].start - OUTER_POINTS))
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

    def with_move(self, move: _Move) -> Supposition:
        """The pieces as the move would have them, with the same neighbours."""
        m = self.margin(move.span)
        a = move.at + self.k
        before = self.ahead(a, m)
        behind = [self.piece(i) for i in range(a + move.span, a + move.span + m)]
        if behind:
            behind[0] = replace(behind[0], tangent=move.after)
        # the move's points are counted from its own first piece: bring them to the window's count
        lift = self.start(a) - self.start(move.at)
        middle = [replace(p, start=p.start + lift) for p in move.pieces]
        accident = move.accident and (move.accident[0] + lift, move.accident[1] + lift)
        return Supposition(tuple(before + middle + behind), self.stop(a + move.span, m), accident)


def _merges(loop: _Loop) -> list[_Move]:
    """Two to five neighbours as one line or one arc, where that is not out of the question."""
    windows = [(at, span) for at in range(loop.k) for span in range(2, min(6, loop.k)) if loop.news(at, span)]
    if not windows:
        return []
    begin = np.array([loop.start(at) for at, _ in windows])
    end = np.array([loop.start(at + span) for at, span in windows])
    f = loop.sums.fits(begin, end)
    length = (end - begin) * loop.draft.step_mm
    # a bump may leave a large mean square on a short stretch, but nothing else may
    least = 9 * loop.typical + 0.01 * np.minimum(1, 6 / length)
    fair = np.stack([f.line_ms < least, f.circle_ms < least], 1)
    out = []
    for (at, span), ok, radius in zip(windows, fair, f.radius, strict=True):
        if ok.any():
            start, stop = loop.start(at), loop.start(at + span)
            inner = (loop.start(at + 1) - 1, loop.start(at + span - 1) + 1)
            short = (inner[1] - inner[0]) * loop.draft.step_mm <= BUMP_LENGTH_MM
            accident = inner if span > 2 and short else None
            for arc in (False, True):
                if not ok[int(arc)] or stop - start < (4 if arc else 2):
                    continue
                ahead, behind = loop.arc[(at - 1) % loop.k], loop.arc[(at + span) % loop.k]
                as_is = loop.tangent[at % loop.k], loop.tangent[(at + span) % loop.k]
                for before, after in {as_is, (True, True)}:
                    piece = Piece(start, before and (arc or ahead), arc=arc)
                    after = after and (arc or behind)
                    smooth = loop.length(at, span) if loop.alike(at, span, arc, radius) else 0.0
                    out.append(_Move(at, span, (piece,), after, accident, smooth))
    return out


def _left_out(loop: _Loop) -> list[_Move]:
    """A piece left out, its neighbours meeting."""
    out = []
    for at in range(loop.k if loop.k > 2 else 0):
        if loop.length(at + 1) > 8 or not loop.news(at, 3):
            continue
        a, gone, b = (loop.piece(i) for i in range(at, at + 3))
        middle = (gone.start + b.start) // 2
        for tangent in (False, True) if a.arc or b.arc else (False,):
            pair = (a, replace(b, start=middle, tangent=tangent))
            after = loop.tangent[(at + 3) % loop.k]
            bias = -loop.rounded_odds() if loop.is_fillet(at + 1) and not tangent else 0.0
            out.append(_Move(at, 3, pair, after, bias=bias))
    return out


def _other_kinds(loop: _Loop) -> list[_Move]:
    """A line bent to an arc, an arc straightened."""
    out = []
    for at in range(loop.k):
        if not loop.news(at, 1):
            continue
        p = loop.piece(at)
        after = loop.tangent[(at + 1) % loop.k]
        ahead, behind = loop.arc[(at - 1) % loop.k], loop.arc[(at + 1) % loop.k]
        if p.arc:
            if loop.length(at) > 1.5 * abs(1 / loop.draft.chains.pieces.curvature[at]):
                continue
            for before, then in {(p.tangent, after), (True, True)}:
                line = Piece(p.start, before and ahead)
                out.append(_Move(at, 1, (line,), then and behind, smooth=loop.length(at)))
        elif loop.start(at + 1) - p.start >= 3:
            for tangent in {(True, True), (p.tangent, after)}:
                arc = Piece(p.start, tangent[0], arc=True)
                out.append(_Move(at, 1, (arc,), tangent[1], smooth=loop.length(at)))
    return out


def _other_joints(loop: _Loop) -> list[_Move]:
    """A joint made tangent, or not; both ends of an arc at once."""
    out = []
    for at in range(loop.k):
        if not loop.news(at, 2):
            continue
        a, b = loop.piece(at), loop.piece(at + 1)
        after = loop.tangent[(at + 2) % loop.k]
        if a.arc or b.arc:
            out.append(_Move(at, 2, (a, replace(b, tangent=not b.tangent)), after))
        if a.arc and not (a.tangent and b.tangent) and loop.k > 2:
            out.append(_Move(at, 1, (replace(a, tangent=True),), True))
    return out


def _roundings(loop: _Loop) -> list[_Move]:
    """Arcs tangent to both sides put into corners, or in place of short pieces there.

    The radius is the one that the nearest points speak for. Where most corners of a loop are rounded, a corner that
    can't be told is more likely rounded too: odds by Laplace's rule of succession.
    """
    c = loop.draft.chains
    if loop.k < 3:
        return []
    bias = loop.rounded_odds()
    corners = [(j - 1 + loop.k, 2) for j in np.flatnonzero(c.linked & ~c.tangent).tolist() if loop.news(j - 1, 2)]
    corners += [
        (j - 1 + loop.k, 3)
        for j in range(loop.k)
        if not loop.is_fillet(j) and loop.start(j + 1) - loop.start(j) <= 8 and loop.k > 3 and loop.news(j - 1, 3)
    ]
    if not corners:
        return []
    before = np.array([at for at, _ in corners]) % loop.k
    behind = np.array([at + span - 1 for at, span in corners]) % loop.k
    begin = np.array([loop.start(at + 1) for at, _ in corners])
    end = np.array([loop.start(at + span - 1) for at, span in corners])
    middle = (begin + end) // 2
    a, b = c.pieces.take(before), c.pieces.take(behind)
    near = (c.points[middle % loop.n] + c.points[(middle - 1) % loop.n]) / 2
    point, met = crossing(a, b, near)
    ta, tb = travel_at(a, point), travel_at(b, point)
    half = np.abs(np.arctan2(ta[:, 0] * tb[:, 1] - ta[:, 1] * tb[:, 0], (ta * tb).sum(1))) / 2
    sign = np.sign(ta[:, 0] * tb[:, 1] - ta[:, 1] * tb[:, 0])
    around = (middle[:, None] + np.arange(-8, 8)) % loop.n
    nearest = np.hypot(*np.moveaxis(c.points[around] - point[:, None], 2, 0)).min(1)
    step = loop.draft.step_mm
    out = []
    for i, (at, span) in enumerate(corners):
        if not met[i] or not 0.1 < half[i] < 1.45:
            continue
        reach_mm = 0.6 * min(loop.start(at + 1) - loop.start(at), loop.start(at + span) - end[i]) * step
        bulge = 1 / np.cos(half[i]) - 1
        # a point every step: the nearest one lies up to half a step beside the middle of the arc
        r0 = max(nearest[i] - 0.1 * step, 0.02) / bulge
        flank = np.clip(r0 * np.tan(half[i]), 0.8 * step, max(reach_mm, 0.8 * step) + (end[i] - begin[i]) * step / 2)
        r = float(flank / np.tan(half[i]))
        inward = tb[i] - ta[i]
        origin = point[i] + inward / np.hypot(*inward) * r * bulge
        angle = float(np.arctan2(*(ta[i] + tb[i])[::-1]))
        reach = max(1, round(float(flank) / step))
        first, last = loop.piece(at), loop.piece(at + span - 1)
        start = max(int(middle[i]) - reach, first.start + 1)
        stop = min(int(middle[i]) + reach, loop.start(at + span) - 1)
        if stop - start < 1:
            continue
        corner = Piece(start, True, arc=True, state=(float(origin[0]), float(origin[1]), angle, float(sign[i]) / r))
        move = (first, corner, replace(last, start=stop, tangent=True))
        out.append(_Move(at, span, move, loop.tangent[(at + span) % loop.k], bias=bias))
    return out


def _gains(loop: _Loop, moves: list[_Move]) -> tuple[Array, Array, Trial, list[int]]:
    """How much cheaper each move makes the loop, with and without allowance for uneven edges; fits; whose is which."""
    windows: dict[tuple[int, int], int] = {}
    suppositions: list[Supposition] = []
    for m in moves:
        key = (m.at % loop.k, m.span)
        if key not in windows:
            windows[key] = len(suppositions)
            suppositions.append(loop.window(*key))
    base = len(suppositions)
    suppositions += [loop.with_move(m) for m in moves]
    trial = tried(loop.draft, loop.sums, suppositions)
    draft = loop.draft
    own = np.arange(base, base + len(moves))
    was = np.array([windows[m.at % loop.k, m.span] for m in moves])
    saved = np.minimum(trial.cost[was], loop.standing(suppositions)[was]) - trial.cost[own]
    smooth = np.array([m.smooth for m in moves])
    uneven = UNEVEN_MM * np.minimum(1, smooth / UNEVEN_OVER_MM)
    counted = smooth / draft.step_mm * uneven**2 / (loop.typical * draft.noise.shared_by)
    lead = trial.begins[own] + np.array([loop.margin(m.span) for m in moves])
    ends = np.append(trial.chains.first, len(trial.wave_mm))
    largest = np.maximum.reduceat(np.append(trial.wave_mm, 0), np.stack([ends[lead], ends[lead + 1]], 1).ravel())[::2]
    long_wave = largest < 3 * uneven + loop.ripple_mm
    spared = draft.price * (trial.parameters[was] - trial.parameters[own]) + np.array([m.bias for m in moves])
    gain = saved / np.where(long_wave, 1 + counted, 1) + spared
    gain[trial.worst_mm[own] > BUMP_HEIGHT_MM] = -np.inf
    tight = trial.chains.pieces.arc & (np.abs(trial.chains.pieces.curvature) > 1 / LEAST_RADIUS_MM)
    gain[np.add.reduceat(tight, trial.begins)[own] > np.add.reduceat(tight, trial.begins)[was]] = -np.inf
    return gain, saved + spared, trial, own.tolist()


def _taken(loop: _Loop, trial: Trial, chosen: list[tuple[_Move, int]]) -> tuple[Draft, list[bool]]:
    """The draft after some moves that do not overlap, and which pieces are new or have a new neighbour."""
    c = loop.draft.chains
    drop = np.zeros(loop.k, bool)
    most = c.most.copy()
    entries: list[tuple[int, float, float, float, float, bool, bool, bool]] = []
    after: dict[int, bool] = {}
    for move, row in chosen:
        drop[[(move.at + i) % loop.k for i in range(move.span)]] = True
        m = loop.margin(move.span)
        begin = trial.begins[row] + m
        lift = loop.start(move.at + loop.k) - loop.start(move.at)
        for i in range(len(move.pieces)):
            p, j = trial.chains.pieces, begin + i
            # the outermost pieces keep their starts, which the neighbours share
            start = int(trial.chains.first[j] + trial.offset[row] - lift) if i else move.pieces[0].start
            entries.append(
                (start % loop.n, *p.origin[j], float(p.angle[j]), float(p.curvature[j]), bool(p.arc[j]),
                 move.pieces[i].tangent, True)
            )  # fmt: skip
        after[(move.at + move.span) % loop.k] = move.after
        if move.accident:
            most[np.arange(*move.accident) % loop.n] = trial.chains.most.min()
    for i in np.flatnonzero(~drop):
        p = c.pieces
        tangent = after.get(int(i), loop.tangent[i])
        entries.append(
            (loop.first[i], *p.origin[i], float(p.angle[i]), float(p.curvature[i]), bool(p.arc[i]), tangent, False)
        )
    entries.sort(key=lambda e: e[0])
    v = np.array([e[1:5] for e in entries], float)
    arc = np.array([e[5] for e in entries])
    k = len(entries)
    tangent = np.array([e[6] for e in entries]) & (arc | np.roll(arc, 1)) & (k > 1)
    first = np.array([e[0] for e in entries])
    up = np.arange(k)
    first = np.minimum(np.maximum.accumulate(first - up) + up, loop.n - k + up)
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
    return replace(loop.draft, chains=chains, eq=normal(chains), shift=(loop.draft.shift + shift) % loop.n), fresh


def improved(draft: Draft) -> Draft:
    """The draft after all moves that pay."""
    if len(draft.chains.first) < 2:
        return draft
    ring = as_circle(draft)
    cost = total(draft)
    if ring and round_enough(ring, draft):
        return ring
    fresh = [True] * len(draft.chains.first)
    refused: set[tuple[int, ...]] = set()
    seen: dict[tuple[tuple[bool, bool], ...], float] = {}
    for _ in range(ROUNDS):
        loop = _Loop(draft, sums_of(draft), fresh)
        if loop.k < 2:
            break
        moves = _merges(loop) + _left_out(loop) + _other_kinds(loop) + _other_joints(loop) + _roundings(loop)
        moves = [m for m in moves if loop.key(m) not in refused]
        if not moves:
            break
        gain, plain, trial, rows = _gains(loop, moves)
        order = [int(i) for i in np.argsort(-gain) if gain[i] > LEAST_GAIN]
        if not order:
            break
        group = _apart(loop, moves, order)
        better = None
        for some in [group] * (len(group) > 1) + [[i] for i in order[:8]]:
            trial_draft, new = _taken(loop, trial, [(moves[i], rows[i]) for i in some])
            trial_draft = settled(trial_draft, 8)
            t = total(trial_draft)
            # what evenness excuses may make the loop dearer, but not by more than was foreseen
            told = tuple(zip(trial_draft.chains.pieces.arc.tolist(), trial_draft.chains.tangent.tolist(), strict=True))
            told = min(told[i:] + told[:i] for i in range(len(told)))
            if seen.get(told, np.inf) <= t + 0.1:
                continue
            if t < cost - min(plain[some].sum(), 0.0) - LEAST_GAIN / 2 + SLACK * (plain[some].sum() < 0):
                better, cost = trial_draft, t
                seen[told] = t
                fresh = new if some is group or len(group) == 1 else [True] * len(new)
                break
            if len(some) == 1:
                refused.add(loop.key(moves[some[0]]))
        if better is None:
            break
        draft = better
        if ring and round_enough(ring, draft):
            return ring
    return draft


def _apart(loop: _Loop, moves: list[_Move], order: list[int]) -> list[int]:
    """The best moves that leave each other's pieces and their neighbours alone."""
    busy: set[int] = set()
    group = []
    for i in order:
        m = moves[i]
        own = {(m.at + j) % loop.k for j in range(-1, m.span + 1)}
        if not own & busy:
            busy |= own
            group.append(i)
    return group


def as_circle(draft: Draft) -> Draft | None:
    """The whole loop as one circle, unless it is nowhere near."""
    c = draft.chains
    n = len(c.points)
    sums = sums_of(draft)
    if sums.fits(np.array([0]), np.array([n])).circle_ms[0] > OVAL_MM**2:
        return None
    whole = sums.pieces(np.array([0]), np.array([n]), np.array([True]))
    none = np.zeros(1, bool)
    chains = replace(c, pieces=whole, first=np.zeros(1, int), linked=none, tangent=none, most=np.full(n, np.inf))
    return settled(replace(draft, chains=chains, eq=normal(chains)))


def round_enough(ring: Draft, draft: Draft) -> bool:
    """Whether the loop is better taken for a circle than for what it has been cut into."""
    if len(draft.chains.first) < 2:
        return False
    seen = np.isfinite(ring.chains.variance)
    around = len(seen) * ring.step_mm
    uneven = UNEVEN_MM * min(1.0, around / UNEVEN_OVER_MM)
    typical = float(np.median(ring.chains.variance[seen])) * ring.noise.shared_by
    ripple = 3 * math.sqrt(min(typical, 5 * typical / ring.noise.shared_by) / WAVE_POINTS)
    limit = 3 * uneven + ripple
    counted = seen.sum() * uneven**2 / typical if wave(ring.chains, ring.eq).max() < limit else 0.0
    d = draft.chains
    parameters = int((2 + d.pieces.arc.astype(int) - (d.linked & d.tangent)).sum()) - 3
    saved = (ring.eq.cost.sum() - draft.eq.cost.sum()) / ring.noise.shared_by
    saved -= UNSOUND * (~sound(d, draft.eq)).sum()
    return bool(saved / (1 + counted) < parameters * ring.price)


def sums_of(draft: Draft) -> RunningSums:
    """The loop's running sums counted from the draft's point 0."""
    v = draft.chains.variance
    return running_sums(draft.chains.points, np.where(np.isfinite(v), 1 / v, 0.0))
