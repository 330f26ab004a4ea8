"""Profiles of light across an edge, and the steps in them.

A profile runs along the outward normal of a boundary, from material to empty. In linear light an edge is a step
blurred by the optics; a boundary of a body with some height is a short sequence of levels instead:

    far side    face | (cast shadow) | ground            the wall is hidden, the upper edge is seen
    near side   face | wall | (cast shadow) | ground     the wall is seen, its width is known from view and height

The locator slides this sequence along each profile, solves its levels by least squares for every position, and judges
position and levels together, so that neither a shadow's edge nor the wrong rim of the wall is taken for the boundary.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_PX = 0.5
"""Spacing of the samples along a profile."""
CHANNEL_WEIGHTS = np.array([1.0, 0.8, 0.8])
OPPONENT = np.array([[0.30, 0.59, 0.11], [0.70, -0.59, -0.11], [-0.15, -0.30, 0.45]]).T
"""Linear RGB to lightness, red-against-rest and blue-against-rest: noise and JPEG chroma blur are then in separate
channels (weights of ITU-R BT.601, which JPEG uses)."""


def linear_table() -> NDArray[np.uint16]:
    """(256,) linear light, 0 to 65535, of each 8-bit sRGB code (IEC 61966-2-1)."""
    c = np.arange(256) / 255.0
    lin = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.round(lin * 65535), np.uint16)


@dataclass(frozen=True, slots=True)
class Light:
    """A photo in linear light.

    Attributes:
        linear: (h, w, 3) linear light, 0 to 65535.
        origin_px: (2,) x and y of its first pixel in the whole photo, when it is a crop.
    """

    linear: NDArray[np.uint16]
    origin_px: tuple[int, int] = (0, 0)

    @classmethod
    def of(cls, rgb: NDArray[np.uint8], box_px: tuple[int, int, int, int] | None = None) -> Light:
        """From 8-bit sRGB, whole or the part inside box_px = (x0, y0, x1, y1)."""
        import cv2

        x0, y0 = 0, 0
        if box_px is not None:
            h, w = rgb.shape[:2]
            x0, y0 = max(0, box_px[0]), max(0, box_px[1])
            rgb = rgb[y0 : min(h, box_px[3]), x0 : min(w, box_px[2])]
        return cls(np.asarray(cv2.LUT(np.ascontiguousarray(rgb), linear_table()), np.uint16), (x0, y0))

    def sample(self, points_px: Array) -> NDArray[np.float32]:
        """(..., 3) linear light, 0 to 1, at (..., 2) pixel positions, bicubic."""
        import cv2

        at = (points_px - np.array(self.origin_px)).astype(np.float32)
        flat = at.reshape(-1, at.shape[-2], 2) if at.ndim > 2 else at.reshape(1, -1, 2)
        out = np.empty((*flat.shape[:2], 3), np.float32)
        rows = 16000  # OpenCV's remap takes fewer than 32768 rows
        for i in range(0, len(flat), rows):
            part = flat[i : i + rows]
            out[i : i + rows] = cv2.remap(
                self.linear, part[..., 0], part[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
            )
        return np.asarray(out / np.float32(65535), np.float32).reshape(*points_px.shape[:-1], 3)


@dataclass(frozen=True, slots=True)
class Profiles:
    """Light across a boundary.

    Attributes:
        offsets_px: (s,) positions along the normal, from material to empty, 0 at the expected boundary.
        light: (b, s, 3) opponent channels (see OPPONENT), each the mean of `width` neighbouring profiles.
        clipped: (b,) share of samples at the sensor's limit.
    """

    offsets_px: Array
    light: Array
    clipped: Array


def take(light: Light, points_px: Array, normals_px: Array, inner_px: float, outer_px: float, width: int) -> Profiles:
    """Profiles across a boundary.

    Args:
        light: the photo.
        points_px: (b * width, 2) expected boundary points, about a pixel apart, in order.
        normals_px: (b * width, 2) unit normals from material to empty.
        inner_px, outer_px: how far to sample to either side.
        width: how many neighbours are averaged into one profile.
    """
    s = np.arange(-np.ceil(inner_px / STEP_PX), np.ceil(outer_px / STEP_PX) + 1) * STEP_PX
    rgb = light.sample(points_px[:, None, :] + s[None, :, None] * normals_px[:, None, :])
    b = len(points_px) // width
    mean = rgb.reshape(b, width, len(s), 3).mean(1)
    return Profiles(s, np.asarray(mean @ OPPONENT, float), (mean.max(2) > 0.985).mean(1))


QUARTERS, FARTHEST_PX = 4, 200
"""Offsets, positions and widths are multiples of a quarter pixel, so that one short table serves all blurred steps."""


@lru_cache(maxsize=8)
def _step_table(sigma: float) -> Array:
    """Cumulative Gaussian of standard deviation sigma at every quarter pixel from -FARTHEST_PX to FARTHEST_PX."""
    quarters = range(-FARTHEST_PX * QUARTERS, FARTHEST_PX * QUARTERS + 1)
    return np.array([0.5 * math.erfc(-k / (QUARTERS * sigma * math.sqrt(2))) for k in quarters])


def blurred_step(x: Array, sigma: float) -> Array:
    """A step blurred by a Gaussian of standard deviation sigma, at offsets that are multiples of a quarter pixel."""
    return _step_table(sigma)[np.asarray(np.rint((x + FARTHEST_PX) * QUARTERS), np.intp)]


CONTACT_PX, CONTACT_RIDGE = 3.0, 0.5
"""Length over which the ground close to a body lightens (less sky is seen from there), and how firmly that is held at
nought."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Which columns of a level sequence stand where, and how firmly each slope is held at nought."""

    has_wall: bool
    has_wall_shape: bool

    @classmethod
    def of(cls, wall_px: float) -> Layout:
        return cls(wall_px >= 0.75, wall_px >= 4)

    @property
    def levels(self) -> int:
        """How many levels there are: face, ground, wall if seen, shadow."""
        return 4 if self.has_wall else 3

    def level_columns(self) -> list[int]:
        """Columns that are levels of light; the others are slopes and bends."""
        return [0, 2, *([5] if self.has_wall else []), -1]

    def ridge(self) -> list[float]:
        """Prior weights of the columns: levels free, slopes per pixel small."""
        out = [0.0, SLOPE_RIDGE, 0.0, SLOPE_RIDGE, CONTACT_RIDGE]
        if self.has_wall:
            out.append(1e-3)
        if self.has_wall_shape:
            out += [0.3, 0.6]
        return [*out, 1e-3]


