"""What the table looks like: its light and its colours, so that what is not table stands out.

Three facts tell a table from a part without knowing either. The light on a table changes slowly, so a low-order
trend takes it away. A table's colours recur all over it, be it plain, grained, woven, striped or ruled, while a part's
colours live in one place. And a shadow is table that is darker, of nearly the same hue (towards the ambient light's,
which is usually bluer than the lamp's).

Colours are taken as logarithms of linear light, where lighting is a sum: lightness (r + 2g + b)/4, and two hues, r − g
and b − g.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.light.srgb import linear_of_codes
from calib.view.settling import MAD_TO_SD

F32 = NDArray[np.float32]
U8 = NDArray[np.uint8]
Mask = NDArray[np.uint8]  # 0 or 1

LOG_OFFSET = 0.012  # added to linear light 0…1: keeps noise in the dark from looking like hue
_LOG = np.log(linear_of_codes() + LOG_OFFSET).astype(np.float32)

_BINS = (128, 64, 64)
_SIZE = _BINS[0] * _BINS[1] * _BINS[2]
_GRID = (6, 8)  # rows and columns of the cells that spread is counted in
_DEEPEST_SHADOW = 0.11  # share of the light that a shadow keeps at least
_GLOW = 0.25  # share of the way to the part's hue that light thrown back by its walls may tint the table beside them
_DEPTHS, _LEAST_LIGHT = 12, 1e-4
"""Steps of a shadow's depth that are worked out, and the darkest light of a table, of 1, that one is worked out of."""
_DRIFT_RED, _DRIFT_BLUE = (-0.10, 0.03), (-0.03, 0.16)
"""How far a shadow's two hues may drift, at least and at most, for each unit that it is darker: lamps are warmer than
what fills their shadows, so most of it is towards blue."""
_DRIFT_SD, _LIGHTER_SD, _DEEPER_SD = 0.03, 1.5, 0.3
"""What such a drift may be off for each unit; and how much lighter than the table, in steps, and darker than the
deepest shadow a colour may be: each of them at one tolerance."""
_STEPS = (1.0, 1.2, 1.2), (0.025, 0.02, 0.025), (0.10, 0.06, 0.06)
"""Width of a colour's bin, of lightness and both hues: in spreads of the table, at least, at most."""
_ELSEWHERE_SPREADS, _ELSEWHERE, _ELSEWHERE_MM, _ELSEWHERE_SHARE = 5.0, (0.5, 0.25, 0.25), 5.0, 0.04
"""Another surface differs by so many spreads, and by so much in one of the three; where the mean over such a window is
taken; and takes such a share of the photo."""
_STRIDE_MM, _RING_MM = 1.8, 15.0
"""Spacing of the pixels that the trend is fitted to, and how far round the card its fit begins."""
_REACHES = ((20, 3), (40, 6), (70, 6), (120, 6), (np.inf, 6), (np.inf, 6))
"""How far from the card the fit looks in each turn, mm, and how many terms it then has: a plane first."""
_LEAST_SPREAD = np.array([0.02, 0.012, 0.012])
"""Least spread of lightness and hues."""
_SILENT, _FITS, _FEWEST, _GROWTH = 3.5, 4.0, (12, 10), 1.3
"""Spreads from which on a pixel has no weight (Tukey's biweight), and within which it counts for the spread; pixels
that a turn takes at least, and that a spread is taken of; how much a spread may grow in a turn."""
_HELD, _HELD_BY = (0.0, 0.01, 0.01, 0.1, 0.1, 0.1), 0.02
"""How firmly each term of the trend is held at nought, and all of them, as shares of the pixels' weight: light bends
less than it slopes."""
_ALIKE, _UNLIKE = 0.64, 1e-3
"""Variance, in bins, of how colours blur into each other: a standard deviation of 0.8; and the least that counts."""
_LEAST_CELL, _USUAL_PERCENT, _LIVES, _COMMON, _MOST_COMMON = 200, 80, (0.45, 0.3), (0.3, 2e-4), 80
"""Pixels that a cell counts as at least; the percentile of pixels whose colour's spread is the table's usual one; share
of that from which on a colour recurs, and over what it fades; how strange, and how rare a cell on average, a common
colour is at most and at least; and how many are kept. All of these were chosen on the photos of tests/accuracy."""


def log_colour(rgb: U8) -> F32:
    """(h, w, 3) lightness and two hues, as natural logarithms, of sRGB pixels."""
    r, g, b = cv2.split(cv2.LUT(rgb, _LOG))
    return np.asarray(cv2.merge([(r + b) / 4 + g / 2, r - g, b - g]), np.float32)


