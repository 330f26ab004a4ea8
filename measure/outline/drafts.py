"""A loop cut into pieces, and suppositions about parts of it, fitted and priced by the dozen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.outline.chains import GUESSED_MM, Chains, gaps, rolled, sound
from measure.outline.joining import Normal, normal, refined
from measure.outline.moments import RunningSums, running_sums
from measure.outline.noise import Noise, from_residuals, white
from measure.outline.pieces import Index, Mask, Pieces, distance, travel_at
from measure.outline.segmentation import CutCosts

SHALLOW_RAD = 0.17
SHALLOW_PRICE = 12.0
"""What an arc costs that turns by less than SHALLOW_RAD: few are drawn, and many a straight edge looks like one."""

UNEVEN_MM = 0.012
"""How far a real edge may stray from its line or arc over a long stretch, as standard deviation: two stretches that
differ by no more are one feature."""

NOT_ONE_MM = 0.2
"""What strays farther from a line or arc, over several points together, is not one, whatever may excuse it."""

UNEVEN_OVER_MM = 20.0
"""The stretch over which an edge strays so far; less over shorter ones."""

FIRST_SHARED_BY = 2.0
"""Before the noise is known for what it is, neighbours are taken to share at least so much of it."""

NEARLY_MM = 0.15
"""An arc that misses its neighbour by less is made to touch it."""

LEAST_POINTS = 20.0
"""A loop counts as so many independent points at least, in what a parameter costs (chosen: so that none is free)."""

PRICE_SHARES = (0.7, 0.9, 1.0)
"""Shares of a parameter's full price in the turns that cut a loop first: noise is better known in each (chosen)."""

SMOOTH_RAD = np.radians(30)
"""Pieces that meet at less may be tangent (chosen)."""

HELD = (4, 12)
"""Turns for which points stay with their piece, tried both: points that change hands too soon can lead far astray."""

UNSOUND = 60.0
"""What a piece costs that runs backwards or does not reach its joints."""


@dataclass(frozen=True, slots=True)
class KnownCut:
    """Where a loop is cut, if that is known before.

    Attributes:
        first, arc: (k,) first points and kinds of the pieces, the first beginning at point 0.
        pieces, tangent: k of them, and (k,) which touch the one before, where these are known as well.
    """

    first: Index
    arc: Mask
    pieces: Pieces | None = None
    tangent: Mask | None = None


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
        """Of one parameter, see `_price`."""
        return _price(int(self.chains.seen.sum()), self.noise)


def _price(points: int, noise: Noise) -> float:
    """Of one parameter: the logarithm of the number of independent points, Schwarz's criterion."""
    return float(np.log(max(points / noise.shared_by, LEAST_POINTS)))


WAVE_POINTS = 5


def wave(c: Chains, residual: Array) -> Array:
    """(n,) size of the mean of neighbouring residuals, mm: what is left when white noise is averaged away."""
    plain = np.where(c.seen & ~np.isfinite(c.most), residual, 0.0)
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
        missed = ~eq.joints.met & ~c.tangent & c.linked & (np.abs(gaps(c)) < NEARLY_MM)
        missed &= (eq.joints.incoming * eq.joints.outgoing).sum(1) > np.cos(SMOOTH_RAD)
        missed &= c.pieces.arc | np.roll(c.pieces.arc, 1)
        if not missed.any():
            break
        draft = replace(draft, chains=replace(c, tangent=c.tangent | missed))
    return draft


def total(draft: Draft) -> float:
    """What the draft costs: residuals, unsound pieces and parameters."""
    c = draft.chains
    bad = int((~sound(c, draft.eq.joints)).sum())
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
    for share in PRICE_SHARES:
        cuts, runs = [], []
        for (p, v), s, c in zip(loops, sums, costs, strict=True):
            price = share * _price(int(np.isfinite(v).sum()), noise)
            first, arc = c.cut(1 / (noise.factor**2 * noise.shared_by), price)
            cuts.append((first, arc))
            pieces = s.pieces(first, np.append(first[1:], len(p)), arc)
            r = distance(pieces.take(np.repeat(np.arange(len(first)), np.diff(np.append(first, len(p))))), p) / np.sqrt(
                v
            )
            r[~np.isfinite(v)] = np.nan
            runs += [(run, 2 + int(a)) for run, a in zip(np.split(r, first[1:]), arc, strict=True)]
        noise = from_residuals(runs)
        noise = replace(noise, shared_by=max(noise.shared_by, FIRST_SHARED_BY))
    return (
        [
            _across_start(s, f, a, 1 / (noise.factor**2 * noise.shared_by), _price(len(p), noise))
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
    known: KnownCut | None = None,
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
        known: the same cut with more that is known of it.
    """
    n, k = len(points), len(first)
    pieces = sums.pieces(first, np.append(first[1:], n + first[0]), arc)
    if known is not None and known.pieces is not None:
        pieces = known.pieces
    at = (points[first] + points[first - 1]) / 2
    ta, tb = travel_at(pieces.take(np.arange(k) - 1), at), travel_at(pieces, at)
    smooth = (ta * tb).sum(1) > np.cos(SMOOTH_RAD)
    step = float(np.median(np.hypot(*np.diff(points, axis=0).T)))
    chains = Chains(
        points,
        weighed(variance, noise),
        np.full(n, np.inf),
        pieces,
        first,
        np.full(k, k > 1),
        smooth & (arc | np.roll(arc, 1)) if known is None or known.tangent is None else known.tangent,
        step,
        blur_mm,
        closed=True,
    )
    chains, shift = rolled(chains)
    draft = Draft(chains, normal(chains), shift, noise, shifts)
    if k < 2:
        return draft
    return min((settled(draft, hold=turns) for turns in HELD), key=total)


def sums_of(draft: Draft) -> RunningSums:
    """The loop's running sums counted from the draft's point 0."""
    v = draft.chains.variance
    return running_sums(draft.chains.points, 1 / v)
