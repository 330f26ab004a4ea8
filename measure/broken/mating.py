"""Two pieces of a broken part put together along the break: by which turn and shift, and how well they fit.

The best of many guesses are bettered by least squares over all that touches (points to lines, Chen and Medioni 1992)
and weighed by what one boundary tells of the other's shape, by whether edges go on across the break, and by whether
one piece lies in the other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.broken.boundary import Boundary, Index, Mask, bridged, inner, lengths, runs_of
from measure.broken.guesses import BESIDE_MM, CLEAR_MM, guesses
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.motion import Motion

FINALISTS = 40
"""How many guesses are bettered."""
TOUCHING_MM = 0.6
"""Where the boundaries lie within this of each other, back to back, the pieces touch."""
WIDE_MM = 1.2
"""The same while a guess is still rough."""
DEEP_MM = 0.5
"""So far one piece may lie in the other: edges are seen a little too far out."""
BACK_TO_BACK = -0.4
"""Cosine between the normals of boundaries that touch, at most."""
ROUNDS = 30
FEWEST = 6
"""So many points must touch."""
GRAIN_MM, ROUGH_GRAIN_MM = 0.015, 0.12
"""Nothing counts as nearer than this, once placed and while a guess is still rough."""
GRAINED_MM = 4.8
"""A break is ragged all along: its shape is told stretch by stretch, so that one corner that happens to fit tells
little."""
APART_MM = 1.0
"""Placings of which no point of the piece lies farther from the other's are one."""
KEPT = 0.68
"""Gaps and raggedness are told by this quantile: one standard deviation, whatever a chip does."""
MOUTH = 12.0
"""What it tells when the boundary goes on from one piece to the other at an end of the break: two stretches taken at
random seldom do."""
MOUTH_MM, MOUTH_GRAINS = 0.18, 6.0
"""How nearly they must: so much, or so many grains if that is more."""
SHARED_BY = 3.0
"""Neighbouring points of which so many count as one: they share noise."""
FACES_SD_MM = 0.015
"""What the whole of a break is seen too far out by in one piece, since light falls on it alike."""
ALONG = 0.3
"""Boundaries go on across an end of the break when they run the same way, cosine."""
NARROWER, SCALE, LEAST_SCALE_MM = 0.8, 1.5, 0.03
"""From round to round points must touch so much more nearly; gaps larger than so many medians, or this, count less."""
HELD, MOST_STEP = (1e-3, 1e-4, 1e-4), (0.1, 1.0)
"""What holds turn and shift where a smooth break does not; and the largest step of either, rad and mm (chosen)."""
LEAST_GAP_MM = 0.01
"""No break fits more nearly than this, for all that is known of it."""


@dataclass(frozen=True, slots=True)
class PoseSupport:
    """A pose with what speaks for it.

    Attributes:
        motion: of the second piece.
        inside_mm: length that lies in the first piece.
        support: how much of the one boundary's shape the other tells: for each millimetre the logarithm of how many
            times nearer it lies than a circle or a straight line would; and MOUTH for each end across which the
            boundary goes on.
    """

    motion: Motion
    inside_mm: float
    support: float

    @property
    def worth(self) -> float:
        """What speaks for it."""
        return self.support - 2 * self.inside_mm


@dataclass(frozen=True, slots=True)
class Mating:
    """One piece laid on another.

    Attributes:
        pose_support: how the second lies on the first, and what speaks for it.
        length_mm: of the break, where they touch.
        rms_mm, worst_mm: the gap between them, along the normal.
        about_mm: (2,) middle of the break.
        covariance: (3, 3) of the turn about that (rad) and of the shift (mm) by the noise of the points alone.
        response: (3, s) change of the same with each shared term of the points.
        first, second: (n,), (m,) which points of the two boundaries touch.
    """

    pose_support: PoseSupport
    length_mm: float
    rms_mm: float
    worst_mm: float
    about_mm: Array
    covariance: Array
    response: Array
    first: Mask
    second: Mask

    @property
    def motion(self) -> Motion:
        """How the second piece lies on the first."""
        return self.pose_support.motion


