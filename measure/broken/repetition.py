"""Does what is left of a broken part repeat itself about a mirror axis, or by turns about a centre?

Axes and centres are proposed by pairs of like features, tried on points along the boundary, and the best few fitted by
generalised least squares with the covariance of the features themselves. The stretch whose image would fill the break
says nothing and is left out; all the rest must fall on the boundary within its uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from calib.arrays import Array
from calib.words import Words
from measure.adjustment.equations import with_edge_error
from measure.broken.breaks import Break, outer
from measure.geometry.features import (
    COARSE_MM,
    FINE_MM,
    Estimate,
    Feature,
    Point,
    as_line,
    as_round,
    direction,
    flatten,
    is_round,
    length,
    middle,
    right_normal,
    same_kind,
)
from measure.geometry.motion import Motion
from measure.geometry.polylines import arc_lengths, at_lengths, with_normals
from measure.geometry.repeat import Repeat
from measure.outline.pieces import Index, Mask

SPACING_MM = 0.1
"""Of the points that stand for the boundary."""
FRACTIONS = (0.12, 0.5, 0.88)
"""Where features are compared."""
ROUGHLY_MM = 0.8
"""Images this near belong together before the fit."""
MET_MM = 1.5
"""What lies farther from the boundary meets none of it."""
TRIED = 10
MOST_FOLD = 12
"""A part repeats itself at most so often round its centre."""
SIGMAS, LEEWAY_MM, MOST_MM, MOST_RMS_MM = 4.0, 0.05, 0.5, 0.15
"""An image may be off by so many standard deviations and the leeway, never by more than the third; all by the last."""
SHORT_MM, WIDEST = 6.0, 4
"""So many pieces on either side of a curve may belong to the fracture when they are shorter than this."""
LEAST_TESTED = 0.3
"""Share of the boundary that must bear the repetition out."""
NOISE_MM = 0.01
Way = Literal["mirror", "turn"]

ALIKE, TURNED_RAD = (0.2, 0.05), (0.03, 0.2)
"""Radii of partners differ by no more than this, mm, and this share; edges, and arcs, are turned as far as a repetition
turns them within this."""
ACROSS, FACES = 0.1, 0.9
"""Lines meet on an axis when they cross it by so much, sine; a point meets a boundary that faces its way, cosine."""
TEST_MM, ALMOST_MM = ((0.0, 0.0), (30.0, 0.0), (0.0, 30.0)), 0.3
"""Repetitions that carry these points nearer than that to the same places are tried once."""
TELLING_MM = 0.8
"""Shorter features tell nothing of a repetition (all chosen on the photos of tests/accuracy/broken)."""


@dataclass(frozen=True, slots=True)
class Repetition:
    """A repetition that the rest of the part bears out.

    Attributes:
        placing: what carries the intact counterpart onto the break.
        rms_mm, worst_mm: how far the rest's images lie off the boundary.
        response: (2, m) change of the placing's free numbers with the features' parameters.
        tested: share of the boundary that was compared.
    """

    placing: Repeat
    rms_mm: float
    worst_mm: float
    response: Array
    tested: float


@dataclass(frozen=True, slots=True)
class NoRepetition:
    """Why there is none; `gap_mm` is how far the best one leaves the rest from the boundary, where one was tried, and
    `broken_too` says that it would serve if what it shows in place of the break were whole."""

    why: str
    gap_mm: float | None = None
    broken_too: bool = False

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True)
class _SampledBoundary:
    """The boundary as points, and the outer loop by its length."""

    points: Array  # (n, 2)
    normals: Array  # (n, 2) to where it is empty
    owner: Index  # (n,) position of the feature in the estimate
    tree: cKDTree  # of those that are intact
    intact: Index  # (k,) which these are
    loop: cKDTree  # of the outer loop's points, broken or not
    along: Array  # (n of the loop,) mm from the loop's first point
    lost: Mask  # (n of the loop,) which are of a break
    size_mm: float
    gone: tuple[tuple[float, float], ...]  # stretches of breaks, from and to, mm
    samples: Array  # (s, 2) points of intact lines, arcs and circles
    facing: Array  # (s, 2) their normals
    of: Index  # (s,) whose they are
    at: Array  # (s,) mm along the outer loop; nan in holes
    beside: Mask  # (s,) which lie on short pieces beside a break: they may belong to it


def find_repetition(estimate: Estimate, way: Way, which: Break, breaks: Sequence[Break]) -> Repetition | NoRepetition:
    """The repetition that tells what is missing in one break.

    Args:
        estimate: the part as it was seen.
        way: mirror or turn.
        which: the break to fill.
        breaks: all breaks, that one included: none of them counts as evidence.
    """
    known = _boundary(estimate.features, breaks, way)
    placings = _once(_proposed(estimate.features, breaks, way))
    if not placings or not len(known.samples):
        return NoRepetition(Words("no two features of the rest are alike"))
    explained = np.array([_explained(known, p) for p in placings])
    best: NoRepetition | None = None
    found: list[Repetition] = []
    covariance = with_edge_error(estimate).covariance()
    for i in _distinct(placings, explained):
        for p in _repeated(placings[i]):
            result = _judged(estimate.features, known, p, known.gone[list(breaks).index(which)], covariance)
            if isinstance(result, Repetition) or not result.broken_too:
                break
        if isinstance(result, Repetition):
            found.append(result)
        elif best is None or (best.gap_mm is None and result.gap_mm is not None):
            best = result  # the one that explained most comes first
    if found:
        return max(found, key=lambda r: (round(r.tested, 1), -r.rms_mm))
    return best if best is not None else NoRepetition(Words("nothing of the rest repeats itself"))


def _repeated(p: Repeat) -> Iterator[Repeat]:
    """The same, and for a turn all its multiples up to half a turn: a break may be wider than one step."""
    for k in range(1, max(1, round(math.pi / abs(p.angle_rad))) + 1 if p.way == "turn" else 2):
        yield replace(p, angle_rad=k * p.angle_rad)


# ---------------------------------------------------------------------------------------------------- proposals
def _proposed(features: Sequence[Feature], breaks: Sequence[Break], way: Way) -> Iterator[Repeat]:
    whole = [f for f in _intact(features, breaks) if f.kind != "curve"]
    centre = np.concatenate([flatten(f, COARSE_MM) for f in outer(features)]).mean(0)
    for i, a in enumerate(whole):
        if way == "mirror" and a.kind == "line":
            yield Repeat("mirror", _point(middle(a)), _angle(right_normal(a)) % math.pi)
        for b in whole[i + 1 :]:
            if _alike(a, b):
                yield from _mirrors(a, b, centre) if way == "mirror" else _turns(a, b)
        if way == "turn" and a.kind in ("arc", "circle") and a.centre:
            yield from (Repeat("turn", a.centre, s * 2 * math.pi / n) for n in range(2, MOST_FOLD + 1) for s in (1, -1))


def _intact(features: Sequence[Feature], breaks: Sequence[Break]) -> list[Feature]:
    loop = outer(features)
    gone = {loop[i].label for b in breaks for i in b.members()}
    return [f for f in features if f.label not in gone]


def _alike(a: Feature, b: Feature) -> bool:
    if not same_kind(a, b) or (a.loop > 0) != (b.loop > 0):
        return False
    if a.kind == "line":
        return True
    a, b = as_round(a), as_round(b)
    return abs(a.radius - b.radius) < ALIKE[0] + ALIKE[1] * a.radius


def _mirrors(a: Feature, b: Feature, centre: Array) -> Iterator[Repeat]:
    if is_round(a) and is_round(b):
        apart = np.subtract(b.centre, a.centre)
        if np.hypot(*apart) > 0.5:
            between = np.add(a.centre, b.centre) / 2
            yield _near(Repeat("mirror", _point(between), (_angle(apart) + math.pi / 2) % math.pi), centre)
        return
    a, b = as_line(a), as_line(b)
    na, nb = right_normal(a), right_normal(b)
    angle = (_angle(na) + _angle(nb)) / 2 % math.pi
    m = np.array([-math.sin(angle), math.cos(angle)])
    if abs(m @ nb) > ACROSS:  # where the lines themselves meet on the axis
        p, q = middle(a) - centre, middle(b) - centre
        t = float((q - p + 2 * (p @ m) * m) @ nb / (2 * m @ nb))
        yield Repeat("mirror", _point(centre + t * m), angle)
    if abs(length(a) - length(b)) < 1.0:
        yield _near(Repeat("mirror", _point((middle(a) + middle(b)) / 2), angle), centre)


def _near(p: Repeat, centre: Array) -> Repeat:
    """The same axis, held at the point nearest to the part's centre."""
    u = np.array([math.cos(p.angle_rad), math.sin(p.angle_rad)])
    return replace(p, through_mm=_point(np.array(p.through_mm) + u * ((centre - p.through_mm) @ u)))


