"""What light across an edge can look like: sequences of levels, blurred by the optics, with priors on how they lie.

All columns of a sequence that is slid along a profile are orthonormalised beforehand, for every position and every
width of a shadow's core, so that judging a profile is a matter of two products.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

STEP_PX = 0.5
"""Spacing of the samples along a profile."""
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
class LevelColumns:
    """Which columns of a level sequence stand where, and how firmly each slope is held at nought."""

    has_wall: bool
    has_wall_shape: bool

    @classmethod
    def of(cls, wall_px: float) -> LevelColumns:
        return cls(wall_px >= WALL_PX, wall_px >= SHAPED_WALL_PX)

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
            out.append(FREE_RIDGE)
        if self.has_wall_shape:
            out += WALL_RIDGE
        return [*out, FREE_RIDGE]


WALL_PX, SHAPED_WALL_PX = 0.75, 4.0
"""From this width on a wall has a level of its own, and a slope and a bend of its light (chosen)."""
HIDDEN_PX = WALL_PX / 2
"""A wall that would be seen less wide counts as hidden: nearer to none than to one with a level (arithmetic)."""
FREE_RIDGE, WALL_RIDGE = 1e-3, (0.3, 0.6)
"""Levels are all but free; what the slope and the bend of a wall's light cost (chosen)."""
DARKEST = 0.004
"""Linear light, of 1, below which nothing is told from black."""
SHADOW_TINT, WALL_TINT = (0.10, 0.02), (0.12, 0.015)
"""Odd hue of a shadow beside the ground, and of a wall beside the face, that is usual: a share of the light, and so
much in any case."""
PALEST, DEEPEST = (0.9, 0.1), (0.08, 0.05)
"""A core of shadow is darker than this share of the ground's light, and lighter than that; how sharp the limits are."""
BRIGHTEST = 1.05, 0.15, 0.02
"""A wall is hardly brighter than so many times the face: by this share and this much, as a standard deviation."""
SHADOW_COST, ODD_SHADOW_MOST = 3.0, 200.0
"""What a shadow costs at all, natural logarithm of a probability, and what an odd one costs at most."""
LIKE_FACE_COST = 30.0
"""What a shadow costs that looks like the face: then it is the face."""
PALE_COST, DEEP_COST = 14.0, 4.0
"""What a core of shadow costs that is paler, or deeper, than it may be, at one width of the limit."""
HIDDEN_RIM_COST = 4.0
"""What a wall costs that looks like the face: a rim that can't be seen is a coincidence."""
ODD_WALL_MOST, BRIGHT_WALL_MOST = 12.0, 40.0
"""What an odd hue of a wall, and too bright a wall, cost at most. All of these costs, and the tints and shares above,
were chosen on the twelve photos of tests/accuracy."""
LEAST_RIDGE = 1e-6
"""Of any column, so that columns that are alike at some position can be told at all (rounding)."""
SLOPE_RIDGE = 3.0
"""A slope costs as much as this many samples' misfit of the same size: strong enough to keep levels apart, weak enough
to follow a soft shadow."""


FACE_WEIGHT, FACE_SAMPLES = 0.35, 8
"""The innermost samples tell the face's light; how much that counts for the face at the edge, as share of a sample."""


@dataclass(frozen=True, slots=True)
class Solver:
    """Level sequences slid along a profile, x*g of them, each with k columns that give l levels of light.

    Attributes:
        rows: (x*g*k, n+1) orthonormal bases; back: (x*g, l, k) maps from them to the levels.
    """

    rows: NDArray[np.float32]
    back: NDArray[np.float32]


@lru_cache(maxsize=512)
def solver(
    n: int,
    first: float,
    wall_px: float,
    xs: tuple[float, ...],
    gs: tuple[float, ...],
    sigma: float,
) -> Solver:
    """The level sequences of a profile of n samples half a pixel apart, from the offset `first` on.

    The sample after the last one stands for the face's light as seen farther in.
    """
    layout = LevelColumns.of(wall_px)
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
    gram = each @ each.transpose(0, 2, 1) + np.diag(np.array(layout.ridge()) + LEAST_RIDGE)
    forward = np.linalg.inv(np.linalg.cholesky(gram))
    rows = np.asarray((forward @ each).reshape(-1, n + 1), np.float32)
    back = np.ascontiguousarray(forward.transpose(0, 2, 1)[:, layout.level_columns()], np.float32)
    return Solver(rows, back)


def _columns(u: Array, wall_px: float, g: Array, sigma: float, layout: LevelColumns) -> Array:
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
        columns += [(upper - lower) * t, (upper - lower) * (3 * t**2 - 1) / 2]  # the second Legendre polynomial
    columns.append(lower - outer)
    return np.array(np.broadcast_arrays(*columns))


def level_cost(levels: NDArray[np.float32], layout: LevelColumns, gs: NDArray[np.float32]) -> NDArray[np.float32]:
    """Cost of implausible levels; levels: (t, l, 3, b) opponent, gs: (t,) -> (t, b)."""
    face, ground, shadow = levels[:, 0], levels[:, 1], levels[:, -1]
    lit = np.maximum(ground[:, 0], DARKEST)
    share = shadow[:, 0] / lit
    tint = np.hypot(*(shadow[:, c] - share * ground[:, c] for c in (1, 2)))
    odd = tint / (SHADOW_TINT[0] * lit + SHADOW_TINT[1])
    darker = PALE_COST * np.maximum(share - PALEST[0], 0) ** 2 / PALEST[1] ** 2
    darker += DEEP_COST * np.maximum(DEEPEST[0] - share, 0) ** 2 / DEEPEST[1] ** 2
    unseen = ((shadow[:, 0] - face[:, 0]) ** 2 + (shadow[:, 1] - face[:, 1]) ** 2) / (
        SHADOW_TINT[1] + SHADOW_TINT[0] * lit
    ) ** 2
    cost = SHADOW_COST + LIKE_FACE_COST * np.exp(-unseen) + np.minimum(0.5 * odd**2 + darker, ODD_SHADOW_MOST)
    cost[gs == 0] = 0
    if layout.has_wall:
        wall = levels[:, 2]
        lit = np.maximum(face[:, 0], DARKEST)
        shade = wall[:, 0] / lit
        tint = np.hypot(*(wall[:, c] - shade * face[:, c] for c in (1, 2)))
        odd = tint / (WALL_TINT[0] * lit + WALL_TINT[1])
        bright = np.maximum(wall[:, 0] - BRIGHTEST[0] * lit, 0) / (BRIGHTEST[1] * lit + BRIGHTEST[2])
        alike = HIDDEN_RIM_COST * np.exp(-(((shade - 1) / WALL_TINT[0]) ** 2) - 0.5 * odd**2)
        cost += np.minimum(0.5 * odd**2, ODD_WALL_MOST) + np.minimum(0.5 * bright**2, BRIGHT_WALL_MOST) + alike
    return np.asarray(cost, np.float32)
