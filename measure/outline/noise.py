"""What the residuals say about the noise of edge points: how large it is, and how far neighbours share it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.outline.segmentation import noise_beforehand

LAGS = 10
"""Neighbours that may share their noise, in points."""

AROUND = 21
"""Points that say how noisy an edge is around the middle one."""
_COMMON_WEIGHT = 6.0
"""The whole part's noise counts like so many of them."""

_CHANCE = 0.6
"""By so much (logarithm of the variance) medians differ by chance."""

_FACTORS, _LOCAL_SQUARES = (0.1, 20), (0.1, 200.0)
"""Least and most that noise is of what is stated: of a part, and squared around one point (chosen)."""

_QUANTILES, _CHI_SQUARED = (0.25, 0.5), (0.481, 0.839)
"""Quantiles of chi-squared with 4 degrees of freedom, over 4 (tables)."""

_MAD = 0.6745
"""Median of the absolute value of a standard normal (tables)."""

_HUBER, _HUBER_SQUARE = 2.5, 0.9777
"""Where Huber's proposal 2 cuts residuals, and the mean square that it leaves of a standard normal (arithmetic)."""

_ENOUGH_IN_LONG, _ENOUGH = 60, 12
"""Points of long pieces that speak for all; and points beyond the parameters without which nothing is said (chosen)."""

_ENOUGH_PAIRS = 30
"""Pairs of neighbours without which a correlation is none (chosen)."""

_BY_CHANCE = 1.2
"""A correlation below so many of its standard deviations, 1 / √n, ends the lags that are looked at (chosen)."""

_GROWTH, _MOST_SHARED = 1.4, 12.0
"""The sum over all lags grows by no more than this share on what was seen first, and to no more than this (chosen)."""

LONG_RUN = 12
"""Only pieces of so many points say how neighbours share their noise."""

_STATED_WEIGHT = 10.0
"""The stated noise counts like so many residuals, its factor then being 1."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of the edge points against what was stated.

    Attributes:
        factor: standard deviation over the stated one.
        correlation: (LAGS,) between points 1, 2, … places apart.
        shared_by: points that one independent point stands for, at least 1.
    """

    factor: float
    correlation: Array
    shared_by: float

    def shared_over(self, points: Array) -> Array:
        """Like `shared_by`, for features of so many points (any shape): short ones see less of the slow noise."""
        m = np.maximum(np.asarray(points, float), 1)[..., None]
        lag = np.arange(1, LAGS + 1)
        over = 1 + 2 * (np.maximum(1 - lag / m, 0) * self.correlation).sum(-1)
        # the whole must agree with `shared_by` where that was raised for want of knowledge
        known = 1 + 2 * self.correlation.sum()
        return np.asarray(1 + (over - 1) * max(self.shared_by - 1, 0) / max(known - 1, 1e-9) if known > 1 else over)


def white(factor: float) -> Noise:
    """Noise without memory."""
    return Noise(factor, np.zeros(LAGS), 1.0)


def before_fitting(loops: Sequence[tuple[Array, Array]]) -> Noise:
    """Noise of loops of points (n, 2) and stated deviations (n,), before anything is known of their shape.

    Taken from the better half of short parabolas, as those across a corner say nothing about noise.
    """
    squares = np.concatenate([noise_beforehand(p, s) for p, s in loops] or [np.empty(0)])
    if len(squares) < 8:
        return white(1.0)
    quarter, half = np.quantile(squares, _QUANTILES) / _CHI_SQUARED
    share = len(squares) / 4
    variance = (min(quarter, half) * share + _STATED_WEIGHT) / (share + _STATED_WEIGHT)
    return white(float(np.clip(np.sqrt(variance), *_FACTORS)))


def local_scale(residual: Array, factor: float) -> Array:
    """(n,) how much noisier than the rest a loop is around each point: the neighbours' median, shrunk towards 1.

    Args:
        residual: (n,) round the loop, over the stated deviations; nan where there is no edge or an accident.
        factor: typical size of `residual`.
    """
    n = len(residual)
    span = min(AROUND, n)
    if span < 5:
        return np.ones(n)
    at = (np.arange(n)[:, None] + np.arange(span) - span // 2) % n
    size = np.abs(residual)[at] / factor
    count = np.isfinite(size).sum(1)
    median = np.zeros(n)
    enough = count >= 5
    median[enough] = np.nanmedian(size[enough], axis=1) / _MAD
    median = np.where(enough, median, 1.0)
    square = np.clip((count * median**2 + _COMMON_WEIGHT) / (count + _COMMON_WEIGHT), *_LOCAL_SQUARES)
    # what a median of so few makes of even noise is no news; to weigh points by it would be to trust the lucky ones
    change = np.log(square)
    return np.asarray(np.exp(np.sign(change) * np.maximum(np.abs(change) - _CHANCE, 0) / 2))


def from_residuals(runs: Sequence[tuple[Array, int]]) -> Noise:
    """Noise from standardised residuals.

    Args:
        runs: for each piece, the residuals of its points in order over their stated deviations (nan where there is no
            edge or an accident), and its parameters.
    """
    long = [run for run in runs if len(run[0]) >= LONG_RUN]
    speaking = long if sum(len(r) for r, _ in long) >= _ENOUGH_IN_LONG else runs
    kept = [(r, p) for r, p in speaking if np.isfinite(r).sum() > p]
    lost = sum(p for _, p in kept)
    everything = np.concatenate([r[np.isfinite(r)] for r, _ in kept] or [np.empty(0)])
    count = len(everything)
    if count - lost < _ENOUGH:
        return white(1.0)
    # scale by Huber's proposal 2 from the median, so that outliers and bumps count little
    scale = np.median(np.abs(everything)) / _MAD + 1e-12
    for _ in range(4):
        cut = np.minimum(np.abs(everything) / scale, _HUBER)
        scale *= np.sqrt((cut**2).mean() / _HUBER_SQUARE)
    pairs, product = np.zeros(LAGS), np.zeros(LAGS)
    for r, _ in kept:
        z = np.clip(r / scale, -3, 3)
        for lag in range(1, min(LAGS, len(z) - 1) + 1):
            both = z[lag:] * z[:-lag]
            ok = np.isfinite(both)
            product[lag - 1] += both[ok].sum()
            pairs[lag - 1] += ok.sum()
    rho = product / np.maximum(pairs, 1)
    rho[pairs < _ENOUGH_PAIRS] = 0
    # Each parameter takes one slow wave out of the residuals: its share of the variance, and as much of the
    # covariance at every short lag. A wave that slow has the variance of the sum over all lags.
    share = lost / count
    summed = 1 + share
    used = 0
    most = np.inf
    for i in range(6):
        true = (rho + share * summed) / (1 + share * summed)
        small = np.flatnonzero(true < _BY_CHANCE / np.sqrt(np.maximum(pairs, 1)))
        used = int(small[0]) if len(small) else LAGS
        summed = min(float(1 + share * summed + 2 * (rho[:used] + share * summed).sum()), most)
        if not i:
            most = min(_GROWTH * summed, _MOST_SHARED)
    true = (rho + share * summed) / (1 + share * summed)
    true[used:] = 0
    variance = scale**2 * (1 + share * summed)
    free = count - lost
    variance = (variance * free + _STATED_WEIGHT) / (free + _STATED_WEIGHT)
    return Noise(float(np.clip(np.sqrt(variance), *_FACTORS)), true, float(1 + 2 * true.sum()))
