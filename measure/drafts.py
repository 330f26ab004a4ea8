"""A loop cut into pieces, and suppositions about parts of it, fitted and priced by the dozen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from measure.features import Array
from measure.joining import GUESSED_MM, Chains, Normal, normal, owners, refined, rolled, sound
from measure.moments import RunningSums, running_sums
from measure.noise import Noise, from_residuals, white
from measure.pieces import Index, Mask, Pieces, distance, joined, travel_at
from measure.segmentation import CutCosts

SHALLOW_RAD = 0.17
SHALLOW_PRICE = 12.0
"""What an arc costs that turns by less than SHALLOW_RAD: few are drawn, and many a straight edge looks like one."""

UNEVEN_MM = 0.012
"""How far a real edge may stray from its line or arc over a long stretch, as standard deviation: two stretches that
differ by no more are one feature."""

UNEVEN_OVER_MM = 20.0
"""The stretch over which an edge strays so far; less over shorter ones."""

FIRST_SHARED_BY = 2.0
"""Before the noise is known for what it is, neighbours are taken to share at least so much of it."""

UNSOUND = 60.0
"""What a piece costs that runs backwards or does not reach its joints."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A closed loop cut into pieces.

    Attributes:
        chains: the closed loop, its first piece beginning at point 0; the variances hold the measured noise.
        eq: its normal equations.
        shift: the loop's point 0 is point `shift` of the loop as it was given.
        noise: that the variances were taken from.
        shifts: (n, m) of the points along their normals by errors that they share, each of unit variance, mm; in the
            order of the given loop.
        habit: corners of the part's other loops that are rounded, and that are sharp.
    """

    chains: Chains
    eq: Normal
    shift: int
    noise: Noise
    shifts: Array
    habit: tuple[int, int] = (0, 0)

    @property
    def step_mm(self) -> float:
        """Between neighbouring points."""
        return self.chains.step_mm

    @property
    def price(self) -> float:
        """Of one parameter: the logarithm of the number of independent points, Schwarz's criterion."""
        seen = self.chains.seen.sum()
        return float(np.log(max(seen / self.noise.shared_by, 20.0)))


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
class Trial:
    """Fitted suppositions.

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


ACCIDENT_COST = 4.0
"""The most that a point in a bump costs."""


def tried(draft: Draft, sums: RunningSums, suppositions: Sequence[Supposition], steps: int = 7) -> Trial:
    """All suppositions fitted at once. Unsound ones cost UNSOUND more for each unsound piece."""
    c = draft.chains
    n = len(c.points)
    lengths = np.array([s.stop - s.pieces[0].start for s in suppositions])
    starts = np.array([s.pieces[0].start for s in suppositions])
    base = np.append(0, np.cumsum(lengths))
    at = np.arange(base[-1]) - np.repeat(base[:-1] - starts, lengths)
    at %= n
    counts = np.array([len(s.pieces) for s in suppositions])
    begins = np.append(0, np.cumsum(counts))[:-1]
    flat = [p for s in suppositions for p in s.pieces]
    start = np.array([p.start for p in flat])
    offset = starts - base[:-1]
    first = start - np.repeat(offset, counts)
    stop = np.append(start[1:], 0)
    stop[np.append(begins[1:], len(flat)) - 1] = [s.stop for s in suppositions]
    old = np.array([p.old for p in flat])
    linked = np.ones(len(flat), bool)
    linked[begins] = False
    tangent = np.array([p.tangent for p in flat]) & linked
    new = np.flatnonzero((old < 0) & [p.state is None for p in flat])
    given = [i for i, p in enumerate(flat) if p.state is not None]
    sources = [c.pieces]
    where = old.copy()
    if len(new):
        begin = start[new] % n
        sources.append(sums.pieces(begin, begin + stop[new] - start[new], np.array([flat[i].arc for i in new])))
        where[new] = len(c.pieces) + np.arange(len(new))
    if given:
        v = np.array([flat[i].state for i in given], float)
        sources.append(Pieces(v[:, :2], v[:, 2], v[:, 3], np.array([flat[i].arc for i in given])))
        where[given] = len(c.pieces) + len(new) + np.arange(len(given))
    most = c.most[at]
    accidents = [(i, s.accident) for i, s in enumerate(suppositions) if s.accident]
    for i, (a, b) in accidents:
        most[a - offset[i] : b - offset[i]] = ACCIDENT_COST
    chains = Chains(
        c.points[at], c.variance[at], most, joined(sources).take(where), first, linked, tangent, c.step_mm, c.blur_mm
    )
    chains, eq, _ = refined(chains, steps)
    bad = np.add.reduceat(~sound(chains, eq), begins)
    cost = np.add.reduceat(eq.cost, base[:-1])
    extra = UNSOUND * bad + SHALLOW_PRICE * np.add.reduceat(shallow(chains), begins)
    arc = chains.pieces.arc
    parameters = np.add.reduceat(2 + arc.astype(int) - (tangent & linked), begins)
    worst = np.zeros(len(suppositions))
    for i, (a, b) in accidents:
        worst[i] = np.abs(eq.residual[a - offset[i] : b - offset[i]]).max()
    return Trial(cost, extra, parameters, begins, chains, offset, wave(chains, eq), worst)


WAVE_POINTS = 5


def wave(c: Chains, eq: Normal) -> Array:
    """(n,) size of the mean of neighbouring residuals, mm: what is left when white noise is averaged away."""
    plain = np.where(c.seen & ~np.isfinite(c.most), eq.residual, 0.0)
    return np.abs(np.convolve(plain, np.full(WAVE_POINTS, 1 / WAVE_POINTS), "same"))


def weighed(variance: Array, noise: Noise) -> Array:
    """(n,) variances that points are weighed by: the stated ones under the measured noise, and a guess in gaps."""
    return np.where(np.isfinite(variance), variance * noise.factor**2, GUESSED_MM**2)


def with_noise(draft: Draft, variance: Array, noise: Noise) -> Draft:
    """The draft under another noise; `variance` (n,) is the stated one in the order of the given loop."""
    c = replace(draft.chains, variance=weighed(np.roll(variance, -draft.shift), noise))
    return replace(draft, chains=c, eq=normal(c), noise=noise)


def settled(draft: Draft, steps: int = 12, hold: int = 1) -> Draft:
    """The draft with all its pieces fitted together; an arc that misses its neighbour is made to touch it."""
    for _ in range(3):
        c, eq, shift = refined(draft.chains, steps, hold)
        draft = replace(draft, chains=c, eq=eq, shift=(draft.shift + shift) % len(c.points))
        missed = ~eq.met & ~c.tangent & c.linked & (c.pieces.arc | np.roll(c.pieces.arc, 1))
        if not missed.any():
            break
        draft = replace(draft, chains=replace(c, tangent=c.tangent | missed))
    return draft


def total(draft: Draft) -> float:
    """What the draft costs: residuals, unsound pieces and parameters."""
    c = draft.chains
    bad = int((~sound(c, draft.eq)).sum())
    parameters = int((2 + c.pieces.arc.astype(int) - (c.linked & c.tangent)).sum())
    extra = UNSOUND * bad + SHALLOW_PRICE * int(shallow(c).sum())
    return float(draft.eq.cost.sum() / draft.noise.shared_by + extra + draft.price * parameters)


def shallow(c: Chains) -> Mask:
    """(k,) which pieces are arcs that hardly turn, by their points."""
    length = np.diff(np.append(c.first, len(c.points))) * c.step_mm
    return np.asarray(c.pieces.arc & (np.abs(c.pieces.curvature) * length < SHALLOW_RAD))


def residual_runs(draft: Draft, variance: Array) -> list[tuple[Array, int]]:
    """Each piece's residuals over the stated deviations, without accidents, and its parameters."""
    c, eq = draft.chains, draft.eq
    stated = np.sqrt(np.roll(variance, -draft.shift))
    r = np.where(np.isfinite(c.most) | ~np.isfinite(stated), np.nan, eq.residual / stated)
    pieces = np.split(r, c.first[1:])
    own = 2 + c.pieces.arc.astype(int) - (c.linked & c.tangent)
    return [(p, int(k)) for p, k in zip(pieces, own, strict=True)]


