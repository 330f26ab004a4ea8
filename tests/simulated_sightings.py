"""Two photos of one part without photos: each sees it through errors of a known covariance, some of them in common.

Invented: the size of the errors, and the places where the part lies.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from measure.adjustment.equations import with_edge_error
from measure.geometry.features import Estimate, Feature, is_round
from measure.geometry.motion import Motion
from measure.geometry.rejoin import joints, rejoined, shifted_all
from measure.several.joint import JoinedOutlines, LaidOutline, joined
from measure.several.matching import partners
from tests.simulated_traces import sensitivity_of, white_of

CARD, SCALE, STRETCH, THICKNESS = 0.0005, 0.0015, 0.0006, 0.025
"""Standard deviations: the card's size, which photos share; each photo's own scale, stretch and shear; thickness."""


def placed(truth: Sequence[Feature], placing: Motion) -> list[Feature]:
    """The part as it lies in another photo's frame."""
    return [placing.of(f) for f in truth]


def seen(truth: Sequence[Feature], number: int, rng: np.random.Generator, common: dict[str, float]) -> Estimate:
    """What one photo makes of a part.

    Args:
        truth: in the photo's own frame.
        number: of the photo.
        rng: for what is its own.
        common: errors of the terms "card" and "thickness", in standard deviations.
    """
    angle = rng.uniform(0, 2 * math.pi)
    points = np.array([f.centre if is_round(f) else f.start for f in truth])
    by = sensitivity_of(truth, points.mean(0) + rng.uniform(20, 100) * np.array([math.cos(angle), math.sin(angle)]))
    names = ("card", *(f"view {n} {number}" for n in ("scale", "stretch", "shear")), "thickness")
    sd = np.array([CARD, SCALE, STRETCH, STRETCH, THICKNESS])
    sensitivity = np.c_[by[:, 0], by]
    estimate = Estimate(tuple(truth), white_of(truth, rng), names, sensitivity, np.diag(sd**2))
    own = rng.normal(size=len(names))
    own[0], own[-1] = common["card"], common["thickness"]
    values, vectors = np.linalg.eigh(with_edge_error(estimate).white)  # with what `joined` adds
    error = vectors @ (np.sqrt(np.maximum(values, 0.0)) * rng.normal(size=len(values)))
    moved = shifted_all(truth, -(error + sensitivity @ (sd * own)))
    return Estimate(tuple(rejoined(moved, joints(truth))), estimate.white, names, sensitivity, estimate.shared)


def pair(truth: Sequence[Feature], placing: Motion, rng: np.random.Generator) -> tuple[Estimate, Estimate]:
    """Two photos of a part; the placing leads from the second one's frame to the first one's."""
    common = {"card": rng.normal(), "thickness": rng.normal()}
    return seen(truth, 1, rng, common), seen(placed(truth, placing.back()), 2, rng, common)


def made_one(first: Estimate, second: Estimate, placing: Motion) -> JoinedOutlines:
    """Both joined, laid on each other as they really lie."""
    pairs = partners(first.features, [placing.of(f) for f in second.features])
    return joined(first, [LaidOutline(second, placing, tuple(pairs))])
