"""The outline that explains the picture: every cell round the part is face, wall or ground.

Expectation and maximisation (Dempster, Laird & Rubin 1977) in hard form: face, wall and ground are learned from the
cells that are thought to be each, then the likeliest sequences of all three are found along the lines of sight, and so
on, coarsely first. What comes out is the upper face's region: of an upright part that is the outline itself, all the
way round.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.geometry.polylines import signed_area
from measure.silhouette.appearance import Face, Wall, ground_log_likelihood, wall_log_likelihood
from measure.silhouette.evidence import filled
from measure.silhouette.rectified import F32, Mask, Rectified, log_colour
from measure.silhouette.sight_lines import FACE, FRONT, Said, SightLines
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import disc

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
NO_EDGE = 15.0
"""What it costs besides that ground and wall, or face and ground, meet where the colour is the same on both sides."""
FIELD_MM = 4.0
"""The face's light changes over distances like this."""
SURE = 16.0
"""Squared distance within which a cell belongs to the face's colour."""
ASTRAY_MM, ASTRAY = 3.0, 8.0
"""Farther than this beyond the rough contour the face is unlikely, by so much."""
BLUR_MM = 0.08
STROKE_MM = 1.0
"""Breadth of a person's stroke."""
LEAST_HOLE_MM2, LEAST_PATCH_MM2 = 0.9, 0.25
"""Smaller holes are specks; smaller patches in the face's colour are noise."""


Walls = tuple[Wall | None, Wall | None]
"""Of the outer wall, and of holes' walls."""


@dataclass(frozen=True, slots=True)
class Explained:
    """The face's outline on the plane of the upper edge.

    Attributes:
        loops_mm: (n, 2) closed, the outer boundary first and counter-clockwise, then holes, clockwise, largest first.
            They keep within the face by about a pixel, since mixed pixels look like neither side.
        step_mm: size of a cell.
        clipped: share of the face and of the wall that is at the sensor's limit, the lesser of both.
        walls: colours less the face's of the outer wall, and of holes' walls, where they were learned.
        wall_told: how much likelier the outer wall's cells are wall than ground, in log likelihood, median; None where
            too little of it is seen.
    """

    loops_mm: tuple[Array, ...]
    step_mm: float
    clipped: float
    walls: Walls
    wall_told: float | None

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
    marked: F32  # 1 where a person says that the part is, −1 where it is not


def explain(
    light: Light,
    view: View,
    contours_px: Sequence[Array],
    upper_mm: float,
    lower_mm: float,
    taken_px: Sequence[Array] = (),
    strokes: Strokes = NO_STROKES,
) -> Explained | None:
    """Find the face's outline.

    Args:
        light: the photo round the part.
        view: the solved view.
        contours_px: rough contours (n, 2) of the silhouette, the outer boundary first.
        upper_mm, lower_mm: heights of the wall's edges.
        taken_px: areas (n, 2) on the plane of the reference that something else lies on.
        strokes: what a person has marked as part and as something else.

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
    marks = ([view.plane(s, upper_mm) for s in strokes.part], [view.plane(s, upper_mm) for s in strokes.away])
    w: _Window | None = None
    b: _Belief | None = None
    seen: _Evidence | None = None
    for coarser in PASSES:
        step = finest * coarser
        if w is None or w.plan.step_mm != step:
            w = _window(light, view, upper_mm, low, high, step, rough, taken, marks, foot, ratio)
            b = _first_belief(w) if b is None else b.resized(w.plan.shape)
        assert b is not None
        if not b.region.any() or not b.ground.any():
            return None
        b, seen = _bettered(w, b)
    assert w is not None
    assert b is not None
    assert seen is not None
    loops = _loops(w.plan, b.soft, b.region)
    clipped = min(_full(w, b.region), _full(w, b.wall))
    return Explained(loops, w.plan.step_mm, clipped, b.walls, _wall_told(w, b, seen)) if loops else None


def _window(
    light: Light,
    view: View,
    upper_mm: float,
    low: Array,
    high: Array,
    step: float,
    rough: Sequence[Array],
    taken: Sequence[Array],
    strokes_mm: tuple[list[Array], list[Array]],
    foot: Array,
    ratio: float,
) -> _Window:
    plan = Rectified.of(light, view, upper_mm, low, high, step)
    outer = plan.mask_of(rough[0])
    silhouette = outer * (1 - plan.mask_of(*rough[1:]))
    other = plan.mask_of(*taken)
    free = cv2.dilate(other, disc(plan.cells_in(CLEAR_MM))) == 0 if taken else np.ones(plan.shape, bool)
    astray = cv2.dilate(outer, disc(plan.cells_in(ASTRAY_MM))) == 0
    lines = SightLines.over(plan, foot, ratio)
    marked = np.zeros(plan.shape, np.float32)
    for value, strokes in zip((1.0, -1.0), strokes_mm, strict=True):
        for line in strokes:
            at = np.rint(plan.cells(line) * 16).astype(np.int32)
            cv2.polylines(marked, [at], False, value, plan.cells_in(STROKE_MM), shift=4)
    return _Window(plan, log_colour(plan.linear), lines, silhouette.astype(np.uint8), free, astray, marked)


def _full(w: _Window, cells: Mask) -> float:
    """Share of some cells at the sensor's limit."""
    light = w.plan.linear[cells > 0]
    return float((light.max(1) > FULL).mean()) if len(light) else 0.0


