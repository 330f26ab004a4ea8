"""How well light across a boundary agrees with its outermost step: of what lies farther in nothing is supposed.

A face with steps (a raised rim, an embossed figure, a boss) has edges inside that are often stronger than the one
that it ends with. So only the ground, and a narrow band inside the position tried, are explained as a blurred step;
what lies beyond the band may be anything, at a price for each sample that is left unexplained. An inner step leaves the
outer one unexplained in what it calls ground. Where it is much the larger one (twice, within four pixels), it may win
all the same: only the fence round the face's outline keeps the line off it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from calib.arrays import Array
from calib.light.profile import CHANNEL_WEIGHTS, CORRELATED, SENSOR_SD, Light
from measure.edges.light_steps import (
    CHROMA_BLUR_PX,
    HUE_SHARE,
    SLOPE_RIDGE,
    SPACING_PX,
    Steps,
    lighter_within,
    profiles_at,
)

BAND_PX, RAMP_PX = 1.5, 1.0
"""So far inside a position light is explained, and over so much that fades out (chosen)."""
RISE_PX = 3.0
"""So far inside a position its light has come to what lies there: the blur, and a dark line (chosen)."""
UNEXPLAINED = 4.0
"""What a sample costs that is left unexplained, eight times what noise costs one that is explained (chosen)."""
OTHER_FORM = 0.08
"""What a step may differ from a blurred one, as a share of its height: sharpening, a rounded rim (chosen)."""


def outermost_at(
    light: Light,
    points_px: Array,
    normals_px: Array,
    width: int,
    xs_px: Array,
    outer_px: float,
    sigma_px: float,
) -> Steps:
    """Judge positions along the normals of a boundary by what lies outside and just inside of them.

    The step at a position goes to the light farthest from the ground's that is found close inside: else the blur's
    foot would be taken for a small step of its own.

    Args:
        light, points_px, normals_px, width, xs_px, sigma_px: see `measure.edges.light_steps.steps_at`.
        outer_px: how far out light is looked at.
    """
    first = float(xs_px[0]) - RISE_PX
    s = np.arange(np.floor(first / SPACING_PX), np.floor(outer_px / SPACING_PX) + 1) * SPACING_PX
    y, clipped = profiles_at(light, points_px, normals_px, width, s)
    b = len(y)
    off = y - np.median(y[:, s > xs_px[-1]], axis=1, keepdims=True)
    far = np.where(_near(s, xs_px), (np.abs(off) @ CHANNEL_WEIGHTS)[:, None], -1.0).argmax(2)
    xs = tuple(float(x) for x in xs_px)
    cost = np.zeros((b, len(xs)))
    for c in range(3):
        sigma = sigma_px if c == 0 else float(np.hypot(sigma_px, CHROMA_BLUR_PX))
        rows, weight, inside = _projections(len(s), float(s[0]), xs, round(sigma, 3))
        level = np.take_along_axis(off[:, :, c], far, 1)
        v = off[:, None, :, c] - level[:, :, None] * inside
        fitted = np.einsum("xkn,bxn->bxk", rows, v)
        rest = np.maximum((weight * v**2).sum(2) - (fitted**2).sum(2), 0)
        own = (rest / (weight.sum(1) - rows.shape[1])).min(1)
        noise = np.maximum(own, max(float(np.median(own)), SENSOR_SD**2))
        variance = noise + (OTHER_FORM * np.abs(level).max(1)) ** 2
        share = 1.0 if c == 0 else HUE_SHARE * CHANNEL_WEIGHTS[c]
        cost += share * (rest / (2 * variance[:, None]) + UNEXPLAINED * (1 - weight).sum(1)) / CORRELATED
    return Steps(np.asarray(xs_px), cost - cost.min(1, keepdims=True), clipped, lighter_within(y, s))


def _near(s: Array, xs: Array) -> NDArray[np.bool_]:
    """(1, x, n) which samples lie close inside each position."""
    return np.asarray((s > xs[:, None] - RISE_PX) & (s <= xs[:, None]))[None]


@lru_cache(maxsize=64)
def _projections(n: int, first_px: float, xs: tuple[float, ...], sigma: float) -> tuple[Array, Array, Array]:
    """(x, k, n) orthonormal rows that span ground with a slope for each position; (x, n) what samples count, and how
    much of the inside's light they have.

    The rows take samples as they are: each holds the root of its weight twice.
    """
    s, x = first_px + SPACING_PX * np.arange(n), np.array(xs)[:, None]
    off = s - x
    weight = np.clip((s - (x - BAND_PX)) / RAMP_PX + 0.5, 0.0, 1.0)
    outside = ndtr(off / sigma)
    basis = np.zeros((len(xs), n + 1, 2))
    basis[:, :n] = np.sqrt(weight)[..., None] * np.stack([outside, outside * off], 2)
    basis[:, n, 1] = np.sqrt(SLOPE_RIDGE)
    rows = np.linalg.qr(basis).Q[:, :n].transpose(0, 2, 1) * np.sqrt(weight)[:, None]
    return rows, weight, 1 - outside
