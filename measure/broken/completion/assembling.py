"""Pieces and the rest of the outline put together, labelled and closed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from calib.arrays import Array
from measure.broken.breaks import Break, outer
from measure.broken.completion.outcome import Completed, Way
from measure.broken.completion.pieces import CompletedPiece, rows_of
from measure.geometry.features import Estimate, Feature, as_line, middle
from measure.geometry.rejoin import Joint, closing, joints, rejoined, shifted_all
from measure.geometry.relative import about


def assembled(
    estimate: Estimate, which: Break, pieces: Sequence[CompletedPiece], own_error: Array,
    way: Way, prolonged: tuple[str, ...], merged: tuple[str, ...],
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
    ring: list[CompletedPiece] = []
    for p in pieces:
        f = p.feature
        if f.origin == "completed" or f.kind == "circle":
            f = replace(f, label=_fresh(f, labels))
            labels.add(f.label)
            fresh.append(f.label)
        ring.append(replace(p, feature=f))
    ring[-1] = replace(ring[-1], tangent=known.get((which.after(), (which.after() + 1) % len(loop)), False))
    for i in rest:
        plain = CompletedPiece(loop[i], rows_of(loop[i], slices, size), known.get((i, (i + 1) % len(loop)), False))
        ring.append(plain)
    at = {p.feature.label: n for n, p in enumerate(ring)}
    begin = next((at[f.label] for f in loop if f.label in at), 0)  # the loop goes on beginning where it did
    ring = [*ring[begin:], *ring[:begin]]
    new, rows = _joined(ring, {p.feature.label for p in pieces} | set(fresh))
    holes = [f for f in estimate.features if f.loop > 0]
    t = np.concatenate([*rows, *(rows_of(f, slices, size) for f in holes)])
    white = np.zeros((size, size))
    white[:m, :m] = estimate.white
    white[m:, m:] = np.diag(own_error)
    white = t @ white @ t.T
    whole = Estimate((*new, *holes), (white + white.T) / 2, estimate.shared_names,
                     t[:, :m] @ estimate.sensitivity, estimate.shared)  # fmt: skip
    broken = tuple(loop[i] for i in which.members())
    return Completed(whole, way, which, broken, tuple(fresh), prolonged, merged)


def _joined(ring: Sequence[CompletedPiece], changed: set[str]) -> tuple[list[Feature], list[Array]]:
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
        about(f, middle(as_line(g))) @ p.rows if f.kind == "line" else p.rows
        for f, g, p in zip(features, joined, ring, strict=True)
    ]
    return joined, rows


def _fresh(f: Feature, labels: Iterable[str]) -> str:
    return fresh_label({"line": "E", "arc": "R", "circle": "D", "curve": "C"}[f.kind], labels)


def fresh_label(letter: str, labels: Iterable[str]) -> str:
    """The label of that letter after the highest one."""
    used = [int(x[1:]) for x in labels if x[0] == letter and x[1:].isdigit()]
    return f"{letter}{max(used, default=0) + 1}"
