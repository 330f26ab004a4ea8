"""A broken part's outer boundary completed, and how sure the completed pieces are.

Each parameter of the completed outline is a linear function of the seen features' parameters and, for pieces that were
copied, of a few more errors: whether the part really was symmetric there, as large as the rest is not. So the
covariance follows without approximation beyond the first order, with all that the pieces share with where they came
from. An edge that the break cuts keeps its label and goes on; what was seen of it and its copy are weighed by their
covariance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from measure.breaks import Break, outer
from measure.continuing import Meeting, meeting
from measure.equations import with_edge_error
from measure.features import PARAMETERS, Array, Estimate, Feature, flatten, length, middle, right_normal
from measure.placing import about, relative
from measure.rejoin import Joint, closing, joints, rejoined, shifted_all
from measure.repetition import SHORT_MM, WIDEST, NoRepetition, Repetition, find_repetition

By = Literal["mirror", "turn", "extend", "open"]
LEAST_ASYMMETRY_MM = 0.03
"""However well the rest agrees, a copy is less sure than what was seen by at least this."""
OWN_SHARE = 0.5
"""Of that, what each copied piece has for itself, beside what the stretch has as a whole."""
OUTSIDE_MM = 0.5
"""So far a fracture may lie outside the completed outline."""


@dataclass(frozen=True, slots=True)
class Completed:
    """A completed part.

    Attributes:
        estimate: with the completed outer loop.
        way: how it was completed.
        which: the break, as wide as it turned out to be.
        broken: what was seen there, in order of travel.
        fresh: labels of completed features.
        prolonged: labels of features that were seen and go on.
        merged: labels of features that are now part of one of those.
        rms_mm, worst_mm: how far the rest is from repeating itself; None for an extension.
        tested: share of the boundary that bears it out.
        angle_rad: by how much it is turned onto itself.
        corner_u95_mm: how sure the corner's place is where edges go on until they meet.
    """

    estimate: Estimate
    way: Literal["mirror", "turn", "extend"]
    which: Break
    broken: tuple[Feature, ...]
    fresh: tuple[str, ...]
    prolonged: tuple[str, ...]
    merged: tuple[str, ...]
    rms_mm: float | None = None
    worst_mm: float | None = None
    tested: float = 0.0
    angle_rad: float = 0.0
    corner_u95_mm: float | None = None


@dataclass(frozen=True, slots=True)
class NotCompleted:
    """Why a way does not serve."""

    why: str

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True, slots=True)
class _Piece:
    """A feature of the new loop with the slopes (p, m + q) of its parameters, and whether it runs tangent into the
    next."""

    feature: Feature
    rows: Array
    tangent: bool = False


def completed(
    estimate: Estimate, which: Break, others: Sequence[Break], by: Literal["mirror", "turn", "extend"],
    subject: Literal["part", "opening"] = "part",
) -> Completed | NotCompleted:  # fmt: skip
    """Complete one break in one way.

    Args:
        estimate: the part as seen, or completed elsewhere.
        which: the break.
        others: breaks that are still open; they are no evidence.
        by: the way.
        subject: part or opening.
    """
    if by == "extend":
        return _extended(estimate, which, subject)
    found = find_repetition(estimate, by, which, [which, *others])
    if isinstance(found, NoRepetition):
        return NotCompleted(found.why)
    done = _copied(estimate, which, others, found)
    return _checked(done, subject) if isinstance(done, Completed) else done


# ------------------------------------------------------------------------------------------------------------ extending
def _extended(estimate: Estimate, which: Break, subject: Literal["part", "opening"]) -> Completed | NotCompleted:
    loop = outer(estimate.features)
    first: NotCompleted | None = None
    for wider in _widenings(loop, which):
        b, a = loop[wider.before()], loop[wider.after()]
        gap_mm = math.dist(_point_of(b, False), _point_of(a, True))
        met = meeting(estimate, b, a, gap_mm)
        done = NotCompleted(met) if isinstance(met, str) else _checked(_with_meeting(estimate, wider, met), subject)
        if isinstance(done, Completed):
            return done
        first = done if first is None else first
    assert first is not None
    return first


def _widenings(loop: Sequence[Feature], which: Break) -> list[Break]:
    """The break, and the break with short pieces beside it."""
    out = [which]
    for _ in range(2):
        now = out[-1]
        if now.count + 3 > now.of:
            break
        for before in (True, False):
            at = now.before() if before else now.after()
            if length(loop[at]) < SHORT_MM / 2 and now.count + 3 <= now.of:
                now = now.wider(before)
        if now == out[-1]:
            break
        out.append(now)
    return out


def _with_meeting(estimate: Estimate, which: Break, met: Meeting) -> Completed:
    loop = outer(estimate.features)
    b, a = loop[which.before()], loop[which.after()]
    m = len(estimate.white)
    slices = estimate.slices()
    if not met.one:
        first = _ended(b, end=met.at)
        last = _ended(a, start=met.at)
        pieces = [_seen(first, b, slices, m), _seen(last, a, slices, m)]
        done = _assembled(estimate, which, pieces, np.zeros(0), "extend", (b.label, a.label), ())
        return replace(done, corner_u95_mm=met.u95_mm)
    return _assembled(estimate, which, [_one(estimate, b, a, m)], np.zeros(0), "extend",
                      (_longer(b, a).label,), (_shorter(b, a).label,) if b is not a else ())  # fmt: skip


def _one(estimate: Estimate, b: Feature, a: Feature, size: int) -> _Piece:
    """Both neighbours as one edge or arc, each weighed by its covariance."""
    slices = estimate.slices()
    kept = _longer(b, a)
    if b is a:
        assert b.kind == "arc"
        whole = replace(b, kind="circle", start=None, end=None, turn=None)
        return _Piece(whole, _seen(b, b, slices, size).rows)
    joined = replace(kept, start=b.start, end=a.end)
    return _weighed(estimate, joined, kept, _seen(kept, kept, slices, size),
                    _seen(o := _shorter(b, a), o, slices, size), np.zeros(size - len(estimate.white)))  # fmt: skip


def _longer(b: Feature, a: Feature) -> Feature:
    return b if length(b) >= length(a) else a


def _shorter(b: Feature, a: Feature) -> Feature:
    return a if length(b) >= length(a) else b


# -------------------------------------------------------------------------------------------------------------- copying
def _copied(estimate: Estimate, which: Break, others: Sequence[Break], found: Repetition) -> Completed | NotCompleted:
    """The break filled by the image of its intact counterpart."""
    loop = outer(estimate.features)
    open_now = {i for b in others for i in b.members()}
    for before in (True, False):
        for _ in range(WIDEST + 1):
            at = which.before() if before else which.after()
            partner = _partner(loop, which, loop[at], before, found, open_now)
            if partner is not None:
                break
            if length(loop[at]) > SHORT_MM or which.count + 3 > which.of:
                return NotCompleted(f"{loop[at].label}, beside the break, has no counterpart")
            which = which.wider(before)
        else:
            return NotCompleted("the pieces beside the break have no counterpart")
        if before:
            first = partner
        else:
            last = partner
    assert first is not None
    assert last is not None
    n, way = len(loop), -1 if found.placing.way == "mirror" else 1
    between = [(first + way * i) % n for i in range(1, (way * (last - first)) % n)]
    if set(between) & (set(which.members()) | open_now):
        return NotCompleted("its counterpart is broken too")
    return _filled(estimate, which, found, first, between, last)


def _partner(
    loop: Sequence[Feature], which: Break, f: Feature, before: bool, found: Repetition, open_now: set[int]
) -> int | None:
    """The position of the feature whose image goes on where f is cut; None where there is none of its kind."""
    if f.kind not in ("line", "arc"):
        return None
    back = found.placing.back()
    size = length(f)
    reach = min(1.0, 0.3 * size) / size
    p = back.of(_at_share(f, np.array([1 - reach if before else reach, 0.7 if before else 0.3])))
    best: tuple[float, int | None] = (OUTSIDE_MM, None)
    for i, g in enumerate(loop):
        if i in which.members() or i in open_now or g.kind != f.kind or g.turn != f.turn:
            continue
        image = found.placing.image(g)
        if f.kind == "line" and np.dot(np.subtract(image.end, image.start), np.subtract(f.end, f.start)) < 0:  # type: ignore[arg-type]
            continue
        path = shapely.LineString(flatten(g, 0.005))
        off = max(path.distance(shapely.Point(q)) for q in p[:1])
        if off < best[0]:
            best = (off, i)
    return best[1]


def _at_share(f: Feature, t: Array) -> Array:
    line = shapely.LineString(flatten(f, 0.002))
    return np.array([line.interpolate(float(x), normalized=True).coords[0] for x in t])


def _filled(
    estimate: Estimate, which: Break, found: Repetition, first: int, between: Sequence[int], last: int
) -> Completed | NotCompleted:
    loop, m, slices = outer(estimate.features), len(estimate.white), estimate.slices()
    b, a = loop[which.before()], loop[which.after()]
    chain = [first, *between, last] if between or first != last else [first]
    extra = 2 + sum(PARAMETERS[loop[i].kind] for i in chain)
    asymmetry = max(found.rms_mm, LEAST_ASYMMETRY_MM)
    variance = [asymmetry**2] * 2  # the stretch as a whole, along x and y; then each piece's own
    copies: list[_Piece] = []
    of_joint = {(j.first, j.second): j.tangent for j in joints(loop)}
    n = len(loop)
    for k, i in enumerate(chain):
        g = loop[i]
        own, by = found.placing.of_parameters(g)
        rows = np.zeros((PARAMETERS[g.kind], m + extra))
        rows[:, slices[g.label]] = own
        rows[:, :m] += by @ found.response
        image = found.placing.image(g)
        if g.kind == "line":
            rows[0, m : m + 2] = right_normal(image)
        elif g.kind != "curve":
            rows[:2, m : m + 2] = np.eye(2)
        for j in range(PARAMETERS[g.kind]):
            rows[j, m + len(variance)] = 1.0
            turn = g.kind == "line" and j == 1
            variance.append((OWN_SHARE * asymmetry) ** 2 * (12 / max(length(g), 1.0) ** 2 if turn else 1.0))
        nxt = chain[k + 1] if k + 1 < len(chain) else None
        ends = (i, nxt) if nxt is not None and (i + 1) % n == nxt else (nxt, i)
        copies.append(_Piece(image, rows, bool(of_joint.get(ends, False))))  # type: ignore[arg-type]
    own_error = np.array(variance)
    if len(chain) == 1:
        if b is not a and _same_kind(b, a):
            piece = _one(estimate, b, a, m + extra)
        elif b is a and b.kind == "arc":
            piece = _one(estimate, b, b, m + extra)
        else:
            return NotCompleted("its counterpart is one edge, but the break lies between two unlike ones")
        merged = (_shorter(b, a).label,) if b is not a else ()
        done = _assembled(estimate, which, [piece], own_error, found.placing.way, (_longer(b, a).label,), merged)
    else:
        start = replace(b, end=copies[0].feature.end)
        end = replace(a, start=copies[-1].feature.start)
        pieces = [
            replace(_weighed(estimate, start, b, _seen(b, b, slices, m + extra), copies[0], own_error),
                    tangent=copies[0].tangent),
            *(replace(c, feature=replace(c.feature, origin="completed")) for c in copies[1:-1]),
            _weighed(estimate, end, a, _seen(a, a, slices, m + extra), copies[-1], own_error),
        ]  # fmt: skip
        done = _assembled(estimate, which, pieces, own_error, found.placing.way, (b.label, a.label), ())
    return replace(done, rms_mm=found.rms_mm, worst_mm=found.worst_mm, tested=found.tested,
                   angle_rad=found.placing.angle_rad)  # fmt: skip


def _same_kind(b: Feature, a: Feature) -> bool:
    return b.kind == a.kind and b.turn == a.turn


def _seen(now: Feature, f: Feature, slices: dict[str, slice], size: int) -> _Piece:
    """A seen feature with new ends; its slopes are about the new middle."""
    rows = np.zeros((PARAMETERS[f.kind], size))
    rows[:, slices[f.label]] = np.eye(PARAMETERS[f.kind])
    return _Piece(now, about(f, middle(now)) @ rows if f.kind == "line" else rows)


def _weighed(
    estimate: Estimate, wanted: Feature, seen: Feature, own: _Piece, other: _Piece, own_error: Array
) -> _Piece:
    """The best linear unbiased estimate of one line or arc from what was seen of it and from another piece of it."""
    m = len(estimate.white)
    c = np.zeros((m + len(own_error),) * 2)
    c[:m, :m] = with_edge_error(estimate).covariance()
    c[m:, m:] = np.diag(own_error)
    if wanted.kind == "line":  # both about the middle of what it will be, on the line that was seen
        u = np.subtract(seen.end, seen.start) / length(seen)  # type: ignore[arg-type]
        ends = [middle(seen) + u * ((np.array(p) - middle(seen)) @ u) for p in (wanted.start, wanted.end)]
        wanted = replace(wanted, start=_pair(ends[0]), end=_pair(ends[1]))
        one = about(seen, middle(wanted)) @ own.rows
        two = about(other.feature, middle(wanted)) @ other.rows
    else:
        one, two = own.rows, other.rows
    r = relative(other.feature, wanted)
    apart = two - one
    share = -(one @ c @ apart.T) @ np.linalg.pinv(apart @ c @ apart.T, rcond=1e-10, hermitian=True)
    now = shifted_all([wanted], share @ r)[0]
    return _Piece(now, one + share @ apart)


# ----------------------------------------------------------------------------------------------------------- assembling
def _assembled(
    estimate: Estimate, which: Break, pieces: Sequence[_Piece], own_error: Array,
    way: Literal["mirror", "turn", "extend"], prolonged: tuple[str, ...], merged: tuple[str, ...],
) -> Completed:  # fmt: skip
    """The estimate with the break and its neighbours replaced by pieces, joined and labelled."""
    loop, m, slices = outer(estimate.features), len(estimate.white), estimate.slices()
    size = m + len(own_error)
    taken = {*which.members(), which.before(), which.after()}
    rest = [(which.after() + i) % len(loop) for i in range(1, len(loop))]
    rest = [i for i in rest if i not in taken]
    known = {(j.first, j.second): j.tangent for j in joints(loop)}
    labels = {f.label for f in estimate.features}
    fresh: list[str] = []
    ring: list[_Piece] = []
    for p in pieces:
        f = p.feature
        if f.origin == "completed" or f.kind == "circle":
            f = replace(f, label=_fresh(f, labels))
            labels.add(f.label)
            fresh.append(f.label)
        ring.append(replace(p, feature=f))
    ring[-1] = replace(ring[-1], tangent=known.get((which.after(), (which.after() + 1) % len(loop)), False))
    for i in rest:
        plain = _Piece(loop[i], _rows(loop[i], slices, size), known.get((i, (i + 1) % len(loop)), False))
        ring.append(plain)
    at = {p.feature.label: n for n, p in enumerate(ring)}
    begin = next((at[f.label] for f in loop if f.label in at), 0)  # the loop goes on beginning where it did
    ring = [*ring[begin:], *ring[:begin]]
    new, rows = _joined(ring, {p.feature.label for p in pieces} | set(fresh))
    holes = [f for f in estimate.features if f.loop > 0]
    t = np.concatenate([*rows, *(_rows(f, slices, size) for f in holes)])
    white = np.zeros((size, size))
    white[:m, :m] = estimate.white
    white[m:, m:] = np.diag(own_error)
    white = t @ white @ t.T
    whole = Estimate((*new, *holes), (white + white.T) / 2, estimate.shared_names,
                     t[:, :m] @ estimate.sensitivity, estimate.shared)  # fmt: skip
    broken = tuple(loop[i] for i in which.members())
    return Completed(whole, way, which, broken, tuple(fresh), prolonged, merged)


def _joined(ring: Sequence[_Piece], changed: set[str]) -> tuple[list[Feature], list[Array]]:
    """The loop closed where pieces are new or moved, and the slopes about the new middles."""
    features = [p.feature for p in ring]
    n = len(ring)
    if n == 1:
        return features, [ring[0].rows]
    found = [
        Joint(i, (i + 1) % n, p.tangent)
        for i, p in enumerate(ring)
        if features[i].label in changed or features[(i + 1) % n].label in changed
    ]
    moved = shifted_all(features, closing(features, found))
    joined = rejoined(moved, found)
    rows = [
        about(f, middle(g)) @ p.rows if f.kind == "line" else p.rows
        for f, g, p in zip(features, joined, ring, strict=True)
    ]
    return joined, rows


def _rows(f: Feature, slices: dict[str, slice], size: int) -> Array:
    out = np.zeros((PARAMETERS[f.kind], size))
    out[:, slices[f.label]] = np.eye(PARAMETERS[f.kind])
    return out


def _fresh(f: Feature, labels: set[str]) -> str:
    letter = {"line": "E", "arc": "R", "circle": "D", "curve": "C"}[f.kind]
    used = [int(x[1:]) for x in labels if x[0] == letter and x[1:].isdigit()]
    return f"{letter}{max(used, default=0) + 1}"


def _checked(done: Completed, subject: Literal["part", "opening"]) -> Completed | NotCompleted:
    """Refuse an outline that crosses itself, or that leaves out material that was seen."""
    ring = np.concatenate([flatten(f, 0.01)[:-1] for f in outer(done.estimate.features)])
    shape = shapely.Polygon(ring)
    if not shape.is_valid:
        return NotCompleted("the completed outline would cross itself")
    seen = shapely.MultiPoint(np.concatenate([flatten(f, 0.05) for f in done.broken]))
    if subject == "part" and not shape.buffer(OUTSIDE_MM).covers(seen):
        return NotCompleted("the completed outline would leave out material that was seen")
    return done


def _ended(f: Feature, start: tuple[float, float] | None = None, end: tuple[float, float] | None = None) -> Feature:
    return replace(f, start=start or f.start, end=end or f.end)


def _point_of(f: Feature, start: bool) -> tuple[float, float]:
    path = flatten(f)
    return _pair(path[0 if start else -1])


def _pair(p: Array) -> tuple[float, float]:
    return float(p[0]), float(p[1])
