"""Even teeth: a loop that repeats itself many times round a centre is seen as often, and one tooth is cut for all.

A tooth is a dozen edge points and eight pieces: by itself it says too little of its fillets. All teeth turned onto each
other say it n times. Whether the teeth are even is asked of the points first; a wheel with a broken or a missing tooth
is left as it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from calib.arrays import Array
from calib.tools.budget import STEP_IN_SD
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import (
    PARAMETERS,
    Estimate,
    Feature,
    length,
    middle,
    right_normal,
)
from measure.geometry.polylines import arc_lengths, at_lengths, closed
from measure.geometry.symmetry import centroid
from measure.outline.drafts import KnownCut
from measure.outline.labelling import FILLETS
from measure.outline.pieces import Index, Pieces, joined
from measure.outline.tooth_cut import NEIGHBOURS, cut_tooth
from measure.outline.tooth_shape import MeanTooth, pieces_of, shape_of

LEAST_TEETH, LEAST_PITCH_MM, LEAST_DEPTH_MM = 8, 1.2, 0.4
"""Fewer are lobes or corners, which stand for themselves; finer or shallower ones a photo does not show. Invented."""
REPEATED = 0.9
"""Share of the radius's variation that must repeat itself."""
UNEVEN_MM, ODD_MM, MOST_ODD, MOST_MM, RUN = 0.1, 0.25, 0.15, 0.7, 4
"""Teeth may stray from their median by the first, root mean square. Where a run of points strays by more than the
second, an edge was mistaken or a tooth is worn: this share of the points may do so, by no more than the fourth. More
than edges of teeth that are meant to be alike were found to stray; a tooth that is gone strays by more. Invented."""
SEEN = 0.75
"""Share of the points that must lie on an edge."""
FILLED = 0.8
"""Share of a tooth's cells that must have points."""
BINS = 1024
DENSE_MM, SPACINGS_MM = 0.03, (0.12, 0.17, 0.24, 0.34)
"""Spacing of points that stand for the loop, and of those that one tooth is given: the finest that all teeth together
fill, since points of one tooth may lie where those of the next one do."""
COMMON_MM, SAME_MM = 0.012, 0.012
"""What all edges of a wheel, and what one edge in all of its teeth, may have wrong however many are averaged. Found
with rendered photos."""
TOOTH_BENDS = 0.6
"""How much teeth's fillets are displaced against others (`measure.outline.labelling.FILLETS`), in all teeth alike: they
are seen more finely (75 fillets of 31 rendered wheels)."""
AS_GOOD = 0.05
"""Any divisor of the number of teeth explains the radius at least as well: of all as good to this share, the
largest."""
ONE_OF_ALL = 0.1
"""The median tooth's path, times the number of teeth, is the whole loop within this share (chosen)."""
POOR = 2.0
"""A shape of lines and fillets leaves no more than so many standard deviations of the mean tooth (chosen)."""
INDEPENDENT_MM = 0.002
"""What is left to each tooth by itself, so that covariances stay regular."""


@dataclass(frozen=True, slots=True)
class Teeth:
    """A loop of even teeth.

    Attributes:
        count: how many.
        centre: (2,) what they stand round, mm.
        step_rad: from a tooth to the next one in travel.
        loop: the mean tooth, so many times; the sensitivities are those of the points that were seen there.
        scatter_mm: how far points stray from the mean tooth.
        seen: how many points were averaged.
        odd: numbers of the teeth of which an edge strays from the others'; odd_mm: by how much, at most.
    """

    count: int
    centre: Array
    step_rad: float
    loop: EdgeLoop
    scatter_mm: float
    seen: int
    odd: tuple[int, ...]
    odd_mm: float


