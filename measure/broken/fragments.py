"""The pieces of a broken part made one: their boundaries joined along the break, holes of both, and the break kept.

What the second piece's points have in common by the way it was laid on the first becomes shared terms of theirs: three
for the noise of the break, and for every other shared term what it does to the placing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.errors import PartRefused
from calib.words import Words
from measure.broken.boundary import runs_of
from measure.broken.mating import Mating, matings
from measure.broken.mouths import steadied
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import Point
from measure.geometry.polylines import arc_lengths, signed_area
from measure.tracing.following import Followed
from measure.tracing.values import Gap

PLACING_NAMES = ("placing_0", "placing_1", "placing_2")
"""Shared terms of the second piece's points, independent and of unit variance: its turn and shift."""
LEAST_WORTH = 12.0
"""Less than this speaks for any two things: see `measure.broken.mating.Weighed`."""
RIVAL = 0.8
"""Another placing for which so much of the same speaks might as well be the right one."""
LOOSE_MM = 0.2
"""The second piece may lie so much elsewhere, as standard deviation, where its break hardly says."""
WORST_RMS_MM = 0.25
"""A gap wider than this on average is no break between two pieces."""
CLEAR_MM = 0.9
"""At the ends of the break the boundary is not taken for seen so far from its corner, which blur and chips round."""


@dataclass(frozen=True, slots=True)
class JoinedLoops:
    """The joined part's boundaries, in the first piece's frame.

    Attributes:
        loops: the outer one first, then holes, the largest first; their shared terms are those of the pieces and
            PLACING_NAMES.
        mating: how the second piece lies on the first.
        gap: how well they fit.
        breaks: (n, 2) points of the first piece along each stretch of the break.
        faces: the same of the second piece, where it lies in the photo.
        of_second: for each loop, (n,) which of its points are the second piece's.
    """

    loops: tuple[EdgeLoop, ...]
    mating: Mating
    gap: Gap
    breaks: tuple[Array, ...]
    faces: tuple[Array, ...]
    of_second: tuple[NDArray[np.bool_], ...]

    def across(self) -> list[int]:
        """Holes that the break runs through, by number of their loop."""
        return [k for k, second in enumerate(self.of_second) if k > 0 and second.any() and not second.all()]


def put_together(one: Followed, two: Followed) -> JoinedLoops:
    """Join two pieces along the break.

    Args:
        one, two: the larger and the smaller piece.

    Raises:
        PartRefused: they don't fit each other, or in more ways than one.
    """
    first, second = one.loops, two.loops
    best = steadied(one, two, _fitting(matings(one.located[0], two.located[0])))
    gap = Gap(best.length_mm, best.rms_mm, best.worst_mm)
    fixed = [_with_terms(e, np.zeros((len(e.points_mm), 3))) for e in first]
    loose = [_laid(e, best) for e in second]
    touching = tuple(
        _carried(flags, seen.located[0], e[0])
        for flags, seen, e in ((best.first, one, first), (best.second, two, second))
    )
    outer, taken = _linked(fixed[0], loose[0], *touching)
    every = [(e, t) for e, t in zip(outer, taken, strict=True)]
    every += [(e, np.zeros(len(e.points_mm), bool)) for e in fixed[1:]]
    every += [(e, np.ones(len(e.points_mm), bool)) for e in loose[1:]]
    every.sort(key=lambda x: -abs(signed_area(x[0].points_mm)))
    if signed_area(every[0][0].points_mm) <= 0:
        raise PartRefused(_NOT_FITTING, "pieces-differ")
    breaks, faces = (
        tuple(e[0].points_mm[r] for r in runs_of(flags))
        for e, flags in ((one.located, best.first), (two.located, best.second))
    )
    return JoinedLoops(tuple(e for e, _ in every), best, gap, breaks, faces, tuple(t for _, t in every))


def _fitting(found: Sequence[Mating]) -> Mating:
    """The placing that is right beyond doubt.

    Raises:
        PartRefused: there is none.
    """
    if not found or found[0].pose_support.worth < LEAST_WORTH or found[0].rms_mm > WORST_RMS_MM:
        raise PartRefused(_NOT_FITTING, "pieces-differ")
    best = found[0]
    if len(found) > 1 and found[1].pose_support.worth > RIVAL * best.pose_support.worth:
        raise PartRefused(_EITHER_WAY, "pieces-ambiguous")
    if math.sqrt(float(np.linalg.eigvalsh(best.covariance[1:, 1:]).max())) > LOOSE_MM:
        raise PartRefused(_TOO_SMOOTH, "break-too-smooth")
    return best


_NOT_FITTING = Words(
    "The two pieces don't fit each other along any break: lay both pieces of the same part "
    "face up, or, if a piece between them is lost, trace the larger one alone and complete "
    "it."
)
_EITHER_WAY = Words(
    "The two pieces fit each other in more ways than one, so that where the second belongs "
    "can't be told: trace the larger piece alone, or glue them and take the photo again."
)
_TOO_SMOOTH = Words(
    "The break is so smooth that the two pieces can be slid along it: glue them, or hold "
    "them together with tape from below, and take the photo again as of one part."
)


