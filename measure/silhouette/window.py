"""What is looked at to explain a picture: a window of the plane, its lines of sight, and what labels make of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.geometry.polylines import signed_area
from measure.silhouette.appearance import sum_of_squares
from measure.silhouette.rectified import F32, Mask, Rectified, log_colour
from measure.silhouette.sight_lines import Said, SightLines
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import disc

MARGIN_MM = 6.0
"""Of what lies round the outline so much is looked at."""
CLEAR_MM = 1.5
"""So near to a card nothing is learned: its own wall and shadow."""
FINEST_MM, CELLS_PX = 0.08, 1.25
"""A cell is at least so large, and so many pixels."""
MOST_CELLS = 500_000
PASSES = (2.0, 2.0, 1.0)
"""Size of the cells of each pass, in those of the last."""
ASTRAY_MM = 3.0
"""Farther than this beyond the rough contour nothing is looked for."""
STROKE_MM = 1.0
"""Breadth of a person's stroke."""
TEMPER = 0.25 / 0.08
"""Of a cell's log likelihood so much counts for each mm that it is wide: neighbours share blur, grain and coding."""
BEYOND = -5.0
"""Log likelihood of what would have to go on beyond the window."""
CHANGE = 3.0
"""What it costs, in log likelihood, that face begins or ends."""
NO_EDGE = 15.0
"""What it costs besides that ground and wall, or face and ground, meet where the colour is the same on both sides."""
CERTAIN = 20.0
"""Log likelihood of what must be."""
_FINER_BITS = 4
"""Strokes are drawn to a sixteenth of a cell."""
_UNBLURRED = 1e-3
"""Standard deviation, in cells, that blurs nothing: OpenCV takes 0 for "as the other way"."""
_FEWEST, _EITHER_SIDE = 12, (0.5001, 0.4999)
"""Points without which a contour is a speck; and what a cell that is surely in, or out, counts as at least, or at
most."""
FULL = 0.98
"""Of full light: at the sensor's limit."""


@dataclass(frozen=True, slots=True)
class Window:
    """What is looked at in one pass.

    Attributes:
        plan: the picture; colour: (h, w, 3) see `measure.silhouette.rectified.log_colour`.
        lines: lines of sight over it.
        rough: (h, w) the rough silhouette with its holes, as it was found first.
        free: (h, w) not on a card or another thing.
        astray: (h, w) too far out of the rough contour.
        marked: (h, w) 1 where a person says that the part is, or the opening, −1 where it is not.
    """

    plan: Rectified
    colour: F32
    lines: SightLines
    rough: Mask
    free: NDArray[np.bool_]
    astray: NDArray[np.bool_]
    marked: F32

    def share_full(self, cells: Mask) -> float:
        """Share of some cells at the sensor's limit."""
        light = self.plan.linear[cells > 0]
        return float((light.max(1) > FULL).mean()) if len(light) else 0.0


def windows(
    light: Light,
    view: View,
    contours_px: Sequence[Array],
    upper_mm: float,
    lower_mm: float,
    taken_px: Sequence[Array] = (),
    strokes: Strokes = NO_STROKES,
) -> Iterator[Window]:
    """The window of each pass, coarse ones first; see `measure.silhouette.explaining.explain`."""
    foot = view.centre_mm[:2]
    ratio = (view.centre_mm[2] - upper_mm) / (view.centre_mm[2] - lower_mm)
    rough = [view.plane(c, upper_mm) for c in contours_px]
    low, high = rough[0].min(0) - MARGIN_MM, rough[0].max(0) + MARGIN_MM
    low, high = np.minimum(low, foot + ratio * (low - foot)), np.maximum(high, foot + ratio * (high - foot))
    finest = max(
        CELLS_PX * view.mm_per_px((low + high) / 2), FINEST_MM, math.sqrt(float(np.prod(high - low)) / MOST_CELLS)
    )
    taken = [view.plane(area, upper_mm) for area in taken_px]
    marks = ([view.plane(s, upper_mm) for s in strokes.part], [view.plane(s, upper_mm) for s in strokes.away])
    w: Window | None = None
    for coarser in PASSES:
        step = finest * coarser
        if w is None or w.plan.step_mm != step:
            plan = Rectified.of(light, view, upper_mm, low, high, step)
            w = _window(plan, SightLines.over(plan, foot, ratio), rough, taken, marks)
        yield w


def _window(
    plan: Rectified,
    lines: SightLines,
    rough: Sequence[Array],
    taken: Sequence[Array],
    strokes_mm: tuple[list[Array], list[Array]],
) -> Window:
    outer = plan.mask_of(rough[0])
    silhouette = outer * (1 - plan.mask_of(*rough[1:]))
    other = plan.mask_of(*taken)
    free = cv2.dilate(other, disc(plan.cells_in(CLEAR_MM))) == 0 if taken else np.ones(plan.shape, bool)
    astray = cv2.dilate(outer, disc(plan.cells_in(ASTRAY_MM))) == 0
    marked = np.zeros(plan.shape, np.float32)
    for value, strokes in zip((1.0, -1.0), strokes_mm, strict=True):
        for line in strokes:
            at = np.rint(plan.cells(line) * 2**_FINER_BITS).astype(np.int32)
            cv2.polylines(marked, [at], False, value, plan.cells_in(STROKE_MM), shift=_FINER_BITS)
    return Window(plan, log_colour(plan.linear), lines, silhouette.astype(np.uint8), free, astray, marked)