def even_teeth(loop: EdgeLoop) -> Teeth | None:
    """The loop as even teeth; None where it is not.

    Args:
        loop: a whole loop, in either sense.
    """
    points, good = loop.points_mm, np.isfinite(loop.sigma_mm)
    if len(points) < 6 * LEAST_TEETH or good.mean() < SEEN:
        return None
    centre = centroid(points)
    count = _repeats(points - centre)
    if not count:
        return None
    x, y = (points - centre).T
    step = math.copysign(2 * math.pi / count, float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()))
    stray = off_the_others(points, loop.normals, centre, step, count)
    nearby = np.abs(np.convolve(np.append(stray, stray[: RUN - 1]), np.full(RUN, 1 / RUN), "valid"))
    odd = np.convolve(np.append(nearby[1 - RUN :], nearby) > ODD_MM, np.ones(RUN), "valid") > 0
    scatter = float(np.sqrt(np.mean(stray[~odd & good] ** 2))) if (~odd & good).any() else np.inf
    if scatter > UNEVEN_MM or odd.mean() > MOST_ODD or nearby.max() > MOST_MM:
        return None
    which = tooth_numbers(points, centre, count)
    smooth = points + stray[:, None] * loop.normals
    good &= ~odd
    seen, worst = int(good.sum()), float(nearby.max())
    tooth = _one_tooth(points[good], smooth, centre, step, count)
    if tooth is None:
        return None
    own, of_each = tooth
    sigma = max(float(np.median(loop.sigma_mm[good])), scatter) / np.sqrt(of_each)
    even = _all_teeth(own, sigma, centre, step, count, loop)
    return Teeth(count, centre, step, even, scatter, seen, tuple(sorted(set(which[odd].tolist()))), worst)


def tooth_numbers(points: Array, centre: Array, count: int) -> Index:
    """(n,) in which tooth round a centre points (n, 2) lie."""
    x, y = (points - centre).T
    return np.asarray(np.round(np.arctan2(y, x) * count / (2 * math.pi)).astype(int) % count)


def _all_teeth(own: Array, sigma: Array, centre: Array, step: float, count: int, seen: EdgeLoop) -> EdgeLoop:
    """The mean tooth so many times, with the sensitivities of the points that were seen there."""
    points = np.concatenate([_turned(own, centre, k * step) for k in range(count)])
    ahead = np.roll(points, -1, 0) - np.roll(points, 1, 0)
    ahead /= np.hypot(*ahead.T)[:, None]
    _, nearest = cKDTree(seen.points_mm).query(points)
    return EdgeLoop(points, np.stack([ahead[:, 1], -ahead[:, 0]], 1), np.tile(sigma, count), seen.sensitivity[nearest])


def cut_alike(teeth: Teeth, blur_mm: float, coarser: float = 1.0) -> tuple[EdgeLoop, KnownCut] | None:
    """The loop of even teeth beginning with a piece, and all its teeth cut alike; None where one piece goes on and on.

    Args:
        teeth: as they were found.
        blur_mm: standard width of the edges' blur.
        coarser: how many times the noise a tooth is cut by.
    """
    m = len(teeth.loop.points_mm) // teeth.count
    own, sigma = teeth.loop.points_mm[:m], teeth.loop.sigma_mm[:m]
    profile = MeanTooth.of(own - teeth.centre, coarser * sigma, teeth.step_rad, blur_mm)
    shape = shape_of(profile)
    pieces, tangent = None, None
    if shape is not None and shape.chi < POOR:
        start, kinds, pieces, tangent = pieces_of(shape, profile)
    else:
        before, after = (_turned(own, teeth.centre, k * teeth.step_rad) for k in (-1, 1))
        start, kinds = cut_tooth(before, own, after, coarser * sigma)
    if len(start) < 2:
        return None
    first = int(start[0])
    own = np.concatenate([own[first:], _turned(own[:first], teeth.centre, teeth.step_rad)])
    loop = _all_teeth(own, np.roll(sigma, -first), teeth.centre, teeth.step_rad, teeth.count, teeth.loop)
    starts = ((start - first)[None] + m * np.arange(teeth.count)[:, None]).ravel()
    known = KnownCut(starts, np.tile(kinds, teeth.count))
    if pieces is not None and tangent is not None:
        turned = [_pieces_turned(pieces, teeth.centre, k * teeth.step_rad) for k in range(teeth.count)]
        known = replace(known, pieces=joined(turned), tangent=np.tile(tangent, teeth.count))
    return loop, known


