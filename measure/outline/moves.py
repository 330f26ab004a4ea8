"""What could be changed about a loop's pieces: every supposition worth a trial.

Stretches put together into one line or arc, pieces left out so that their neighbours meet, lines bent and arcs
straightened, joints made tangent or not, corners rounded.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from measure.outline.meeting import crossing
from measure.outline.pieces import frames, square_to
from measure.outline.ring import Move, Ring
from measure.outline.suppositions import Piece

BUMP_LENGTH_MM = 1.5
"""A longer stretch that strays is no bump."""
SHARE_OF_BUMP = 0.75
"""A few short pieces are taken for one when they are no longer than this share of that (chosen)."""
BUMP_PRICE = 8.0
"""What it costs to take a stretch for a bump, besides what its points cost."""
BORNE = 1.5
"""What lies before and behind an accident is so many times as long (chosen)."""
FAIR_SQUARES, BUMP_MM2, BUMP_OVER_MM = 9, 0.01, 6
"""Mean square of what may be one piece: so many times the usual one, and on a stretch up to the last as much as a bump
of 0.1 mm leaves there (chosen)."""
LEAST_ROUND = 1.5
"""An arc longer than so many radii is no line (chosen)."""
SHORT = 8
"""Points that a piece has at most that is left out, or that a rounding takes the place of (chosen)."""
ROUNDED_HALF_RAD = (0.1, 1.45)
"""Half the turn of a corner that may be rounded: less is straight on, more a point (chosen)."""
FLANK_SHARE, LEAST_FLANK = 0.6, 0.8
"""A rounding takes this share of the shorter neighbour at most, and so many steps at least (chosen)."""
HALF_STEP, LEAST_OFF_MM = 0.1, 0.02
"""The point nearest to a corner lies up to half a step beside the arc's middle, and so looks farther from the corner by
this share of a step; and it is no nearer to it than that (chosen)."""


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
    least = FAIR_SQUARES * ring.typical + BUMP_MM2 * np.minimum(1, BUMP_OVER_MM / length)
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
        if ring.length(at + 1) > SHORT or not ring.news(at, 3):
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
    return min(before, behind) >= between / 2 and before + behind >= BORNE * between


def _bumps(ring: Ring) -> list[Move]:
    """A few short pieces taken for a bump or a shadow, where their neighbours would meet without them."""
    out = []
    for at in range(ring.k):
        for span in (1, 2, 3, 4):
            if ring.k < span + 3 or not ring.news(at, span + 2) or (span == 1 and ring.is_fillet(at + 1)):
                continue
            a, b = ring.piece(at), ring.piece(at + span + 1)
            begin, end = ring.start(at + 1), ring.start(at + span + 1)
            if (end - begin) * ring.draft.step_mm > SHARE_OF_BUMP * BUMP_LENGTH_MM:
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
            if ring.length(at) > LEAST_ROUND * abs(1 / ring.draft.chains.pieces.curvature[at]):
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
        if not ring.is_fillet(j) and ring.start(j + 1) - ring.start(j) <= SHORT and ring.k > 3 and ring.news(j - 1, 3)
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
    around = (middle[:, None] + np.arange(-SHORT, SHORT)) % ring.n
    nearest = np.hypot(*np.moveaxis(c.points[around] - point[:, None], 2, 0)).min(1)
    step = ring.draft.step_mm
    out = []
    for i, (at, span) in enumerate(corners):
        if not met[i] or not ROUNDED_HALF_RAD[0] < half[i] < ROUNDED_HALF_RAD[1]:
            continue
        reach_mm = FLANK_SHARE * min(ring.start(at + 1) - ring.start(at), ring.start(at + span) - end[i]) * step
        bulge = 1 / np.cos(half[i]) - 1
        r0 = max(nearest[i] - HALF_STEP * step, LEAST_OFF_MM) / bulge
        least = LEAST_FLANK * step
        flank = np.clip(r0 * np.tan(half[i]), least, max(reach_mm, least) + (end[i] - begin[i]) * step / 2)
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