FULL = 0.98
"""Of full light: at the sensor's limit."""


@dataclass(frozen=True, slots=True)
class _Belief:
    """What is thought of a window's cells.

    Attributes:
        region: the face; soft: how much of each cell is face; filled: the face with its holes.
        ground: what is known as ground; wall: what is seen of walls.
        walls: colours of the outer wall, and of holes' walls.
        others: cells of further colours of the face, colour by colour.
        first: whether all this is but a guess from the silhouette.
    """

    region: Mask
    soft: F32
    filled: Mask
    ground: Mask
    wall: Mask
    walls: Walls
    others: tuple[Mask, ...]
    first: bool

    def resized(self, shape: tuple[int, int]) -> _Belief:
        """The same on a finer grid."""
        finer = [_resized(m, shape) for m in (self.region, self.filled, self.ground, self.wall)]
        others = tuple(_resized(m, shape) for m in self.others)
        return replace(self, region=finer[0], filled=finer[1], ground=finer[2], wall=finer[3], others=others)


def _first_belief(w: _Window) -> _Belief:
    """The inside of the silhouette is face, what lies clear of it ground."""
    deep = cv2.distanceTransform(w.rough, cv2.DIST_L2, 3) * w.plan.step_mm
    core = np.asarray(deep > min(CORE_MM, 0.5 * float(deep.max())), np.uint8)
    whole = filled(w.rough)
    near = cv2.dilate(whole, disc(w.plan.cells_in(1.0)))
    ground = np.asarray((near == 0) & w.free, np.uint8)
    none = np.zeros_like(core)
    return _Belief(
        core, core.astype(np.float32), whole, ground, none, (None, None), _other_colours(w, core, ground), True
    )


def _other_colours(w: _Window, core: Mask, ground: Mask) -> tuple[Mask, ...]:
    """Cells of further colours of the face: of the silhouette's inside that can't be wall, what the commonest colours
    leave and the ground does not look like, if it is so much that it is no hole that was overlooked."""
    certain = w.lines.back(w.lines.never_wall(w.rough).astype(np.float32)) > 0.9
    rest = np.asarray(core * certain, np.uint8)
    if not ground.any():
        return ()
    least = MORE_COLOURS * float(rest.sum())
    unlike = ground_log_likelihood(w.colour, ground, w.plan.step_mm, first=True) < NOT_GROUND
    out: list[Mask] = []
    while rest.sum() > max(least, 1.0) and len(out) < MOST_COLOURS:
        out.append(rest)
        other = (Face.learned(w.colour, rest, FIELD_MM / w.plan.step_mm).away(w.colour) > SURE).astype(np.uint8)
        rest = cv2.morphologyEx(rest * other * unlike, cv2.MORPH_OPEN, disc(w.plan.cells_in(SPECK_MM)))
    return tuple(out[1:])


MORE_COLOURS, MOST_COLOURS = 0.12, 4
"""Share of a face that has another colour at least, and how many colours are looked for."""
SPECK_MM = 0.6
NOT_GROUND = -1.5
"""Log likelihood as ground below which a colour is none of its own, in a shadow or out of it."""


CORE_MM = 1.2
"""So far inside a silhouette most is face and not wall."""