def _turns(a: Feature, b: Feature) -> Iterator[Repeat]:
    """Turns that carry a onto b or b onto a, by a whole part of the full turn."""
    if a.kind == "line" and abs(length(a) - length(b)) > 1.0:
        return
    for p, q in ((a, b), (b, a)):
        start, goal = (middle(f) if f.kind == "line" else np.array(as_round(f).centre) for f in (p, q))
        if np.hypot(*(goal - start)) < 0.5:
            continue
        facing = [_angle(_walk(f, np.array([0.5]))[1][0]) for f in (p, q)]
        by = facing[1] - facing[0] if p.kind != "circle" else None
        for n in range(2, MOST_FOLD + 1):
            for angle in {2 * math.pi / n, -2 * math.pi / n}:
                if by is not None and abs(math.remainder(by - angle, 2 * math.pi)) > (
                    TURNED_RAD[0] if p.kind == "line" else TURNED_RAD[1]
                ):
                    continue
                turn = Motion(angle).matrix()
                yield Repeat("turn", _point(np.linalg.solve(np.eye(2) - turn, goal - turn @ start)), angle)


def _once(placings: Iterator[Repeat]) -> list[Repeat]:
    """One of each few that are nearly the same."""
    test = np.array(TEST_MM)
    return list({tuple(np.round(p.of(test).ravel() / ALMOST_MM).astype(int).tolist()): p for p in placings}.values())