def _with_terms(e: EdgeLoop, by_placing: Array) -> EdgeLoop:
    return replace(e, sensitivity=np.c_[e.sensitivity, by_placing])


def _laid(e: EdgeLoop, m: Mating) -> EdgeLoop:
    """A loop of the second piece as laid, with what shared terms and the placing's own noise do to its points."""
    p, n = m.motion.points(e.points_mm), e.normals @ m.motion.matrix().T
    arm = p - m.about_mm
    J = np.c_[arm[:, 0] * n[:, 1] - arm[:, 1] * n[:, 0], n]
    values, vectors = np.linalg.eigh(m.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return EdgeLoop(p, n, e.sigma_mm, np.c_[e.sensitivity + J @ m.response, J @ root])


def _carried(flags: NDArray[np.bool_], known: EdgeLoop, e: EdgeLoop) -> NDArray[np.bool_]:
    """Flags of one loop's points for those of another along the same boundary."""
    from scipy.spatial import cKDTree

    return np.asarray(flags[cKDTree(known.points_mm).query(e.points_mm)[1]])


def _linked(
    a: EdgeLoop, b: EdgeLoop, of_a: NDArray[np.bool_], of_b: NDArray[np.bool_]
) -> tuple[list[EdgeLoop], list[NDArray[np.bool_]]]:
    """Closed boundaries from what of both does not touch, and which of their points are the second's.

    Where a stretch of one ends at the break a stretch of the other begins.

    Args:
        a, b: boundaries of both pieces as laid.
        of_a, of_b: which of their points touch the other piece.
    """
    runs = [(a, r, False) for r in runs_of(~of_a)] + [(b, r, True) for r in runs_of(~of_b)]
    left = [(_trimmed(e, r), second) for e, r, second in runs]
    if sum(s for _, s in left) * 2 != len(left) or any(len(e.points_mm) < 4 for e, _ in left):
        raise PartRefused(_NOT_FITTING, "pieces-differ")
    out, taken = [], []
    while left:
        chain = [left.pop(0)]
        while True:
            last, of_second = chain[-1]
            here = last.points_mm[-1]
            ahead = [k for k, (_, s) in enumerate(left) if s != of_second]
            away = [math.dist(here, left[k][0].points_mm[0]) for k in ahead]
            home = math.dist(here, chain[0][0].points_mm[0]) if of_second != chain[0][1] else math.inf
            if not away or home <= min(away):
                if math.isinf(home):
                    raise PartRefused(_NOT_FITTING, "pieces-differ")
                break
            chain.append(left.pop(ahead[int(np.argmin(away))]))
        loop, mine = _closed(chain)
        out.append(loop)
        taken.append(mine)
    return out, taken


def _trimmed(e: EdgeLoop, run: NDArray[np.intp]) -> EdgeLoop:
    """The points of a run, without those too near to its ends."""
    p = e.points_mm[run]
    along = arc_lengths(p)
    keep = run[(along > CLEAR_MM) & (along < along[-1] - CLEAR_MM)]
    return EdgeLoop(e.points_mm[keep], e.normals[keep], e.sigma_mm[keep], e.sensitivity[keep])


def _closed(chain: Sequence[tuple[EdgeLoop, bool]]) -> tuple[EdgeLoop, NDArray[np.bool_]]:
    """Stretches as one closed loop; where they meet, points that are not seen stand in equal steps."""
    parts: list[EdgeLoop] = []
    mine: list[NDArray[np.bool_]] = []
    step = float(np.median(np.hypot(*np.diff(chain[0][0].points_mm, axis=0).T)))
    for k, (e, second) in enumerate(chain):
        after = chain[(k + 1) % len(chain)][0]
        p, q = e.points_mm[-1], after.points_mm[0]
        between = max(round(math.dist(p, q) / step) - 1, 0)
        t = (np.arange(between) + 1)[:, None] / (between + 1)
        n = (1 - t) * e.normals[-1] + t * after.normals[0]
        n /= np.maximum(np.hypot(*n.T), 1e-9)[:, None]
        s = (1 - t) * e.sensitivity[-1] + t * after.sensitivity[0]
        parts += [e, EdgeLoop(p + t * (q - p), n, np.full(between, np.inf), s)]
        mine += [np.full(len(e.points_mm), second), (t[:, 0] > 0.5) != second if between else np.zeros(0, bool)]
    joined = EdgeLoop(
        np.concatenate([e.points_mm for e in parts]),
        np.concatenate([e.normals for e in parts]),
        np.concatenate([e.sigma_mm for e in parts]),
        np.concatenate([e.sensitivity for e in parts]),
    )
    return joined, np.concatenate(mine)


def as_points(line: Array) -> tuple[Point, ...]:
    """A polyline (n, 2) as a feature holds it."""
    return tuple((float(x), float(y)) for x, y in line)
