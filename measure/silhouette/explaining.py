"""The outline that explains the picture: every cell round the part is face, wall or ground.

Expectation and maximisation (Dempster, Laird & Rubin 1977) in hard form: face, wall and ground are learned from the
cells that are thought to be each, then the likeliest sequences of all three are found along the lines of sight, and so
on, coarsely first. What comes out is the upper face's region: of an upright part that is the outline itself, all the
way round.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.geometry.polylines import signed_area
from measure.silhouette.appearance import Face, Wall, ground_log_likelihood, wall_log_likelihood
from measure.silhouette.rectified import F32, Mask, Rectified, log_colour
from measure.silhouette.sight_lines import FACE, FRONT, SightLines

MARGIN_MM = 6.0
"""Of ground that is looked at round the part."""
CLEAR_MM = 1.5
"""So near to a card nothing is learned: its own wall and shadow."""
FINEST_MM, CELLS_PX = 0.08, 1.25
"""A cell is at least so large, and so many pixels."""
MOST_CELLS = 500_000
PASSES = (2.0, 2.0, 1.0)
"""Size of the cells of each pass, in those of the last."""
TEMPER = 0.25 / 0.08
"""Of a cell's log likelihood so much counts for each mm that it is wide: neighbours share blur, grain and coding."""
CHANGE = 3.0
"""What it costs, in log likelihood, that face begins or ends."""
FIELD_MM = 4.0
"""The face's light changes over distances like this."""
SURE = 16.0
"""Squared distance within which a cell belongs to the face's colour."""
ASTRAY_MM, ASTRAY = 3.0, 8.0
"""Farther than this beyond the rough contour the face is unlikely, by so much."""
BLUR_MM = 0.08
LEAST_HOLE_MM2, LEAST_PATCH_MM2 = 0.9, 0.25
"""Smaller holes are specks; smaller patches in the face's colour are noise."""


@dataclass(frozen=True, slots=True)
class Explained:
    """The face's outline on the plane of the upper edge.

    Attributes:
        loops_mm: (n, 2) closed, the outer boundary first and counter-clockwise, then holes, clockwise, largest first.
            They keep within the face by about a pixel, since mixed pixels look like neither side.
        step_mm: size of a cell.
        unlike: share of the rough silhouette that is neither face nor wall nor ground.
        clipped: share of the face that is at the sensor's limit.
        walls: colours less the face's of the outer wall, and of holes' walls, where they were learned.
    """

    loops_mm: tuple[Array, ...]
    step_mm: float
    unlike: float
    clipped: float
    walls: tuple[Wall | None, Wall | None]

    @property
    def outlines_mm(self) -> tuple[Array, ...]:
        """The loops moved out of the face by what they keep within it."""
        return tuple(_moved_out(loop, self.step_mm) for loop in self.loops_mm)


@dataclass(frozen=True, slots=True)
class _Window:
    """What is looked at in one pass."""

    plan: Rectified
    colour: F32
    lines: SightLines
    rough: Mask  # silhouette with its holes, as it was found first
    free: NDArray[np.bool_]  # not on a card or another thing
    astray: NDArray[np.bool_]


