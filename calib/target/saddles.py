"""Saddle points of light, where two dark and two light squares meet, to a few hundredths of a pixel.

Round such a point the light is, in linear light and under any blur that has no side,

    L(d) = mean + slope · d + contrast · erf(u / √2σ) · erf(v / √2σ),   u = n₁ · (d − c),   v = n₂ · (d − c)

with the two edges' normals n₁ and n₂. Both factors change sign at c: ink that spreads, exposure and blur leave c where
it is. All parameters of all points are fitted at once by Gauss-Newton steps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array

STEPS = 12
BLUR_PX = (0.5, 6.0)
"""Blur that a fit may find."""
LEAST_CONTRAST = 0.03
"""Of light and dark, share of full light, half of the difference."""
MOST_MISFIT = 0.30
"""Residual of a fit, rms, as share of the contrast: more is no meeting of four squares."""
FLOOR_PX = 0.02
"""What a demosaiced and compressed picture leaves of uncertainty in any case."""
CORRELATED = 2.0
"""How many neighbouring pixels share their noise."""


@dataclass(frozen=True, slots=True)
class Saddles:
    """Located points.

    Attributes:
        points_px: (n, 2) where they are.
        sigma_px: (n,) standard deviation in each direction; infinite where there is no saddle.
        blur_px: (n,) standard deviation of the blur across the edges.
    """

    points_px: Array
    sigma_px: Array
    blur_px: Array


WINDOW = 0.8
"""Standard deviation of a window's weights, as share of its reach: far corners see less of the point, more of marks."""


def locate(light: Array, start_px: Array, along_px: Array, up_px: Array, reach_px: float) -> Saddles:
    """Saddle points near expected ones.

    Args:
        light: (h, w) linear light, 0 to 1.
        start_px: (n, 2) where they are expected, within about half the reach.
        along_px, up_px: (n, 2) directions of the two edges that cross there.
        reach_px: half the width of the window that is looked at.
    """
    r = max(3, math.floor(reach_px))
    grid = np.arange(-r, r + 1, dtype=float)
    dx, dy = (a.ravel() for a in np.meshgrid(grid, grid))
    base = np.rint(start_px)
    rows, columns = (base[:, 1:] + dy).astype(np.intp), (base[:, :1] + dx).astype(np.intp)
    h, w = light.shape
    inside = (rows.min(1) >= 0) & (columns.min(1) >= 0) & (rows.max(1) < h) & (columns.max(1) < w)
    seen = light[np.clip(rows, 0, h - 1), np.clip(columns, 0, w - 1)]
    window = np.exp(-((dx**2 + dy**2) / (WINDOW * r) ** 2) / 2)
    offset = start_px - base
    angles = np.stack([_normal_angle(along_px), _normal_angle(up_px)], 1)
    p = _start(seen, offset, angles, dx, dy)
    for _ in range(STEPS):
        model, J = _model(p, dx, dy)
        N = _normal_matrix(J, window)
        step = np.linalg.solve(N, np.einsum("nsp,ns->np", J, (seen - model) * window)[..., None])[..., 0]
        p = p + np.clip(step, -MOST_STEP, MOST_STEP)
        p[:, 4] = np.clip(p[:, 4], *np.log(BLUR_PX))
    model, J = _model(p, dx, dy)
    rms = np.sqrt(((seen - model) ** 2 * (window / window.sum())).sum(1))
    variance = np.linalg.inv(_normal_matrix(J, window))[:, [0, 1], [0, 1]].mean(1) * rms**2 * CORRELATED
    contrast = np.abs(p[:, 6])
    good = inside & (contrast > LEAST_CONTRAST) & (rms < MOST_MISFIT * contrast)
    good &= (np.hypot(*(p[:, :2] - offset).T) < WINDOW * r) & (p[:, 4] < math.log(BLUR_PX[1]) - 1e-6)
    good &= (np.abs(np.sin(p[:, 2:4] - angles)) < MOST_TURN).all(1)
    sigma = np.where(good, np.sqrt(np.maximum(variance, 0) + FLOOR_PX**2), np.inf)
    return Saddles(base + p[:, :2], sigma, np.exp(p[:, 4]))


MOST_STEP = np.array([0.7, 0.7, 0.2, 0.2, 0.4, *[np.inf] * 4])
"""Longest step of place (px), angles (rad) and the logarithm of the blur in one turn."""
MOST_TURN = 0.4
"""Sine of the angle that an edge's direction may be off."""


def _normal_angle(direction: Array) -> Array:
    """(n,) angle of the normal of (n, 2) directions."""
    return np.asarray(np.arctan2(direction[:, 0], -direction[:, 1]))


FIRST_BLUR_PX = 1.2
"""Blur that a fit begins with (chosen)."""
DARK_PERCENT, LIGHT_PERCENT = 5, 95
"""Percentiles of a window that are its dark and its light squares' levels (chosen)."""


def _start(seen: Array, offset: Array, angles: Array, dx: Array, dy: Array) -> Array:
    """(n, 9) place, two angles, log blur, mean, contrast and slope to start with."""
    low, high = (np.percentile(seen, q, 1) for q in (DARK_PERCENT, LIGHT_PERCENT))
    u, v = (np.cos(a)[:, None] * dx + np.sin(a)[:, None] * dy for a in angles.T)
    sign = np.where((np.sign(u * v) * (seen - seen.mean(1, keepdims=True))).sum(1) < 0, -1.0, 1.0)
    levels = np.stack([np.full(len(seen), math.log(FIRST_BLUR_PX)), (low + high) / 2, sign * (high - low) / 2], 1)
    return np.concatenate([offset, angles, levels, np.zeros((len(seen), 2))], 1)


def _model(p: Array, dx: Array, dy: Array) -> tuple[Array, Array]:
    """(n, s) light at the window's pixels, and (n, s, 9) its change with the parameters."""
    from scipy.special import erf

    x, y = dx - p[:, :1], dy - p[:, 1:2]
    cosines, sines = np.cos(p[:, 2:4]), np.sin(p[:, 2:4])
    wide = np.sqrt(2) * np.exp(p[:, 4:5])
    u, v = ((cosines[:, [k]] * x + sines[:, [k]] * y) / wide for k in (0, 1))
    du, dv = ((cosines[:, [k]] * y - sines[:, [k]] * x) / wide for k in (0, 1))
    eu, ev = erf(u), erf(v)
    contrast, slope = p[:, 6:7], p[:, 7:9]
    gu = 2 / np.sqrt(np.pi) * np.exp(-(u**2)) * ev * contrast
    gv = 2 / np.sqrt(np.pi) * np.exp(-(v**2)) * eu * contrast
    by_x = -(gu * cosines[:, [0]] + gv * cosines[:, [1]]) / wide - slope[:, :1]
    by_y = -(gu * sines[:, [0]] + gv * sines[:, [1]]) / wide - slope[:, 1:]
    columns = [by_x, by_y, gu * du, gv * dv, -(gu * u + gv * v), np.ones_like(u), eu * ev, x, y]
    light = p[:, 5:6] + contrast * eu * ev + slope[:, :1] * x + slope[:, 1:] * y
    return np.asarray(light), np.stack(np.broadcast_arrays(*columns), -1)


def _normal_matrix(J: Array, window: Array) -> Array:
    N = np.einsum("nsp,nsq->npq", J * window[None, :, None], J, optimize=True)
    at = np.arange(N.shape[1])
    N[:, at, at] += 1e-9 + 1e-6 * N[:, at, at]
    return np.asarray(N)
