"""The outline that explains the picture: every cell round the part is face, wall or ground.

Expectation and maximisation (Dempster, Laird & Rubin 1977) in hard form: face, wall and ground are learned from the
cells that are thought to be each, then the likeliest sequences of all three are found along the lines of sight, and so
on, coarsely first. What comes out is the upper face's region: of an upright part that is the outline itself, all the
way round.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.silhouette.appearance import (
    ODD_FACE,
    ODD_UNEVEN,
    Face,
    WallColour,
    facing,
    ground_log_likelihood,
    wall_log_likelihood,
)
from measure.silhouette.evidence import filled
from measure.silhouette.face_lines import HoleLooks, without_lines
from measure.silhouette.rectified import F32, Mask, Rectified
from measure.silhouette.sight_lines import FACE, FRONT, Said, SightLines
from measure.silhouette.spikes import without_spikes
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import disc
from measure.silhouette.window import Changes, Window, cleaned, edges, grown, resized, rings, tempered, windows

FIELD_MM = 4.0
"""The face's light changes over distances like this."""
SURE = 16.0
"""Squared distance within which a cell belongs to the face's colour."""
ASTRAY = 8.0
"""Of what is astray of the rough contour the face is unlikely, by so much."""
CERTAINLY = 0.9
"""Share of the lines through a cell that must say that it is no wall."""
BLUR_MM, LEAST_BLUR = 0.08, 0.6
"""Blur of what cells are told to be, so that a contour runs between them; and in cells, at least."""
LEAST_HOLE_MM2, LEAST_PATCH_MM2 = 0.9, 0.25
"""Smaller holes are specks; smaller patches in the face's colour are noise."""


