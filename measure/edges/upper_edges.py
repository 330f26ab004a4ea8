"""A part's edges to a fraction of a pixel, from the outline of its face.

The upper face of an upright part is never hidden, so its boundary is the outline all the way round. Where the wall is
hidden the upper edge stands against what lies beyond. Where it is seen there are two lines, the upper edge and the
wall's foot, a known distance apart: each tells of the same outline, the foot even where the upper rim is rounded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.path import smoothest, vertex
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.edge_loop import EdgeLoop
from measure.edges.inner_lines import RimPlaces, rim_places
from measure.edges.light_steps import WallLight, steps_at
from measure.edges.narrow_walls import NarrowWalls, narrow_walls
from measure.edges.outermost import outermost_at
from measure.edges.rim_seen import rim_seen
from measure.edges.rough import Rough, resampled
from measure.edges.rounded import (
    HIDDEN_LINE_SD,
    UPPER_LINE,
    UPPER_LINE_SD,
    Rim,
    beforehand,
    heard,
    likely_rounded,
    silhouette_inset,
)
from measure.edges.shared_terms import by_height, by_side, by_view
from measure.edges.sight import Body, Wall
from measure.geometry.polylines import evenly

HIDDEN_PX = 0.4
"""A wall that is narrower is not seen."""
INNER_PX, OUTER_PX = 6.0, 5.0
"""How much face and ground is looked at beside the positions tried."""
CLEAR_PX = 3.0
"""So far beyond its foot the ground must be in sight."""
TRUST = 25.0
"""A stretch's evidence counts up to this much against the smoothness of the path."""
FOOT_TRUST = 8.0
"""The same of a foot: in the dark of a hole, or where a shadow begins, it may be another line."""
FARTHER = 2.0
"""What it costs to lie at the limit of the search."""
FENCE_IN_MM, FENCE_OUT_MM, FENCE_PX, FENCE = 0.12, 0.3, 2.0, 4.0
"""An upper edge lies so near to the face's outline, inwards and outwards (a rounded rim has not the face's colour), or
within so many pixels; the cost there, which grows with the fourth power."""
UPPER_SD_MM, FOOT_SD_MM = 0.01, 0.012
"""Standard deviation of what an upper edge, and a foot with its contact shadow, are seen wrongly by along a stretch,
besides noise (rendered parts with sharp rims)."""
HOLE_FOOT_SD_MM = 0.08
"""The same of a foot in a hole, where it lies in the dark."""
FLOOR_PX = 0.03
"""Standard deviation that a located point has at the least."""
SPREAD_PX, CLIPPED_SPREAD_PX, CLIPPED_OUT_PX = 0.1, 0.4, 0.5
"""Standard deviation of what all edges are seen too far out by: sharpening, the tone curve; the same where the light of
one side is clipped, and how much too far that side then reaches: the step goes on above what the sensor can tell."""
APART_PX = (5.0, 7.0, 10.0, 12.0)
"""Wide walls are judged in groups, each looking no farther across the wall than its narrowest."""
WALL_GRID_PX = 0.5
"""Widths of walls are rounded to this, so that one set of solvers serves many stretches."""


@dataclass(frozen=True, slots=True)
class Search:
    """How finely edges are looked for.

    Attributes:
        reach_px, step_px: how far to either side, and how densely.
        smooth_mm: of the outline before it is sampled.
        apart_px: a wall that is seen wider has two lines that are judged each by itself.
        width: points a stretch.
    """

    reach_px: float
    step_px: float
    smooth_mm: float
    apart_px: float
    width: int

    @property
    def knows_shape(self) -> bool:
        """Whether it begins at an outline that was found, and not at a rough one: then the line that light shows is
        looked for as far inside that as it was found inside."""
        return self.smooth_mm == 0