def disc(radius_px: float) -> U8:
    """Round structuring element of at least one pixel's radius."""
    r = max(1, round(radius_px))
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)), np.uint8)


@dataclass(frozen=True, slots=True)
class Tabletop:
    """The table's light and colours, in the frame of the reduced photo that they were learned from.

    Attributes:
        trend: (6, 3) coefficients of lightness and hues over 1, x, y, x², xy, y², with x, y as below.
        origin, span: x = (column − origin[0]) / span, and y alike.
        step: (3,) width of a colour bin in lightness and hues.
        strange: (bins,) per colour: 0 recurs all over the table, 1 does not.
        common: (m, 3) the table's most common colours, as deviations from the trend.
    """

    trend: NDArray[np.float64]
    origin: tuple[float, float]
    span: float
    step: F32
    strange: F32
    common: F32

    def deviation(self, rgb: U8, columns: F32, rows: F32) -> F32:
        """(h, w, 3) log colour less the trend, for pixels at these columns and rows of the reduced photo."""
        return log_colour(rgb) - self.ground(columns, rows)

    def ground(self, columns: F32, rows: F32) -> F32:
        """(h, w, 3) the trend at these columns and rows of the reduced photo."""
        return _trend_at(self.trend, (columns - self.origin[0]) / self.span, (rows - self.origin[1]) / self.span)

    def bins(self, deviation: F32) -> NDArray[np.int32]:
        """(h, w) number of the colour bin of each pixel."""
        return _bins(deviation, self.step)

    def not_shadow(self, bins: NDArray[np.int32], ground: F32, blob: Mask) -> tuple[F32, F32]:
        """(h, w) twice: how far each colour is from any table colour in shadow, in tolerances: below 1 it could be one.

        The second allows for light that the part's walls throw on the table, which tints it towards the part's hue.

        Args:
            bins: (h, w) colour bins.
            ground: (3,) the trend's log colour thereabouts.
            blob: (h, w) 1 on the part and its shadow, about.
        """
        used, where = np.unique(bins, return_inverse=True)
        seen = np.asarray(_bin_centres(used) * self.step, np.float32)
        far = self._from_shadow(seen, ground, np.zeros(2, np.float32))
        count = np.bincount(where.ravel(), blob.ravel(), minlength=len(used)).astype(np.float64) * (far > 2)
        tinted = far.copy()
        if count.any():
            hue = np.array([_weighted_median(seen[:, c], count) for c in (1, 2)], np.float32)
            again = far > 1
            tinted[again] = self._from_shadow(seen[again], ground, _GLOW * (hue - self.common[:, 1:].mean(0)))
        return np.asarray(far[where].reshape(bins.shape)), np.asarray(tinted[where].reshape(bins.shape))

    def _from_shadow(self, seen: F32, ground: F32, glow: F32) -> F32:
        """(n,) how far colours (n, 3) are from table in shadow that may be tinted by as much as `glow` (two hues)."""
        depths, shifts = _shaded(self.common + ground)
        dark = self.common[None, :, 0] - seen[:, None, 0]
        depth = np.maximum(dark, 0.0)
        hue = seen[:, None, 1:] - self.common[None, :, 1:]
        for k in range(len(self.common)):
            for c in (0, 1):
                hue[:, k, c] -= np.interp(depth[:, k], depths[k], shifts[k, :, c])
        hue -= np.clip(hue @ glow / max(float(glow @ glow), 1e-9), 0, 1)[..., None] * glow
        low, high = (
            np.stack([red * depth, blue * depth], -1) for red, blue in zip(_DRIFT_RED, _DRIFT_BLUE, strict=True)
        )
        off = np.maximum(np.maximum(low - hue, hue - high), 0) / (2 * self.step[1:] + _DRIFT_SD * depth[..., None])
        light = np.maximum(-dark, 0) / (_LIGHTER_SD * self.step[0])
        light = light + np.maximum(dark - depths[:, -1], 0) / _DEEPER_SD
        return np.asarray(np.sqrt((off**2).sum(-1) + light**2).min(1), np.float32)


def _weighted_median(values: F32, weights: NDArray[np.float64]) -> float:
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order[np.searchsorted(sums, sums[-1] / 2)]])


