"""How well light across a boundary agrees with a blurred step, or with two a known distance apart, at each position.

For a position the levels of light are solved by least squares (variable projection, Golub & Pereyra 1973); what is left
is the position's cost, a negative log likelihood. All in linear light, for optics blur light and not code values.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from calib.arrays import Array
from calib.light.profile import CHANNEL_WEIGHTS, CORRELATED, OPPONENT, SENSOR_SD, Light

SPACING_PX = 0.5
"""Between samples of a profile."""
SLOPE_RIDGE = 2.0
"""How firmly the ground's slope beyond a step is held at nought, in squared light per pixel: contact shadows."""
CHROMA_BLUR_PX = 0.7
"""What the halved chroma of a JPEG adds to the blur of hues."""
HUE_SHARE = 0.25
"""What hues count for, against lightness: their noise is that of blocks."""


@dataclass(frozen=True, slots=True)
class Steps:
    """Evidence of b stretches of boundary.

    Attributes:
        xs_px: (x,) positions tried.
        cost: (b, x) negative log likelihood of each, least 0.
        clipped: (b, 2) share of samples at the sensor's limit, on the inner and on the outer side.
        lighter: (b,) whether the inner side is lighter than the outer one.
    """

    xs_px: Array
    cost: Array
    clipped: Array
    lighter: NDArray[np.bool_]


def steps_at(
    light: Light,
    points_px: Array,
    normals_px: Array,
    width: int,
    xs_px: Array,
    inner_px: float,
    outer_px: float,
    sigma_px: float,
    wall_px: float = 0.0,
    wall_light: WallLight | None = None,
    fading: bool = False,
) -> Steps:
    """Judge positions along the normals of a boundary.

    Args:
        light: the photo.
        points_px: (b * width, 2) expected boundary points, about a pixel apart; normals_px: (b * width, 2) outwards.
        width: how many neighbours are averaged into one profile.
        xs_px: (x,) positions to try.
        inner_px, outer_px: how far from the point light is looked at, both ways.
        sigma_px: standard deviation of the blur.
        wall_px: distance of a second step beyond the first; none if 0.
        wall_light: what is known of the light between two steps.
        fading: whether light changes steadily up to the step, as it does down a hole's wall.
    """
    s = np.arange(-np.floor(inner_px / SPACING_PX), np.floor(outer_px / SPACING_PX) + 1) * SPACING_PX
    y, clipped = profiles_at(light, points_px, normals_px, width, s)
    b = len(y)
    xs = tuple(float(x) for x in xs_px)
    worth = _worth(s, round(wall_px, 2))
    cost = np.zeros((b, len(xs)))
    for c in range(3):
        sigma = sigma_px if c == 0 else float(np.hypot(sigma_px, CHROMA_BLUR_PX))
        firm = 0.0
        if c == 0 and wall_light is not None and wall_px > 0:
            face = float(np.median(y[:, :4, 0]))
            firm = round(USUAL_NOISE / max(face * wall_light.sd, LEAST_LIGHT_SD), 2)
        ratio = round(wall_light.ratio, 2) if wall_light is not None else 1.0
        rows, columns = _projections(len(s), float(s[0]), xs, round(sigma, 3), round(wall_px, 2), firm, ratio, fading)
        v = y[:, :, c] * worth
        fitted = np.einsum("xkn,bn->bxk", rows, v)
        rest = np.maximum((v**2).sum(1)[:, None] - (fitted**2).sum(2), 0)
        own = rest.min(1) / max(float(worth @ worth) - columns, 1)
        variance = np.maximum(own, max(float(np.median(own)), SENSOR_SD**2))
        share = 1.0 if c == 0 else HUE_SHARE * CHANNEL_WEIGHTS[c]
        cost += share * rest / (2 * variance[:, None] * CORRELATED)
    return Steps(np.asarray(xs_px), cost - cost.min(1, keepdims=True), clipped, lighter_within(y, s))


def profiles_at(light: Light, points_px: Array, normals_px: Array, width: int, s: Array) -> tuple[Array, Array]:
    """Light across b stretches of boundary, each the mean of its neighbours.

    Args:
        light, points_px, normals_px, width: see `steps_at`; s: (n,) places along the normals, px.

    Returns:
        (b, n, 3) lightness and hues; (b, 2) share of samples at the sensor's limit, inside and outside of 0.
    """
    rgb = light.sample(points_px[:, None, :] + s[None, :, None] * normals_px[:, None, :])
    mean = rgb.reshape(len(points_px) // width, width, len(s), 3).mean(1)
    full = mean.max(2) > CLIPPED
    clipped = np.stack([full[:, s < 0].mean(1), full[:, s > 0].mean(1)], 1)
    return np.asarray(mean @ OPPONENT, float), clipped


def lighter_within(y: Array, s: Array) -> NDArray[np.bool_]:
    """(b,) whether lightness (b, n, 3) is more inside of 0 than outside, at places s."""
    return np.asarray(np.median(y[:, s < 0, 0], axis=1) > np.median(y[:, s > 0, 0], axis=1))


def _worth(s: Array, wall_px: float) -> Array:
    """(n,) what samples count for, as a root: beyond an edge the ground changes, in shadows' rims above all."""
    return np.asarray(1 / (1 + np.maximum(s - wall_px - STEADY_PX, 0) / STEADY_PX))


STEADY_PX = 5.0
"""So far beyond an edge the ground is steady; twice as far off it is half as much so (chosen)."""
CLIPPED = 0.985
"""Of full light: at the sensor's limit."""


@dataclass(frozen=True, slots=True)
class WallLight:
    """How light a wall is: its light over the face's, and the standard deviation of that."""

    ratio: float
    sd: float


LEAST_LIGHT_SD = 1e-4
"""Standard deviation of a wall's light that is reckoned with at least: so that nothing is held infinitely firm."""
USUAL_NOISE = 0.004
"""Standard deviation of a profile's samples, against which what is known of a wall's light is weighed."""


@lru_cache(maxsize=256)
def _projections(
    n: int,
    first_px: float,
    xs: tuple[float, ...],
    sigma: float,
    wall_px: float,
    firm: float,
    ratio: float,
    fading: bool,
) -> tuple[Array, int]:
    """(x, k, n) orthonormal rows that span the levels of light for each position, and k.

    What is known of slope and wall stands as samples of their own that are always nought.
    """
    at = np.asarray(first_px + SPACING_PX * np.arange(n), float)
    off = at - np.array(xs)[:, None]
    upper = ndtr(off / sigma)
    lower = ndtr((off - wall_px) / sigma) if wall_px > 0 else upper
    columns = [np.ones_like(off), upper, *((lower,) if wall_px > 0 else ())]
    if fading:
        columns.append((1 - upper) * off)
    basis = np.zeros((len(xs), n + 2, len(columns) + 1))
    basis[:, :n] = np.stack([*columns, lower * (off - wall_px)], 2)
    basis[:, :n] *= _worth(at, wall_px)[:, None]
    basis[:, n, -1] = np.sqrt(SLOPE_RIDGE)
    basis[:, n + 1, :2] = firm * (1 - ratio), firm
    rows = np.linalg.qr(basis).Q[:, :n].transpose(0, 2, 1)
    return np.ascontiguousarray(rows), rows.shape[1]