WIDE, NARROW, ALONG = (3.5, 0.5, 0.35, 12.0), (2.0, 0.25, 0.25, 5.0), (2.0, 0.25, 0.0, 5.0)
"""Reach, step, smoothing and apartness of the three searches, see `Search` (chosen): what is found by one leaves the
next less to look for."""
NORMAL_MM = 0.05
"""Step along an outline's normal that shows where it runs in the photo."""
OTHER_LINE_PX = 1.5
"""Of two lines of a wall that are judged each by itself the other's blur begins so near to it."""
LAST = 1.001
"""Short of the last place of a grid, so that it has a next one."""
STRETCH_MM, STRETCH_POINTS = 0.25, (2, 5)
"""Light is averaged over so much of the outline, in so many points at least and at most."""


def searches(px_mm: float) -> tuple[Search, Search, Search]:
    """A wide search, a narrow one, and one along features already found, for a size of pixels."""
    width = int(np.clip(round(STRETCH_MM / px_mm), *STRETCH_POINTS))
    return (
        Search(*WIDE, width),
        Search(*NARROW, width),
        Search(*ALONG, width),
    )


LOOSE, STIFF = 4.0, 40.0
"""What a bend in the path costs, per pixel of a jump between neighbouring stretches: while the outline is still rough,
and along a feature whose shape is known."""
JOINT_LINE = 0.5
"""Of what a rounded rim moves an upper line, so much is seen where this and the foot are judged as one."""
SIDE_SD_MM, JOINT_SIDE = 0.006, 0.06
"""Standard deviation of what edges that face one way have wrong together: of all, and as a share of the width of a wall
whose two lines are seen as one."""


Flags = NDArray[np.bool_]
WallsLight = tuple[WallLight | None, WallLight | None]


@dataclass(frozen=True, slots=True)
class Seen:
    """What is known of a part before its edges are looked for.

    Attributes:
        outlines_mm: (n, 2) closed outlines of its face, the outer boundary counter-clockwise, then holes, clockwise.
        wall: heights of its edges.
        sigma_px: optical blur.
        walls_light: what is known of the light of the outer wall, and of holes' walls.
        opening: whether the only loop is the rim of an opening: counter-clockwise, its empty side within.
        uneven: whether the face's light has slopes all over, so that its edges inside mean nothing.
        narrow: what is known of walls seen so narrow that a rounded rim runs into their foot.
        places: where the outline lies, if the rim is surely not sharp.
    """

    outlines_mm: tuple[Array, ...]
    wall: Wall
    sigma_px: float
    walls_light: WallsLight = (None, None)
    opening: bool = False
    uneven: bool = False
    narrow: NarrowWalls | None = None
    places: RimPlaces | None = None

    def is_hole(self, loop: int) -> bool:
        """Whether a loop has its empty side within."""
        return self.opening or loop > 0

    @property
    def flip(self) -> float:
        """−1 where the normals to the right of travel point into material."""
        return -1.0 if self.opening else 1.0

    def deeper(self, apart: Apart | None) -> Seen:
        """The same with a wall whose foot lies where it is seen, if it is."""
        if apart is None:
            return self
        upper, lower = self.wall.upper_mm, self.wall.lower_mm
        return replace(self, wall=Wall(upper, upper + (1 + apart.share) * (lower - upper)))


@dataclass(frozen=True, slots=True)
class Apart:
    """How much farther the upper line lies from the foot's than was reckoned, median over the outer boundary.

    Attributes:
        mm: along the normal; share: of the width that was reckoned with.
    """

    mm: float
    share: float


@dataclass(frozen=True, slots=True)
class Located:
    """Edge points of all loops.

    Attributes:
        loops: the outer boundary first.
        rim: what is known of the upper rim by then.
        seen: the part, with what was found of its walls.
        rim_shown: whether the light across its rim told of that.
    """

    loops: tuple[EdgeLoop, ...]
    rim: Rim
    seen: Seen
    rim_shown: bool = False