def _shaded(colours: F32) -> tuple[F32, F32]:
    """What shadow does to table colours: (m, s) depths, and (m, s, 2) shifts of hue that the log's offset brings."""
    green = colours[:, 0] - (colours[:, 1] + colours[:, 2]) / 4
    linear = np.exp(np.stack([green + colours[:, 1], green, green + colours[:, 2]], -1)) - LOG_OFFSET
    share = np.geomspace(1.0, _DEEPEST_SHADOW, _DEPTHS)[None, :, None]
    log = np.log(np.maximum(linear, _LEAST_LIGHT)[:, None, :] * share + LOG_OFFSET)
    lightness = (log[..., 0] + 2 * log[..., 1] + log[..., 2]) / 4
    hue = log[..., [0, 2]] - log[..., [1]]
    return (lightness[:, :1] - lightness).astype(np.float32), (hue - hue[:, :1]).astype(np.float32)


def learn_tabletop(rgb: U8, card: Mask, px_per_mm: float) -> tuple[Tabletop, F32, Mask]:
    """Learn a table from a reduced photo: first its light, then its colours.

    Args:
        rgb: (h, w, 3) reduced photo, its fine texture smoothed.
        card: (h, w) 1 on the reference card and close to it.
        px_per_mm: of the reduced photo.

    Returns:
        The table, (h, w) strangeness of each pixel, and (h, w) 1 where another surface begins (the desk beyond the
        sheet of paper that card and part lie on).
    """
    colour = log_colour(rgb)
    h, w = card.shape
    trend, spread, origin, span = _fit_trend(colour, card, px_per_mm)
    x = (np.arange(w, dtype=np.float32) - origin[0]) / span
    y = (np.arange(h, dtype=np.float32) - origin[1]) / span
    factors, least, most = _STEPS
    step = np.clip(spread * factors, least, most).astype(np.float32)
    deviation = colour - _trend_at(trend, x, y)
    bins = _bins(deviation, step)
    elsewhere = _other_surface(deviation, spread, card, px_per_mm)
    open_ = (card == 0) & (elsewhere == 0)
    cell = ((np.arange(h) * _GRID[0] // h) * _GRID[1])[:, None] + (np.arange(w) * _GRID[1] // w)[None, :]
    strange, common = _spread(bins, cell, open_)
    table = Tabletop(trend, origin, span, step, strange, (_bin_centres(common) * step).astype(np.float32))
    return table, strange[bins], elsewhere


def _other_surface(deviation: F32, spread: NDArray[np.float64], card: Mask, px_per_mm: float) -> Mask:
    """1 on large areas at the frame's edge that are nothing like the surface round the card."""
    mean = cv2.blur(deviation, (max(3, round(_ELSEWHERE_MM * px_per_mm)) | 1,) * 2)
    far = np.abs(mean) > np.maximum(_ELSEWHERE_SPREADS * spread, _ELSEWHERE)
    unlike = (far.any(-1) & (card == 0)).astype(np.uint8)
    _, label, stats, _ = cv2.connectedComponentsWithStats(unlike, connectivity=4)
    h, w = card.shape
    x, y, ww, hh, area = stats.T
    at_edge = (x == 0) | (y == 0) | (x + ww == w) | (y + hh == h)
    away = at_edge & (area > _ELSEWHERE_SHARE * h * w)
    away[0] = False
    # the blur has drawn the line half a window too far out or in
    return np.asarray(cv2.dilate(away[label].astype(np.uint8), disc(_ELSEWHERE_MM / 2 * px_per_mm)), np.uint8)


def _trend_at(c: NDArray[np.float64], x: F32, y: F32) -> F32:
    """(len(y), len(x), 3) trend on a grid of scaled columns and rows."""
    c32 = c.astype(np.float32)
    along = c32[0] + x[:, None] * c32[1] + (x * x)[:, None] * c32[3]
    down = y[:, None] * c32[2] + (y * y)[:, None] * c32[5]
    out = along[None, :, :] + down[:, None, :]
    out += (y[:, None] * x[None, :])[..., None] * c32[4]
    return np.asarray(out, np.float32)


def _fit_trend(
    colour: F32, card: Mask, px_per_mm: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], tuple[float, float], float]:
    """Quadratic trend of the table's colour, grown outward from the card's surroundings.

    Starting at the card keeps another surface (a desk beyond the sheet of paper) from pulling the fit; Tukey's
    weights keep the part and its shadow out.
    """
    h, w = card.shape
    stride = max(2, round(_STRIDE_MM * px_per_mm))
    rows, cols = np.nonzero(card)
    origin = (float(cols.mean()), float(rows.mean()))
    span = max(h, w) / 2
    away = cv2.distanceTransform((card == 0).astype(np.uint8), cv2.DIST_L2, 3)[::stride, ::stride] / px_per_mm
    y, x = np.mgrid[0:h:stride, 0:w:stride]
    x, y = (x - origin[0]) / span, (y - origin[1]) / span
    near = np.argsort(away.ravel())
    away = away.ravel()[near]
    start = int(np.searchsorted(away, 1e-6, "right"))
    near, away = near[start:], away[start:]
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1).reshape(-1, 6)[near]
    value = colour[::stride, ::stride].reshape(-1, 3)[near].astype(np.float64)
    ring = value[: max(1, int(np.searchsorted(away, _RING_MM)))]
    c = np.zeros((6, 3))
    c[0] = np.median(ring, 0)
    spread = MAD_TO_SD * np.median(np.abs(ring - c[0]), 0) + _LEAST_SPREAD
    for reach_mm, terms in _REACHES:
        n = max(_FEWEST[0], int(np.searchsorted(away, reach_mm)))
        a, v = basis[:n], value[:n]
        far = np.abs((v - a @ c) / spread).max(1)
        weight = np.where(far < _SILENT, 1 - (far / _SILENT) ** 2, 0)
        q = a[:, :terms] * weight[:, None]
        ridge = np.diag(_HELD[:terms]) * n * _HELD_BY + 1e-9 * np.eye(terms)
        c = np.zeros((6, 3))
        c[:terms] = np.linalg.solve(q.T @ q + ridge, q.T @ (v * weight[:, None]))
        rest = np.abs(v - a @ c)
        fits = (rest / spread).max(1) < _FITS
        if fits.sum() > _FEWEST[1]:
            now = np.maximum(MAD_TO_SD * np.median(rest[fits], 0), _LEAST_SPREAD)
            spread = np.minimum(now, spread * _GROWTH)
    return c, spread, origin, span