def matings(first: EdgeLoop, second: EdgeLoop) -> list[Mating]:
    """Ways to lay the second piece on the first along a break, the best first, each unlike the others.

    Args:
        first, second: outer boundaries, counter-clockwise.
    """
    fixed, loose = Boundary(first), Boundary(second)
    every = [pose_support(fixed, loose, p, ROUGH_GRAIN_MM) for p in guesses(fixed, loose)]
    out: list[Mating] = []
    tried: list[Motion] = []
    for w in sorted(every, key=lambda w: -w.worth):
        if len(tried) >= FINALISTS:
            break
        if any(_apart(loose, w.motion, k) < APART_MM for k in tried):
            continue
        tried.append(w.motion)
        better = refine(fixed, loose, w.motion)
        if better is not None and all(_apart(loose, better.motion, k.motion) >= APART_MM for k in out):
            out.append(better)
    return sorted(out, key=lambda m: -m.pose_support.worth)


def _apart(loose: Boundary, a: Motion, b: Motion) -> float:
    """How far the piece's farthest point lies from itself in two placings, mm."""
    d = a.points(loose.points) - b.points(loose.points)
    return float(np.hypot(*d.T).max())


def pose_support(fixed: Boundary, loose: Boundary, p: Motion, grain_mm: float) -> PoseSupport:
    """A pose with how far it makes the pieces touch and lie in each other, and what it tells.

    Args:
        fixed, loose: the first piece, and the second as it lies in the photo.
        p: of the second.
        grain_mm: nothing counts as nearer.
    """
    q = p.points(loose.fine[::8])
    n = loose.fine_normals[::8] @ p.matrix().T
    off, i = fixed.nearest(q)
    back = (n * fixed.fine_normals[i]).sum(1) < BACK_TO_BACK
    gap = ((q - fixed.fine[i]) * fixed.fine_normals[i]).sum(1)
    step = loose.length / len(q)
    touch = bridged(back & (off < TOUCHING_MM), np.full(len(q), step))
    inside = float(((gap < -DEEP_MM) & _within(fixed, q)).sum() * step)
    support = 0.0
    for run in runs_of(touch) if touch.any() and not touch.all() else []:
        support += _going_on(fixed, q, run, i[run], step, grain_mm)
        for few in np.array_split(run, max(1, round(len(run) * step / GRAINED_MM))):
            ragged, left = _ragged_mm(q[few]), float(np.quantile(np.abs(gap[few]), KEPT))
            support += len(few) * step * math.log(math.hypot(ragged, grain_mm) / math.hypot(left, grain_mm))
    return PoseSupport(p, inside, support)


def _going_on(fixed: Boundary, q: Array, run: Index, at: Index, step_mm: float, grain_mm: float) -> float:
    """What the ends of a run of touching points tell: whether one circle or straight line goes on across them.

    Args:
        q: (n, 2) the loose piece's boundary as laid, in steps of step_mm.
        run: the points that touch; at: the fine points of the fixed one that are nearest to them.
        grain_mm: as in `pose_support`.
    """
    near, far = (max(1, round(x / step_mm)) for x in (CLEAR_MM, BESIDE_MM))
    fine = fixed.length / len(fixed.fine)
    stride = max(1, round(step_mm / fine))
    walk = np.arange(near, far + 1)

    def support(before: Array, after: Array) -> float:
        a, b = before[-1] - before[0], after[-1] - after[0]
        if a @ b < ALONG * np.hypot(*a) * np.hypot(*b) or (after[0] - before[-1]) @ (a + b) <= 0:
            return 0.0
        off = _ragged_mm(np.vstack([before, after]))
        return MOUTH * math.exp(-((off / max(MOUTH_MM, MOUTH_GRAINS * grain_mm)) ** 2))

    own_after, own_before = q[(run[-1] + walk) % len(q)], q[(run[0] - walk[::-1]) % len(q)]
    m = len(fixed.fine)
    other_before = fixed.fine[(at[-1] - stride * walk[::-1]) % m]
    other_after = fixed.fine[(at[0] + stride * walk) % m]
    return support(other_before, own_after) + support(own_before, other_after)


def _ragged_mm(p: Array) -> float:
    """How far points stray from the circle or straight line that fits them best (Kasa 1976)."""
    d = p - p.mean(0)
    _, vectors = np.linalg.eigh(d.T @ d)
    straight = np.abs(d @ vectors[:, 0])
    size = float(np.abs(d).max())
    e = d / max(size, 1e-9)
    a = np.linalg.lstsq(np.c_[2 * e, np.ones(len(e))], (e**2).sum(1), rcond=None)[0]
    radius = math.sqrt(max(float(a[2] + a[0] ** 2 + a[1] ** 2), 1e-12))
    bent = np.abs(np.hypot(*(e - a[:2]).T) - radius) * size
    return float(min(np.quantile(straight, KEPT), np.quantile(bent, KEPT)))


