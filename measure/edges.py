"""The part's boundary to a fraction of a pixel: rough contour and view -> edge points on the true outline.

Where the outward normal points away from the camera's foot point one sees the upper edge of the part, elsewhere both: the
lower edge, and the upper one inside it, a known displacement apart. Every stretch of boundary is therefore given to the
outline that explains *all* steps of light seen there; the rough contour only says where to look.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.profile import Light, evidence, smoothest, take, vertex
from calib.view import View

Array = NDArray[np.float64]

JOINT_PX = 10.0
"""Up to this width a visible wall and both its edges are judged in one profile, beyond it each edge in its own."""
TRUST = 25.0
"""A block's evidence counts up to this much: see `smoothest`."""
SHADOW_CORES_PX = np.array([0.0, 2.0, 4.0, 7.0])
FLOOR_PX = 0.04
"""Standard deviation that a located edge has at the least, px."""


@dataclass(frozen=True, slots=True)
class EdgeLoop:
    """Located boundary of one loop, in order of travel.

    Attributes:
        points_mm: (n, 2) on the true outline.
        normals: (n, 2) unit, to the right of travel: from material to empty, for an opening's rim the reverse.
        sigma_mm: (n,) white standard deviation along the normal; inf where no edge was found.
        sensitivity: (n, s) change of the point along its normal with each shared term.
    """

    points_mm: Array
    normals: Array
    sigma_mm: Array
    sensitivity: Array


@dataclass(frozen=True, slots=True)
class Rough:
    """A contour resampled in equal steps: points and right-hand normals, millimetres, in order of travel."""

    points_mm: Array
    normals: Array


def resampled(points_mm: Array, step_mm: float, smooth_mm: float, multiple: int) -> Rough:
    """A closed polyline in equal steps, smoothed by a Gaussian along its length.

    Args:
        points_mm: (n, 2) closed, the last point not repeated.
        step_mm: wanted spacing; smooth_mm: standard deviation of the smoothing.
        multiple: the number of points is a multiple of this.
    """
    closed = np.vstack([points_mm, points_mm[:1]])
    at = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    n = max(int(at[-1] / step_mm / multiple), 4) * multiple
    t = np.arange(n) * at[-1] / n
    p = np.stack([np.interp(t, at, closed[:, 0]), np.interp(t, at, closed[:, 1])], 1)
    frequency = np.fft.rfftfreq(n, at[-1] / n)
    keep = np.exp(-2 * (np.pi * frequency * smooth_mm) ** 2)[:, None]
    p = np.fft.irfft(np.fft.rfft(p, axis=0) * keep, n, axis=0)
    u = np.fft.irfft(np.fft.rfft(p, axis=0) * (2j * np.pi * frequency)[:, None], n, axis=0)
    u /= np.maximum(np.hypot(*u.T), 1e-12)[:, None]
    return Rough(p, np.c_[u[:, 1], -u[:, 0]])


def turned_rightly(points: Array, counter_clockwise: bool) -> Array:
    """The closed polyline, reversed if it runs the other way round."""
    x, y = points.T
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    return points if (area > 0) == counter_clockwise else points[::-1]


@dataclass(frozen=True, slots=True)
class Wall:
    """Heights between which the part's upright wall stands, over the reference's plane, mm."""

    upper_mm: float
    lower_mm: float


def first_outline(view: View, contour_px: Array, wall: Wall, *, hole: bool, clockwise: bool) -> Array:
    """(n, 2) rough outline in millimetres from a contour of the visible silhouette, in the sense of travel wanted.

    The outer contour is the upper edge on the far side and the lower one on the near side; a hole's contour is its upper
    rim all round.
    """
    high = turned_rightly(view.plane(contour_px, wall.upper_mm), not clockwise)
    if hole or wall.upper_mm == wall.lower_mm:
        return high
    low = turned_rightly(view.plane(contour_px, wall.lower_mm), True)
    normals = resampled(high, 0.5, 1.0, 1)
    nearest = np.argmin(((high[:, None] - normals.points_mm[None]) ** 2).sum(2), 1)
    away = ((high - view.centre_mm[:2]) * normals.normals[nearest]).sum(1)
    share = np.clip(away / 6.0 + 0.5, 0, 1)[:, None]       # pass over smoothly where wall and face meet edge-on
    return np.asarray(share * high + (1 - share) * low)


@dataclass(frozen=True, slots=True)
class Sight:
    """What the camera sees at each point of an outline.

    Attributes:
        upper_px, lower_px: (n, 2) where the two edges are expected.
        normals_px: (n, 2) from material to empty; px_per_mm: (n,) along them.
        wall_px: (n,) width of the visible wall, 0 on the far side.
        hidden: (n,) whether the face itself hides the lower edge of a visible wall.
    """

    upper_px: Array
    lower_px: Array
    normals_px: Array
    px_per_mm: Array
    wall_px: Array
    hidden: NDArray[np.bool_]