def explain(
    light: Light,
    view: View,
    contours_px: Sequence[Array],
    upper_mm: float,
    lower_mm: float,
    taken_px: Sequence[Array] = (),
) -> Explained | None:
    """Find the face's outline.

    Args:
        light: the photo round the part.
        view: the solved view.
        contours_px: rough contours (n, 2) of the silhouette, the outer boundary first.
        upper_mm, lower_mm: heights of the wall's edges.
        taken_px: areas (n, 2) on the plane of the reference that something else lies on.

    Returns:
        The outline, or None where no face is found.
    """
    foot = view.centre_mm[:2]
    ratio = (view.centre_mm[2] - upper_mm) / (view.centre_mm[2] - lower_mm)
    rough = [view.plane(c, upper_mm) for c in contours_px]
    low, high = rough[0].min(0) - MARGIN_MM, rough[0].max(0) + MARGIN_MM
    low, high = np.minimum(low, foot + ratio * (low - foot)), np.maximum(high, foot + ratio * (high - foot))
    finest = max(
        CELLS_PX * view.mm_per_px((low + high) / 2), FINEST_MM, math.sqrt(float(np.prod(high - low)) / MOST_CELLS)
    )
    taken = [view.plane(area, upper_mm) for area in taken_px]
    walls: tuple[Wall | None, Wall | None] = (None, None)
    ground: Mask | None = None
    region: Mask | None = None
    w: _Window | None = None
    soft = np.zeros((0, 0), np.float32)
    for k, coarser in enumerate(PASSES):
        step = finest * coarser
        if w is None or w.plan.step_mm != step:
            before = w
            w = _window(light, view, upper_mm, low, high, step, rough, taken, foot, ratio)
            if before is not None and region is not None and ground is not None:
                region, ground = (_resized(m, w.plan.shape) for m in (region, ground))
        first = k == 0
        seed = _core(w.rough, step) if region is None else region
        if not seed.any():
            return None
        face = Face.learned(w.colour, seed, FIELD_MM / step)
        known = _around(w, step) if ground is None else ground
        if not known.any():
            return None
        filled = _filled(region) if region is not None else _filled(w.rough)
        labels = _labels(w, face, known, walls, filled, seed, first=first)
        region, soft, ground, walls = _learned(w, labels, face, seed)
        if not region.any():
            return None
    assert w is not None
    assert region is not None
    loops = _loops(w.plan, soft, region)
    clipped = float((w.plan.linear[region > 0].max(1) > 0.98).mean())
    return Explained(loops, w.plan.step_mm, 0.0, clipped, walls) if loops else None


def _window(
    light: Light,
    view: View,
    upper_mm: float,
    low: Array,
    high: Array,
    step: float,
    rough: Sequence[Array],
    taken: Sequence[Array],
    foot: Array,
    ratio: float,
) -> _Window:
    plan = Rectified.of(light, view, upper_mm, low, high, step)
    outer = plan.mask_of(rough[0])
    silhouette = outer * (1 - plan.mask_of(*rough[1:]))
    other = plan.mask_of(*taken)
    free = cv2.dilate(other, _disc(plan.cells_in(CLEAR_MM))) == 0 if taken else np.ones(plan.shape, bool)
    astray = cv2.dilate(outer, _disc(plan.cells_in(ASTRAY_MM))) == 0
    lines = SightLines.over(plan, foot, ratio)
    return _Window(plan, log_colour(plan.linear), lines, silhouette.astype(np.uint8), free, astray)


def _labels(
    w: _Window,
    face: Face,
    ground: Mask,
    walls: tuple[Wall | None, Wall | None],
    filled: Mask,
    seed: Mask,
    *,
    first: bool,
) -> NDArray[np.uint8]:
    """(m, n) labels along the lines of sight."""
    step = w.plan.step_mm
    as_face = face.log_likelihood(w.colour)
    as_ground = ground_log_likelihood(w.colour, ground, step, first=first)
    off_face = w.colour - face.mean
    as_wall = np.where(filled > 0, *(wall_log_likelihood(off_face, walls[k]) for k in (1, 0)))
    as_face[~w.free], as_wall[~w.free], as_ground[~w.free] = -50.0, -50.0, 0.0
    as_face[w.astray] -= ASTRAY
    three = w.lines.along(np.stack([as_face, as_wall, as_ground], -1).astype(np.float32))
    three[w.lines.outside] = (-5.0, -5.0, 0.0)
    three *= TEMPER * step
    three = cv2.GaussianBlur(three, (0, 0), sigmaX=0.001, sigmaY=1.0)
    like = cv2.GaussianBlur((face.away(w.colour) < SURE).astype(np.float32), (0, 0), 1.0) > 0.5
    like &= w.free & ~w.astray
    certain = w.lines.never_wall(cleaned(like.astype(np.uint8), seed, w.plan, LEAST_PATCH_MM2))
    three[..., 0] += np.where(certain, np.float32(20.0), np.float32(0.0))
    return w.lines.labelled(three[..., 0], three[..., 1], three[..., 2], CHANGE)