def _bins(deviation: F32, step: F32) -> NDArray[np.int32]:
    out = np.zeros(deviation.shape[:2], np.int32)
    for k, n in enumerate(_BINS):
        i = np.rint(deviation[..., k] * (1 / step[k])).astype(np.int32)
        np.clip(i, -n // 2 + 1, n // 2 - 1, out=i)
        out = out * n + (i + n // 2)
    return out


def _bin_centres(bins: NDArray[np.int32]) -> F32:
    """(n, 3) position of colour bins, in steps."""
    d, rest = np.divmod(bins, _BINS[1] * _BINS[2])
    u, v = np.divmod(rest, _BINS[2])
    return np.stack([d - _BINS[0] // 2, u - _BINS[1] // 2, v - _BINS[2] // 2], 1).astype(np.float32)


def _spread(
    bins: NDArray[np.int32], cell: NDArray[np.int64], open_: NDArray[np.bool_]
) -> tuple[F32, NDArray[np.int32]]:
    """Strangeness of every colour, and the table's common colours.

    A colour's spread is the number of cells that it lives in (1 / Σ share²). A table's colours are in most cells; a
    part and its shadow are in a few.
    """
    cells = _GRID[0] * _GRID[1]
    b, c = bins[open_], cell[open_]
    count = np.bincount(b, minlength=_SIZE)
    used = np.nonzero(count)[0].astype(np.int32)
    row = np.empty(_SIZE, np.int32)
    row[used] = np.arange(len(used))
    shares = np.bincount(row[b] * cells + c, minlength=len(used) * cells).reshape(-1, cells).astype(np.float32)
    shares /= np.maximum(np.bincount(c, minlength=cells), _LEAST_CELL)
    at = _bin_centres(used)
    square = (at**2).sum(1)
    kernel = np.exp(np.minimum(at @ at.T - (square[:, None] + square[None, :]) / 2, 0) / _ALIKE)
    kernel[kernel < _UNLIKE] = 0
    shares = kernel @ shares
    spread = shares.sum(1) ** 2 / np.maximum((shares**2).sum(1), 1e-12)
    by_pixel = np.repeat(spread, count[used])
    usual = float(np.percentile(by_pixel, _USUAL_PERCENT))
    odd = np.clip((_LIVES[0] - spread / usual) / _LIVES[1], 0, 1)
    strange = np.ones(_SIZE, np.float32)
    strange[used] = odd
    weight = np.where((odd < _COMMON[0]) & (shares.sum(1) > _COMMON[1] * cells), shares.sum(1), 0)
    best = np.argsort(-weight)[:_MOST_COMMON]
    return strange, used[best[weight[best] > 0]]
