"""The rim that explains the picture of an opening: every cell is panel, wall or floor.

An opening is a hole in a face that goes on all round. Along a line of sight, outwards from the camera's foot point,
there follow the panel, its near rim, the floor, the foot of the far wall, that wall, the far rim and the panel: so what
holds for a hole in a part (`explaining`) holds here, but that nobody says how far down the wall goes. Its foot is
seen, though, and one depth must do for all of it: the likeliest one is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.silhouette.appearance import LEAST_SD, GrainedSurface, WallColour, facing, wall_log_likelihood
from measure.silhouette.evidence import filled
from measure.silhouette.explaining import (
    ASTRAY,
    BLUR_MM,
    BLURRED_MM,
    CORE_MM,
    IMPOSSIBLE,
    LEAST_BLUR,
    LEAST_PATCH_MM2,
    MARKED,
    PERHAPS,
    PLAINLY,
    SURE,
    THINNED,
    WALL_LIGHTNESS,
)
from measure.silhouette.rectified import F32, Mask
from measure.silhouette.sight_lines import FACE, FRONT, Said, SightLines
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.silhouette.tabletop import disc
from measure.silhouette.window import Changes, Window, cleaned, edges, resized, rings, tempered, windows

DEPTHS_MM = tuple(float(d) for d in np.geomspace(0.7, 14.0, 13))
"""Depths of the wall that are tried, some 28 % apart: panels and lids are thinner (common practice, no source)."""
FINER = (0.75, 0.85, 0.93, 1.0, 1.07, 1.15, 1.3)
"""Depths tried about one that was found, as shares of it."""
SHADED_PANEL = 0.01
"""Share of the panel that a shadow is reckoned with: a dark floor looks like a panel in the deepest one."""
BESIDE_MM = 2.0
"""So near to the rough contour the panel is not known at first: the contour may follow the wall's foot."""
WALL_SD = np.array([0.2, 0.04, 0.04])
"""Standard deviation of a wall's colour about what is tried, besides the panel's own grain."""


@dataclass(frozen=True, slots=True)
class ExplainedOpening:
    """An opening's rim on the plane of the panel's face.

    Attributes:
        rim_mm: (n, 2) closed, counter-clockwise.
        depth_mm: how far down its wall is seen to go.
        wall: the wall's colour less the panel's, where it was learned.
        clipped: share of the panel and of the wall that is at the sensor's limit, the lesser of both.
        wall_told: how much likelier, in log likelihood, its depth is than any with which the rim would lie elsewhere; 0
            where no wall is seen although one would be; None where the depth makes no difference.
    """

    rim_mm: Array
    depth_mm: float
    wall: WallColour | None
    clipped: float
    wall_told: float | None


def explain_opening(
    light: Light,
    view: View,
    contour_px: Array,
    taken_px: Sequence[Array] = (),
    strokes: Strokes = NO_STROKES,
) -> ExplainedOpening | None:
    """Find the rim of an opening in the plane of the reference.

    Args:
        light: the photo round it.
        view: the solved view.
        contour_px: (n, 2) rough contour, of the rim or of what is seen below it.
        taken_px: areas (n, 2) that something else lies on.
        strokes: what a person has marked as opening and as something else.

    Returns:
        The rim, or None where none is found.
    """
    camera_mm = float(view.centre_mm[2])
    lean = float(np.hypot(*(view.plane(contour_px) - view.centre_mm[:2]).T).max()) / camera_mm
    b: _Guess | None = None
    for w in windows(light, view, [contour_px], 0.0, 0.0, taken_px, strokes):
        b = _first_guess(w) if b is None else b.resized(w.plan.shape)
        if not b.panel.any() or not b.floor.any():
            return None
        b = _bettered(w, b, camera_mm, lean)
    assert b is not None
    loops = rings(w.plan, b.soft, b.hole)
    if not loops:
        return None
    clipped = min(w.share_full(b.panel), w.share_full(b.wall))
    return ExplainedOpening(loops[0], b.depth_mm, b.colour, clipped, b.told)


@dataclass(frozen=True, slots=True)
class _Guess:
    """What is thought of a window's cells.

    Attributes:
        hole: the opening; soft: how much of each cell is opening.
        panel, floor: what is known as panel and as floor; wall: what is seen of the wall.
        depth_mm, colour: of the wall.
        guesses: how many passes are still to search widely.
        told: see `ExplainedOpening.wall_told`.
    """

    hole: Mask
    soft: F32
    panel: Mask
    floor: Mask
    wall: Mask
    depth_mm: float
    colour: WallColour | None
    guesses: int
    told: float | None

    @property
    def first(self) -> bool:
        """Whether all this is but a guess from the rough contour."""
        return self.guesses == WIDE_PASSES

    def resized(self, shape: tuple[int, int]) -> _Guess:
        """The same on a finer grid."""
        hole, panel, floor, wall = (resized(m, shape) for m in (self.hole, self.panel, self.floor, self.wall))
        return replace(self, hole=hole, panel=panel, floor=floor, wall=wall)