def edges(colour: F32, plan: Rectified) -> F32:
    """(h, w) 0 where the colour is the same all round, 1 where it changes, and a cell beside."""
    smooth = cv2.GaussianBlur(colour * np.array([1, 2, 2], np.float32), (0, 0), 1.0)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    step = np.sqrt(sum_of_squares(across) + sum_of_squares(down))
    strongest = cv2.dilate(step, disc(plan.cells_in(EDGE_NEAR_MM)))
    certain = np.clip(EDGE_SHARE * strongest, *EDGE)
    return np.asarray(np.clip(cv2.dilate(step, np.ones((3, 3), np.uint8)) / certain, 0, 1), np.float32)


EDGE, EDGE_SHARE, EDGE_NEAR_MM = (0.03, 0.2), 0.5, 1.5
"""Change of log colour in a cell, hues counted double, that is an edge for certain: such a share of the strongest one
near by, within these bounds."""


def tempered(lines: SightLines, plan: Rectified, cells: F32, *, goes_on: bool) -> F32:
    """(m, n) log likelihoods (h, w) of cells as one kind of surface, along lines of sight.

    Args:
        goes_on: whether that is what lies beyond the window.
    """
    out = lines.along(cells, 0.0 if goes_on else BEYOND)
    out *= np.float32(TEMPER * plan.step_mm)
    return np.asarray(cv2.GaussianBlur(out, (0, 0), sigmaX=_UNBLURRED, sigmaY=1.0), np.float32)


@dataclass(frozen=True, slots=True)
class Changes:
    """Where lines of sight may go from one kind of surface to another.

    Attributes:
        never: (m, n) log likelihood that is taken from wall and ground where there is face for certain.
        change: (m, n) see `Said`.
    """

    never: F32
    change: F32

    @classmethod
    def along(cls, lines: SightLines, certain: Mask, edge: F32) -> Changes:
        """Along lines of sight.

        Args:
            lines: lines of sight.
            certain: (h, w) cells of the face's colour, of which the lines say what can't be wall.
            edge: (h, w) see `edges`.
        """
        never = np.where(lines.never_wall(certain), np.float32(CERTAIN), np.float32(0.0))
        return cls(never, CHANGE + NO_EDGE * (1 - lines.along(edge)))

    def said(self, face: F32, wall: F32, ground: F32) -> Said:
        """What the picture says, of log likelihoods that are `tempered`: (m, n), of several kinds of wall (m, n, k)."""
        never = self.never.reshape(*self.never.shape, *(1,) * (wall.ndim - 2))
        return Said(face, wall - never, ground - self.never, self.change, CHANGE)


def cleaned(mask: Mask, seed: Mask, plan: Rectified, least_mm2: float) -> Mask:
    """The piece of a mask that has most of the seed, its holes smaller than least_mm2 filled."""
    n, label = cv2.connectedComponents(mask, connectivity=4)
    if n < 2:
        return mask
    shared = np.bincount(label.ravel(), weights=(seed > 0).ravel(), minlength=n)
    shared[0] = -1
    out = np.asarray(label == int(np.argmax(shared)), np.uint8)
    n, label, stats, _ = cv2.connectedComponentsWithStats(1 - out, connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] < least_mm2 / plan.step_mm**2
    small[0] = False
    return np.asarray(out | small[label].astype(np.uint8), np.uint8)


def rings(plan: Rectified, soft: F32, region: Mask) -> tuple[Array, ...]:
    """Closed contours (n, 2) of a region, mm, where half a cell belongs to it, between cells: the largest first and
    counter-clockwise, the others clockwise."""
    from skimage.measure import find_contours

    inside = np.where(region > 0, np.maximum(soft, _EITHER_SIDE[0]), np.minimum(soft, _EITHER_SIDE[1]))
    found = [c[:-1, ::-1] - 1 for c in find_contours(np.pad(inside, 1), 0.5) if len(c) > _FEWEST]
    by_size = sorted((plan.mm(c) for c in found), key=lambda c: -abs(signed_area(c)))
    return tuple(r if (signed_area(r) > 0) == (k == 0) else r[::-1] for k, r in enumerate(by_size))


def grown(ring: Array, by_mm: float) -> Array:
    """A closed outline moved to its right: out of a counter-clockwise one, into a clockwise one."""
    import shapely

    outer = signed_area(ring) > 0
    moved = shapely.Polygon(ring).buffer(by_mm if outer else -by_mm, join_style="mitre", mitre_limit=2.0)
    if moved.geom_type != "Polygon" or moved.is_empty:
        return ring
    path = np.asarray(moved.exterior.coords)[:-1]
    return path if (signed_area(path) > 0) == outer else path[::-1]


def resized(mask: Mask, shape: tuple[int, int]) -> Mask:
    """A mask on a finer grid."""
    return np.asarray(cv2.resize(mask, shape[::-1], interpolation=cv2.INTER_NEAREST), np.uint8)