@dataclass(frozen=True, slots=True)
class _Sides:
    """What the camera sees of each stretch's wall.

    Attributes:
        upper_px, lower_px: (n, 2) where the outline is expected at both heights; normals_px: (n, 2) outwards.
        px_per_mm: (b,) along the normals.
        wall_px: (b,) how far the lower line lies outside the upper one; negative where it is hidden.
        foot: (b,) whether the foot is seen.
    """

    upper_px: Array
    lower_px: Array
    normals_px: Array
    px_per_mm: Array
    wall_px: Array
    foot: NDArray[np.bool_]


def locate(light: Light, view: View, seen: Seen, rim: Rim, rounded: float | None = None) -> Located:
    """Edge points from the face's outline.

    Args:
        light: the photo around the part.
        view: the solved view.
        seen: the part; rim: what is known of its upper rim.
        rounded: probability that this is rounded, where all walls together have told (`standpoint`).
    """
    step = view.mm_per_px(seen.outlines_mm[0].mean(0))
    outlines = list(seen.outlines_mm)
    found: list[EdgeLoop] = []
    shown = None
    for search in searches(step)[:2]:
        body = Body.of(view, outlines, seen.wall, seen.opening)
        roughs = [resampled(o, step, search.smooth_mm, search.width).turned(seen.flip) for o in outlines]
        evidence = _evidence(light, view, roughs, seen, body, search)
        found, apart = _laid(view, evidence, seen, search, rim, LOOSE)
        outlines = [e.points_mm for e in found]
    if seen.opening:
        seen = seen.deeper(apart)
        body = Body.of(view, outlines, seen.wall, seen.opening)
        found, _ = along(light, view, roughs, seen, body, search, rim, LOOSE)
    elif rim.told != "sharp":
        likely = likely_rounded(None if apart is None else apart.mm) if rounded is None else rounded
        radius = None
        shown = None if seen.uneven else rim_seen(light, view, tuple(e.points_mm for e in found), seen.wall)
        if shown is not None:
            likely = heard(likely, shown.log_odds)
            radius = shown.radius(*beforehand(rim.told))
        rim = Rim.known(rim.told, likely, radius)
        before = [e.points_mm for e in found]
        found, _ = _laid(view, evidence, seen, search, rim, LOOSE)
        if shown is not None and rim.rounded > HARDLY:
            places = rim_places(shown, rim, before)
            seen = replace(seen, narrow=narrow_walls(shown, rim, found, before), places=places)
        if seen.narrow is not None or seen.places is not None:
            found, _ = _laid(view, evidence, seen, search, rim, LOOSE)
    return Located(tuple(found), rim, seen, shown is not None)


HARDLY = 0.2
"""A rim that is less likely rounded moves no narrow wall."""


def along(
    light: Light,
    view: View,
    roughs: Sequence[Rough],
    seen: Seen,
    body: Body,
    search: Search,
    rim: Rim,
    stiffness: float | Sequence[Array],
    numbers: Sequence[int] | None = None,
) -> tuple[list[EdgeLoop], Apart | None]:
    """Edge points of all loops in one search, and how far both lines of the wall lie apart; None where too little of
    them is seen.

    Args:
        roughs: where to look, loop by loop; stiffness: what a bend in the path costs, for each loop's stretches.
        body: all that the part covers.
        numbers: of the loops, if these are not all of them.
    """
    return _laid(view, _evidence(light, view, roughs, seen, body, search, numbers), seen, search, rim, stiffness)


@dataclass(frozen=True, slots=True)
class _LoopEvidence:
    """What light says along one loop, whatever its upper rim is like.

    Attributes:
        number: of the loop; rough: where was looked; sides, judged: see there; fence: (b, x) see `_fence`.
    """

    number: int
    rough: Rough
    sides: _Sides
    judged: _Judged
    fence: Array