def _bettered(w: _Window, b: _Belief) -> tuple[_Belief, _Evidence]:
    """Face, wall and ground learned from what is thought of each, and the cells explained by them."""
    faces = [Face.learned(w.colour, seed, FIELD_MM / w.plan.step_mm) for seed in (b.region, *b.others)]
    seen = _evidence(w, b, faces)
    if b.first:
        b = replace(b, walls=_likeliest_walls(w, b, seen))
    return _learned(w, b, faces, w.lines.labelled(_along(w.lines, w.plan, seen, _as_wall(b, seen)))), seen


def _wall_told(w: _Window, b: _Belief, seen: _Evidence) -> float | None:
    """How much likelier what was taken for the outer wall is wall than ground."""
    wall = (b.wall > 0) & (b.filled == 0)
    if wall.sum() * w.plan.step_mm**2 < LEAST_WALL_MM2:
        return None
    return float(np.median((_as_wall(b, seen) - seen.ground)[wall]))


LEAST_WALL_MM2 = 4.0
"""A smaller wall tells nothing."""


@dataclass(frozen=True, slots=True)
class _Evidence:
    """Log likelihoods of a window's cells.

    Attributes:
        face, ground: (h, w) as face, and as ground; off_face: (h, w, 3) colour less the face's.
        free: (h, w) whether the part can be there.
        certain: (h, w) cells of the face's colour, of which the lines of sight say what can't be wall.
        edge: (h, w) 0 where the colour is the same all round, 1 where it changes.
    """

    face: F32
    ground: F32
    off_face: F32
    free: NDArray[np.bool_]
    certain: Mask
    edge: F32


def _evidence(w: _Window, b: _Belief, faces: Sequence[Face]) -> _Evidence:
    as_face = np.max([face.log_likelihood(w.colour) for face in faces], axis=0)
    as_ground = ground_log_likelihood(w.colour, b.ground, w.plan.step_mm, first=b.first)
    as_face[~w.free], as_ground[~w.free] = IMPOSSIBLE, 0.0
    as_face[w.astray] -= ASTRAY
    as_face += MARKED * np.where(b.filled > 0, np.minimum(w.marked, 0), w.marked)
    away = np.min([face.away(w.colour) for face in faces], axis=0)
    like = cv2.GaussianBlur((away < SURE).astype(np.float32), (0, 0), 1.0) > 0.5
    like &= w.free & ~w.astray & (w.marked >= 0)
    region = cleaned(like.astype(np.uint8), b.region, w.plan, LEAST_PATCH_MM2)
    off_face = np.asarray(w.colour - faces[0].mean, np.float32)
    return _Evidence(as_face, as_ground, off_face, w.free, region, _edges(w.colour, w.plan.cells_in(EDGE_NEAR_MM)))


def _edges(colour: F32, near_cells: int) -> F32:
    """(h, w) 0 where the colour is the same all round, 1 where it changes, and a cell beside."""
    smooth = cv2.GaussianBlur(colour * np.array([1, 2, 2], np.float32), (0, 0), 1.0)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    step = np.sqrt((across * across + down * down).sum(2))
    strongest = cv2.dilate(step, disc(near_cells))
    certain = np.clip(EDGE_SHARE * strongest, *EDGE)
    return np.asarray(np.clip(cv2.dilate(step, np.ones((3, 3), np.uint8)) / certain, 0, 1), np.float32)


EDGE, EDGE_SHARE, EDGE_NEAR_MM = (0.03, 0.2), 0.5, 1.5
"""Change of log colour in a cell, hues counted double, that is an edge for certain: such a share of the strongest one
near by, within these bounds."""


IMPOSSIBLE, CERTAIN = -50.0, 20.0
"""Log likelihoods of what can't be, and of what must be."""
MARKED = 30.0
"""How much a person's word counts."""


def _as_wall(b: _Belief, seen: _Evidence) -> F32:
    """(h, w) log likelihood as wall, of the outer one or of a hole's."""
    outer, inner = (wall_log_likelihood(seen.off_face, wall) for wall in b.walls)
    return np.where(seen.free, np.where(b.filled > 0, inner, outer), np.float32(IMPOSSIBLE))


