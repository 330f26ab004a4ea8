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
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.levels import FACE_SAMPLES, FACE_WEIGHT, HIDDEN_PX, STEP_PX, LevelColumns, level_cost, solver
from calib.light.optics import USUAL, Optics
from calib.light.srgb import coded, linear, linear_of_codes

CHANNEL_WEIGHTS = np.array([1.0, 0.8, 0.8])
OPPONENT = np.array([[0.30, 0.59, 0.11], [0.70, -0.59, -0.11], [-0.15, -0.30, 0.45]]).T
"""Linear RGB to lightness, red-against-rest and blue-against-rest: noise and JPEG chroma blur are then in separate
channels (weights of ITU-R BT.601, which JPEG uses)."""
FULL_LIGHT, FINE_CODE = 65535, 4095
"""Of 16 bits, and of codes in steps of a sixteenth."""
CLIPPED = 0.985
"""From this linear light on, of 1, the sensor's limit may have cut some off: code 253 of 255 (chosen)."""
CHROMA_PX = 0.7
"""How much more colour is blurred than lightness, standard deviation: JPEG's halved resolution is the mean of two
pixels, 2 / √12 = 0.58, and not the only blur on the way (chosen)."""
SHARPEN_PX = 1.3
"""Radius of a sharpening, standard deviation (common practice, no source). How strong it is, is found."""
LEAST_SHARPENING, LEFT = 0.1, 0.04
"""Less is left as it is; and so much of a sharpening may be left once it is undone (chosen)."""
MOST_ROWS = 16000
"""Rows of points that are sampled at once: OpenCV's remap takes fewer than 32768."""


def linear_table() -> NDArray[np.uint16]:
    """(256,) linear light, 0 to 65535, of each 8-bit sRGB code."""
    return np.asarray(np.round(linear_of_codes() * FULL_LIGHT), np.uint16)


@lru_cache(maxsize=1)
def linear_of_fine_codes() -> NDArray[np.uint16]:
    """(FINE_CODE + 1,) linear light, 0 to 65535, of codes in fine steps."""
    return np.asarray(np.round(linear(np.arange(FINE_CODE + 1) / FINE_CODE) * FULL_LIGHT), np.uint16)


@lru_cache(maxsize=1)
def coded_table() -> NDArray[np.float32]:
    """(65536,) code, 0 to 1, of each linear light."""
    return np.asarray(coded(np.arange(FULL_LIGHT + 1) / FULL_LIGHT), np.float32)


