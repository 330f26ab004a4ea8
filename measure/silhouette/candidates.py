"""Where on the table something lies that is not table: candidates for the part, in the whole photo much reduced."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import F32, U8, Mask, Tabletop, disc, learn_tabletop

_COARSE_PX_PER_MM = 2.0
_COARSE_LONGEST_PX = 720
_CARD_MARGIN_MM = 2.0  # the card's own side wall and shadow
_LEAST_AREA_MM2 = 25.0
_CORNER_FILLED = 0.6
"""Of the rectangle that an area in a corner of the photo spans; half of it is a triangle."""
_STROKE_MM = 0.5  # to either side of a stroke
_FINER_BITS = 4
"""Strokes are drawn to a sixteenth of a pixel."""
_FINE_PX_PER_MM = 1.6
"""From this scale on texture is smoothed over five pixels, else over three."""
_MEAN_MM, _EDGE_BLUR_MM, _OPEN_MM, _NEAR_MM = 1.5, 0.4, 0.7, 1.0
"""Window of mean strangeness; blur of edges; half the width of what is no speck; and half of how far apart pieces of
one thing may lie."""
_TABLE, _USUAL_PERCENT, _LEAST_EDGE = 0.3, 90, 0.02
"""Strangeness below which a pixel is table; the percentile of its edges that is usual there, and what is added to
it."""
_CRISPEST = 30.0
"""A blob's crispness counts up to this."""


@dataclass(frozen=True, slots=True)
class Reduction:
    """A photo, or a window of it, reduced by a whole number.

    Attributes:
        rgb: (h, w, 3) reduced pixels.
        factor: photo pixels to one reduced pixel.
        corner: (x, y) photo pixel that the window begins with.
    """

    rgb: U8
    factor: int
    corner: tuple[int, int]

    def to_photo(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) reduced coordinates to photo coordinates, pixel centres at whole numbers in both."""
        return points * self.factor + (self.factor - 1) / 2 + self.corner

    def from_photo(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) photo coordinates to reduced ones."""
        return (points - self.corner - (self.factor - 1) / 2) / self.factor

    def matrix_from_photo(self) -> NDArray[np.float64]:
        """(3, 3) the same as a homography."""
        x, y = (c + (self.factor - 1) / 2 for c in self.corner)
        return np.array([[1, 0, -x], [0, 1, -y], [0, 0, self.factor]], float)

    def marked(self, strokes: Strokes, px_per_mm: float) -> NDArray[np.int8]:
        """(h, w) 1 on strokes that mark the part, −1 on those that mark what is not; px_per_mm is of the reduction."""
        out = np.zeros(self.rgb.shape[:2], np.int8)
        width = 2 * max(1, round(_STROKE_MM * px_per_mm)) - 1
        for value, lines in ((1, strokes.part), (-1, strokes.away)):
            for line in lines:
                mask = np.zeros(out.shape, np.uint8)
                points = np.rint(self.from_photo(line) * 2**_FINER_BITS).astype(np.int32)
                ends = np.vstack([points, points[-1:]])  # of a single point OpenCV 5 draws nothing
                cv2.polylines(mask, [ends], False, 1, width, shift=_FINER_BITS)
                out[mask > 0] = value
        return out

    def mask_of(self, polygon_px: NDArray[np.float64]) -> Mask:
        """(h, w) 1 inside a polygon given in photo coordinates."""
        mask = np.zeros(self.rgb.shape[:2], np.uint8)
        cv2.fillPoly(
            mask, [np.rint(self.from_photo(polygon_px) * 2**_FINER_BITS).astype(np.int32)], 1, shift=_FINER_BITS
        )
        return mask


