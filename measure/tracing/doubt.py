"""How far off an outline may be as a whole, by its own covariance.

A scale that is hardly known shows in every dimension's uncertainty, but in none as a surprise. What a person must know
is whether the outline is good enough to print from at all.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array, root_of
from calib.reference.found import Caution
from calib.words import Words
from measure.geometry.features import FINE_MM, Estimate, direction, flatten, length, middle, right_normal
from measure.geometry.polylines import evenly

OFF_MM = 0.15
"""A boundary that lies farther off no longer fits: half the play of a loose fit of printed parts (common practice, no
source)."""
SHARE = 0.95
"""Of the boundary that must lie nearer."""
DOUBTFUL = 0.4
"""Probability from which a person is told: a print that does not fit costs more than a reading (chosen)."""
DRAWS, SEED = 400, 1
"""Random draws of all errors together (JCGM 101:2008, propagation of distributions by Monte Carlo)."""
STEP_MM = 0.4


def doubtful_outline(e: Estimate) -> tuple[Caution, ...]:
    """A caution where the outline may well be too far off to print from."""
    far = boundary_errors_mm(e)
    if _share_off(far) <= DOUBTFUL:
        return ()
    text = Words(
        "The photo by itself hardly tells the size: the outline may be off by {median:.1f} mm, "
        "at worst by {quantile:.1f} mm. Measure the part once along its length, or take a "
        "photo that shows its walls: from a hand's width to the side, and as the camera saves "
        "it.",
        median=np.median(far),
        quantile=np.quantile(far, SHARE),
    )
    return (Caution("unsure-size", text),)


def chance_of_wrong(e: Estimate) -> float:
    """Probability that more of the boundary than may lies too far off to print from, by its own covariance."""
    return _share_off(boundary_errors_mm(e))


def _share_off(far: Array) -> float:
    return float(np.mean(far > OFF_MM)) if len(far) else 0.0


def boundary_errors_mm(e: Estimate) -> Array:
    """(DRAWS,) how far 95 % of the boundary may at most lie off, laid on the truth by a turn and a shift."""
    moved, normals, points = _boundary(e)
    if not len(moved):
        return np.zeros(0)
    motion = np.linalg.qr(np.c_[normals, points[:, 0] * normals[:, 1] - points[:, 1] * normals[:, 0]])[0]
    by = moved @ np.c_[e.sensitivity @ root_of(e.shared), root_of(e.white)]
    off = by @ np.random.default_rng(SEED).standard_normal((by.shape[1], DRAWS))
    return np.asarray(np.quantile(np.abs(off - motion @ (motion.T @ off)), SHARE, axis=0))


def _boundary(e: Estimate) -> tuple[Array, Array, Array]:
    """Change along the normal with the features' parameters (n, m), normals (n, 2), points (n, 2)."""
    moved, normals, points = [], [], []
    slices = e.slices()
    for f in e.features:
        if f.kind == "curve" or length(f) == 0:
            continue
        at, p = slices[f.label], evenly(flatten(f, FINE_MM), STEP_MM)
        by = np.zeros((len(p), len(e.white)))
        if f.kind == "line":
            n = np.tile(right_normal(f), (len(p), 1))
            by[:, at] = np.c_[np.ones(len(p)), -(p - middle(f)) @ direction(f)]
        else:
            n = (p - f.centre) / np.hypot(*(p - f.centre).T)[:, None]
            by[:, at] = np.c_[n, np.ones(len(p))]
        moved.append(by)
        normals.append(n)
        points.append(p)
    if not moved:
        return np.zeros((0, len(e.white))), np.zeros((0, 2)), np.zeros((0, 2))
    return np.concatenate(moved), np.concatenate(normals), np.concatenate(points)
