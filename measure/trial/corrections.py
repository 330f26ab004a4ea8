"""What trial prints say of an outline: each saying an observation in one adjustment, and only what they ask for moves.

Unknown is how far each face of the printed part has to come out (positive) or go back (negative) from where photo and
caliper saw it, until it sits as it should. A gap or a size is an observation like a reading; tight, loose and the like
bound the face on one side (`measure.adjustment.bounds`). Photo, caliper and regularities are the prior, and stay as
they are in the job: the counterpart, wear and the printer are what they know nothing of.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.tools.budget import K95
from calib.words import Words
from measure.adjustment.agreement import moved_estimate
from measure.adjustment.bounds import Bound, bounded
from measure.adjustment.equations import Unknowns, prior, unknowns
from measure.adjustment.least_squares import Observations, solve
from measure.geometry.dimensions import angle_between, distance, stacked
from measure.geometry.features import PARAMETERS, Estimate, as_line, right_normal
from measure.geometry.rejoin import Joint, closing, joints, rejoined, shifted_all
from measure.trial.faces import growth, moved_by, outward
from measure.trial.limits import ALONGSIDE_RAD, FACE_SD_MM, FaceLimits, Print, limits_of
from measure.trial.sayings import DatedSaying, replaced

MISFIT_SD_MM = 0.15
"""How far a first print is off, about."""
WIDE_SD_MM = 1.0
"""The same where the sayings hold a number, which then decides."""
SEEN_MM = 0.005
"""What moves by less is not spoken of."""
FILLET_SHARE = 0.1
"""How much more readily a fillet moves than it changes its radius."""
ALL_ROUND = Words("all round")


@dataclass(frozen=True, slots=True)
class FaceMove:
    """How far a face goes, outward positive, and its u95; the label is `ALL_ROUND` for the whole outer boundary."""

    label: str
    by_mm: float
    u95_mm: float


@dataclass(frozen=True, slots=True)
class Corrected:
    """An outline after trial prints.

    Attributes:
        estimate: its features, and how well their places for a good fit are known.
        moves: of all that moved, named features first.
        all_round_mm: how far the whole outer boundary moved.
        remarks: what was replaced or set aside, a sentence each.
    """

    estimate: Estimate
    moves: tuple[FaceMove, ...]
    all_round_mm: float
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NotCorrected:
    """Why a saying can't be used. It is false, a corrected outline is true."""

    text: str

    def __bool__(self) -> bool:
        return False


def corrected(
    estimate: Estimate, said: Sequence[DatedSaying], printed: Mapping[int, Print]
) -> Corrected | NotCorrected:
    """The outline with what trial prints ask for.

    Args:
        estimate: as measured.
        said: the sayings, in the order in which they were said.
        printed: what the sayings are about, by revision.
    """
    features = {f.label: f for f in estimate.features}
    counting, remarks = replaced(said)
    limits = limits_of(counting, features, printed)
    if isinstance(limits, str):
        return NotCorrected(limits)
    believed, more = limits
    found = _adjusted(estimate, believed, (*remarks, *more))
    return _held(found, estimate, counting, printed)


def _held(found: Corrected, estimate: Estimate, said: Sequence[DatedSaying], printed: Mapping[int, Print]) -> Corrected:
    """What the last print's sayings don't touch stays as it was printed, to the letter, but for what is far off."""
    last = max(s.revision for s in said)
    was = printed[last]
    if not was.as_measured_now:  # a new reading has moved the outline since
        return found
    keys = [s.saying.labels for s in said if s.revision == last and s.saying.feel != "fits"]
    k = unknowns(estimate, joints(estimate.features), (), {})
    free = np.any([_freed(k, key).any(1) for key in keys], axis=0) if keys else np.zeros(k.m, bool)
    mixed, held = [], []
    for i, f in enumerate(found.estimate.features):
        spoken_of = free[k.slices[f.label]].any() or (() in keys and f.loop == 0)
        near = abs(moved_by(was.features[f.label], f)) <= FACE_SD_MM
        held += [i] if near and not spoken_of else []
        mixed.append(was.features[f.label] if near and not spoken_of else f)
    if keys:
        mixed = rejoined(shifted_all(mixed, closing(mixed, k.found, held)), k.found)
    now = {f.label: f for f in mixed}
    all_round = found.all_round_mm if () in keys else was.all_round_mm
    by = {f.label: moved_by(f, now[f.label]) for f in estimate.features} | {ALL_ROUND: all_round}
    return replace(
        found,
        estimate=replace(found.estimate, features=tuple(mixed)),
        moves=tuple(replace(m, by_mm=by[m.label]) for m in found.moves),
        all_round_mm=all_round,
    )


