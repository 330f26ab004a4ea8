"""What face, wall and ground look like in one photo: log likelihoods of a colour, learned from what each explains.

The face is flat and evenly lit: its colour is a smooth field. The ground is what lies around, with its grain, and
darker where the part throws a shadow. The wall has the face's material in other light, so nearly its hue; how light it
is must be learned from the photo. Colours are logarithms of linear light (`rectified.log_colour`), where lighting is a
sum.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.srgb import FULL_CODE, by_power, coded
from calib.view.settling import MAD_TO_SD
from measure.silhouette.rectified import F32, Mask
from measure.silhouette.tabletop import LOG_OFFSET

LEAST_SD = np.array([0.03, 0.015, 0.015])
"""Unevenness of lightness and hues that any surface has: moulding, dust, light."""
CODES_SD = np.array([0.7, 1.5, 2.5])
"""What coding leaves, in 8-bit codes, of lightness, red and blue: JPEG halves chroma and quantises it in steps of a few
codes over blocks of 16 pixels (ITU-T T.81, tables K.1 and K.2 at quality 80 to 95)."""
ANYTHING = -math.log(30.0)
"""Log density of a colour that could be anything: the box of colours that photos show, 5 by 2.5 by 2.5."""
ODD_FACE, ODD_WALL, ODD_GROUND = 0.003, 0.05, 0.02
"""Share of each that may have any colour: dirt and glare, what a wall mirrors, things that lie about."""
ODD_UNEVEN = 0.3
"""The same of an uneven face, whose slopes mirror anything (chosen)."""
DARKEST = 2.3
"""A shadow takes at most this much off the logarithm: a tenth of the light is left."""
SHADOW_HUE = 0.06
"""Standard deviation of a shadow's hue, for each unit that it is darker: lamps and sky differ in colour."""
IN_SHADOW_FIRST, IN_SHADOW = 0.25, 0.12
"""Share of the ground that a shadow is reckoned with, before and after the ground close by has been learned."""
WALL_FIRST = np.array([-0.5, 0.0, 0.0])
WALL_FIRST_SD = np.array([0.8, 0.12, 0.12])
"""A wall's colour less its face's, before it has been learned: mostly darker, of nearly the same hue."""
WALL_LEARNED = 0.7
"""How much of a wall is like what was learned; the rest stays as it was reckoned with at first."""
THROUGH = 0.05
"""How much the ground farther off counts where hardly any is known close by, as weight of a cell."""
WIDE_MM, NEAR_FIRST_MM, NEAR_MM, LEAST_WEIGHT = 12.0, 5.0, 2.5, 1e-3
"""Over which standard deviation the ground's colour is taken farther off, and close by, at first and then; and how much
its commonest colour counts where none is known."""
MOST_AWAY = 0.6
"""What differs from the ground by more, in lightness or hue, is some thing on it: cut down to this."""
SHADOW_HUE_SD, NO_SHADOW = 0.02, -30.0
"""Standard deviation of any shadow's hue; and the log density of what is none."""
FREEDOM = 4.0
"""Degrees of freedom of Student's t for the ground: grain, lines and stripes have heavy tails."""


def coding_sd(colour: Array) -> Array:
    """(3,) standard deviation of a colour (3,) by coding and unevenness."""
    lightness, red, blue = colour
    green = lightness - (red + blue) / 4
    linear = np.maximum(np.exp([green + red, green, green + blue]) - LOG_OFFSET, LEAST_LIGHT)
    code = coded(linear)
    next_code = by_power(code + 1 / FULL_CODE) - by_power(code)
    step = next_code / (linear + LOG_OFFSET)
    one = np.array([step.mean(), (step[0] + step[1]) / 2, (step[2] + step[1]) / 2])
    return np.asarray(np.maximum(LEAST_SD, CODES_SD * one), float)


def normal(away: F32, covariance: Array) -> F32:
    """Log density of deviations (h, w, 3) under a normal distribution."""
    return normal_at(squared(away, covariance), covariance)


def normal_at(square: F32, covariance: Array) -> F32:
    """Log density of squared Mahalanobis distances (h, w) under a normal distribution."""
    _, log_det = np.linalg.slogdet(covariance)
    constant = -0.5 * log_det - len(covariance) / 2 * math.log(2 * math.pi)
    return np.asarray(-0.5 * square + np.float32(constant), np.float32)