def _pieces_turned(pieces: Pieces, centre: Array, angle: float) -> Pieces:
    """Pieces about a centre, turned round it."""
    return Pieces(_turned(pieces.origin + centre, centre, angle), pieces.angle + angle, pieces.curvature, pieces.arc)


def alike(estimate: Estimate, loop: int, teeth: Teeth) -> Estimate:
    """The estimate with the errors of all teeth of a loop taken for what they are: the same ones.

    Where the teeth were not all cut alike it stays as it is.
    """
    features = [f for f in estimate.features if f.loop == loop]
    per = len(features) // teeth.count
    kinds = [f.kind for f in features]
    if per * teeth.count != len(features) or kinds != kinds[:per] * teeth.count:
        return estimate
    slices = estimate.slices()
    at = np.concatenate([np.arange(slices[f.label].start, slices[f.label].stop) for f in features])
    m = len(at) // teeth.count
    own = estimate.white[np.ix_(at, at)]
    turns = [_turn(features[:per], k * teeth.step_rad) for k in range(teeth.count)]
    blocks = [own[k * m : k * m + m, k * m : k * m + m] for k in range(teeth.count)]
    one = np.mean([t.T @ b @ t for t, b in zip(turns, blocks, strict=True)], axis=0)
    down = np.concatenate(turns)
    placed = _moving(features, teeth.centre)
    reach = float(np.hypot(*(teeth.loop.points_mm - teeth.centre).T).mean())
    each = NEIGHBOURS * teeth.scatter_mm**2 / teeth.seen
    where = placed @ np.diag([2 * each, 2 * each, each / reach**2]) @ placed.T
    white = estimate.white.copy()
    one += np.diag(_same_in_all(features[:per])) ** 2
    out = _outwards(features)
    common = COMMON_MM**2 * np.outer(out, out)
    white[np.ix_(at, at)] = down @ one @ down.T + where + common + INDEPENDENT_MM**2 * np.eye(len(at))
    sensitivity = estimate.sensitivity.copy()
    sensitivity[at, estimate.shared_names.index(FILLETS)] *= TOOTH_BENDS
    return replace(estimate, white=white, sensitivity=sensitivity)


def _turned(points: Array, about: Array, angle: float) -> Array:
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray((points - about) @ np.array([[c, s], [-s, c]]) + about)


def _dense(points: Array, step_mm: float) -> Array:
    """Points along the closed polygon, evenly."""
    ring = closed(points)
    run = arc_lengths(ring)
    return at_lengths(ring, run, np.arange(0, run[-1], step_mm))


