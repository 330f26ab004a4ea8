"""The part's boundary to a fraction of a pixel: rough contour and view -> edge points on the true outline.

Every stretch of boundary is given to the outline that explains *all* steps of light seen there, upper edge and lower
edge of a visible wall together; the rough contour only says where to look.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.path import smoothest, vertex
from calib.light.profile import Light, evidence, roughness_of_face, take
from calib.view.view import View
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rough import Rough, first_outline, resampled
from measure.edges.shared_terms import by_height, by_side, by_view
from measure.edges.sight import Body, Sight, Wall, sight
from measure.edges.wall_width import FOOT_SLACK, calmed, sideways, within

JOINT_PX = 10.0
"""Up to this width, or as far as the search goes, a visible wall and both its edges are judged in one profile, beyond
it each edge in its own."""
TRUST = 25.0
"""A block's evidence counts up to this much: see `smoothest`."""
SHADOW_CORES_PX = np.array([0.0, 2.0, 4.0, 7.0])
WIDE_CORES_PX = np.array([0.0, 3.0, 6.0, 10.0, 15.0])
"""Widths of a cast shadow's core that are tried, as far as the search can see a shadow's far edge."""
FLOOR_PX = 0.04
"""Standard deviation that a located edge has at the least, px."""


@dataclass(frozen=True, slots=True)
class Witness:
    """Evidence of a loop's blocks over offsets of the outline along its normals.

    Attributes:
        xs_px: (x,) offsets tried; cost: (b, x).
        upper_share: (b, x) how much of the evidence's sharpness comes from the upper edge.
        clipped: (b,) whether light at the sensor's limit takes part.
    """

    xs_px: Array
    cost: Array
    upper_share: Array
    clipped: NDArray[np.bool_]


def witness(
    light: Light,
    s: Sight,
    width: int,
    reach_px: float,
    step_px: float,
    sigma_px: float,
    near_extra_px: float = 0.0,
    table: bool = False,
) -> Witness:
    """Evidence of every block of `width` neighbouring points.

    Where a wall is seen the search goes near_extra_px farther both ways: the rough contour may follow either rim.
    Around an opening in a table, the table may be grainy, and where the wall's foot is to be seen is known less well.
    """
    b = len(s.wall_px) // width
    wall = s.wall_px.reshape(b, width).mean(1)
    if table:
        wall = calmed(wall, sideways(s, width))
    hidden = s.hidden.reshape(b, width).any(1)
    extra = int(near_extra_px / step_px)
    steps = int(reach_px / step_px) + extra
    xs = np.asarray(np.arange(-steps, steps + 1) * step_px, np.float64)
    cost = np.zeros((b, len(xs)))
    share = np.ones((b, len(xs)))
    clipped = np.zeros(b, bool)

    def judged(
        of: Array, blocks: NDArray[np.intp], inner: float, outer: float, cores: Array, walls: Array, tried: Array = xs
    ) -> Array:
        at, n = (a.reshape(b, width, 2)[blocks].reshape(-1, 2) for a in (of, s.normals_px))
        p = take(light, at, n, inner + tried[-1], outer + tried[-1], width)
        clipped[blocks] |= p.clipped > 0.05
        rough = roughness_of_face(p) if table else None
        return np.asarray(evidence(p, walls, tried, cores, sigma_px, wall_grid_px=grid, roughness=rough).cost.min(2))

    together = max(JOINT_PX, xs[-1] + 9)  # else each edge would come into the other's search
    grid = 0.5 if xs[-1] < 4 else 1.0 if xs[-1] < 6 else 2.0
    cores = SHADOW_CORES_PX if xs[-1] < 6 else WIDE_CORES_PX

    def fill(blocks: NDArray[np.intp], of: Array, inner: float, walls: Array, widest: float) -> None:
        spare = max(extra - int(np.ceil(min(widest, near_extra_px) / step_px)), 0)
        middle = slice(spare, len(xs) - spare)
        found = judged(of, blocks, inner, 8, cores, walls, xs[middle])
        cost[blocks] = found.max(1, keepdims=True) + TRUST
        cost[blocks, middle] = found

    far = np.nonzero(wall < 0.375)[0]
    if len(far):
        fill(far, s.upper_px, 13, np.zeros(len(far)), 0.0)
    seen = (wall >= 0.375) & (wall <= together) & ~hidden
    for low, high in pairwise((0.0, 3.0, 6.0, 10.0, 15.0, 22.0, 30.0)):  # no farther in than need be: a rib may be thin
        joint = np.nonzero(seen & (wall > low) & (wall <= high))[0]
        if len(joint):
            fill(joint, s.lower_px, 13 + high, wall[joint], high)
            share[joint] = 0.3
    upper_only = np.nonzero((wall >= 0.375) & hidden)[0]
    if len(upper_only):
        cost[upper_only] = judged(s.upper_px, upper_only, 13, 8, np.zeros(1), np.zeros(len(upper_only)))
    cost[s.confused.reshape(b, width).any(1)] = 0
    apart = np.nonzero((wall > together) & ~hidden)[0]
    if len(apart):
        u = judged(s.upper_px, apart, 13, 8, np.zeros(1), np.zeros(len(apart)))
        foot = judged(s.lower_px, apart, 9, 8, cores, np.zeros(len(apart)))
        if table:
            foot = within(foot, FOOT_SLACK * wall[apart] / step_px)
        cost[apart] = u + foot
        bend_u, bend_low = _bend(u), _bend(foot)
        share[apart] = (bend_u + 1e-6) / (bend_u + bend_low + 2e-6)
    cost += FARTHER * (xs / (reach_px + near_extra_px)) ** 2
    return Witness(xs, np.minimum(cost - cost.min(1, keepdims=True), TRUST), share, clipped)