Walls = tuple[WallColour | None, WallColour | None]
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
        spike_mm: depth of what was left out as a spike, see `measure.silhouette.spikes`; 0 if nothing was.
        uneven: whether the face's light has slopes all over, as metal with a relief has.
        stepped: whether the face has steps inside its boundary: so, or lines that are no holes.
    """

    loops_mm: tuple[Array, ...]
    step_mm: float
    clipped: float
    walls: Walls
    wall_told: float | None
    spike_mm: float = 0.0
    uneven: bool = False
    stepped: bool = False

    @property
    def outlines_mm(self) -> tuple[Array, ...]:
        """The loops moved out of the face by what they keep within it."""
        return tuple(grown(loop, self.step_mm) for loop in self.loops_mm)

    def seen_by(self, view: View, before: View, height_mm: float) -> Explained:
        """The same outline in the photo, laid on the plane of the upper edge by another view."""
        return replace(self, loops_mm=tuple(view.plane(before.pixels(p, height_mm), height_mm) for p in self.loops_mm))


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
    b: _Belief | None = None
    for w in windows(light, view, contours_px, upper_mm, lower_mm, taken_px, strokes):
        b = _first_belief(w) if b is None else b.resized(w.plan.shape)
        if not b.region.any() or not b.ground.any():
            return None
        b, seen = _bettered(w, b)
    assert b is not None
    ratio = (view.centre_mm[2] - upper_mm) / (view.centre_mm[2] - lower_mm)
    region, spike_mm = without_spikes(b.region, w.plan, view.centre_mm[:2], float(ratio), w.marked)
    loops = rings(w.plan, np.where(region == b.region, b.soft, np.float32(0.0)), region)
    clipped = min(w.share_full(b.region), w.share_full(b.wall))
    if not loops:
        return None
    stepped = b.uneven or b.lines
    return Explained(loops, w.plan.step_mm, clipped, b.walls, _wall_told(w, b, seen), spike_mm, b.uneven, stepped)


@dataclass(frozen=True, slots=True)
class _Belief:
    """What is thought of a window's cells.

    Attributes:
        region: the face; soft: how much of each cell is face; filled: the face with its holes.
        ground: what is known as ground; wall: what is seen of walls.
        walls: colours of the outer wall, and of holes' walls.
        others: cells of further colours of the face, colour by colour.
        first: whether all this is but a guess from the silhouette.
        uneven: whether the face's light has slopes all over, so that much of it may have any colour.
        lines: whether lines of other light were taken off its holes, see `without_lines`.
        outer_by_all: colour of the outer wall by all of its cells, those at its foot among them.
    """

    region: Mask
    soft: F32
    filled: Mask
    ground: Mask
    wall: Mask
    walls: Walls
    others: tuple[Mask, ...]
    first: bool
    uneven: bool
    lines: bool = False
    outer_by_all: WallColour | None = None

    def resized(self, shape: tuple[int, int]) -> _Belief:
        """The same on a finer grid."""
        finer = [resized(m, shape) for m in (self.region, self.filled, self.ground, self.wall)]
        others = tuple(resized(m, shape) for m in self.others)
        return replace(self, region=finer[0], filled=finer[1], ground=finer[2], wall=finer[3], others=others)


def _first_belief(w: Window) -> _Belief:
    """The inside of the silhouette is face, what lies clear of it ground."""
    deep = cv2.distanceTransform(w.rough, cv2.DIST_L2, 3) * w.plan.step_mm
    core = np.asarray(deep > min(CORE_MM, 0.5 * float(deep.max())), np.uint8)
    whole = filled(w.rough)
    near = cv2.dilate(whole, disc(w.plan.cells_in(1.0)))
    ground = np.asarray((near == 0) & w.free, np.uint8)
    none = np.zeros_like(core)
    clear = core & (w.lines.back(w.lines.never_wall(w.rough).astype(np.float32)) > CERTAINLY)
    others, uneven = _other_colours(w, clear, ground), _is_uneven(w, clear)
    return _Belief(core, core.astype(np.float32), whole, ground, none, (None, None), others, True, uneven)


def _is_uneven(w: Window, clear: Mask) -> bool:
    """Whether much of a silhouette's inside, where it can't be wall, is slopes of light."""
    light = cv2.GaussianBlur(np.ascontiguousarray(w.colour[..., 0]), (0, 0), 1.0)
    slope = np.hypot(*(cv2.Sobel(light, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1))))
    return bool(clear.any() and float((slope[clear > 0] > SLOPE).mean()) > UNEVEN)


SLOPE, UNEVEN = 0.1, 0.1
"""Change of log light in a cell that is a slope, and the share of a face that is such from which on it is uneven: plain
ones of rendered photos have at most 0.05, photographed coins 0.15 and more."""


def _other_colours(w: Window, clear: Mask, ground: Mask) -> tuple[Mask, ...]:
    """Cells of further colours of the face: of the silhouette's inside that can't be wall, what the commonest colours
    leave and the ground does not look like, if it is so much that it is no hole that was overlooked."""
    rest = clear
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


def _bettered(w: Window, b: _Belief) -> tuple[_Belief, _CellLikelihoods]:
    """Face, wall and ground learned from what is thought of each, and the cells explained by them."""
    faces = [Face.learned(w.colour, seed, FIELD_MM / w.plan.step_mm) for seed in (b.region, *b.others)]
    seen = _evidence(w, b, faces)
    if b.first:
        b = replace(b, walls=_likeliest_walls(w, b, seen))
    along = _Along.of(w.lines, w.plan, seen)
    return _learned(w, b, faces, w.lines.labelled(along.said(_as_wall(b, seen)))), seen


def _wall_told(w: Window, b: _Belief, seen: _CellLikelihoods) -> float | None:
    """How much likelier what was taken for the outer wall is wall than ground."""
    wall = (b.wall > 0) & (b.filled == 0)
    if wall.sum() * w.plan.step_mm**2 < LEAST_WALL_MM2:
        return None
    as_wall = wall_log_likelihood(seen.off_face[wall][None], seen.facing[wall][None], b.outer_by_all)[0]
    return float(np.median(np.where(seen.free[wall], as_wall, np.float32(IMPOSSIBLE)) - seen.ground[wall]))


LEAST_WALL_MM2 = 2.0
"""A smaller wall tells nothing."""


@dataclass(frozen=True, slots=True)
class _CellLikelihoods:
    """Log likelihoods of a window's cells.

    Attributes:
        face, ground: (h, w) as face, and as ground; off_face: (h, w, 3) colour less the face's.
        free: (h, w) whether the part can be there.
        certain: (h, w) cells of the face's colour, of which the lines of sight say what can't be wall.
        edge: (h, w) 0 where the colour is the same all round, 1 where it changes.
        facing: (h, w, 2) the normal that a wall of the part would have.
    """

    face: F32
    ground: F32
    off_face: F32
    free: NDArray[np.bool_]
    certain: Mask
    edge: F32
    facing: F32


def _evidence(w: Window, b: _Belief, faces: Sequence[Face]) -> _CellLikelihoods:
    aways = [face.away(w.colour) for face in faces]
    odd = ODD_UNEVEN if b.uneven else ODD_FACE
    as_face = np.max([face.log_likelihood(away, odd) for face, away in zip(faces, aways, strict=True)], axis=0)
    as_ground = ground_log_likelihood(w.colour, b.ground, w.plan.step_mm, first=b.first)
    as_face[~w.free], as_ground[~w.free] = IMPOSSIBLE, 0.0
    as_face[w.astray] -= ASTRAY
    as_face += MARKED * np.where(b.filled > 0, np.minimum(w.marked, 0), w.marked)
    like = cv2.GaussianBlur((np.min(aways, axis=0) < SURE).astype(np.float32), (0, 0), 1.0) > 0.5
    like &= w.free & ~w.astray & (w.marked >= 0)
    region = cleaned(like.astype(np.uint8), b.region, w.plan, LEAST_PATCH_MM2)
    off_face = np.asarray(w.colour - faces[0].mean, np.float32)
    towards = facing(b.region, w.plan.step_mm)
    return _CellLikelihoods(as_face, as_ground, off_face, w.free, region, edges(w.colour, w.plan), towards)


IMPOSSIBLE = -50.0
"""Log likelihood of what can't be."""
MARKED = 30.0
"""How much a person's word counts."""


