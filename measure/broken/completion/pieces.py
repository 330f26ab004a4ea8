"""Pieces of a completed outline, and how they depend on what was seen."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from measure.adjustment.equations import with_edge_error
from measure.geometry.features import (
    PARAMETERS,
    Arc,
    Circle,
    Estimate,
    Feature,
    Line,
    as_line,
    as_round,
    between,
    length,
    middle,
)
from measure.geometry.rejoin import shifted
from measure.geometry.relative import about, relative


@dataclass(frozen=True, slots=True)
class CompletedPiece:
    """A feature of the new loop with the slopes (p, m + q) of its parameters, and whether it runs tangent into the
    next."""

    feature: Feature
    rows: Array
    tangent: bool = False


def rows_of(f: Feature, slices: dict[str, slice], size: int) -> Array:
    """(p, size) slopes of a seen feature's own parameters: one each, where it stands in the stack."""
    out = np.zeros((PARAMETERS[f.kind], size))
    out[:, slices[f.label]] = np.eye(PARAMETERS[f.kind])
    return out


def seen(now: Feature, f: Feature, slices: dict[str, slice], size: int) -> CompletedPiece:
    """A seen feature with new ends; its slopes are about the new middle."""
    rows = rows_of(f, slices, size)
    return CompletedPiece(now, about(f, middle(as_line(now))) @ rows if f.kind == "line" else rows)


def as_one(estimate: Estimate, b: Line | Arc, a: Line | Arc, size: int) -> CompletedPiece:
    """Both neighbours as one edge or arc, each weighed by its covariance."""
    slices = estimate.slices()
    kept = longer(b, a)
    if b is a:
        arc = as_round(b)
        whole = Circle(arc.label, arc.loop, arc.centre, arc.radius, arc.origin)
        return CompletedPiece(whole, seen(b, b, slices, size).rows)
    joined = between(kept, b.start, a.end)
    return weighed(estimate, joined, kept, seen(kept, kept, slices, size),
                    seen(o := shorter(b, a), o, slices, size), np.zeros(size - len(estimate.white)))  # fmt: skip


def longer(b: Line | Arc, a: Line | Arc) -> Line | Arc:
    """Of a break's two neighbours the longer one: its label stays."""
    return b if length(b) >= length(a) else a


def shorter(b: Line | Arc, a: Line | Arc) -> Line | Arc:
    """The other one."""
    return a if length(b) >= length(a) else b


def weighed(
    estimate: Estimate,
    wanted: Line | Arc,
    known: Line | Arc,
    own: CompletedPiece,
    other: CompletedPiece,
    own_error: Array,
) -> CompletedPiece:
    """The best linear unbiased estimate of one line or arc from what was seen of it and from another piece of it."""
    m = len(estimate.white)
    c = np.zeros((m + len(own_error),) * 2)
    c[:m, :m] = with_edge_error(estimate).covariance()
    c[m:, m:] = np.diag(own_error)
    if wanted.kind == "line":  # both about the middle of what it will be, on the line that was seen
        known = as_line(known)
        u = np.subtract(known.end, known.start) / length(known)
        ends = [middle(known) + u * ((np.array(p) - middle(known)) @ u) for p in (wanted.start, wanted.end)]
        wanted = replace(wanted, start=_pair(ends[0]), end=_pair(ends[1]))
        one = about(known, middle(wanted)) @ own.rows
        two = about(other.feature, middle(wanted)) @ other.rows
    else:
        one, two = own.rows, other.rows
    r = relative(other.feature, wanted)
    apart = two - one
    share = -(one @ c @ apart.T) @ np.linalg.pinv(apart @ c @ apart.T, rcond=1e-10, hermitian=True)
    now = shifted(wanted, share @ r)
    return CompletedPiece(now, one + share @ apart)


def _pair(p: Array) -> tuple[float, float]:
    return float(p[0]), float(p[1])