def _within(fixed: Boundary, q: Array) -> Mask:
    import shapely

    shape = shapely.Polygon(fixed.points)
    shapely.prepare(shape)
    return np.asarray(shapely.contains_xy(shape, q[:, 0], q[:, 1]))


def refine(fixed: Boundary, loose: Boundary, p: Motion) -> Mating | None:
    """A placing bettered by least squares until it rests, with its gap and how sure it is; None if it slips apart."""
    normals = loose.normals_at()
    sigma = loose.loop.sigma_mm
    seen = np.isfinite(sigma)
    for k in range(ROUNDS):
        q = p.points(loose.points)
        off, i = fixed.nearest(q)
        n = fixed.fine_normals[i]
        back = ((normals @ p.matrix().T) * n).sum(1) < BACK_TO_BACK
        limit = max(TOUCHING_MM, WIDE_MM * NARROWER**k)
        touch = seen & inner(back & (off < limit))
        if touch.sum() < FEWEST:
            return None
        gap = ((q - fixed.fine[i]) * n).sum(1)
        scale = max(SCALE * float(np.median(np.abs(gap[touch]))), LEAST_SCALE_MM)
        weight = np.where(touch, 1 / (1 + (gap / scale) ** 2), 0.0)  # a chip must not draw the pieces apart
        middle = q[touch].mean(0)
        arm = q - middle
        J = np.c_[arm[:, 0] * n[:, 1] - arm[:, 1] * n[:, 0], n]
        normal = J.T @ (J * weight[:, None]) + np.diag(HELD)
        step = -np.linalg.solve(normal, J.T @ (weight * gap))
        step *= min(
            1.0, MOST_STEP[0] / max(abs(float(step[0])), 1e-12), MOST_STEP[1] / max(float(np.hypot(*step[1:])), 1e-12)
        )
        p = p.nudged(step, middle)
        if np.abs(step).max() < 1e-6 and k > 8:
            break
    return judge(fixed, loose, p)


def judge(fixed: Boundary, loose: Boundary, p: Motion) -> Mating | None:
    """A placing with where the pieces touch, the gap between them, and how sure it is by the break alone; None if they
    hardly touch."""
    q = p.points(loose.points)
    normals = loose.normals_at() @ p.matrix().T
    off, i = fixed.nearest(q)
    n = fixed.fine_normals[i]
    second = bridged((off < TOUCHING_MM) & ((normals * n).sum(1) < BACK_TO_BACK), lengths(loose.points))
    if second.sum() < FEWEST:
        return None
    laid = EdgeLoop(q, normals, loose.loop.sigma_mm, loose.loop.sensitivity)
    other = Boundary(laid)
    far, j = other.nearest(fixed.points)
    facing = (fixed.normals_at() * other.fine_normals[j]).sum(1) < BACK_TO_BACK
    first = bridged((far < TOUCHING_MM) & facing, lengths(fixed.points))
    if first.sum() < FEWEST:
        return None
    use = inner(second) & np.isfinite(loose.loop.sigma_mm)
    if use.sum() < FEWEST:
        return None
    gap = ((q - fixed.fine[i]) * n).sum(1)
    middle = q[use].mean(0)
    arm = q[use] - middle
    J = np.c_[arm[:, 0] * n[use, 1] - arm[:, 1] * n[use, 0], n[use]]
    inverse = np.linalg.pinv(J.T @ J, hermitian=True)
    variance = max(float(np.mean(gap[use] ** 2)), LEAST_GAP_MM**2) * SHARED_BY
    pull = inverse @ J.T
    common = pull @ (n[use] @ n[use].mean(0))  # the whole break too far out along its mean normal
    nearest = np.argmin(((fixed.points[None] - fixed.fine[i[use]][:, None]) ** 2).sum(2), 1)
    response = pull @ (fixed.loop.sensitivity[nearest] + loose.loop.sensitivity[use])
    covariance = inverse * variance + 2 * FACES_SD_MM**2 * np.outer(common, common)
    return Mating(
        pose_support(fixed, loose, p, GRAIN_MM),
        float(lengths(loose.points)[second].sum()),
        float(np.sqrt(np.mean(gap[use] ** 2))),
        float(np.abs(gap[use]).max()),
        middle,
        covariance,
        response,
        first,
        second,
    )