def _as_wall(b: _Belief, seen: _CellLikelihoods) -> F32:
    """(h, w) log likelihood as wall, of the outer one or of a hole's."""
    outer, inner = (wall_log_likelihood(seen.off_face, seen.facing, wall) for wall in b.walls)
    return _either_wall(b, seen, outer, inner)


def _either_wall(b: _Belief, seen: _CellLikelihoods, outer: F32, inner: F32) -> F32:
    """(h, w) log likelihood as wall, of log likelihoods as the outer one and as a hole's."""
    return np.where(seen.free, np.where(b.filled > 0, inner, outer), np.float32(IMPOSSIBLE))


@dataclass(frozen=True, slots=True)
class _Along:
    """What the picture says along lines of sight, whatever the wall looks like.

    Attributes:
        lines, plan: the lines, and the window that they lie over.
        face, ground: (m, n) log likelihoods as face, and as ground; changes: see there.
    """

    lines: SightLines
    plan: Rectified
    face: F32
    ground: F32
    changes: Changes

    @classmethod
    def of(cls, lines: SightLines, plan: Rectified, seen: _CellLikelihoods) -> _Along:
        """Of a window's cells."""
        face = tempered(lines, plan, seen.face, goes_on=False)
        ground = tempered(lines, plan, seen.ground, goes_on=True)
        return cls(lines, plan, face, ground, Changes.along(lines, seen.certain, seen.edge))

    def said(self, as_wall: F32) -> Said:
        """With the cells' log likelihood (h, w) as wall, or as several kinds of it (h, w, k)."""
        return self.changes.said(self.face, tempered(self.lines, self.plan, as_wall, goes_on=False), self.ground)


def _likeliest_walls(w: Window, b: _Belief, seen: _CellLikelihoods) -> Walls:
    """The outer wall's colour and the holes' that explain the picture best, of a few that walls have.

    A wall has one colour, though it may have any: so each is tried for all of it.
    """
    along = _Along.of(w.lines.thinned(THINNED), w.plan, seen)
    tried = (None, *WALLS_TRIED)
    alike = [wall_log_likelihood(seen.off_face, seen.facing, wall) for wall in tried]

    def likeliest(as_walls: Iterable[F32]) -> int:
        return int(np.argmax(along.lines.likelihoods(along.said(cv2.merge([*as_walls])))))

    outer = likeliest(_either_wall(b, seen, one, alike[0]) for one in alike)
    inner = likeliest(_either_wall(b, seen, alike[outer], one) for one in alike)
    return tried[outer], tried[inner]