def _repeats(arms: Array) -> int:
    """How often the outermost radius repeats itself in a turn; 0 where it does not, or not often enough."""
    p = _dense(arms, DENSE_MM)
    r = np.hypot(*p.T)
    bin_of = ((np.arctan2(p[:, 1], p[:, 0]) / (2 * math.pi) + 0.5) * BINS).astype(int) % BINS
    radius = np.zeros(BINS)
    np.maximum.at(radius, bin_of, r)
    known = np.flatnonzero(radius)
    if len(known) < BINS / 2 or np.ptp(radius[known]) < LEAST_DEPTH_MM:
        return 0
    radius = np.interp(np.arange(BINS), known, radius[known], period=BINS)
    power = np.abs(np.fft.rfft(radius)) ** 2
    most = min(BINS // 8, int(2 * math.pi * radius.mean() / LEAST_PITCH_MM))
    share = {n: float(power[n::n].sum() / power[1:].sum()) for n in range(LEAST_TEETH, most + 1)}
    if not share or max(share.values()) < REPEATED:
        return 0
    return max(n for n, s in share.items() if s > max(share.values()) - AS_GOOD)


def off_the_others(points: Array, normals: Array, centre: Array, step: float, count: int) -> Array:
    """(n,) how far, along each point's normal, the median of all teeth lies from it, mm."""
    ring = _dense(points, DENSE_MM)
    tree = cKDTree(ring)
    off = np.zeros((len(points), count))
    for k in range(1, count):
        there, way = _turned(points, centre, k * step), _turned(normals, np.zeros(2), k * step)
        _, j = tree.query(there)
        off[:, k] = ((ring[j] - there) * way).sum(1)
    return np.median(off, axis=1)


def _one_tooth(points: Array, smooth: Array, centre: Array, step: float, count: int) -> tuple[Array, Array] | None:
    """The mean tooth's points (m, 2) in order of travel, and of how many each is the mean (m,).

    Args:
        points: that were seen.
        smooth: the loop's points, each moved to where the mean of all teeth lies there.
    """
    ring = _dense(smooth, DENSE_MM)
    lowest = ring[int(np.hypot(*(ring - centre).T).argmin())]  # in a root
    roots: Index = np.asarray(
        cKDTree(ring).query(np.array([_turned(lowest, centre, k * step) for k in range(count)]))[1]
    )
    lengths = np.diff(np.append(roots, roots[0])) % len(ring)
    k = int(np.abs(lengths - np.median(lengths)).argmin())  # a tooth like the others
    path = np.roll(ring, -int(roots[k]), 0)[: int(lengths[k])]
    if len(path) < 6 or abs(len(path) * count / len(ring) - 1) > ONE_OF_ALL:
        return None
    tree = cKDTree(np.concatenate([_turned(path, centre, k * step) for k in range(count)]))
    j: Index = np.asarray(tree.query(points)[1])
    here = np.stack([_turned(p[None], centre, -(k // len(path)) * step)[0] for p, k in zip(points, j, strict=True)])
    for spacing in SPACINGS_MM:
        m = max(8, round(len(path) * DENSE_MM / spacing))
        cell = (j % len(path)) * m // len(path)
        number = np.bincount(cell, minlength=m)
        filled = number > 0  # at a corner a cell may stay empty
        if filled.mean() > FILLED:
            own = np.stack([np.bincount(cell, here[:, k], m) for k in (0, 1)], 1)[filled] / number[filled, None]
            return own, number[filled].astype(float)
    return None


def _turn(features: Sequence[Feature], angle: float) -> Array:
    """(p, p) what a turn makes of the features' small parameters: centres turn, all else stays."""
    c, s = math.cos(angle), math.sin(angle)
    sizes = [PARAMETERS[f.kind] for f in features]
    out = np.eye(sum(sizes))
    for i, n in enumerate(sizes):
        if n == 3:
            a = sum(sizes[:i])
            out[a : a + 2, a : a + 2] = [[c, -s], [s, c]]
    return out


def _same_in_all(features: Sequence[Feature]) -> Array:
    """(p,) standard deviations of what an edge may have wrong in all teeth alike, shade or blur at a corner for one."""
    out: list[float] = []
    for f in features:
        turn = STEP_IN_SD * SAME_MM / max(length(f), SAME_MM)
        out += [SAME_MM, turn] if f.kind == "line" else [0.0] * PARAMETERS[f.kind]
    return np.array(out)


def _outwards(features: Sequence[Feature]) -> Array:
    """(p,) change of the features' parameters as the whole outline moves outwards by one."""
    out: list[float] = []
    for f in features:
        if f.kind == "line":
            out += [1.0, 0.0]
        elif f.kind != "curve":
            out += [0.0, 0.0, -1.0 if f.kind == "arc" and f.turn == "cw" else 1.0]
    return np.array(out)


def _moving(features: Sequence[Feature], centre: Array) -> Array:
    """(p, 3) change of the features' parameters as all are shifted by x and y and turned about the centre."""
    rows = []
    for f in features:
        if f.kind == "line":
            nx, ny = right_normal(f)
            x, y = middle(f) - centre
            rows += [[nx, ny, nx * -y + ny * x], [0.0, 0.0, 1.0]]
        elif f.kind != "curve":
            x, y = np.subtract(f.centre, centre)
            rows += [[1.0, 0.0, -y], [0.0, 1.0, x], [0.0, 0.0, 0.0]]
    return np.array(rows)