# ------------------------------------------------------------------------------------------------------ the adjustment
def _adjusted(estimate: Estimate, limits: Sequence[FaceLimits], remarks: tuple[str, ...]) -> Corrected:
    with_term, found = _with_all_round(estimate, limits), joints(estimate.features)
    start = unknowns(with_term, found, (), {})
    rows = {t.key: _row(start, t.key) for t in limits}
    loose = replace(with_term, white=with_term.white + _looseness(start, rows, limits))
    k = unknowns(loose, found, (), {})
    x, c = prior(k, {})
    equal = [t for t in limits if t.low == t.high]
    if equal:
        a = np.array([rows[t.key] for t in equal])
        y = np.array([t.low - _at_rest(start, t.key) for t in equal]) - a @ x
        groups = [Observations(np.eye(k.size), np.zeros(k.size), c), Observations(a, y, np.full(len(y), FACE_SD_MM**2))]
        solution = solve(groups, tested=())
        x, c = x + solution.x, solution.covariance
    x, c = bounded(x, c, [b for t in limits if t.low < t.high for b in _bounds(start, rows[t.key], t)])
    return _settled(loose, found, k, x, c, rows, remarks)


def _with_all_round(estimate: Estimate, limits: Sequence[FaceLimits]) -> Estimate:
    """A shared term for the whole outer boundary, where anything is said of that."""
    if all(t.key for t in limits):
        return estimate
    outer = [growth(f) if f.loop == 0 else np.zeros(PARAMETERS[f.kind]) for f in estimate.features]
    grows = np.concatenate(outer)[:, None]
    s = len(estimate.shared)
    shared = np.zeros((s + 1, s + 1))
    shared[:s, :s] = estimate.shared
    numbers = any(t.low == t.high for t in limits if not t.key)
    shared[s, s] = (WIDE_SD_MM if numbers else MISFIT_SD_MM) ** 2
    return replace(
        estimate,
        shared_names=(*estimate.shared_names, ALL_ROUND),
        sensitivity=np.hstack([estimate.sensitivity, grows]),
        shared=shared,
    )


def _row(k: Unknowns, key: tuple[str, ...]) -> Array:
    """(u,) gradient of what is told about."""
    row = np.zeros(k.size)
    named = {f.label: f for f in k.estimate.features}
    if not key:
        row[k.m + k.estimate.shared_names.index(ALL_ROUND)] = 1.0
    elif len(key) == 1:
        row[k.slices[key[0]]] = outward(named[key[0]])
    else:
        row = stacked(distance(*(as_line(named[x]) for x in key)), key, k.slices, k.size)
    return row


def _at_rest(k: Unknowns, key: tuple[str, ...]) -> float:
    """What is told about, as measured."""
    named = {f.label: f for f in k.estimate.features}
    return distance(*(as_line(named[x]) for x in key)).value_mm if len(key) == 2 else 0.0


