"""What errors that whole stretches share can do to the shape of an edge.

A wrong thickness or a wrong view shifts some parts of an outline against others: a circle becomes slightly oval, a
line that is seen half by its upper and half by its lower edge gets a step. Such shapes are no evidence for more pieces.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from measure.outline.chains import Chains, possible_tangencies
from measure.outline.joining import Normal
from measure.outline.pieces import Pieces, distance_and_slopes

LEAST_MM = 1e-3
"""Shared shifts smaller than this are left out."""


def modes(sensitivity: Array, shared: Array) -> Array:
    """(n, m) shifts of a loop's points along their normals (mm) by independent errors of unit variance.

    Args:
        sensitivity: (n, s) of the points.
        shared: (s, s) covariance of the shared terms.
    """
    if not shared.size:
        return np.zeros((len(sensitivity), 0))
    values, vectors = np.linalg.eigh(shared)
    shifts = sensitivity @ (vectors * np.sqrt(np.maximum(values, 0)))
    return np.asarray(shifts[:, np.ptp(shifts, axis=0) > LEAST_MM])


def stray(piece: Pieces, points: Array, weight: Array, shifts: Array) -> float:
    """Root mean square of what shared shifts leave over when one piece is fitted to its points, mm.

    Args:
        piece: one piece.
        points: (n, 2) its points, mm.
        weight: (n,) their weights.
        shifts: (n, m) from `modes`.
    """
    if not shifts.shape[1] or len(points) < 4:
        return 0.0
    _, slopes = distance_and_slopes(piece.take(np.zeros(len(points), int)), points)
    slopes = slopes[:, : 3 if piece.arc[0] else 2]
    w = np.sqrt(weight)[:, None]
    fitted = np.linalg.lstsq(slopes * w, shifts * w, rcond=None)[0]
    left = (shifts - slopes @ fitted) * w
    return float(np.sqrt((left**2).sum() / max((w**2).sum(), 1e-300)))


def joint_excuse(c: Chains, eq: Normal, shifts: Array) -> Array:
    """(k,) how much more of the gap at each joint shared shifts explain than noise does, as ratio of variances."""
    k = len(c.first)
    if not shifts.shape[1]:
        return np.zeros(k)
    every = possible_tangencies(c)
    pull = eq.slopes[:, :, None] * (eq.weight[:, None] * shifts)[:, None, :]
    moved = np.einsum("kij,kjm->kim", eq.inverse, np.add.reduceat(pull, c.first, axis=0))
    gap = np.einsum("ki,kim->km", every.before, np.roll(moved, 1, axis=0)) + np.einsum("ki,kim->km", every.after, moved)
    noise = np.einsum("ki,kij,kj->k", every.before, np.roll(eq.inverse, 1, axis=0), every.before)
    noise += np.einsum("ki,kij,kj->k", every.after, eq.inverse, every.after)
    return np.asarray(np.where(noise > 0, (gap**2).sum(1) / np.maximum(noise, 1e-300), 0.0))
