"""What speaks for part or table in a window round a candidate: colours, and how crisp the edges are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.light.srgb import FULL_CODE
from measure.silhouette.candidates import Candidate, Reduction, Reserved, Scene, edge_strength, reduce_photo
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import F32, LOG_OFFSET, U8, Mask, disc, log_colour

_MARGIN_MM = 8.0
_FINEST_PX_PER_MM = 5.0
_MOST_PIXELS = 90_000
_CRISP_MM = 0.16  # blur at which a crisp edge still stands out ...
_SOFT_MM = 0.5  # ... and one that a shadow's edge survives as well
_LEAST_STRENGTH = 1e-4
"""Of an edge, so that a ratio stays finite."""
_NEARLY = 0.15
"""A window that is larger than may be by this share of a whole factor is not reduced by one more."""
_FINE_PX_PER_MM = 3.2
"""From this scale on texture is smoothed over five pixels, else over three."""
_ODD = 2.0, 0.6
"""A colour is odd from the second over the first on, of strangeness, and wholly so one over the first farther."""
_CLEAR_MM, _CLEAR_OF_CARD_MM, _NOISE, _UNKNOWN_NOISE, _FEWEST = 1.5, 2.0, (60, 92), (0.02, 0.05), 50
"""How far from the candidate and from the card the table's own texture is looked at; the percentiles of its edges that
are noise and loud; what they are taken for where fewer pixels than the last are seen."""
_REACH_MM, _CRISP = 0.3, (1.25, 0.75)
"""How far off its blurred self an edge is looked for; and the ratio of the two from which on it is crisp, and over what
it becomes so: a shadow's edge has 1."""
_DARK = 0.2
"""Least share of the logarithm's offset that light is taken for when contrasts in the dark are made good."""
_TEXTURED, _QUIET, _QUIET_MM, _CODES = (0.06, 0.04), (0.45, 0.25), 0.7, 64
"""Noise from which on a table has a texture, and over what that becomes sure; share of it below which it is missing,
likewise; radius over which its median is taken; and codes of 8 bits that the usual noise is coded in."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """A window of the photo round a candidate, and what is known of its pixels.

    Attributes:
        window: the reduced pixels; px_per_mm: their scale.
        blob: (h, w) 1 on the candidate, its holes and notches filled; card: 1 where a reference lies.
        colour: (h, w, 3) log colour less the table's trend; step: (3,) what counts as one colour.
        strange: (h, w) 0 where the colour recurs all over the table, 1 where it does not.
        lit: (h, w) 0 where the colour could be table in shadow, 1 where it can't; untinted: the same where light
            thrown back by the part may have tinted the table, as beside its walls.
        quiet: (h, w) 1 where the table's texture is missing, −1 where it is there; near 0 on plain tables.
        crisp: (h, w) strength of crisp edges per mm; noise: what the table's own texture mostly reaches; loud: what
            it seldom exceeds.
        marked: (h, w) 1 where a person says that the part is, −1 where it is not, 0 elsewhere.
    """

    window: Reduction
    px_per_mm: float
    blob: Mask
    card: Mask
    colour: F32
    step: F32
    strange: F32
    lit: F32
    untinted: F32
    quiet: F32
    crisp: F32
    noise: float
    loud: float
    marked: NDArray[np.int8]


def filled(mask: Mask) -> Mask:
    """The mask with its holes filled."""
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(cv2.drawContours(np.zeros_like(mask), outlines, -1, 1, -1), np.uint8)


def gather(
    rgb: U8,
    scene: Scene,
    candidate: Candidate,
    reserved: Reserved,
    px_per_mm: float,
    strokes: Strokes = NO_STROKES,
) -> Evidence:
    """Look closely at a candidate."""
    rows, cols = np.nonzero(candidate.mask)
    ends = scene.coarse.to_photo(np.array([[cols.min(), rows.min()], [cols.max(), rows.max()]], float))
    margin = _MARGIN_MM * px_per_mm
    x0, y0 = (max(0, int(v - margin)) for v in ends[0])
    x1, y1 = (min(n, int(v + margin) + 1) for v, n in zip(ends[1], rgb.shape[1::-1], strict=True))
    area = (x1 - x0) * (y1 - y0)
    factor = max(1, math.ceil(max(px_per_mm / _FINEST_PX_PER_MM, math.sqrt(area / _MOST_PIXELS)) - _NEARLY))
    window = reduce_photo(rgb, factor, (x0, y0, x1, y1))
    scale = px_per_mm / factor
    h, w = window.rgb.shape[:2]
    on_coarse = scene.coarse.from_photo(window.to_photo(np.array([[0.0, 0.0], [w - 1.0, h - 1.0]])))
    columns = np.linspace(on_coarse[0, 0], on_coarse[1, 0], w, dtype=np.float32)
    lines = np.linspace(on_coarse[0, 1], on_coarse[1, 1], h, dtype=np.float32)
    table = scene.table
    smooth = np.asarray(cv2.medianBlur(window.rgb, 5 if scale > _FINE_PX_PER_MM else 3), np.uint8)
    colour = table.deviation(smooth, columns, lines)
    bins = table.bins(colour)
    x, y = np.broadcast_to(columns, (h, w)), np.broadcast_to(lines[:, None], (h, w))
    around = cv2.remap(scene.strange, x.copy(), y.copy(), cv2.INTER_LINEAR)
    blob = (cv2.remap(candidate.mask * np.float32(1), x.copy(), y.copy(), cv2.INTER_LINEAR) > 0.5).astype(np.uint8)
    strange = np.minimum(cv2.blur(table.strange[bins], (3, 3)), around)
    ground = table.ground(columns[w // 2 : w // 2 + 1], lines[h // 2 : h // 2 + 1])[0, 0]
    odd = np.clip(strange * _ODD[0] - _ODD[1], 0, 1)
    lit, untinted = (np.clip(far - 1, 0, 1) * odd for far in table.not_shadow(bins, ground, blob))
    card = reserved.mask(window)
    crisp, soft = crispness(colour, scale)
    table_only = cv2.dilate(blob, disc(_CLEAR_MM * scale)) == 0
    table_only &= cv2.dilate(card, disc(_CLEAR_OF_CARD_MM * scale)) == 0
    noise, loud = np.percentile(crisp[table_only], _NOISE) if table_only.sum() > _FEWEST else _UNKNOWN_NOISE
    return Evidence(
        window,
        scale,
        filled(blob),
        card,
        colour,
        table.step,
        strange.astype(np.float32),
        cv2.blur(lit, (3, 3)).astype(np.float32),
        cv2.blur(untinted, (3, 3)).astype(np.float32),
        _quietness(crisp * _fading(smooth), soft, float(noise), scale),
        crisp,
        float(noise),
        float(loud),
        window.marked(strokes, scale),
    )


def crispness(colour: F32, scale: float) -> tuple[F32, F32]:
    """(h, w) strength per mm of the edges that are as narrow as the optics make them, and of all edges when blurred.

    A shadow's edge is drawn out by the size of the lamp: blurring to half a millimetre hardly weakens it, while it
    weakens a crisp edge to less than half.
    """
    fine = edge_strength(colour, _CRISP_MM * scale)
    soft = edge_strength(colour, _SOFT_MM * scale)
    near = disc(_REACH_MM * scale)
    ratio = cv2.dilate(fine, near) / (cv2.dilate(soft, near) + _LEAST_STRENGTH)
    crisp = fine * np.clip((ratio - _CRISP[0]) / _CRISP[1], 0, 1) * scale
    return np.asarray(crisp, np.float32), np.asarray(soft * scale, np.float32)


def _fading(rgb: U8) -> F32:
    """(h, w) by how much the logarithm's offset has weakened contrasts in the dark."""
    log = log_colour(rgb)[..., 0]
    light = np.exp(cv2.blur(log, (5, 5)))
    return np.asarray(light / np.maximum(light - LOG_OFFSET, _DARK * LOG_OFFSET), np.float32)


def _quietness(crisp: F32, soft: F32, noise: float, scale: float) -> F32:
    """(h, w) −1…1: how much of the table's texture is missing. A shadow darkens a texture but leaves its contrast.

    Beside strong edges there is no telling.
    """
    textured = float(np.clip((noise - _TEXTURED[0]) / _TEXTURED[1], 0, 1))
    if textured == 0:
        return np.zeros_like(crisp)
    coded = np.clip(crisp * (_CODES / noise), 0, FULL_CODE).astype(np.uint8)
    usual = cv2.medianBlur(coded, 2 * max(1, round(_QUIET_MM * scale)) + 1).astype(np.float32) / _CODES
    plain = np.clip(2 - soft / noise, 0, 1)
    return np.asarray(np.clip((_QUIET[0] - usual) / _QUIET[1], -1, 1) * plain * textured, np.float32)