def _freed(k: Unknowns, key: tuple[str, ...]) -> Array:
    """(m, q) ways in which parameters may move so that the named faces can.

    Beside the named features' own those of round corners that run into them: a fillet goes along as it is, the round
    end of a slot has to change its radius, and stays where it is along the slot.
    """
    features = k.estimate.features
    out = [np.zeros((k.m, 0))]
    for at, f in enumerate(features):
        mine = [features[i] for j in k.found if j.tangent and at in (j.first, j.second)
                for i in (j.first, j.second) if i != at]  # fmt: skip
        ways = np.zeros((0, PARAMETERS[f.kind]))
        if f.label in key:
            ways = {"line": np.eye(2)[:1], "circle": np.eye(3)[2:], "arc": np.eye(3)}[f.kind]
        elif f.kind == "arc" and any(x.label in key for x in mine):
            line = next((x for x in mine if x.label in key and x.kind == "line"), None)
            ways = np.diag([1.0, 1.0, FILLET_SHARE])
            if line and all(x.kind == "line" and abs(angle_between(x, line)) < ALONGSIDE_RAD for x in mine):
                ways = np.array([[*right_normal(line), 0.0], [0.0, 0.0, 1.0]])
        columns = np.zeros((k.m, len(ways)))
        columns[k.slices[f.label]] = ways.T
        out.append(columns)
    return np.hstack(out)


def _looseness(k: Unknowns, rows: Mapping[tuple[str, ...], Array], limits: Sequence[FaceLimits]) -> Array:
    """(m, m) covariance added to the parameters of what was spoken of.

    What a face may move by is set; a round corner held between two tangent neighbours must turn or grow by more than
    its face moves, so its parameters are freed in proportion.
    """
    out = np.zeros((k.m, k.m))
    for key, row in rows.items():
        freed = _freed(k, key) @ _freed(k, key).T
        if not key:
            continue
        _, c = prior(unknowns(replace(k.estimate, white=k.estimate.white + freed), k.found, (), {}), {})
        spread = math.sqrt(max(float(row @ c @ row), 1e-6))
        numbers = any(t.low == t.high for t in limits if t.key == key)
        out += freed * ((WIDE_SD_MM if numbers else MISFIT_SD_MM) / spread) ** 2
    return out


def _bounds(k: Unknowns, row: Array, t: FaceLimits) -> list[Bound]:
    rest = _at_rest(k, t.key)
    limits = ((t.high, True), (t.low, False))
    return [Bound(row, limit - rest, below, FACE_SD_MM) for limit, below in limits if math.isfinite(limit)]


def _settled(
    loose: Estimate,
    found: Sequence[Joint],
    k: Unknowns,
    x: Array,
    c: Array,
    rows: Mapping[tuple[str, ...], Array],
    remarks: tuple[str, ...],
) -> Corrected:
    """Only what was spoken of moves, and the round corners beside it; then neighbours meet anew."""
    named = {label for key in rows for label in key}
    free = np.any([_freed(k, key).any(1) for key in rows], axis=0)
    all_round = float(x[k.m + loose.shared_names.index(ALL_ROUND)]) if () in rows else 0.0
    steps = np.where(free, x[: k.m], 0.0)
    for f in loose.features:
        if f.loop == 0 and not free[k.slices[f.label]].any():
            steps[k.slices[f.label]] = all_round * growth(f)
    steps += closing(shifted_all(loose.features, steps), found)
    after = moved_estimate(loose, found, np.r_[steps, x[k.m :]], c)
    moves = []
    if () in rows:
        moves.append(FaceMove(ALL_ROUND, all_round, K95 * math.sqrt(float(rows[()] @ c @ rows[()]))))
    for old, new in zip(loose.features, after.features, strict=True):
        by = moved_by(old, new)
        if PARAMETERS[old.kind] and (old.label in named or abs(by) >= SEEN_MM):
            row = np.zeros(k.size)
            row[k.slices[old.label]] = outward(old)
            moves.append(FaceMove(old.label, by, K95 * math.sqrt(float(row @ c @ row))))
    moves.sort(key=lambda m: m.label != ALL_ROUND and m.label not in named)
    return Corrected(after, tuple(moves), all_round, remarks)