def squared(away: F32, covariance: Array) -> F32:
    """Squared Mahalanobis distance of deviations (h, w, 3)."""
    root = np.linalg.cholesky(np.linalg.inv(covariance)).astype(np.float32)
    return sum_of_squares(cv2.transform(away, root.T))


def sum_of_squares(values: NDArray[np.float32]) -> F32:
    """(h, w) of values (h, w, c)."""
    return np.asarray(cv2.transform(values * values, np.ones((1, values.shape[2]), np.float32)), np.float32)


def mixed_with_anything(share: float, *parts: tuple[float, F32]) -> F32:
    """Log of densities (h, w), given as logarithms, that are mixed by their shares, and with a share of any colour."""
    total = np.full(parts[0][1].shape, share * math.exp(ANYTHING), np.float32)
    for part, log_density in parts:
        total += np.float32((1 - share) * part) * np.exp(log_density)
    return np.asarray(np.log(total), np.float32)


def smoothed(colour: F32, weight: F32, sigma_cells: float) -> tuple[F32, F32]:
    """Sums of weighted colours (h, w, 3), and of weights (h, w), under a Gaussian."""
    h, w = weight.shape
    coarser = max(1, int(sigma_cells / 4))
    sums = cv2.merge([*(plane * weight for plane in cv2.split(colour)), weight])
    if coarser > 1:
        size = (max(1, w // coarser), max(1, h // coarser))
        sums = cv2.resize(sums, size, interpolation=cv2.INTER_AREA)
    sums = cv2.GaussianBlur(sums, (0, 0), sigma_cells / coarser)
    if coarser > 1:
        sums = cv2.resize(sums, (w, h), interpolation=cv2.INTER_LINEAR)
    *planes, weights = cv2.split(sums)
    return np.asarray(cv2.merge(planes)), np.asarray(weights)


@dataclass(frozen=True, slots=True)
class Face:
    """A surface of one colour, smoothly lit.

    Attributes:
        mean: (h, w, 3) its colour; covariance: (3, 3) about it; coding_sd: (3,) see there.
    """

    mean: F32
    covariance: Array
    coding_sd: Array

    @classmethod
    def learned(cls, colour: F32, seed: Mask, sigma_cells: float) -> Face:
        """From the cells of a seed: its commonest colour, a quadratic about that, and what is left smoothed."""
        h, w = seed.shape
        span = max(h, w) / 2
        x, y = ((np.arange(n, dtype=np.float32) - n / 2) / np.float32(span) for n in (w, h))
        at = np.flatnonzero(seed)
        at = at[:: len(at) // MOST_SAMPLES + 1]
        basis, values = _terms(x[at % w], y[at // w]), colour.reshape(-1, 3)[at].astype(float)
        c, sd, limit = _robust_trend(basis, values)
        trend = _trend(x, y, c.astype(np.float32))
        rest = colour - trend
        like = (seed > 0) & (squared(rest, np.diag(sd**2)) < OUTLYING**2)
        sums, weights = smoothed(rest, like.astype(np.float32), sigma_cells)
        mean = trend + sums / thrice(weights + np.float32(LEAST_CELLS))
        left = (colour - mean)[like].astype(float)
        left = left[((left / sd) ** 2).sum(1) < OUTLYING**2]
        return cls(mean, np.cov(left.T) * OUTLIERS_CUT + np.diag(FIELD_SHARE * limit**2), limit)

    def away(self, colour: F32) -> F32:
        """(h, w) squared Mahalanobis distance."""
        return squared(colour - self.mean, self.covariance)

    def log_likelihood(self, away: F32, odd: float = ODD_FACE) -> F32:
        """(h, w) of each cell, so far `away`, of which such a share may have any colour."""
        return mixed_with_anything(odd, (1.0, normal_at(away, self.covariance)))


MOST_SAMPLES = 20_000
OUTLYING = 4.0
"""Beyond so many standard deviations a cell says nothing of a surface."""
FORGIVING = 3.0
"""Distance, squared, at which an outlier's weight has sunk to a quarter."""
SILENT = 25.0
"""Distance, squared, from which on it has none: five standard deviations."""
LEAST_LIGHT = 1e-4
"""Darker linear light, of 1, counts as this, so that a step of a code stays finite."""
LEAST_CELLS = 0.02
"""Weight of the trend against what is left about it, in cells."""
OUTLIERS_CUT, FIELD_SHARE = 1.15, 0.3
"""What cutting at OUTLYING leaves of a variance is made good by this; and share of the least variance that the smooth
field itself may be off by (chosen)."""
FIRST_SD, HELD, HELD_BY = np.array([0.15, 0.05, 0.05]), np.array([0, 0.02, 0.02, 0.2, 0.2, 0.2]), 0.02
"""Spread of a face's lightness and hues to begin with; how firmly each term of its trend is held at nought, and all of
them, as shares of the cells' weight."""
TURNS, ENOUGH = (1, 3, 6, 6, 6), 20
"""Terms of the trend in each turn: level, plane, quadratic; and cells that a spread is taken of."""
CELL, MOST_CELLS = np.array([0.1, 0.05, 0.05]), 1500
"""Width of the cells that colours are counted in, and how many of the fullest are compared."""


def _terms(x: NDArray[np.float32], y: NDArray[np.float32]) -> Array:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], 1).astype(float)


def _trend(x: NDArray[np.float32], y: NDArray[np.float32], c: NDArray[np.float32]) -> F32:
    """(h, w, 3) the terms (6, 3) of a quadratic over x (w,) and y (h,)."""
    planes = []
    for of_1, of_x, of_y, of_xx, of_xy, of_yy in c.T:
        along = of_1 + of_x * x + of_xx * x * x
        planes.append(along + ((of_y + of_yy * y) * y)[:, None] + (of_xy * y)[:, None] * x)
    return np.asarray(cv2.merge(planes), np.float32)


def thrice(plane: F32) -> F32:
    """(h, w, 3) one plane for each of three colours."""
    return np.asarray(cv2.merge([plane] * 3), np.float32)


def _robust_trend(basis: Array, values: Array) -> tuple[Array, Array, Array]:
    """(6, 3) coefficients by iterated weights, (3,) standard deviation about them, and (3,) the least it may be."""
    c = np.zeros((6, 3))
    c[0] = commonest(values)
    limit = coding_sd(c[0])
    sd = FIRST_SD
    ridge = np.diag(HELD) * len(values) * HELD_BY
    for terms in TURNS:
        far = (((values - basis @ c) / sd) ** 2).sum(1)
        weight = (far < SILENT) / (1 + far / FORGIVING) ** 2
        q = basis[:, :terms] * weight[:, None]
        left = q.T @ basis[:, :terms] + ridge[:terms, :terms] * weight.mean() + 1e-9 * np.eye(terms)
        c = np.zeros((6, 3))
        c[:terms] = np.linalg.solve(left, q.T @ values)
        rest = np.abs(values - basis @ c)
        like = ((rest / sd) ** 2).sum(1) < OUTLYING**2
        if like.sum() > ENOUGH:
            sd = np.maximum(MAD_TO_SD * np.median(rest[like], 0), limit)
    return c, sd, limit


def commonest(values: Array) -> Array:
    """(3,) the colour about which most of (n, 3) lie."""
    cells = np.floor(values / CELL).astype(int)
    low = cells.min(0)
    sizes = tuple(cells.max(0) - low + 1)
    numbers, count = np.unique(np.ravel_multi_index(tuple((cells - low).T), sizes), return_counts=True)
    used = np.stack(np.unravel_index(numbers, sizes), 1) + low
    if len(used) > MOST_CELLS:
        keep = np.argsort(-count)[:MOST_CELLS]
        used, count = used[keep], count[keep]
    square = (used * used).sum(1)
    near = square[:, None] + square - 2 * (used @ used.T)
    best = used[np.argmax((np.exp(-near) * count).sum(1))]
    return np.asarray(np.median(values[(np.abs(cells - best) <= 1).all(1)], 0))


@dataclass(frozen=True, slots=True)
class GrainedSurface:
    """A surface with a grain of its own, in light that changes from place to place.

    Attributes:
        mean: (h, w, 3) its colour close by; covariance: (3, 3) about it.
        in_shadow: share of it that a shadow is reckoned with.
    """

    mean: F32
    covariance: Array
    in_shadow: float

    @classmethod
    def learned(cls, colour: F32, ground: Mask, step_mm: float, *, first: bool) -> GrainedSurface:
        """From cells that are known.

        Args:
            colour: (h, w, 3); ground: (h, w) 1 on cells that are known as ground.
            first: whether these are but a guess, so that the ground close to the part is not among them.
        """
        weight = ground.astype(np.float32)
        some = colour[ground > 0]
        some = some[:: len(some) // MOST_SAMPLES + 1]
        common = np.median(some, 0)
        sums, weights = smoothed(colour, weight, WIDE_MM / step_mm)
        wide = (sums + common * np.float32(LEAST_WEIGHT)) / thrice(weights + np.float32(LEAST_WEIGHT))
        sums, weights = smoothed(colour, weight, (NEAR_FIRST_MM if first else NEAR_MM) / step_mm)
        mean = (sums + wide * np.float32(THROUGH)) / thrice(weights + np.float32(THROUGH))
        left = np.clip((colour - mean)[ground > 0], -MOST_AWAY, MOST_AWAY)
        left = left[:: len(left) // MOST_SAMPLES + 1]
        covariance = np.cov(left.T.astype(float)) + np.diag((0.5 * coding_sd(common.astype(float))) ** 2)
        return cls(np.asarray(mean, np.float32), covariance, IN_SHADOW_FIRST if first else IN_SHADOW)

    def away(self, colour: F32) -> F32:
        """(h, w) squared Mahalanobis distance."""
        return squared(np.asarray(colour - self.mean, np.float32), self.covariance)

    def log_likelihood(self, colour: F32) -> F32:
        """(h, w) of each cell: like the ground close by, or darker in a shadow."""
        away = np.asarray(colour - self.mean, np.float32)
        lit = _student(away, self.covariance)
        shaded = _shaded(away, np.diag(self.covariance))
        share = self.in_shadow
        return mixed_with_anything(ODD_GROUND, (1 - share, lit), (share, shaded))


def ground_log_likelihood(colour: F32, ground: Mask, step_mm: float, *, first: bool) -> F32:
    """(h, w) log likelihood of each cell as ground; see `GrainedSurface.learned`."""
    return GrainedSurface.learned(colour, ground, step_mm, first=first).log_likelihood(colour)


def _student(away: F32, covariance: Array) -> F32:
    """Log density of Student's t in three dimensions."""
    nu = FREEDOM
    _, log_det = np.linalg.slogdet(covariance)
    constant = (
        math.lgamma((nu + 3) / 2) - math.lgamma(nu / 2) - len(covariance) / 2 * math.log(nu * math.pi) - 0.5 * log_det
    )
    spread = np.log1p(squared(away, covariance) / np.float32(nu))
    return np.asarray(np.float32(constant) - np.float32((nu + 3) / 2) * spread, np.float32)


def _shaded(away: F32, variance: Array) -> F32:
    """Log density of ground that is darker by any amount up to DARKEST, its hue less certain the darker it is."""
    dark = -away[..., 0]
    deep = np.clip(dark, 0, DARKEST)
    out = np.full(dark.shape, -math.log(DARKEST), np.float32)
    for c in (1, 2):
        spread = np.float32(variance[c] + SHADOW_HUE_SD**2) + (SHADOW_HUE * deep) ** 2
        out -= 0.5 * away[..., c] ** 2 / spread + 0.5 * np.log(2 * np.pi * spread)
    return np.where((dark > 0) & (dark < DARKEST), out, np.float32(NO_SHADOW))


@dataclass(frozen=True, slots=True)
class WallColour:
    """A wall's colour less its face's.

    Attributes:
        mean: (3,) over all directions; covariance: (3, 3) about what its direction gives.
        lit: (2,) how much lighter it is where its normal points along x and along y: the first harmonic of an upright
            surface's light (a lamp by the cosine law, and a sky).
    """

    mean: Array
    covariance: Array
    lit: Array

    @classmethod
    def alike(cls, mean: Array, covariance: Array) -> WallColour:
        """One that is as light on all sides."""
        return cls(mean, covariance, np.zeros(2))

    @property
    def light(self) -> tuple[float, float]:
        """Its light over the face's, and the standard deviation of that."""
        ratio = float(np.exp(self.mean[0]))
        return ratio, ratio * float(np.sqrt(self.covariance[0, 0] + self.lit @ self.lit / 2))

    @classmethod
    def learned(cls, off_face: Array, facing: Array, coding: Array) -> WallColour | None:
        """From cells that are wall: their colours less the face's (n, 3), and their normals (n, 2); None if there are
        too few."""
        if len(off_face) < FEWEST_CELLS:
            return None
        middle = commonest(off_face)
        near = np.abs(off_face[:, 0] - middle[0]) < ONE_WALL
        off_face, facing = off_face[near], facing[near]
        lit = _lit(off_face[:, 0] - middle[0], facing)
        off_face = off_face - np.outer(facing @ lit, [1, 0, 0])
        middle = np.median(off_face, 0)
        sd = np.maximum(MAD_TO_SD * np.median(np.abs(off_face - middle), 0), np.maximum(coding, LEAST_WALL_SD))
        like = (((off_face - middle) / sd) ** 2).sum(1) < OWN_WALL
        spread = np.cov(off_face[like].T) if like.sum() >= FEWEST_CELLS else np.diag(sd**2)
        return cls(middle, spread + np.diag(np.maximum(0.5 * coding, LEAST_WALL_SD) ** 2), lit)


def _lit(lightness: Array, facing: Array) -> Array:
    """(2,) first harmonic of lightness (n,) with the direction of normals (n, 2), by iterated weights."""
    basis = np.c_[np.ones(len(facing)), facing]
    known = np.diag([0.0, LIT_SD**-2, LIT_SD**-2])
    found, spread = np.zeros(3), LIT_SPREAD[1]
    for _ in range(LIT_TURNS):
        rest = lightness - basis @ found
        weight = 1 / (1 + (rest / spread) ** 2 / FORGIVING) ** 2 / spread**2 * (SIDES / len(facing))
        found = np.linalg.solve((basis.T * weight) @ basis + known, (basis.T * weight) @ lightness)
        spread = max(MAD_TO_SD * float(np.median(np.abs(rest))), LIT_SPREAD[0])
    return np.asarray(found[1:])


LIT_SPREAD, LIT_TURNS = (0.05, 0.2), 6
"""Of walls' lightness about its harmonic, standard deviation: the least, and at first; and how often it is found."""
LIT_SD = 0.3
"""How much walls' lightness varies with their direction, natural logarithm, standard deviation beforehand."""
SIDES = 12
"""A wall's cells are worth so many that are independent."""
FEWEST_CELLS = 50
"""Cells that a wall's colour is learned from."""
LEAST_WALL_SD, OWN_WALL = np.array([0.06, 0.02, 0.02]), 20.0
"""Least spread of a wall's lightness and hues; and the squared distance, in three dimensions, from which on a cell is
none of it: 1 in 6000 of a normal one."""
ONE_WALL = 0.6
"""Lightness that a wall has within this of its commonest is its own; what lies farther off was mistaken for it."""


def wall_log_likelihood(off_face: F32, facing: F32, wall: WallColour | None) -> F32:
    """(h, w) log likelihood of each cell as wall.

    Args:
        off_face: (h, w, 3) colour less the face's; facing: (h, w, 2) the normal that a wall there would have, 0 where
            that is not known.
    """
    first = normal(off_face - WALL_FIRST.astype(np.float32), np.diag(WALL_FIRST_SD**2))
    if wall is None:
        return mixed_with_anything(ODD_WALL, (1.0, first))
    here = off_face - wall.mean.astype(np.float32)
    if wall.lit.any():
        here[..., 0] -= facing @ wall.lit.astype(np.float32)
    return mixed_with_anything(ODD_WALL, (WALL_LEARNED, normal(here, wall.covariance)), (1 - WALL_LEARNED, first))


def facing(region: Mask, step_mm: float) -> F32:
    """(h, w, 2) unit normals of a region's boundary, outwards, as they go on beside it; 0 where there is none near."""
    soft = cv2.GaussianBlur(region.astype(np.float32), (0, 0), FACING_MM / step_mm)
    x, y = (-cv2.Sobel(soft, cv2.CV_32F, *at) for at in ((1, 0), (0, 1)))
    steep = np.sqrt(x * x + y * y)
    share = (steep > FLAT) / np.maximum(steep, np.float32(FLAT))
    return np.asarray(cv2.merge([x * share, y * share]), np.float32)


FACING_MM = 1.0
"""Over this much a boundary's direction is averaged."""
FLAT = 1e-4
"""Change of a smoothed region in a cell below which it has no direction."""