def _evidence(
    light: Light,
    view: View,
    roughs: Sequence[Rough],
    seen: Seen,
    body: Body,
    search: Search,
    numbers: Sequence[int] | None = None,
) -> list[_LoopEvidence]:
    """Of all loops; see `along`."""
    out: list[_LoopEvidence] = []
    for k, rough in zip(range(len(roughs)) if numbers is None else numbers, roughs, strict=True):
        sides, wall_light = _sides(view, rough, seen.wall, body, search.width), seen.walls_light[seen.is_hole(k)]
        if seen.uneven:
            judged = _judged_from_outside(light, sides, search, seen.sigma_px)
        else:
            judged = _judged(light, sides, search, seen.sigma_px, wall_light)
        fence = _fence(rough, sides, judged, seen.outlines_mm[k], search.width, wall_light)
        out.append(_LoopEvidence(k, rough, sides, judged, fence))
    return out


def _laid(
    view: View,
    evidence: Sequence[_LoopEvidence],
    seen: Seen,
    search: Search,
    rim: Rim,
    stiffness: float | Sequence[Array],
) -> tuple[list[EdgeLoop], Apart | None]:
    """Edge points by the evidence of all loops; see `along`."""
    out: list[EdgeLoop] = []
    apart: Apart | None = None
    for i, e in enumerate(evidence):
        firm = stiffness if isinstance(stiffness, float) else stiffness[i]
        hole = seen.is_hole(e.number)
        loop = _placed(view, e.rough, e.sides, e.judged, e.fence, seen, search, rim, firm, hole=hole)
        out.append(loop.flipped() if seen.opening else loop)
        if not e.number:
            apart = _apart(e.judged, e.sides)
    return out, apart


def _fence(rough: Rough, s: _Sides, j: _Judged, outline_mm: Array, width: int, wall_light: WallLight | None) -> Array:
    """(b, x) cost of positions away from the face's outline.

    Where a wall has its face's light that outline may lie anywhere on the wall.
    """
    from scipy.spatial import cKDTree

    points, normals = (a.reshape(-1, width, 2).mean(1) for a in (rough.points_mm, rough.normals))
    around = evenly(np.vstack([outline_mm, outline_mm[:1]]), OUTLINE_STEP_MM)
    away = ((points - around[cKDTree(around).query(points)[1]]) * normals).sum(1)
    there = away[:, None] + j.xs_px / s.px_per_mm[:, None]
    least = FENCE_PX / s.px_per_mm
    alike = 0.0 if wall_light is None else float(np.exp(-0.5 * (np.log(wall_light.ratio) / ALIKE) ** 2))
    on_wall = np.where(s.foot & (s.wall_px > 0), alike * s.wall_px / s.px_per_mm, 0.0)
    inwards = (np.maximum(FENCE_IN_MM, least) + on_wall)[:, None]
    room = np.where(there > 0, np.maximum(FENCE_OUT_MM, least)[:, None], inwards)
    return np.asarray(FENCE * (there / room) ** 4)


ALIKE = 0.1
"""A wall that is lighter or darker than its face by this (natural logarithm) has another light than that (chosen)."""
OUTLINE_STEP_MM = 0.05


def _sides(view: View, rough: Rough, wall: Wall, body: Body, width: int) -> _Sides:
    upper = view.pixels(rough.points_mm, wall.upper_mm)
    lower = view.pixels(rough.points_mm, wall.lower_mm)
    step = view.pixels(rough.points_mm + NORMAL_MM * rough.normals, wall.upper_mm) - upper
    scale = np.hypot(*step.T) / NORMAL_MM
    n = step / np.maximum(NORMAL_MM * scale, 1e-12)[:, None]
    scale = np.maximum(
        scale, 0.5 / view.mm_per_px(rough.points_mm.mean(0))
    )  # where an outline turns back it has no normal
    wall_px = ((lower - upper) * n).sum(1)
    seen = (wall_px > 0) & ~body.covers(lower + CLEAR_PX * n)
    by = (-1, width)
    return _Sides(upper, lower, n, scale.reshape(by).mean(1), wall_px.reshape(by).mean(1), seen.reshape(by).all(1))