def _learned(
    w: _Window, labels: NDArray[np.uint8], face: Face, seed: Mask
) -> tuple[Mask, F32, Mask, tuple[Wall | None, Wall | None]]:
    """The face's region, how much of each cell is face, the ground, and the walls' colours outside and in holes."""
    kinds = np.stack([labels == FACE, labels == FRONT, labels >= FRONT], -1).astype(np.float32)
    soft, front, any_wall = cv2.split(w.lines.back(kinds))
    soft = cv2.GaussianBlur(soft, (0, 0), max(0.6, BLUR_MM / w.plan.step_mm))
    region = cleaned((soft > 0.5).astype(np.uint8), seed, w.plan, LEAST_HOLE_MM2)
    one = np.ones((3, 3), np.uint8)
    beside = (cv2.erode(region, one) == 0) & (cv2.dilate(region, one) == 0)
    wall = (front > 0.7) & beside
    filled = _filled(region) > 0
    off_face = w.colour - face.mean
    outer, inner = (off_face[wall & at].astype(float) for at in (~filled, filled))
    walls = Wall.learned(outer, face.coding_sd), Wall.learned(inner, face.coding_sd)
    swept = cv2.dilate(((any_wall > 0.3) | (region > 0)).astype(np.uint8), _disc(w.plan.cells_in(0.3)))
    ground = ((swept == 0) & w.free).astype(np.uint8)
    return region, soft, ground, walls


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


def _loops(plan: Rectified, soft: F32, region: Mask) -> tuple[Array, ...]:
    """Closed contours where half a cell is face, between cells."""
    from skimage.measure import find_contours

    inside = np.where(region > 0, np.maximum(soft, 0.5001), np.minimum(soft, 0.4999))
    found = [c[:-1, ::-1] - 1 for c in find_contours(np.pad(inside, 1), 0.5) if len(c) > 12]
    rings = sorted((plan.mm(c) for c in found), key=lambda c: -abs(signed_area(c)))
    return tuple(r if (signed_area(r) > 0) == (k == 0) else r[::-1] for k, r in enumerate(rings))


def _moved_out(ring: Array, by_mm: float) -> Array:
    """A closed outline moved to its right: out of a counter-clockwise one, into a clockwise one."""
    import shapely

    outer = signed_area(ring) > 0
    moved = shapely.Polygon(ring).buffer(by_mm if outer else -by_mm, join_style="mitre", mitre_limit=2.0)
    if moved.geom_type != "Polygon" or moved.is_empty:
        return ring
    path = np.asarray(moved.exterior.coords)[:-1]
    return path if (signed_area(path) > 0) == outer else path[::-1]


def _core(rough: Mask, step: float) -> Mask:
    """The inside of a silhouette, where it is not wall."""
    deep = cv2.distanceTransform(rough, cv2.DIST_L2, 3) * step
    return np.asarray(deep > min(1.2, 0.5 * float(deep.max())), np.uint8)


def _around(w: _Window, step: float) -> Mask:
    """What lies clear of a silhouette."""
    near = cv2.dilate(_filled(w.rough), _disc(w.plan.cells_in(1.0)))
    return np.asarray((near == 0) & w.free, np.uint8)


def _resized(mask: Mask, shape: tuple[int, int]) -> Mask:
    return np.asarray(cv2.resize(mask, shape[::-1], interpolation=cv2.INTER_NEAREST), np.uint8)


def _filled(mask: Mask) -> Mask:
    """The mask with its holes filled."""
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(cv2.drawContours(np.zeros_like(mask), outlines, -1, 1, -1), np.uint8)


def _disc(radius: int) -> Mask:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)), np.uint8)