WIDE_PASSES = 2
"""Passes that try every depth and every wall."""


def _first_guess(w: Window) -> _Guess:
    """The inside of the contour is floor, what lies clear of it panel."""
    deep = cv2.distanceTransform(w.rough, cv2.DIST_L2, 3) * w.plan.step_mm
    floor = np.asarray(deep > min(CORE_MM, 0.5 * float(deep.max())), np.uint8)
    near = cv2.dilate(w.rough, disc(w.plan.cells_in(BESIDE_MM)))
    panel = np.asarray((near == 0) & w.free, np.uint8)
    none = np.zeros_like(floor)
    return _Guess(w.rough, w.rough.astype(np.float32), panel, floor, none, DEPTHS_MM[0], None, WIDE_PASSES, None)


@dataclass(frozen=True, slots=True)
class _OpeningLikelihoods:
    """What a window's cells say.

    Attributes:
        panel, floor: (h, w) log likelihoods.
        off_panel: (h, w, 3) colour less the panel's; grain: (3, 3) covariance of the panel's own about it.
        free: (h, w) whether the opening can be there.
        certain: (h, w) cells of the panel's colour, of which the lines of sight say what can't be wall.
        edge: (h, w) 0 where the colour is the same all round, 1 where it changes.
        facing: (h, w, 2) the normal that a wall of the opening would have.
    """

    panel: F32
    floor: F32
    off_panel: F32
    grain: Array
    free: NDArray[np.bool_]
    certain: Mask
    edge: F32
    facing: F32


def _evidence(w: Window, b: _Guess) -> _OpeningLikelihoods:
    of_panel = GrainedSurface.learned(w.colour, b.panel, w.plan.step_mm, first=b.first)
    of_floor = GrainedSurface.learned(w.colour, b.floor, w.plan.step_mm, first=b.first)
    panel = replace(of_panel, in_shadow=SHADED_PANEL).log_likelihood(w.colour)
    floor = of_floor.log_likelihood(w.colour)
    panel[~w.free], floor[~w.free] = 0.0, IMPOSSIBLE
    floor[w.astray] -= ASTRAY
    panel -= MARKED * w.marked
    like = (of_panel.away(w.colour) < SURE) & (panel > floor)
    like = (cv2.GaussianBlur(like.astype(np.float32), (0, 0), 1.0) > 0.5) | ~w.free
    certain = cleaned(like.astype(np.uint8), b.panel, w.plan, LEAST_PATCH_MM2)
    off = np.asarray(w.colour - of_panel.mean, np.float32)
    towards = facing(1 - b.hole, w.plan.step_mm)
    return _OpeningLikelihoods(
        panel, floor, off, of_panel.covariance, w.free, certain, edges(w.colour, w.plan), towards
    )


@dataclass(frozen=True, slots=True)
class _OpeningAlong:
    """What the picture says along lines of sight, whatever the wall looks like and however deep it goes.

    Attributes:
        lines: the lines, with a wall of any depth; w: the window that they lie over; seen: what its cells say.
        panel, floor: (m, n) log likelihoods as each.
    """

    lines: SightLines
    w: Window
    seen: _OpeningLikelihoods
    panel: F32
    floor: F32

    @classmethod
    def of(cls, lines: SightLines, w: Window, seen: _OpeningLikelihoods) -> _OpeningAlong:
        """Of a window's cells."""
        panel = tempered(lines, w.plan, seen.panel, goes_on=True)
        return cls(lines, w, seen, panel, tempered(lines, w.plan, seen.floor, goes_on=False))

    def wall(self, colour: WallColour | None) -> F32:
        """(m, n) log likelihood as a wall of a colour."""
        seen = self.seen
        as_wall = np.where(seen.free, wall_log_likelihood(seen.off_panel, seen.facing, colour), np.float32(IMPOSSIBLE))
        return tempered(self.lines, self.w.plan, as_wall, goes_on=False)

    def likelihoods(self, ratio: float, walls: F32) -> list[float]:
        """Of the likeliest sequences with each of several walls (m, n, k) that go as deep as the ratio says."""
        lines, told = self._with(ratio, walls)
        return lines.likelihoods(told)

    def labelled(self, ratio: float, wall: F32) -> NDArray[np.uint8]:
        """(m, n) label of each sample in the likeliest sequences."""
        lines, told = self._with(ratio, wall)
        return lines.labelled(told)

    def _with(self, ratio: float, wall: F32) -> tuple[SightLines, Said]:
        lines = self.lines.with_ratio(ratio)
        between = Changes.along(lines, self.seen.certain, self.seen.edge)
        return lines, between.said(self.panel, wall, self.floor)