@dataclass(frozen=True, slots=True)
class _Judged:
    """Evidence of a loop's stretches.

    Attributes:
        xs_px: (x,) positions tried.
        upper, foot: (b, x) what they cost by the upper edge, or by both of a narrow wall's lines at once, and by the
            foot.
        clipped: (b,) 1 where the inner side's light is at the sensor's limit, −1 where the outer side's is, else 0.
        lighter: (b,) whether the inner side is lighter than the outer one.
        hidden, joint, apart: (b,) whether the wall is hidden; seen so narrow that its lines are judged at once; or each
            by itself.
        two: (b,) whether both lines are seen apart.
        spread_px: standard deviation of what all edges are seen too far out by.
    """

    xs_px: Array
    upper: Array
    foot: Array
    clipped: Array
    lighter: Flags
    hidden: Flags
    joint: Flags
    apart: Flags
    two: Flags
    spread_px: float = SPREAD_PX


def _judged(light: Light, s: _Sides, search: Search, sigma_px: float, wall_light: WallLight | None) -> _Judged:
    """Evidence along the normals of a loop."""
    count = round(search.reach_px / search.step_px)
    xs = np.asarray(search.step_px * np.arange(-count, count + 1), float)
    b = len(s.wall_px)
    upper, foot = np.zeros((b, len(xs))), np.zeros((b, len(xs)))
    clipped, lighter = np.zeros(b), np.zeros(b, bool)

    def judge(into: Array, at: Flags, of: Array, inner: float, outer: float, second_px: float = 0.0) -> None:
        blocks = np.flatnonzero(at)
        if not len(blocks):
            return
        points, normals = (a.reshape(b, search.width, 2)[blocks].reshape(-1, 2) for a in (of, s.normals_px))
        e = steps_at(light, points, normals, search.width, xs, inner, outer, sigma_px, second_px, wall_light)
        into[blocks] = e.cost
        lighter[blocks] = e.lighter
        inner_full, outer_full = (e.clipped > CLIPPED_SHARE).T
        clipped[blocks] = np.where(inner_full == outer_full, clipped[blocks], np.where(inner_full, 1, -1))

    reach = search.reach_px
    hidden = s.wall_px <= HIDDEN_PX
    apart = s.wall_px > search.apart_px
    narrow = ~hidden & ~apart
    judge(upper, hidden, s.upper_px, INNER_PX + reach, OUTER_PX + reach)
    for low in np.arange(0.0, search.apart_px, WALL_GRID_PX):
        w = low + WALL_GRID_PX / 2
        at = narrow & s.foot & (s.wall_px > low) & (s.wall_px <= low + WALL_GRID_PX)
        judge(upper, at, s.upper_px, INNER_PX + reach, OUTER_PX + reach + w, w)
    judge(upper, narrow & ~s.foot, s.upper_px, INNER_PX + reach, reach + 1.0)
    for low, high in pairwise((*(w for w in APART_PX if w >= search.apart_px), np.inf)):
        at = (s.wall_px > low) & (s.wall_px <= high)
        room = min(low - OTHER_LINE_PX - reach, OUTER_PX + reach)  # where the other line can't be, wherever this one is
        judge(upper, at, s.upper_px, INNER_PX + reach, room)
        judge(foot, at & s.foot, s.lower_px, room, OUTER_PX + reach)
    return _Judged(xs, upper, foot, clipped, lighter, hidden, narrow & s.foot, apart, apart & s.foot)


def _judged_from_outside(light: Light, s: _Sides, search: Search, sigma_px: float) -> _Judged:
    """The same of a face with steps: only where it, or the foot of its wall, meets the ground."""
    count = round(search.reach_px / search.step_px)
    xs = np.asarray(search.step_px * np.arange(-count, count + 1), float)
    b = len(s.wall_px)
    upper, foot, clipped = np.zeros((b, len(xs))), np.zeros((b, len(xs))), np.zeros(b)
    lighter = np.zeros(b, bool)
    hidden = s.wall_px <= HIDDEN_PX
    by_foot = ~hidden & s.foot
    for into, at, of in ((upper, ~by_foot, s.upper_px), (foot, by_foot, s.lower_px)):
        blocks = np.flatnonzero(at)
        if len(blocks):
            points, normals = (a.reshape(b, search.width, 2)[blocks].reshape(-1, 2) for a in (of, s.normals_px))
            e = outermost_at(light, points, normals, search.width, xs, OUTER_PX + search.reach_px, sigma_px)
            into[blocks] = e.cost
            lighter[blocks] = e.lighter
            inner_full, outer_full = (e.clipped > CLIPPED_SHARE).T
            clipped[blocks] = np.where(inner_full == outer_full, 0, np.where(inner_full, 1, -1))
    return _Judged(xs, upper, foot, clipped, lighter, hidden, np.zeros(b, bool), by_foot, by_foot, UNEVEN_SPREAD_PX)