@dataclass(frozen=True, slots=True)
class Light:
    """A photo in linear light.

    Attributes:
        linear: (h, w, 3) linear light, 0 to 65535.
        origin_px: (2,) x and y of its first pixel in the whole photo, when it is a crop.
        optics: how its edges were softened and sharpened, as far as something tells.
    """

    linear: NDArray[np.uint16]
    origin_px: tuple[int, int] = (0, 0)
    optics: Optics = USUAL

    @classmethod
    def of(
        cls, rgb: NDArray[np.uint8], box_px: tuple[int, int, int, int] | None = None, optics: Optics = USUAL
    ) -> Light:
        """From 8-bit sRGB, whole or the part inside box_px = (x0, y0, x1, y1)."""
        import cv2

        x0, y0 = 0, 0
        if box_px is not None:
            h, w = rgb.shape[:2]
            x0, y0 = max(0, box_px[0]), max(0, box_px[1])
            rgb = rgb[y0 : min(h, box_px[3]), x0 : min(w, box_px[2])]
        return cls(np.asarray(cv2.LUT(np.ascontiguousarray(rgb), linear_table()), np.uint16), (x0, y0), optics)

    def unsharpened(self) -> Light:
        """The same as it was before codes were sharpened: code + sharpening * (code - its blur).

        Method: fixed-point iteration; each turn leaves s / (1 + s) of the error that it finds.
        """
        import cv2

        sharpening = self.optics.sharpening
        if sharpening < LEAST_SHARPENING:
            return self
        code = before = coded_table()[self.linear]
        left_by_turn = sharpening / (1 + sharpening)
        for _ in range(math.ceil(math.log(LEFT) / math.log(left_by_turn))):
            softer = cv2.GaussianBlur(before, (0, 0), SHARPEN_PX)
            before = cv2.addWeighted(code, 1 - left_by_turn, softer, left_by_turn, 0)
        fine = np.asarray(np.clip(before, 0, 1) * FINE_CODE, np.uint16)
        return Light(linear_of_fine_codes()[fine], self.origin_px, replace(self.optics, sharpening=0.0))

    def sample(self, points_px: Array, *, cubic: bool = True) -> NDArray[np.float32]:
        """(..., 3) linear light, 0 to 1, at (..., 2) pixel positions; bicubic, or bilinear: overshoots nowhere."""
        import cv2

        how = cv2.INTER_CUBIC if cubic else cv2.INTER_LINEAR
        at = (points_px - np.array(self.origin_px)).astype(np.float32)
        flat = at.reshape(-1, at.shape[-2], 2) if at.ndim > 2 else at.reshape(1, -1, 2)
        out = np.empty((*flat.shape[:2], 3), np.float32)
        for i in range(0, len(flat), MOST_ROWS):
            part = flat[i : i + MOST_ROWS]
            out[i : i + MOST_ROWS] = cv2.remap(
                self.linear, part[..., 0], part[..., 1], how, borderMode=cv2.BORDER_REPLICATE
            )
        return np.asarray(out / np.float32(FULL_LIGHT), np.float32).reshape(*points_px.shape[:-1], 3)


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
    return Profiles(s, np.asarray(mean @ OPPONENT, float), (mean.max(2) > CLIPPED).mean(1))


@dataclass(frozen=True, slots=True)
class EdgeLikelihood:
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


def evidence(
    p: Profiles,
    wall_px: Array,
    xs_px: Array,
    gs_px: Array,
    sigma_px: float,
    variance: Array | None = None,
    wall_grid_px: float = 0.5,
) -> EdgeLikelihood:
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
    bins = np.where(wall_px < HIDDEN_PX, 0.0, np.round(wall_px / wall_grid_px) * wall_grid_px)
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
        layout = LevelColumns.of(float(wall))
        levels = np.empty((tried, layout.levels, 3, len(at)), np.float32)
        for c, sigma in enumerate((sigma_px, np.hypot(sigma_px, CHROMA_PX), np.hypot(sigma_px, CHROMA_PX))):
            by = solver(n, float(p.offsets_px[0]), float(wall), xs, gs, round(float(sigma), 4))
            y = np.ascontiguousarray(centred[at, :, c].T)
            m = (by.rows @ y).reshape(tried, -1, len(at))
            rss[:, c, at] = (y**2).sum(0) - np.einsum("tkb,tkb->tb", m, m)
            levels[:, :, c] = by.back @ m + np.asarray(mean[at, c], np.float32)
        free = max(free, m.shape[1])
        extra[:, at] = level_cost(levels, layout, np.tile(np.array(gs, np.float32), len(xs)))
    rss = np.maximum(rss, 0)
    if variance is None:
        variance = np.maximum(np.median(rss.min(0), 1) / (n - free), SENSOR_SD**2)
    weights = np.asarray(CHANNEL_WEIGHTS / (2 * variance * CORRELATED), np.float32)
    cost = np.einsum("tcb,c->tb", rss, weights) + extra
    cost = np.ascontiguousarray(cost.T, float).reshape(b, len(xs), len(gs))
    return EdgeLikelihood(xs_px, cost, np.asarray(variance))


SENSOR_SD = 1.5e-3
"""Least noise of a sample, share of full light."""


CORRELATED = 2.5
"""How many neighbouring samples share their noise: they lie half a pixel apart and come from a demosaiced, compressed
picture."""