SLOPE_RIDGE = 3.0
"""A slope costs as much as this many samples' misfit of the same size: strong enough to keep levels apart, weak enough
to follow a soft shadow."""


FACE_WEIGHT, FACE_SAMPLES = 0.35, 8
"""The innermost samples tell the face's light; how much that counts for the face at the edge, as share of a sample."""


@lru_cache(maxsize=512)
def _solver(
    n: int, first: float, wall_px: float, xs: tuple[float, ...], gs: tuple[float, ...], sigma: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Orthonormal bases (x*g*k, n+1) of the level sequences, and (x*g, l, k) maps from them to the levels of light.

    The sample after the last one stands for the face's light as seen farther in.
    """
    layout = Layout.of(wall_px)
    # every column is a function of the distance from the position tried: looked up in one short table for all of them
    start = np.rint((first - np.array(xs)) * QUARTERS).astype(np.intp)
    every = round(STEP_PX * QUARTERS)
    low = start.min()
    u = np.arange(low, start.max() + (n - 1) * every + 1) / QUARTERS
    columns = np.ascontiguousarray(_columns(u, wall_px, np.array(gs)[:, None], sigma, layout).transpose(1, 0, 2))
    k = columns.shape[1]
    basis = np.zeros((len(xs), len(gs), k, n + 1))
    for at, i in zip(basis, (start - low).tolist(), strict=True):
        at[..., :n] = columns[..., i : i + n * every : every]
    basis[:, :, 0, n] = FACE_WEIGHT
    each = basis.reshape(-1, k, n + 1)
    gram = each @ each.transpose(0, 2, 1) + np.diag(np.array(layout.ridge()) + 1e-6)
    forward = np.linalg.inv(np.linalg.cholesky(gram))
    rows = np.asarray((forward @ each).reshape(-1, n + 1), np.float32)
    return rows, np.ascontiguousarray(forward.transpose(0, 2, 1)[:, layout.level_columns()], np.float32)


def _columns(u: Array, wall_px: float, g: Array, sigma: float, layout: Layout) -> Array:
    """(k, g, u) the columns of a level sequence at offsets u (u,) from the boundary, for cores of shadow g (g, 1)."""
    upper, lower, outer = (blurred_step(at, sigma) for at in (u + wall_px, u, u - g))
    beyond = np.maximum(u - g, 0)
    columns = [
        1 - upper,
        np.minimum(u + wall_px, 0) * (1 - upper),
        outer,
        beyond * outer,
        np.exp(-beyond / CONTACT_PX) * outer,
    ]
    if layout.has_wall:
        columns.append(upper - lower)
    if layout.has_wall_shape:
        t = 2 * (u + wall_px / 2) / wall_px
        columns += [(upper - lower) * t, (upper - lower) * (1.5 * t**2 - 0.5)]
    columns.append(lower - outer)
    return np.array(np.broadcast_arrays(*columns))


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the profiles say about each position.

    Attributes:
        xs_px: (x,) positions tried.
        cost: (b, x, g) negative log likelihood with the priors on levels, lower is better, for each position and each
            width of a cast shadow's core.
        variance: (3,) variance of one sample in each channel.
    """

    xs_px: Array
    cost: Array
    variance: Array


def _level_cost(levels: NDArray[np.float32], layout: Layout, gs: NDArray[np.float32]) -> NDArray[np.float32]:
    """Cost of implausible levels; levels: (t, l, 3, b) opponent, gs: (t,) -> (t, b)."""
    face, ground, shadow = levels[:, 0], levels[:, 1], levels[:, -1]
    lit = np.maximum(ground[:, 0], 0.004)
    share = shadow[:, 0] / lit
    tint = np.hypot(*(shadow[:, c] - share * ground[:, c] for c in (1, 2)))
    odd = tint / (0.10 * lit + 0.02)
    darker = 14 * np.maximum(share - 0.9, 0) ** 2 / 0.1**2 + 4 * np.maximum(0.08 - share, 0) ** 2 / 0.05**2
    unseen = ((shadow[:, 0] - face[:, 0]) ** 2 + (shadow[:, 1] - face[:, 1]) ** 2) / (0.02 + 0.10 * lit) ** 2
    cost = 3 + 30 * np.exp(-unseen) + np.minimum(0.5 * odd**2 + darker, 200)
    cost[gs == 0] = 0
    if layout.has_wall:
        wall = levels[:, 2]
        lit = np.maximum(face[:, 0], 0.004)
        shade = wall[:, 0] / lit
        tint = np.hypot(*(wall[:, c] - shade * face[:, c] for c in (1, 2)))
        odd = tint / (0.12 * lit + 0.015)
        bright = np.maximum(wall[:, 0] - 1.05 * lit, 0) / (0.15 * lit + 0.02)
        alike = 4 * np.exp(-(((shade - 1) / 0.12) ** 2) - 0.5 * odd**2)  # a rim that can't be seen is a coincidence
        cost += np.minimum(0.5 * odd**2, 12) + np.minimum(0.5 * bright**2, 40) + alike
    return np.asarray(cost, np.float32)


def evidence(
    p: Profiles,
    wall_px: Array,
    xs_px: Array,
    gs_px: Array,
    sigma_px: float,
    variance: Array | None = None,
    wall_grid_px: float = 0.5,
) -> Evidence:
    """Likelihood of the boundary's position along each profile.

    Args:
        p: profiles of b stretches of boundary.
        wall_px: (b,) width of the visible wall in the photo, 0 on the far side.
        xs_px: (x,) positions to try.
        gs_px: (g,) widths of a cast shadow's core to try; 0 means none.
        sigma_px: standard deviation of the optical blur.
        variance: (3,) noise variance of a sample in each channel; estimated from the profiles when None.
        wall_grid_px: widths of walls are rounded to this, so that one set of solvers serves many profiles.

    Method: variable projection (Golub & Pereyra 1973): levels are solved linearly for every position.
    """
    b, n, _ = p.light.shape
    bins = np.where(wall_px < 0.375, 0.0, np.round(wall_px / wall_grid_px) * wall_grid_px)
    xs, gs = tuple(map(float, xs_px)), tuple(map(float, gs_px))
    tried = len(xs) * len(gs)
    rss = np.empty((tried, 3, b), np.float32)
    extra = np.empty((tried, b), np.float32)
    mean = p.light.mean(1)
    centred = np.asarray(p.light - mean[:, None], np.float32)  # so that float32 carries enough digits
    face = FACE_WEIGHT * centred[:, :FACE_SAMPLES].mean(1, keepdims=True)
    centred = np.concatenate([centred, face], 1)
    free = 0
    for wall in np.unique(bins):
        at = np.nonzero(bins == wall)[0]
        layout = Layout.of(float(wall))
        levels = np.empty((tried, layout.levels, 3, len(at)), np.float32)
        for c, sigma in enumerate((sigma_px, np.hypot(sigma_px, 0.7), np.hypot(sigma_px, 0.7))):
            q, back = _solver(n, float(p.offsets_px[0]), float(wall), xs, gs, round(float(sigma), 4))
            y = np.ascontiguousarray(centred[at, :, c].T)
            m = (q @ y).reshape(tried, -1, len(at))
            rss[:, c, at] = (y**2).sum(0) - np.einsum("tkb,tkb->tb", m, m)
            levels[:, :, c] = back @ m + np.asarray(mean[at, c], np.float32)
        free = max(free, m.shape[1])
        extra[:, at] = _level_cost(levels, layout, np.tile(np.array(gs, np.float32), len(xs)))
    rss = np.maximum(rss, 0)
    if variance is None:
        variance = np.maximum(np.median(rss.min(0), 1) / (n - free), SENSOR_SD**2)
    weights = np.asarray(CHANNEL_WEIGHTS / (2 * variance * CORRELATED), np.float32)
    cost = np.einsum("tcb,c->tb", rss, weights) + extra
    cost = np.ascontiguousarray(cost.T, float).reshape(b, len(xs), len(gs))
    return Evidence(xs_px, cost, np.asarray(variance))


SENSOR_SD = 1.5e-3
"""Least noise of a sample, share of full light."""


CORRELATED = 2.5
"""How many neighbouring samples share their noise: they lie half a pixel apart and come from a demosaiced, compressed
picture."""


def smoothest(cost: Array, stiffness: Array | float, closed: bool, reach: int = 4) -> NDArray[np.intp]:
    """Path of least cost through (b, x) with a penalty on jumps (Viterbi 1967); (b,) indices.

    Args:
        cost: (b, x) cost of each position at each stretch.
        stiffness: cost of a jump of one grid step, grows with its square up to `reach` steps; (b,) gives the price of
            the step into each stretch.
        closed: whether the last stretch adjoins the first.
    """
    b, n = cost.shape
    stiffness = np.broadcast_to(stiffness, b)
    if closed:  # run on past the seam at both ends and keep the middle
        lead = min(b, 60)
        around = np.r_[b - lead : b, 0:b, 0:lead]
        return smoothest(cost[around], stiffness[around], False, reach)[lead : lead + b]
    jump = np.empty((b, n), np.intp)
    fenced = np.full(n + 2 * reach, np.inf)
    total = fenced[reach : reach + n]
    total[:] = cost[0]
    near = np.lib.stride_tricks.sliding_window_view(fenced, n)  # (jumps, n), a view of what `total` is at the time
    prices = stiffness[:, None, None] * np.arange(-reach, reach + 1)[:, None] ** 2.0
    for i in range(1, b):
        t = near + prices[i]
        t.argmin(0, out=jump[i])
        np.add(t.min(0), cost[i], out=total)
    path = np.empty(b, np.intp)
    path[-1] = total.argmin()
    for i in range(b - 1, 0, -1):
        path[i - 1] = path[i] + jump[i, path[i]] - reach
    return path


def vertex(cost: Array, xs_px: Array, at: NDArray[np.intp], near: int = 3) -> tuple[Array, Array]:
    """Position of least cost within `near` grid steps of the positions `at`, and its standard deviation, both (b,) px.

    A parabola through three grid points; the second derivative of a negative log likelihood is the inverse variance.
    The standard deviation is infinite where there is no minimum.
    """
    rows = np.arange(len(cost))
    window = np.clip(at[:, None] + np.arange(-near, near + 1), 0, cost.shape[1] - 1)
    best = window[rows, np.take_along_axis(cost, window, 1).argmin(1)]
    i = np.clip(best, 1, cost.shape[1] - 2)
    a, m, c = cost[rows, i - 1], cost[rows, i], cost[rows, i + 1]
    h = float(xs_px[1] - xs_px[0])
    bend = a - 2 * m + c
    ok = bend > 1e-9
    shift = np.where(ok, 0.5 * (a - c) / np.where(ok, bend, 1), 0)
    x = xs_px[i] + h * np.clip(shift, -1, 1)
    return x, np.where(ok & (np.abs(shift) <= 0.75), h / np.sqrt(np.where(ok, bend, 1)), np.inf)