WALL_LIGHTNESS = tuple(float(v) for v in np.arange(-2.0, 1.3, 0.4))
"""Log light of walls less their face's, from a seventh to three times."""
WALLS_TRIED = tuple(WallColour.alike(np.array([v, 0.0, 0.0]), np.diag([0.2, 0.08, 0.08]) ** 2) for v in WALL_LIGHTNESS)
THINNED = 4
"""Every so many-th line of sight is asked which wall is likeliest."""


def _learned(w: Window, b: _Belief, faces: Sequence[Face], labels: NDArray[np.uint8]) -> _Belief:
    """What the labels say of the cells."""
    kinds = np.stack([labels == FACE, labels == FRONT, labels >= FRONT], -1).astype(np.float32)
    soft, front, any_wall = cv2.split(w.lines.back(kinds))
    soft = cv2.GaussianBlur(soft, (0, 0), max(LEAST_BLUR, BLUR_MM / w.plan.step_mm))
    face = (soft > 0.5).astype(np.uint8)
    if len(faces) > 1:  # where two colours meet a line is neither
        face = np.asarray(cv2.morphologyEx(face, cv2.MORPH_CLOSE, disc(w.plan.cells_in(MEETING_MM))), np.uint8)
    region = _without_marked_holes(cleaned(face, b.region, w.plan, LEAST_HOLE_MM2), w.marked)
    off_face = np.asarray(w.colour - faces[0].mean, np.float32)
    odd = np.asarray(faces[0].away(w.colour) > SURE)
    looks = HoleLooks.of(off_face, odd, region, b.ground)
    region, lines = without_lines(region, w.plan, w.marked, looks)
    one = np.ones((3, 3), np.uint8)
    beside = (cv2.erode(region, one) == 0) & (cv2.dilate(region, one) == 0)
    wall = (front > PLAINLY) & beside
    whole = filled(region)
    normals = facing(region, w.plan.step_mm)
    pure = cv2.erode((front > PLAINLY).astype(np.uint8), one) > 0

    def learned(at: NDArray[np.bool_]) -> WallColour | None:
        return WallColour.learned(off_face[at].astype(float), normals[at].astype(float), faces[0].coding_sd)

    seen = [wall & (whole == 0), wall & (whole > 0)]
    by_all = [learned(at) for at in seen]
    # what lies at a wall's foot is half ground: where that may be all that makes it light, it does not count
    outer, inner = (c if c is None or c.mean[0] < 0 else learned(at & pure) for c, at in zip(by_all, seen, strict=True))
    swept = cv2.dilate(((any_wall > PERHAPS) | (region > 0)).astype(np.uint8), disc(w.plan.cells_in(BLURRED_MM)))
    ground = ((swept == 0) & w.free).astype(np.uint8)
    others = tuple(((face.away(w.colour) < SURE) * region).astype(np.uint8) for face in faces[1:])
    others = tuple(o for o in others if o.any())
    return _Belief(
        region, soft, whole, ground, wall.astype(np.uint8), (outer, inner), others, False, b.uneven, lines, by_all[0]
    )


PLAINLY, PERHAPS = 0.7, 0.3
"""Share of a cell that is wall from which it is taken for it, and below which it is not."""
BLURRED_MM = 0.3
"""So near to an edge nothing is learned: its blur."""
MEETING_MM = 0.4
"""So broad a line where two colours of a face meet is face as well."""


def _without_marked_holes(region: Mask, marked: F32) -> Mask:
    """A region whose holes are filled of which a person says that they are part."""
    if not (marked > 0).any():
        return region
    inside = (filled(region) > 0) & (region == 0)
    _, label = cv2.connectedComponents(inside.astype(np.uint8), connectivity=4)
    meant = np.unique(label[(marked > 0) & inside])
    return np.asarray(region | np.isin(label, meant[meant > 0]), np.uint8)
