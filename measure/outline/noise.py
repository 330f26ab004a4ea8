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
    # quantiles of chi-squared with 4 degrees of freedom, over 4: 0.481 at 1/4, 0.839 at 1/2
    quarter, half = np.quantile(squares, [0.25, 0.5]) / (0.481, 0.839)
    share = len(squares) / 4
    variance = (min(quarter, half) * share + _STATED_WEIGHT) / (share + _STATED_WEIGHT)
    return white(float(np.clip(np.sqrt(variance), 0.1, 20)))


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
    median[enough] = np.nanmedian(size[enough], axis=1) / 0.6745
    median = np.where(enough, median, 1.0)
    square = np.clip((count * median**2 + _COMMON_WEIGHT) / (count + _COMMON_WEIGHT), 0.1, 200.0)
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
    kept = [(r, p) for r, p in (long if sum(len(r) for r, _ in long) >= 60 else runs) if np.isfinite(r).sum() > p]
    lost = sum(p for _, p in kept)
    everything = np.concatenate([r[np.isfinite(r)] for r, _ in kept] or [np.empty(0)])
    count = len(everything)
    if count - lost < 12:
        return white(1.0)
    # scale by Huber's proposal 2 from the median, so that outliers and bumps count little
    scale = np.median(np.abs(everything)) / 0.6745 + 1e-12
    for _ in range(4):
        cut = np.minimum(np.abs(everything) / scale, 2.5)
        scale *= np.sqrt((cut**2).mean() / 0.9777)
    pairs, product = np.zeros(LAGS), np.zeros(LAGS)
    for r, _ in kept:
        z = np.clip(r / scale, -3, 3)
        for lag in range(1, min(LAGS, len(z) - 1) + 1):
            both = z[lag:] * z[:-lag]
            ok = np.isfinite(both)
            product[lag - 1] += both[ok].sum()
            pairs[lag - 1] += ok.sum()
    rho = product / np.maximum(pairs, 1)
    rho[pairs < 30] = 0
    # Each parameter takes one slow wave out of the residuals: its share of the variance, and as much of the
    # covariance at every short lag. A wave that slow has the variance of the sum over all lags.
    share = lost / count
    summed = 1 + share
    used = 0
    most = np.inf
    for i in range(6):
        true = (rho + share * summed) / (1 + share * summed)
        small = np.flatnonzero(true < 1.2 / np.sqrt(np.maximum(pairs, 1)))
        used = int(small[0]) if len(small) else LAGS
        summed = min(float(1 + share * summed + 2 * (rho[:used] + share * summed).sum()), most)
        if not i:
            most = min(1.4 * summed, 12.0)
    true = (rho + share * summed) / (1 + share * summed)
    true[used:] = 0
    variance = scale**2 * (1 + share * summed)
    free = count - lost
    variance = (variance * free + _STATED_WEIGHT) / (free + _STATED_WEIGHT)
    return Noise(float(np.clip(np.sqrt(variance), 0.1, 20)), true, float(1 + 2 * true.sum()))