UNEVEN_SPREAD_PX = 0.6
"""See `_Judged`: of an uneven face, whose rim mirrors the ground here and is dark there (seven photographed
coins: their radii came out too small by 0.6 px, root mean square)."""


CLIPPED_SHARE = 0.25
"""Share of one side's samples at the sensor's limit from which a stretch counts as clipped there."""


def _placed(
    view: View,
    rough: Rough,
    s: _Sides,
    j: _Judged,
    fence: Array,
    seen: Seen,
    search: Search,
    rim: Rim,
    stiffness: Array | float,
    *,
    hole: bool,
) -> EdgeLoop:
    """The smoothest path through a loop's evidence, as points on the outline."""
    scale, xs, wall = s.px_per_mm, j.xs_px, seen.wall
    line = np.where(j.joint, JOINT_LINE, np.where(j.hidden, 0.0, 1.0))
    line_sd = UPPER_LINE_SD * rim.size_mm * line
    foot_sd = HOLE_FOOT_SD_MM if hole else FOOT_SD_MM
    inside = UPPER_LINE * rim.radius_mm * line * scale  # how far the upper line lies in the outline
    upper_bend, foot_bend = _bend(j.upper, xs), _bend(j.foot, xs)
    upper_weight = 1 / (1 + upper_bend * (np.hypot(UPPER_SD_MM, line_sd) * scale) ** 2)
    foot_weight = 1 / (1 + foot_bend * (foot_sd * scale) ** 2)
    points, normals = (a.reshape(-1, search.width, 2).mean(1) for a in (rough.points_mm, rough.normals))
    normals /= np.maximum(np.hypot(*normals.T), 1e-9)[:, None]
    out = _outside_line(s, j, seen, rim, points, normals)
    begun_px = out.mm * scale if search.knows_shape else np.zeros_like(scale)
    upper = _shifted(j.upper, xs, inside) * upper_weight[:, None]
    cost = np.minimum(upper, TRUST) + fence + np.minimum(j.foot * foot_weight[:, None], FOOT_TRUST)
    cost += FARTHER * ((xs + begun_px[:, None]) / search.reach_px) ** 2
    path = smoothest(cost, stiffness * search.step_px, closed=True)
    x, sigma = vertex(cost, xs, path)
    known = upper_bend * upper_weight
    share = np.where(j.two, known / np.maximum(known + foot_bend * foot_weight, 1e-9), 1.0)
    noise = np.sqrt(share**2 / np.maximum(upper_bend, 1e-9) + (1 - share) ** 2 / np.maximum(foot_bend, 1e-9))
    by_rim = out.inset + UPPER_LINE * line * share
    by_rim += out.known * (out.by_radius - by_rim)
    out_mm = x / scale + out.mm
    if seen.places is not None:
        place, by_radius, sure = seen.places.at(points, normals, x / scale - out.clipped_mm)
        sure = np.where(j.joint | j.hidden, sure, 0.0)
        out_mm += sure * (place - out_mm)
        by_rim += sure * (by_radius - by_rim)
    at = points + out_mm[:, None] * normals
    of_view = share[:, None] * by_view(view, at, normals, wall.upper_mm)
    of_view += (1 - share)[:, None] * by_view(view, at, normals, wall.lower_mm)
    lift = by_height(view, at, normals, wall.upper_mm) * share
    spread = np.where(j.clipped != 0, max(CLIPPED_SPREAD_PX, j.spread_px), j.spread_px) / scale
    hidden_sd = np.where(out.inset > 0, HIDDEN_LINE_SD * rim.size_mm, 0.0)
    by_line = np.hypot(share * line_sd, (1 - share) * foot_sd)
    joint_sd = np.where(j.joint, JOINT_SIDE * s.wall_px / scale, 0.0)
    side_sd = np.sqrt(SIDE_SD_MM**2 + by_line**2 + hidden_sd**2 + joint_sd**2)
    sure = np.where(np.isfinite(sigma), np.hypot(noise, FLOOR_PX), np.inf) / scale
    return EdgeLoop(at, normals, sure, np.c_[of_view, lift, spread, by_rim, by_side(normals, side_sd)])