def sight(view: View, points_mm: Array, outward: Array, wall: Wall, face_px: list[Array]) -> Sight:
    """Where the edges of an upright wall appear.

    Args:
        outward: (n, 2) normals from material to empty.
        face_px: closed contours of the upper face in the photo, its boundary first, then its holes.
    """
    far = ((points_mm - view.centre_mm[:2]) * outward).sum(1) >= 0
    upper = view.pixels(points_mm, wall.upper_mm)
    lower = view.pixels(points_mm, wall.lower_mm)
    z = np.where(far, wall.upper_mm, wall.lower_mm)
    step = view.pixels(points_mm + 0.05 * outward, z) - view.pixels(points_mm, z)
    scale = np.hypot(*step.T) / 0.05
    n = step / (0.05 * scale)[:, None]
    width = np.where(far, 0.0, _wall_width(lower, upper, n))
    beyond = lower + CLEAR_PX * n
    return Sight(upper, lower, n, scale, width, ~far & (width > 1) & _covered(beyond, face_px))


def _wall_width(lower_px: Array, upper_px: Array, normals_px: Array) -> Array:
    """(n,) distance from each lower edge point, against its normal, to the upper edge of the loop.

    The upper edge is the lower one displaced away from the foot point, so on a curved wall a profile meets it at a
    neighbouring point, not at the point's own image.
    """
    shift = lower_px - upper_px
    straight = np.maximum((shift * normals_px).sum(1), 0)
    n = len(lower_px)
    spacing = max(float(np.median(np.hypot(*(upper_px - np.roll(upper_px, 1, 0)).T))), 1e-6)
    reach = min(int(np.hypot(*shift.T).max() / spacing) + 2, n // 3)
    if reach < 2:
        return straight
    steps = np.arange(-reach, reach + 1)
    near = (np.arange(n)[:, None] + steps) % n
    d = upper_px[near] - lower_px[:, None]
    out = (d * normals_px[:, None]).sum(2)
    along = (d * np.stack([-normals_px[:, 1], normals_px[:, 0]], 1)[:, None]).sum(2)
    crosses = (along[:, :-1] * along[:, 1:] <= 0) & (np.abs(along[:, 1:] - along[:, :-1]) > 1e-9)
    t = np.clip(along[:, :-1] / np.where(crosses, along[:, :-1] - along[:, 1:], 1), 0, 1)
    width = np.where(crosses, -(out[:, :-1] + t * (out[:, 1:] - out[:, :-1])), np.inf)
    width = np.where(width > -1.0, width, np.inf)
    nearest = np.argmin(np.abs(width - straight[:, None]), 1)
    best = np.take_along_axis(width, nearest[:, None], 1)[:, 0]
    return np.where(np.isfinite(best), np.maximum(best, 0), straight)


CLEAR_PX = 4.0
"""How far beyond a lower edge the ground must be in sight for the edge to be looked for."""


def _covered(points_px: Array, contours_px: list[Array]) -> NDArray[np.bool_]:
    """(n,) whether points lie inside the first contour and outside all others (even-odd rule)."""
    import cv2

    corner = np.floor(points_px.min(0)) - 2
    size = np.ceil(points_px.max(0)) - corner + 3
    mask = np.zeros((int(size[1]), int(size[0])), np.uint8)
    cv2.fillPoly(mask, [np.round(c - corner).astype(np.int32) for c in contours_px], 1)
    at = np.round(points_px - corner).astype(int)
    return np.asarray(mask[at[:, 1], at[:, 0]] > 0)


@dataclass(frozen=True, slots=True)
class Witness:
    """Evidence of a loop's blocks over offsets of the outline along its normals.

    Attributes:
        xs_px: (x,) offsets tried; cost: (b, x).
        upper_share: (b, x) how much of the evidence's sharpness comes from the upper edge.
    """

    xs_px: Array
    cost: Array
    upper_share: Array


def witness(light: Light, s: Sight, width: int, reach_px: float, step_px: float, sigma_px: float) -> Witness:
    """Evidence of every block of `width` neighbouring points."""
    b = len(s.wall_px) // width
    wall = s.wall_px.reshape(b, width).mean(1)
    hidden = s.hidden.reshape(b, width).any(1)
    xs = np.arange(-reach_px, reach_px + 1e-9, step_px)
    cost = np.zeros((b, len(xs)))
    share = np.ones((b, len(xs)))

    def judged(of: Array, blocks: NDArray[np.intp], inner: float, outer: float, cores: Array, walls: Array) -> Array:
        at, n = (a.reshape(b, width, 2)[blocks].reshape(-1, 2) for a in (of, s.normals_px))
        p = take(light, at, n, inner + reach_px, outer + reach_px, width)
        return np.asarray(evidence(p, walls, xs, cores, sigma_px).cost.min(2))

    far = np.nonzero(wall < 0.375)[0]
    if len(far):
        cost[far] = judged(s.upper_px, far, 7, 8, SHADOW_CORES_PX, np.zeros(len(far)))
    joint = np.nonzero((wall >= 0.375) & (wall <= JOINT_PX) & ~hidden)[0]
    if len(joint):
        inner = 7 + JOINT_PX
        cost[joint] = judged(s.lower_px, joint, inner, 8, SHADOW_CORES_PX[:3], wall[joint])
        share[joint] = 0.3
    upper_only = np.nonzero((wall >= 0.375) & hidden)[0]
    if len(upper_only):
        cost[upper_only] = judged(s.upper_px, upper_only, 7, 6, np.zeros(1), np.zeros(len(upper_only)))
    apart = np.nonzero((wall > JOINT_PX) & ~hidden)[0]
    if len(apart):
        u = judged(s.upper_px, apart, 7, 6, np.zeros(1), np.zeros(len(apart)))
        low = judged(s.lower_px, apart, 6, 8, SHADOW_CORES_PX[:2], np.zeros(len(apart)))
        cost[apart] = u + low
        bend_u, bend_low = _bend(u), _bend(low)
        share[apart] = (bend_u + 1e-6) / (bend_u + bend_low + 2e-6)
    return Witness(xs, np.minimum(cost - cost.min(1, keepdims=True), TRUST), share)


def _bend(cost: Array) -> Array:
    """Second difference of each row, not below nought."""
    d = np.zeros_like(cost)
    d[:, 1:-1] = np.maximum(cost[:, 2:] - 2 * cost[:, 1:-1] + cost[:, :-2], 0)
    return d


STAGES = ((8.0, 0.5, 4, 1.0), (4.0, 0.5, 4, 0.6), (2.5, 0.25, 4, 0.35))
"""Search, wide then narrow: reach px, step px, points a block, smoothing of the outline before it is sampled, mm."""


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
    flip = -1.0 if opening else 1.0
    found: list[EdgeLoop] = []
    for reach, grid, width, smooth in STAGES:
        face = [view.pixels(o, wall.upper_mm) for o in outlines]
        if opening:
            face.insert(0, _frame(face[0]))
        found = []
        for outline in outlines:
            rough = resampled(outline, step, smooth, width)
            s = sight(view, rough.points_mm, flip * rough.normals, wall, face)
            w = witness(light, s, width, reach, grid, sigma_px)
            found.append(_points(view, rough, s, w, wall, width, flip))
        outlines = [e.points_mm for e in found]
    return found


def _frame(contour_px: Array) -> Array:
    """(4, 2) a box far round a contour: the plate that an opening is in."""
    lo, hi = contour_px.min(0) - 1e4, contour_px.max(0) + 1e4
    return np.array([lo, [hi[0], lo[1]], hi, [lo[0], hi[1]]])


def _points(view: View, rough: Rough, s: Sight, w: Witness, wall: Wall, width: int, flip: float) -> EdgeLoop:
    """The smoothest path through a loop's evidence as points on the true outline."""
    path = smoothest(w.cost, 4.0 * float(w.xs_px[1] - w.xs_px[0]), closed=True)
    x, sigma = vertex(w.cost, w.xs_px, path)
    scale = s.px_per_mm.reshape(-1, width).mean(1)
    n = flip * rough.normals[width // 2 :: width]
    points = rough.points_mm.reshape(-1, width, 2).mean(1) + (x / scale)[:, None] * n
    share = w.upper_share[np.arange(len(path)), path][:, None]
    sensitivity = share * _along(view, points, n, wall.upper_mm) + (1 - share) * _along(view, points, n, wall.lower_mm)
    lift = _lift(view, points, n, wall.upper_mm) * share[:, 0]
    return EdgeLoop(points, flip * n, np.hypot(sigma, FLOOR_PX) / scale, flip * np.c_[sensitivity, lift])


def _along(view: View, points_mm: Array, normals: Array, height_mm: float) -> Array:
    """(n, 10) change of a located point along its normal with the view's parameters."""
    px = view.pixels(points_mm, height_mm)
    return np.asarray(np.einsum("nk,nkp->np", normals, view.plane_sensitivity(px, height_mm)))


def _lift(view: View, points_mm: Array, normals: Array, height_mm: float) -> Array:
    """(n,) change of a located point along its normal with the height of the edge that was seen."""
    px = view.pixels(points_mm, height_mm)
    d = (view.plane(px, height_mm + 0.01) - view.plane(px, height_mm - 0.01)) / 0.02
    return np.asarray((d * normals).sum(1))