def first_cut(
    loops: Sequence[tuple[Array, Array]], noise: Noise
) -> tuple[list[tuple[Index, Mask]], list[RunningSums], Noise]:
    """Loops cut by dynamic programming, three times, the noise being measured anew from each cut.

    Args:
        loops: points (n, 2) and stated variances (n,) of each.
        noise: as seen before any fitting.

    Returns:
        For each loop the first points and kinds of its pieces; the loops' running sums; and the noise.
    """
    sums = [running_sums(p, 1 / weighed(v, white(1.0))) for p, v in loops]
    costs = [CutCosts(s) for s in sums]
    cuts: list[tuple[Index, Mask]] = []
    for share in (0.7, 0.9, 1.0):
        cuts, runs = [], []
        for (p, v), s, c in zip(loops, sums, costs, strict=True):
            price = share * np.log(max(np.isfinite(v).sum() / noise.shared_by, 20))
            first, arc = c.cut(1 / (noise.factor**2 * noise.shared_by), price)
            cuts.append((first, arc))
            pieces = s.pieces(first, np.append(first[1:], len(p)), arc)
            r = distance(pieces.take(owners(first, len(p))), p) / np.sqrt(v)
            r[~np.isfinite(v)] = np.nan
            runs += [(run, 2 + int(a)) for run, a in zip(np.split(r, first[1:]), arc, strict=True)]
        noise = from_residuals(runs)
        noise = replace(noise, shared_by=max(noise.shared_by, FIRST_SHARED_BY))
    return (
        [
            _across_start(s, f, a, 1 / (noise.factor**2 * noise.shared_by), np.log(max(len(p) / noise.shared_by, 20)))
            for (p, _), s, (f, a) in zip(loops, sums, cuts, strict=True)
        ],
        sums,
        noise,
    )