def _distinct(placings: Sequence[Repeat], explained: Array) -> list[int]:
    """The best few that differ."""
    out: list[int] = []
    for i in np.argsort(-explained, kind="stable").tolist():
        p = placings[i]
        test = np.array(TEST_MM)
        same = [np.abs(p.of(test) - placings[j].of(test)).max() < ROUGHLY_MM for j in out]
        if not any(same):
            out.append(i)
        if len(out) == TRIED:
            break
    return out


# ---------------------------------------------------------------------------------------------------- trials
def _boundary(features: Sequence[Feature], breaks: Sequence[Break], way: Way) -> _SampledBoundary:
    # what turns is the rim: the bore of a knob with five lobes may have one flat
    tells = {f.label for f in features if f.loop == 0 or way == "mirror"}
    kept = {f.label for f in _intact(features, breaks)}
    points, normals, owner, ends, start = [], [], [], {}, 0.0
    samples, facing, of, at = [], [], [], []
    for i, f in enumerate(features):
        size = length(f)
        count = max(3, math.ceil(size / SPACING_MM))
        t = (np.arange(count) + 0.5) / count
        p, n = _walk(f, t)
        points.append(p)
        normals.append(n)
        owner.append(np.full(count, i))
        if f.loop == 0:
            ends[f.label] = (start, size, t)
        if f.label in kept & tells and f.kind != "curve" and size > TELLING_MM:
            p, n = _walk(f, np.array(FRACTIONS))
            samples.append(p)
            facing.append(n)
            of.append(np.full(len(FRACTIONS), i))
            at.append(start + size * np.array(FRACTIONS) if f.loop == 0 else np.full(len(FRACTIONS), np.nan))
        start += size if f.loop == 0 else 0.0
    all_points, own = np.concatenate(points), np.concatenate(owner)
    intact = np.flatnonzero(np.isin(own, [i for i, f in enumerate(features) if f.label in kept]))
    loop = np.isin(own, [i for i, f in enumerate(features) if f.loop == 0])
    order = outer(features)
    gone = []
    for b in breaks:
        first, last = order[b.members()[0]], order[b.members()[-1]]
        gone.append((ends[first.label][0], ends[last.label][0] + ends[last.label][1]))
    empty = np.zeros((0, 2))
    return _SampledBoundary(
        all_points,
        np.concatenate(normals),
        own,
        cKDTree(all_points[intact]),
        intact,
        cKDTree(all_points[loop]),
        np.concatenate([a + size * t for a, size, t in ends.values()]),
        ~np.isin(np.flatnonzero(loop), intact),
        start,
        tuple(gone),
        np.concatenate(samples) if samples else empty,
        np.concatenate(facing) if facing else empty,
        np.concatenate(of) if of else np.zeros(0, int),
        np.concatenate(at) if at else np.zeros(0),
        np.isin(np.concatenate(of), _beside(features, breaks)) if of else np.zeros(0, bool),
    )