@dataclass(frozen=True, slots=True)
class _OutsideLine:
    """How far outside the line that light shows of an upper edge the outline lies, (b,) each.

    Attributes:
        mm: so far; clipped_mm: of that, with the other sign, by light that the sensor can't tell.
        inset: in radii of the rim, of hidden walls.
        by_radius, known: how it changes with the radius along narrow walls, and how much is known of that, 0 to 1.
    """

    mm: Array
    clipped_mm: Array
    inset: Array
    by_radius: Array
    known: Array


def _outside_line(s: _Sides, j: _Judged, seen: Seen, rim: Rim, points: Array, normals: Array) -> _OutsideLine:
    scale, height = s.px_per_mm, seen.wall.upper_mm - seen.wall.lower_mm
    slope = np.maximum(-s.wall_px, 0) / scale / max(height, 1e-6)
    inset = np.where(j.hidden & (height > 0), silhouette_inset(slope, j.lighter.astype(float)), 0.0)
    clipped = CLIPPED_OUT_PX * j.clipped / scale
    shift, by_radius, known = np.zeros((3, len(scale)))
    if seen.narrow is not None and j.joint.any():
        shift, by_radius, known = (np.where(j.joint, a, 0.0) for a in seen.narrow.at(points, normals))
    return _OutsideLine(inset * rim.radius_mm + shift - clipped, clipped, inset, by_radius, known)


def _bend(cost: Array, xs: Array) -> Array:
    """(b,) second derivative of costs (b, x) where they are least: the inverse variance of the position."""
    k = np.clip(cost.argmin(1), 1, len(xs) - 2)
    rows = np.arange(len(cost))
    second = cost[rows, k - 1] - 2 * cost[rows, k] + cost[rows, k + 1]
    return np.asarray(np.maximum(second, 0) / (xs[1] - xs[0]) ** 2)


def _shifted(cost: Array, xs: Array, shift_px: Array) -> Array:
    """Costs (b, x) moved outwards by shifts (b,)."""
    if not shift_px.any():
        return cost
    step = xs[1] - xs[0]
    t = np.clip((xs[None, :] - shift_px[:, None] - xs[0]) / step, 0, len(xs) - LAST)
    i = t.astype(int)
    t -= i
    return np.asarray((1 - t) * np.take_along_axis(cost, i, 1) + t * np.take_along_axis(cost, i + 1, 1))


def _apart(j: _Judged, s: _Sides) -> Apart | None:
    """How far the upper line lies inside the foot's, of the stretches that show both plainly."""
    (u, su), (f, sf) = (vertex(c[j.two], j.xs_px, c[j.two].argmin(1)) for c in (j.upper, j.foot))
    plain = (su < PLAIN_PX) & (sf < PLAIN_PX)
    if plain.sum() < FEWEST_STRETCHES:
        return None
    px = (f - u)[plain]
    return Apart(*(float(np.median(px / by[j.two][plain])) for by in (s.px_per_mm, s.wall_px)))


PLAIN_PX = 0.3
"""A line whose position has a smaller standard deviation is plain."""
FEWEST_STRETCHES = 8
"""Of a boundary that show both lines, to tell how far these lie apart."""
