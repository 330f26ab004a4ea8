"""Which pieces a loop has: suppositions about parts of it, the best of them taken until none is better.

From the first cut, stretches are put together into one line or arc, pieces left out so that their neighbours meet,
lines bent and arcs straightened, joints made tangent or not, and corners rounded. Each such supposition is fitted
together with its neighbours and priced by Schwarz's criterion; those that pay are taken, the best first, where they
do not overlap.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from measure.drafts import (
    UNEVEN_MM,
    UNEVEN_OVER_MM,
    Draft,
    Supposition,
    Trial,
    settled,
    sums_of,
    total,
    tried,
)
from measure.features import Array
from measure.joining import BUMP_HEIGHT_MM, normal, rolled
from measure.moves import Move, Ring, all_moves
from measure.pieces import Index, Pieces
from measure.roundness import as_circle, round_enough
from measure.unevenness import stray

ROUNDS = 20
LEAST_GAIN = 0.5
"""A move must pay by so much."""
SLACK = 2.0
"""What evenness excuses may cost so much more than was foreseen."""
LEAST_RADIUS_MM = 0.25
"""A tighter arc can't be told from a sharp corner that blur has rounded."""


def _gains(ring: Ring, moves: list[Move]) -> tuple[Array, Array, Trial, list[int]]:
    """How much cheaper each move makes the ring, with and without allowance for uneven edges; fits; whose is which."""
    windows: dict[tuple[int, int], int] = {}
    suppositions: list[Supposition] = []
    for m in moves:
        key = (m.at % ring.k, m.span)
        if key not in windows:
            windows[key] = len(suppositions)
            suppositions.append(ring.window(*key))
    base = len(suppositions)
    suppositions += [ring.with_move(m) for m in moves]
    trial = tried(ring.draft, ring.sums, suppositions)
    draft = ring.draft
    own = np.arange(base, base + len(moves))
    was = np.array([windows[m.at % ring.k, m.span] for m in moves])
    # what the window costs now is the less of what its own fit and the whole loop's fit make of it
    standing, faults = ring.standing(suppositions[:base])
    shared = draft.noise.shared_by
    now_better = standing / shared + faults < trial.cost[:base] / shared + trial.extra[:base]
    was_cost = np.where(now_better, standing, trial.cost[:base])[was]
    was_extra = np.where(now_better, faults, trial.extra[:base])[was]
    saved = was_cost - trial.cost[own]
    extra = was_extra - trial.extra[own]
    lead = trial.begins[own] + np.array([ring.margin(m.span) for m in moves])
    smooth = np.array([m.smooth for m in moves])
    uneven = UNEVEN_MM * np.minimum(1, smooth / UNEVEN_OVER_MM)
    shared_mm = _strays(ring, moves, trial, lead, saved)
    uneven = np.hypot(uneven, shared_mm)
    counted = smooth / draft.step_mm * uneven**2 / (ring.typical * draft.noise.shared_by)
    ends = np.append(trial.chains.first, len(trial.wave_mm))
    largest = np.maximum.reduceat(np.append(trial.wave_mm, 0), np.stack([ends[lead], ends[lead + 1]], 1).ravel())[::2]
    long_wave = largest < 3 * uneven + ring.ripple_mm
    spared = draft.price * (trial.parameters[was] - trial.parameters[own]) + np.array([m.bias for m in moves])
    rounds = np.array([m.rounds for m in moves])
    over = draft.noise.shared_over(np.array([m.extent for m in moves]))
    excuse = np.where(long_wave & (smooth > 0), counted, np.array([m.excuse for m in moves]))
    gain = (saved / over + extra) / (1 + excuse) + spared
    asking = {m.at + m.span for m, g in zip(moves, gain, strict=True) if m.rounds > 0 and g > 0}
    bias = ring.rounding_bias(rounds, len(asking))
    gain, spared = gain + bias, spared + bias
    gain[trial.worst_mm[own] > BUMP_HEIGHT_MM] = -np.inf
    tight = trial.chains.pieces.arc & (np.abs(trial.chains.pieces.curvature) > 1 / LEAST_RADIUS_MM)
    gain[np.add.reduceat(tight, trial.begins)[own] > np.add.reduceat(tight, trial.begins)[was]] = -np.inf
    return gain, saved / shared + extra + spared, trial, own.tolist()


def _strays(ring: Ring, moves: list[Move], trial: Trial, lead: Index, saved: Array) -> Array:
    """(m,) how far shared errors may bend what each move takes for one feature, mm; found only where it matters."""
    out = np.zeros(len(moves))
    if not ring.shifts.shape[1]:
        return out
    c = trial.chains
    ends = np.append(c.first, len(c.points))
    for i, m in enumerate(moves):
        if m.smooth and saved[i] < 0:
            a, b = ends[lead[i]], ends[lead[i] + 1]
            where = np.arange(a, b) + trial.offset[trial.begins.searchsorted(lead[i], "right") - 1]
            piece = c.pieces.take(lead[i : i + 1])
            out[i] = stray(piece, c.points[a:b], 1 / c.variance[a:b], ring.shifts[where % ring.n])
    return out


def _taken(ring: Ring, trial: Trial, chosen: list[tuple[Move, int]]) -> tuple[Draft, list[bool]]:
    """The draft after some moves that do not overlap, and which pieces are new or have a new neighbour."""
    c = ring.draft.chains
    drop = np.zeros(ring.k, bool)
    most = c.most.copy()
    entries: list[tuple[int, float, float, float, float, bool, bool, bool]] = []
    after: dict[int, bool] = {}
    for move, row in chosen:
        drop[[(move.at + i) % ring.k for i in range(move.span)]] = True
        m = ring.margin(move.span)
        begin = trial.begins[row] + m
        lift = ring.start(move.at + ring.k) - ring.start(move.at)
        for i in range(len(move.pieces)):
            p, j = trial.chains.pieces, begin + i
            # the outermost pieces keep their starts, which the neighbours share
            start = int(trial.chains.first[j] + trial.offset[row] - lift) if i else move.pieces[0].start
            entries.append(
                (start % ring.n, *p.origin[j], float(p.angle[j]), float(p.curvature[j]), bool(p.arc[j]),
                 move.pieces[i].tangent, True)
            )  # fmt: skip
        after[(move.at + move.span) % ring.k] = move.after
        if move.accident:
            most[np.arange(*move.accident) % ring.n] = trial.chains.most.min()
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


def improved(draft: Draft) -> Draft:
    """The draft after all moves that pay."""
    if len(draft.chains.first) < 2:
        return draft
    circle = as_circle(draft)
    cost = total(draft)
    if circle and round_enough(circle, draft):
        return circle
    fresh = [True] * len(draft.chains.first)
    refused: set[tuple[int, ...]] = set()
    seen: dict[tuple[tuple[bool, bool], ...], float] = {}
    for _ in range(ROUNDS):
        ring = Ring(draft, sums_of(draft), fresh)
        if ring.k < 2:
            break
        moves = [m for m in all_moves(ring) if ring.key(m) not in refused]
        if not moves:
            break
        gain, plain, trial, rows = _gains(ring, moves)
        order = [int(i) for i in np.argsort(-gain) if gain[i] > LEAST_GAIN]
        if not order:
            break
        group = _apart(ring, moves, order)
        better = None
        for some in [group] * (len(group) > 1) + [[i] for i in order[:8]]:
            trial_draft, new = _taken(ring, trial, [(moves[i], rows[i]) for i in some])
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
                refused.add(ring.key(moves[some[0]]))
        if better is None:
            break
        draft = better
        if circle and round_enough(circle, draft):
            return circle
    return draft


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