def _bettered(w: Window, b: _Guess, camera_mm: float, lean: float) -> _Guess:
    """Panel, wall and floor learned from what is thought of each, the wall's depth found, and the cells explained.

    Args:
        camera_mm: height of the camera; lean: how wide a wall is seen at the most, in its depths.
    """
    seen = _evidence(w, b)
    lines = replace(w.lines, around=True)
    few = _OpeningAlong.of(lines.thinned(THINNED), w, seen)
    wall, depth_mm = b.colour, b.depth_mm
    if b.guesses:
        tried = [*_walls(seen), *([wall] if wall else [])]
        walls = np.stack([few.wall(one) for one in tried], 2)
        scores = np.array([few.likelihoods(_ratio(camera_mm, depth), walls) for depth in DEPTHS_MM]).T
        best, at = np.unravel_index(scores.argmax(), scores.shape)
        wall, depth_mm = tried[best], DEPTHS_MM[at]
        b = replace(b, told=_told(scores.max(0), int(at), lean))
    walls = few.wall(wall)[..., None]
    finer = [depth_mm * share for share in FINER]
    depth_mm = max(finer, key=lambda depth: few.likelihoods(_ratio(camera_mm, depth), walls)[0])
    along = _OpeningAlong.of(lines, w, seen)
    labels = along.labelled(_ratio(camera_mm, depth_mm), along.wall(wall))
    return _learned(w, replace(b, depth_mm=depth_mm), seen, labels)


def _told(scores: Array, best: int, lean: float) -> float | None:
    """See `ExplainedOpening.wall_told`; scores: log likelihood of each of DEPTHS_MM."""
    depths = np.array(DEPTHS_MM)
    others = np.abs(depths - depths[best]) * lean > MOVED_MM
    others[max(best - 1, 0) : best + 2] = False  # what lies between two depths is found afterwards
    if not others.any():
        return None
    return float(scores[best] - scores[others].max()) if best > 0 else 0.0


MOVED_MM = 0.15
"""A rim that lies elsewhere by so much is wrong (what makers of parts that have to fit still bear; common practice)."""


def _ratio(camera_mm: float, depth_mm: float) -> float:
    """See `measure.silhouette.sight_lines`."""
    return camera_mm / (camera_mm + depth_mm)


def _walls(seen: _OpeningLikelihoods) -> list[WallColour | None]:
    """Walls that are tried: of any colour like the panel's; and lighter and darker ones, with the panel's grain."""
    spread = seen.grain + np.diag(WALL_SD**2)
    return [None, *(WallColour.alike(np.array([v, 0.0, 0.0]), spread) for v in WALL_LIGHTNESS)]


def _learned(w: Window, b: _Guess, seen: _OpeningLikelihoods, labels: NDArray[np.uint8]) -> _Guess:
    """What the labels say of the cells. Things that stand in the opening are part of it."""
    kinds = np.stack([labels != FACE, labels == FRONT, labels >= FRONT], -1).astype(np.float32)
    soft, front, any_wall = cv2.split(w.lines.back(kinds))
    soft = cv2.GaussianBlur(soft, (0, 0), max(LEAST_BLUR, BLUR_MM / w.plan.step_mm))
    hole = filled(cleaned((soft > 0.5).astype(np.uint8), b.floor, w.plan, 0.0))
    one = np.ones((3, 3), np.uint8)
    wall = (front > PLAINLY) & (cv2.erode(hole, one) > 0)
    normals = facing(1 - hole, w.plan.step_mm)
    colour = WallColour.learned(seen.off_panel[wall].astype(float), normals[wall].astype(float), LEAST_SD)
    clear = disc(w.plan.cells_in(BLURRED_MM))
    no_wall = cv2.dilate((any_wall > PERHAPS).astype(np.uint8), clear) == 0
    floor = ((cv2.erode(hole, clear) > 0) & no_wall).astype(np.uint8)
    panel = ((cv2.dilate(hole, clear) == 0) & w.free).astype(np.uint8)
    floor = floor if floor.any() else b.floor
    left = max(b.guesses - 1, 0)
    return _Guess(hole, soft, panel, floor, wall.astype(np.uint8), b.depth_mm, colour, left, b.told)