def _beside(features: Sequence[Feature], breaks: Sequence[Break]) -> list[int]:
    """Positions of the short pieces on either side of the breaks."""
    place = [i for i, f in enumerate(features) if f.loop == 0]
    out = []
    for b in breaks:
        for start, way in ((b.before(), -1), (b.after(), 1)):
            for k in range(WIDEST):
                i = place[(start + way * k) % b.of]
                if length(features[i]) > SHORT_MM:
                    break
                out.append(i)
    return out


def _walk(f: Feature, t: Array) -> tuple[Array, Array]:
    """Points at shares t (k,) of a feature's length, and their normals, to where it is empty."""
    path = flatten(f, FINE_MM)
    p, normals = with_normals(path, t * arc_lengths(path)[-1])
    if f.kind in ("arc", "circle"):  # exactly on it
        e = p - f.centre
        e = e / np.hypot(*e.T)[:, None]
        p = f.centre + f.radius * e
        return p, e * np.sign((e * normals).sum(1))[:, None]
    return p, normals


def _met(known: _SampledBoundary, q: Array, n: Array, most_mm: float) -> tuple[Array, Index]:
    """Distance (k,) of points from the nearest intact boundary that faces their way, and which point of it that is."""
    d, i = known.tree.query(q, 10, distance_upper_bound=most_mm)
    i = np.where(np.isfinite(d), i, 0)
    agree = (known.normals[known.intact[i]] * n[:, None]).sum(2) > FACES
    d = np.where(agree, d, np.inf)
    best = d.argmin(1)
    rows = np.arange(len(q))
    return d[rows, best], known.intact[i[rows, best]]


def _explained(known: _SampledBoundary, p: Repeat) -> float:
    some = slice(None, None, 2)
    d, _ = _met(known, p.of(known.samples[some]), known.facing[some] @ p.motion.matrix().T, ROUGHLY_MM)
    return float(np.isfinite(d).mean())


def _source(known: _SampledBoundary, p: Repeat, gone: tuple[float, float]) -> tuple[float, float] | None:
    """The stretch of the outer loop whose image fills the break, from and to; None when its ends meet nothing."""
    first, last = (_at(known, s) for s in gone)
    d, i = known.loop.query(p.back().of(np.array([first, last])))
    if np.max(d) > MET_MM:
        return None
    a, b = known.along[i].tolist()
    return (b, a) if p.way == "mirror" else (a, b)


def _at(known: _SampledBoundary, s: float) -> Array:
    """The point of the outer loop after so many millimetres."""
    at = np.append(known.along, known.along[0] + known.size_mm)
    p = known.loop.data[np.arange(len(at)) % len(known.along)]
    s = (s - at[0]) % known.size_mm + at[0]
    return np.asarray(at_lengths(p, at, np.array([s]))[0])


def _within(s: Array, a: float, b: float, whole: float) -> Mask:
    """Which places s (k,) lie on the stretch from a to b round a loop."""
    return np.asarray((s - a) % whole <= (b - a) % whole)


def _judged(
    features: Sequence[Feature], known: _SampledBoundary, p: Repeat, gone: tuple[float, float], covariance: Array
) -> Repetition | NoRepetition:
    """Fit one placing and test it."""
    fitted = _fitted(features, known, p, covariance, gone)
    if fitted is None:
        return NoRepetition(Words("nothing of the rest repeats itself"))
    p, response, rest, r, limit = fitted
    worst, rms = float(np.abs(r).max(initial=0.0)), float(np.sqrt((r**2).mean())) if len(r) else math.inf
    if not rest.any() or (np.abs(r) > limit).any() or rms > MOST_RMS_MM:
        much = Words("{worst:.2f} mm", worst=worst) if worst < MET_MM else Words("{met_mm:g} mm or more", met_mm=MET_MM)
        return NoRepetition(Words("the rest is off by up to {much}", much=much), worst)
    image = Words("mirror image") if p.way == "mirror" else Words("part turned")
    broken_too = NoRepetition(
        Words("where the {image} would show what is missing, it is broken too", image=image), worst, True
    )
    source = _source(known, p, gone)
    if source is None:
        return broken_too
    size = known.size_mm
    for a, b in known.gone:
        own = (source[1] - source[0]) % size
        if (source[0] - a) % size < (b - a) % size - 0.5 or (a - source[0]) % size < own - 0.5:
            return broken_too
    tested = len({int(o) for o in known.of[rest]})
    share = sum(length(features[i]) for i in {int(o) for o in known.of[rest]} if features[i].loop == 0) / size
    if share < LEAST_TESTED or tested < 3 or (source[1] - source[0]) % size > 0.5 * size:
        return NoRepetition(Words("too little of the boundary is left to bear it out"), worst)
    return Repetition(p, rms, worst, response, share)