def _across_start(sums: RunningSums, first: Index, arc: Mask, scale: float, price: float) -> tuple[Index, Mask]:
    """The cut without the joint at point 0, if the last and the first piece are one."""
    n, k = len(sums.points), len(first)
    if k < 2:
        return first, arc
    stop = np.append(first[1:], n)
    i = np.array([k - 1, 0, k - 1])
    f = sums.fits(first[i], np.array([n, stop[0], n + stop[0]]))
    line, bent = f.weight * f.line_ms * scale, f.weight * f.circle_ms * scale
    apart = sum(bent[j] + 3 * price if arc[i[j]] else line[j] + 2 * price for j in (0, 1))
    one_line, one_arc = line[2] + 2 * price, bent[2] + 3 * price
    if min(one_line, one_arc) > apart:
        return first, arc
    arc = arc.copy()
    arc[-1] = one_arc < one_line
    return first[1:], arc[1:]


def first_draft(
    points: Array,
    variance: Array,
    noise: Noise,
    sums: RunningSums,
    first: Index,
    arc: Mask,
    blur_mm: float,
    shifts: Array,
) -> Draft:
    """A loop's pieces joined for the first time: tangent where they nearly are.

    Args:
        points: (n, 2) mm.
        variance: (n,) stated variances, mm².
        noise: as measured.
        sums: the loop's.
        first, arc: (k,) first point of each piece and its kind.
        blur_mm: standard width of the blur of the edge.
        shifts: (n, m) as in `Draft`.
    """
    n, k = len(points), len(first)
    pieces = sums.pieces(first, np.append(first[1:], n + first[0]), arc)
    at = (points[first] + points[first - 1]) / 2
    ta, tb = travel_at(pieces.take(np.arange(k) - 1), at), travel_at(pieces, at)
    smooth = (ta * tb).sum(1) > np.cos(np.radians(30))
    step = float(np.median(np.hypot(*np.diff(points, axis=0).T)))
    chains = Chains(
        points,
        weighed(variance, noise),
        np.full(n, np.inf),
        pieces,
        first,
        np.full(k, k > 1),
        smooth & (arc | np.roll(arc, 1)),
        step,
        blur_mm,
        closed=True,
    )
    chains, shift = rolled(chains)
    draft = Draft(chains, normal(chains), shift, noise, shifts)
    return settled(draft, hold=4) if k > 1 else draft


def sums_of(draft: Draft) -> RunningSums:
    """The loop's running sums counted from the draft's point 0."""
    v = draft.chains.variance
    return running_sums(draft.chains.points, 1 / v)
