"""A mended edge or arc runs smoothly into its neighbours again, where all that is known allows it.

A fit of one feature by itself knows nothing of its neighbours, and ends at a corner of a degree or two that nobody
made. Where a neighbour is tangent within the uncertainty of both, that is taken for an observation: both give way
by the least change, each by how well it is known, and both are known better for it. All others stay.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calib.tools.budget import K95
from measure.adjustment.equations import with_edge_error
from measure.geometry.features import PARAMETERS, Arc, Estimate, Feature, Line, length
from measure.geometry.offsetting import area
from measure.geometry.rejoin import Joint, about_new_middles, heading, joints, rejoined, shifted_all, tangency, touching

MOST_GAP_MM = 0.3
"""However little is known: neighbours that miss touching by more have a corner (chosen: three times the blur)."""
MOST_TURN_RAD = math.radians(20)
"""Nor do they run into each other where they turn by more (chosen)."""
MOST_STRETCH = 0.5
"""What moves by more than this share of its length, or by `MOST_GAP_MM`, to where it touches, was not tangent there."""
ROUNDS = 3
"""Conditions are linear near by: so many steps close them to less than a micrometre."""


def tangent_again(estimate: Estimate, label: str) -> Estimate:
    """The outline with a feature tangent to those of its neighbours to which it can be; as it was where to none.

    Args:
        estimate: its loops closed.
        label: of the feature, a line or an arc that was fitted by itself.
    """
    features = list(estimate.features)
    at = next(i for i, f in enumerate(features) if f.label == label)
    found = joints(features)
    mine = [j for j in found if at in (j.first, j.second)]
    wanted = [j for j in mine if _may_touch(estimate, j)]
    while wanted:
        done = _made_to_touch(estimate, found, at, wanted)
        if done is not None:
            return done
        wanted = wanted[:-1]
    return estimate


def _may_touch(estimate: Estimate, j: Joint) -> bool:
    """Whether two neighbours are tangent within their uncertainty."""
    a, b = estimate.features[j.first], estimate.features[j.second]
    if not isinstance(a, Line | Arc) or not isinstance(b, Line | Arc) or not _seen(a, b):
        return False
    touch = tangency(a, b)
    if touch is None or abs(touch.gap_mm) > MOST_GAP_MM:
        return False
    u, w = heading(a, True), heading(b, False)
    if abs(math.atan2(u[0] * w[1] - u[1] * w[0], float(u @ w))) > MOST_TURN_RAD:
        return False
    rows, gaps = touching(estimate.features, [replace(j, tangent=True)])
    sd = math.sqrt(max(float((rows @ with_edge_error(estimate).covariance() @ rows.T)[0, 0]), 0.0))
    return abs(float(gaps[0])) <= K95 * sd


def _seen(*features: Feature) -> bool:
    return all(f.origin == "seen" for f in features)


def _made_to_touch(estimate: Estimate, found: Sequence[Joint], at: int, wanted: Sequence[Joint]) -> Estimate | None:
    """The outline with joints of one feature made tangent; None where that bends it out of shape."""
    involved = {at, *(i for j in wanted for i in (j.first, j.second))}
    ours = [(j.first, j.second) for j in wanted]
    now = [replace(j, tangent=j.tangent or (j.first, j.second) in ours) for j in found]
    held = [j for j in now if j.tangent and involved & {j.first, j.second}]
    free = np.concatenate([np.full(PARAMETERS[f.kind], i in involved) for i, f in enumerate(estimate.features)])
    c = np.where(np.outer(free, free), with_edge_error(estimate).covariance(), 0.0)
    features, keep = list(estimate.features), np.eye(len(free))
    for _ in range(ROUNDS):
        rows, gaps = touching(features, held)
        gain = c @ rows.T @ np.linalg.pinv(rows @ c @ rows.T, hermitian=True)
        keep = np.eye(len(free)) - gain @ rows
        features = shifted_all(features, -gain @ gaps)
    joined = rejoined(features, now)
    for before, after in zip(estimate.features, joined, strict=True):
        if abs(length(after) - length(before)) > max(MOST_STRETCH * length(before), MOST_GAP_MM):
            return None
    if area(joined) is None:
        return None
    keep = about_new_middles(features, joined) @ keep
    white = keep @ estimate.white @ keep.T
    return replace(
        estimate, features=tuple(joined), white=(white + white.T) / 2, sensitivity=keep @ estimate.sensitivity
    )