FARTHER = 3.0
"""What it costs an outline to lie at the limit of the search instead of where it was expected."""


def _bend(cost: Array) -> Array:
    """Second difference of each row, not below nought."""
    d = np.zeros_like(cost)
    d[:, 1:-1] = np.maximum(cost[:, 2:] - 2 * cost[:, 1:-1] + cost[:, :-2], 0)
    return d


LOOSE, STIFF = 4.0, 40.0
"""What a bend in the path costs, per pixel of a jump between neighbouring blocks: while the outline is still rough, and
along a feature whose shape is known."""
STAGES = ((9.0, 10.0, 0.75, 8, 1.0), (5.0, 0.0, 0.5, 4, 0.6), (2.5, 0.0, 0.25, 4, 0.35))
"""Search, wide then narrow: reach px, more where a wall is seen, step px, points a block, smoothing of the outline
before it is sampled, mm."""
OPENING_SMOOTHING = 0.5
"""Times as much smoothing for the rim of an opening: its notches for fingers and catches are small. So little would let
waves of the rough contour grow; see `wall_width.calmed`."""


def locate(
    light: Light,
    view: View,
    contours_px: list[Array],
    wall: Wall,
    *,
    opening: bool = False,
    sigma_px: float = 1.0,
) -> list[EdgeLoop]:
    """Edge points of a part's loops, or of an opening's rim.

    Args:
        light: the photo around the part.
        view: the solved view.
        contours_px: rough closed contours, full-resolution pixels: the outer boundary first, then holes.
        wall: heights of the part's edges; of an opening's rim (0) and the far side of the plate it is in.
        opening: whether the first contour is the rim of an opening in the plane; it is then the only one.
        sigma_px: optical blur.
    """
    step = view.mm_per_px(np.asarray(view.plane(contours_px[0]).mean(0)))
    outlines = [first_outline(view, c, wall, hole=k > 0 or opening, clockwise=k > 0) for k, c in enumerate(contours_px)]
    flip, lessened = (-1.0, OPENING_SMOOTHING) if opening else (1.0, 1.0)
    found: list[EdgeLoop] = []
    for reach, near_extra, grid, width, smooth in STAGES:
        body = Body.of(view, outlines, wall, opening)
        found = []
        for outline in outlines:
            rough = resampled(outline, step, lessened * smooth, width)
            s = sight(view, rough.points_mm, flip * rough.normals, wall, body)
            w = witness(light, s, width, reach, grid, sigma_px, near_extra, opening)
            found.append(placed(view, rough, s, w, wall, width, flip, LOOSE))
        outlines = [e.points_mm for e in found]
    return found


def placed(
    view: View, rough: Rough, s: Sight, w: Witness, wall: Wall, width: int, flip: float, stiffness: Array | float
) -> EdgeLoop:
    """The smoothest path through a loop's evidence as points on the true outline."""
    path = smoothest(w.cost, stiffness * float(w.xs_px[1] - w.xs_px[0]), closed=True)
    x, sigma = vertex(w.cost, w.xs_px, path)
    scale = s.px_per_mm.reshape(-1, width).mean(1)
    n = flip * rough.normals.reshape(-1, width, 2).mean(1)
    n /= np.maximum(np.hypot(*n.T), 1e-9)[:, None]
    points = rough.points_mm.reshape(-1, width, 2).mean(1) + (x / scale)[:, None] * n
    share = w.upper_share[np.arange(len(path)), path][:, None]
    sensitivity = share * by_view(view, points, n, wall.upper_mm) + (1 - share) * by_view(
        view, points, n, wall.lower_mm
    )
    lift = by_height(view, points, n, wall.upper_mm) * share[:, 0]
    spread = np.where(w.clipped, CLIPPED_SPREAD_PX, SPREAD_PX) / scale
    doubt = by_side(n, rim_doubt_px(s.wall_px.reshape(-1, width).mean(1)) / scale)
    return EdgeLoop(
        points,
        flip * n,
        np.hypot(sigma, FLOOR_PX) / scale,
        flip * np.c_[sensitivity, lift, spread, np.zeros(len(lift)), doubt],
    )


SPREAD_PX, CLIPPED_SPREAD_PX = 0.06, 0.2
"""Standard deviation of what all edges are seen too far out by: the picture's own sharpening and tone curve, a rounded
rim; and where the light is clipped."""
DOUBT = 0.13
"""Share of a narrow wall's width that is in doubt. Errors of straight edges in rendered photos of printed sheets are a
little likelier still with 0.10 to 0.12; parts beside a card are what keeps it larger."""
NARROW_PX, WIDE_PX, WIDE_DOUBT_PX = 4.0, 6.0, 0.05
"""Up to NARROW_PX a wall's two rims are seen as one; from WIDE_PX on each by itself, and little is in doubt."""
HIDDEN_PX = 0.375
"""A wall narrower than this is not seen at all."""


def rim_doubt_px(wall_px: Array) -> Array:
    """Standard deviation, px, from mistaking one rim of a wall that is seen so wide for the other."""
    known = [0.0, NARROW_PX, WIDE_PX], [0.0, DOUBT * NARROW_PX, WIDE_DOUBT_PX]
    return np.where(wall_px < HIDDEN_PX, 0.0, np.interp(wall_px, *known))