def reduce_photo(rgb: U8, factor: int, box: tuple[int, int, int, int] | None = None) -> Reduction:
    """Average blocks of factor × factor pixels of a photo, or of its box (x0, y0, x1, y1)."""
    x0, y0, x1, y1 = box or (0, 0, rgb.shape[1], rgb.shape[0])
    w, h = max(1, (x1 - x0) // factor), max(1, (y1 - y0) // factor)
    window = rgb[y0 : y0 + h * factor, x0 : x0 + w * factor]
    small = window if factor == 1 else cv2.resize(window, (w, h), interpolation=cv2.INTER_AREA)
    return Reduction(np.ascontiguousarray(small), factor, (x0, y0))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A blob that is not table: a part with its shadow, or less.

    Attributes:
        mask: (h, w) 1 on the blob, in the coarse reduction.
        area_mm2: its area; crisp: how strong its strongest edges are, in those of the table (1: no stronger).
        at_edge: whether it reaches the frame's edge.
        marked: 1 if a stroke marks it as part, −1 if strokes only mark it as something else, else 0.
    """

    mask: Mask
    area_mm2: float
    crisp: float
    at_edge: bool
    marked: int = 0

    @property
    def weight(self) -> float:
        """How much there is to it."""
        return self.area_mm2 * min(self.crisp, _CRISPEST)


@dataclass(frozen=True, slots=True)
class Scene:
    """The whole photo, reduced, with what was learned from it.

    Attributes:
        strange: (h, w) how unlike the table each place is; candidates: what may be the part, heaviest first.
        cut_off: whether something so large that it may be another surface is more like a thing that the frame cuts off.
    """

    coarse: Reduction
    table: Tabletop
    strange: F32
    candidates: tuple[Candidate, ...]
    cut_off: bool = False


@dataclass(frozen=True, slots=True)
class Reserved:
    """Where in a photo no part can be: on the references, and outside the field, if there is one.

    Attributes:
        taken_px: areas (n, 2), photo pixels.
        field_px: (n, 2) outline of the only area where a part may be; None for the whole photo.
    """

    taken_px: tuple[NDArray[np.float64], ...]
    field_px: NDArray[np.float64] | None = None

    def mask(self, of: Reduction) -> Mask:
        """(h, w) 1 where no part can be."""
        out = np.zeros(of.rgb.shape[:2], np.uint8) if self.field_px is None else 1 - of.mask_of(self.field_px)
        for area in self.taken_px:
            out |= of.mask_of(area)
        return np.asarray(out, np.uint8)


def survey(rgb: U8, reserved: Reserved, px_per_mm: float, strokes: Strokes = NO_STROKES) -> Scene:
    """Learn the table and find what lies on it.

    Args:
        rgb: (h, w, 3) the photo.
        reserved: where no part can be.
        px_per_mm: of the photo, about.
        strokes: what a person is sure of.
    """
    longest = max(rgb.shape[:2])
    factor = max(1, math.ceil(longest / _COARSE_LONGEST_PX), math.floor(px_per_mm / _COARSE_PX_PER_MM))
    coarse = reduce_photo(rgb, factor)
    scale = px_per_mm / factor
    smooth = np.asarray(cv2.medianBlur(coarse.rgb, 5 if scale > _FINE_PX_PER_MM else 3), np.uint8)
    card = cv2.dilate(reserved.mask(coarse), disc(_CARD_MARGIN_MM * scale))
    table, strange, elsewhere = learn_tabletop(smooth, card, scale)
    strange = strange * ((card == 0) & (elsewhere == 0))
    marked = coarse.marked(strokes, scale)
    window = max(3, round(_MEAN_MM * scale)) | 1
    mean = np.asarray(cv2.blur(strange, (window, window)), np.float32)
    mean[marked > 0], mean[marked < 0] = 1.0, 0.0
    edges = edge_strength(table.deviation(smooth, *_axes(smooth)), _EDGE_BLUR_MM * scale) * scale
    ground = (mean < _TABLE) & (card == 0) & (elsewhere == 0)
    usual = float(np.percentile(edges[ground], _USUAL_PERCENT)) if ground.any() else 0.0
    blobs = _blobs((mean > 0.5).astype(np.uint8) & (card == 0), edges / (usual + _LEAST_EDGE), scale, marked)
    return Scene(coarse, table, mean, blobs, _cut_off(elsewhere))


def _cut_off(elsewhere: Mask) -> bool:
    """Whether an area at the frame's edge that is nothing like the table may be a thing that reaches out of the photo.

    The desk beyond a sheet goes on past two corners of the photo or more, or cuts off one of them in a straight line;
    a thing that lies on the table has corners of its own.
    """
    n, label, stats, _ = cv2.connectedComponentsWithStats(elsewhere, connectivity=4)
    for i in range(1, n):
        top, bottom, left, right = (label[side] == i for side in (0, -1, np.s_[:, 0], np.s_[:, -1]))
        beyond = int(top[0]) + int(top[-1]) + int(bottom[0]) + int(bottom[-1])
        across, down = max(top.sum(), bottom.sum()), max(left.sum(), right.sum())
        if beyond == 0 or (beyond == 1 and stats[i, cv2.CC_STAT_AREA] > _CORNER_FILLED * across * down):
            return True
    return False


def edge_strength(colour: F32, blur_px: float) -> F32:
    """(h, w) length of the colour gradient per pixel, hues counted double, blurred to a scale."""
    smooth = cv2.GaussianBlur(colour * np.array([1, 2, 2], np.float32), (0, 0), max(blur_px, 0.5))
    along = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    return np.asarray(np.sqrt((along * along + down * down).sum(2)), np.float32)


def _axes(rgb: U8) -> tuple[F32, F32]:
    return np.arange(rgb.shape[1], dtype=np.float32), np.arange(rgb.shape[0], dtype=np.float32)


def _blobs(strange: Mask, crisp: F32, scale: float, marked: NDArray[np.int8]) -> tuple[Candidate, ...]:
    """Connected blobs, heaviest first; those within 2 mm of each other are one (a band may have the table's colour)."""
    clean = cv2.morphologyEx(strange, cv2.MORPH_OPEN, disc(_OPEN_MM * scale)) | (marked > 0).astype(np.uint8)
    near = cv2.dilate(clean, disc(_NEAR_MM * scale))
    n, label, stats, _ = cv2.connectedComponentsWithStats(near, connectivity=4)
    h, w = strange.shape
    out = []
    for i in range(1, n):
        x, y, ww, hh, _ = stats[i]
        own = np.zeros_like(strange)
        window = np.s_[y : y + hh, x : x + ww]
        own[window] = (label[window] == i) & (clean[window] > 0)
        area = float(own.sum()) / scale**2
        strokes = marked[window][label[window] == i]
        meant = 1 if (strokes > 0).any() else -1 if (strokes < 0).any() else 0
        if area < _LEAST_AREA_MM2 and meant < 1:
            continue
        edges = np.sort(crisp[window][label[window] == i])
        strongest = edges[-max(8, int(3 * math.sqrt(own.sum()))) :]  # about as many as a round outline has
        at_edge = bool(x <= 1 or y <= 1 or x + ww >= w - 1 or y + hh >= h - 1)
        out.append(Candidate(own, area, float(strongest.mean()), at_edge, meant))
    return tuple(sorted(out, key=lambda c: -c.weight))