def _fitted(
    features: Sequence[Feature], known: _SampledBoundary, p: Repeat, covariance: Array, gone: tuple[float, float]
) -> tuple[Repeat, Array, Mask, Array, Array] | None:
    """The placing by generalised least squares; its response to the parameters, which samples count, how far each
    of their images is off, and how far it may be."""
    rows_of = _parameter_rows(features, known, len(covariance))
    for last in (False, False, False, True):
        q, n = p.of(known.samples), known.facing @ p.motion.matrix().T
        d, i = _met(known, q, n, MET_MM)
        source = _source(known, p, gone)
        rest = np.ones(len(q), bool)
        if source is None:  # the break lies across the axis: what faces it can't be told from it
            nearest = known.loop.query(q)[1]
            rest = ~known.lost[nearest]
        else:
            rest = ~(_within(known.at, source[0] - 0.5, source[1] + 0.5, known.size_mm) & np.isfinite(known.at))
        met = np.isfinite(d) & rest
        if met.sum() < 4:
            return None
        off, normal, to = _from_carriers(features, known, q, i, len(covariance))
        J = (normal[:, :, None] * p.slopes(known.samples)).sum(1)[met]
        # the image's own shift, less that of what it meets
        A = (normal * n).sum(1)[:, None] * rows_of - to
        S = A[met] @ covariance @ A[met].T + NOISE_MM**2 * np.eye(int(met.sum()))
        sj = np.linalg.solve(S, J)
        gain = np.linalg.solve(J.T @ sj + 1e-9 * np.eye(2), sj.T)
        if last:
            spread = np.sqrt(np.einsum("ij,jk,ik->i", A, covariance, A) + NOISE_MM**2)
            near = d < MOST_MM
            gap = np.where(near, off, np.minimum(d, MET_MM))
            limit = np.minimum(SIGMAS * spread + LEEWAY_MM, MOST_MM)
            rest &= ~known.beside | (np.abs(gap) <= limit)
            return p, -gain @ A[met], rest, gap[rest], limit[rest]
        p = p.adjusted(-gain @ off[met])
    return None


def _parameter_rows(features: Sequence[Feature], known: _SampledBoundary, m: int) -> Array:
    """(s, m) shift of each sample along its normal with the features' parameters."""
    return _shift_rows(features, known.samples, known.facing, known.of, m)


def _shift_rows(features: Sequence[Feature], points: Array, normals: Array, of: Index, m: int) -> Array:
    out = np.zeros((len(points), m))
    at = 0
    for i, f in enumerate(features):
        own = np.flatnonzero(of == i)
        if f.kind == "line":
            out[own, at] = 1.0
            out[own, at + 1] = -((points[own] - middle(f)) @ direction(f))
            at += 2
        elif f.kind != "curve":
            e = points[own] - f.centre
            e = e / np.maximum(np.hypot(*e.T), 1e-9)[:, None]
            out[own, at : at + 2] = normals[own]
            out[own, at + 2] = (e * normals[own]).sum(1)
            at += 3
    return out


def _from_carriers(
    features: Sequence[Feature], known: _SampledBoundary, q: Array, nearest: Index, m: int
) -> tuple[Array, Array, Array]:
    """Signed distance (k,) of points from the line or circle they meet, its normals (k, 2), and (k, m) its shifts."""
    off, normal, owner = np.zeros(len(q)), known.normals[nearest].copy(), known.owner[nearest]
    for i in np.unique(owner):
        f, own = features[i], np.flatnonzero(owner == i)
        if f.kind in ("arc", "circle"):
            e = q[own] - f.centre
            reach = np.hypot(*e.T)
            e = e / np.maximum(reach, 1e-9)[:, None]
            side = np.sign((e * normal[own]).sum(1))
            off[own], normal[own] = side * (reach - f.radius), e * side[:, None]
        else:
            off[own] = ((q[own] - known.points[nearest[own]]) * normal[own]).sum(1)
    return off, normal, _shift_rows(features, q, normal, owner, m)


def _angle(v: Array) -> float:
    return math.atan2(float(v[1]), float(v[0]))


def _point(p: NDArray[Any]) -> Point:
    return float(p[0]), float(p[1])