def _along(lines: SightLines, plan: Rectified, seen: _Evidence, as_wall: F32) -> Said:
    """Log likelihoods as face, wall and ground along lines of sight, tempered."""
    three = lines.along(np.stack([seen.face, as_wall, seen.ground], -1).astype(np.float32))
    three[lines.outside] = (-5.0, -5.0, 0.0)
    three *= TEMPER * plan.step_mm
    three = cv2.GaussianBlur(three, (0, 0), sigmaX=0.001, sigmaY=1.0)
    three[..., 0] += np.where(lines.never_wall(seen.certain), np.float32(CERTAIN), np.float32(0.0))
    change = CHANGE + NO_EDGE * (1 - lines.along(seen.edge))
    return Said(three[..., 0], three[..., 1], three[..., 2], change, CHANGE)


def _likeliest_walls(w: _Window, b: _Belief, seen: _Evidence) -> Walls:
    """The outer wall's colour and the holes' that explain the picture best, of a few that walls have.

    A wall has one colour, though it may have any: so each is tried for all of it.
    """
    lines = w.lines.thinned(THINNED)
    best: list[Wall | None] = [None, None]
    for which in (0, 1):
        scores = []
        for wall in (None, *WALLS_TRIED):
            tried = best.copy()
            tried[which] = wall
            belief = replace(b, walls=(tried[0], tried[1]))
            scores.append(lines.likelihood(_along(lines, w.plan, seen, _as_wall(belief, seen))))
        best[which] = (None, *WALLS_TRIED)[int(np.argmax(scores))]
    return best[0], best[1]


WALLS_TRIED = tuple(Wall(np.array([v, 0.0, 0.0]), np.diag([0.2, 0.08, 0.08]) ** 2) for v in np.arange(-2.0, 1.3, 0.4))
"""Walls from a seventh to three times as light as their face."""
THINNED = 4
"""Every so many-th line of sight is asked which wall is likeliest."""


def _learned(w: _Window, b: _Belief, faces: Sequence[Face], labels: NDArray[np.uint8]) -> _Belief:
    """What the labels say of the cells."""
    kinds = np.stack([labels == FACE, labels == FRONT, labels >= FRONT], -1).astype(np.float32)
    soft, front, any_wall = cv2.split(w.lines.back(kinds))
    soft = cv2.GaussianBlur(soft, (0, 0), max(0.6, BLUR_MM / w.plan.step_mm))
    face = (soft > 0.5).astype(np.uint8)
    if len(faces) > 1:  # where two colours meet a line is neither
        face = np.asarray(cv2.morphologyEx(face, cv2.MORPH_CLOSE, disc(w.plan.cells_in(MEETING_MM))), np.uint8)
    region = _without_marked_holes(cleaned(face, b.region, w.plan, LEAST_HOLE_MM2), w.marked)
    one = np.ones((3, 3), np.uint8)
    beside = (cv2.erode(region, one) == 0) & (cv2.dilate(region, one) == 0)
    wall = (front > 0.7) & beside
    whole = filled(region)
    off_face = w.colour - faces[0].mean
    outer, inner = (off_face[wall & at].astype(float) for at in (whole == 0, whole > 0))
    walls = Wall.learned(outer, faces[0].coding_sd), Wall.learned(inner, faces[0].coding_sd)
    swept = cv2.dilate(((any_wall > 0.3) | (region > 0)).astype(np.uint8), disc(w.plan.cells_in(0.3)))
    ground = ((swept == 0) & w.free).astype(np.uint8)
    others = tuple(((face.away(w.colour) < SURE) * region).astype(np.uint8) for face in faces[1:])
    others = tuple(o for o in others if o.any())
    return _Belief(region, soft, whole, ground, wall.astype(np.uint8), walls, others, False)


MEETING_MM = 0.4
"""So broad a line where two colours of a face meet is face as well."""


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


def _without_marked_holes(region: Mask, marked: F32) -> Mask:
    """A region whose holes are filled of which a person says that they are part."""
    if not (marked > 0).any():
        return region
    inside = (filled(region) > 0) & (region == 0)
    _, label = cv2.connectedComponents(inside.astype(np.uint8), connectivity=4)
    meant = np.unique(label[(marked > 0) & inside])
    return np.asarray(region | np.isin(label, meant[meant > 0]), np.uint8)


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


def _resized(mask: Mask, shape: tuple[int, int]) -> Mask:
    return np.asarray(cv2.resize(mask, shape[::-1], interpolation=cv2.INTER_NEAREST), np.uint8)
