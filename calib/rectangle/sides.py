"""The four straight sides of a flat rectangular reference, located to a fraction of a pixel.

Each side is searched for as a whole: the evidence of all its profiles is summed along every straight line near the
expected one. What survives is a short list of lines a side (the true edge, perhaps its lower rim or its shadow's edge);
geometry then chooses among them, since only one combination has the reference's known shape.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.path import vertex
from calib.light.profile import Light, evidence, take
from calib.view.view import Prior, Rectangle, SideEdges, Solution, project, shape_covariance, side_points, solve

CORNER_MARGIN_MM = 4.3
"""Left out at both ends of a side: an ID-1 corner's largest radius and the blur."""
SHADOW_CORES_PX = np.array([0, 1.0, 1.75, 2.5, 3.25, 4.0, 5.0, 7.0])
SHADOW_PRICE = 60.0
"""What a whole side pays for the assumption that a shadow borders it."""
INNER_PX, OUTER_PX = 13.0, 8.0
CONFIDENT = 25.0
"""A block's evidence counts up to this much against a line: texture under a few blocks must not outvote the rest."""
FLOOR_PX, COMMON_SD_PX = 0.03, 0.12
"""Least standard deviations of one point of a side, and of what all its points have in common."""
RIM_DOUBT = 0.2
"""Share of a narrow visible wall's width by which a side may be off, one rim taken for the other."""
BROADEST_WALL_PX = 3.0
"""Both rims of a wall seen wider than this show, and it adds no more to that (chosen)."""
COARSE_PX, FINE_PX, WIDE_REACH_PX = 0.5, 0.25, 4
"""Steps of the positions tried: where the search reaches farther than the third, and else (chosen)."""
BESIDE_CORNER_MM = 0.8
"""A side is straight from so far beside its rounded corner on (chosen)."""
NEAR_PX, POINT_SD_PX = 0.8, 0.08
"""Points so near to a side's line are its own; and how exactly each is located where no profile says (chosen)."""


@dataclass(frozen=True, slots=True)
class Run:
    """Profiles and evidence along one side, for a guessed view.

    Attributes:
        side: 0 bottom, 1 right, 2 top, 3 left; along: (b,) -0.5 to 0.5.
        upper: whether the upper rim is what bounds the reference there.
        points_px, normals_px: (b, 2) expected points and outward normals.
        wall_px: width of the visible wall, 0 where the upper rim bounds the reference.
        xs_px: (x,) and cost: (b, x, g), see `EdgeLikelihood`.
    """

    side: int
    along: Array
    upper: bool
    points_px: Array
    normals_px: Array
    wall_px: float
    xs_px: Array
    cost: Array


LONGEST_PX, WIDEST_WALL_PX = 20_000.0, 400.0
"""A side that is seen longer, or a wall that is seen wider, is a wrong view's: no more of it is looked at (chosen:
larger than in any photo that is taken in)."""


@dataclass(frozen=True, slots=True)
class CardSide:
    """A straight line across a run's evidence: offset and its change along the side, px; which width of shadow's core
    goes with it; and its summed cost."""

    offset_px: float
    slope_px: float
    shadow: int
    cost: float


def run(
    light: Light, parameters: Array, rectangle: Rectangle, side: int, reach_px: float, width: int, sigma_px: float
) -> Run:
    """Evidence along one side within reach_px of where the view expects it."""
    size = rectangle.width_mm if side % 2 == 0 else rectangle.height_mm
    edge = max(CORNER_MARGIN_MM, rectangle.corner_mm + BESIDE_CORNER_MM) / size
    ends = project(parameters, side_points(side, np.array([edge - 0.5, 0.5 - edge]), *_size(rectangle), 0.0))
    length = float(np.hypot(*(ends[1] - ends[0])))
    n = max(int(min(length, LONGEST_PX) / width), 6) * width
    along = np.linspace(edge - 0.5, 0.5 - edge, n)
    low = side_points(side, along, *_size(rectangle), 0.0)
    high = side_points(side, along, *_size(rectangle), rectangle.thickness_mm)
    p_low, p_high = project(parameters, low), project(parameters, high)
    u = np.gradient(p_low, axis=0)
    u /= np.hypot(*u.T)[:, None]
    normals = np.c_[-u[:, 1], u[:, 0]]  # y points down in the photo, so outward is to the left of travel
    inside = project(parameters, np.zeros((1, 3)))
    if ((p_low - inside) * normals).sum() < 0:
        normals = -normals
    wall = ((p_low - p_high) * normals).sum(1)
    upper = bool(wall.mean() <= 0)
    points = p_high if upper else p_low
    wall = np.clip(wall, 0, WIDEST_WALL_PX).reshape(-1, width).mean(1)
    profiles = take(light, points, normals, INNER_PX + reach_px + np.ceil(wall.max()), OUTER_PX + reach_px, width)
    xs = np.arange(-reach_px, reach_px + 1e-9, COARSE_PX if reach_px > WIDE_REACH_PX else FINE_PX)
    found = evidence(profiles, wall, xs, SHADOW_CORES_PX, sigma_px)
    middle = slice(width // 2, None, width)
    return Run(side, along[middle], upper, points[middle], normals[middle], float(wall.mean()), xs, found.cost)


def _size(rectangle: Rectangle) -> tuple[float, float]:
    return rectangle.width_mm, rectangle.height_mm


def lines(r: Run, most: int = 3) -> list[CardSide]:
    """The best straight lines through a run's evidence, best first, at least 1 px apart."""
    cost = np.minimum(r.cost - r.cost.min((1, 2), keepdims=True), CONFIDENT)
    step, reach = r.xs_px[1] - r.xs_px[0], r.xs_px[-1]
    slopes = np.arange(-reach / 2, reach / 2 + 1e-9, step)
    t = r.along / np.ptp(r.along)
    padded = np.pad(cost, ((0, 0), (0, 1), (0, 0)), constant_values=CONFIDENT)
    total = np.empty((len(slopes), len(r.xs_px), cost.shape[2]))
    rows = np.arange(len(t))[:, None]
    for i, slope in enumerate(slopes):
        at = np.round((r.xs_px[None, :] + slope * t[:, None] + reach) / step).astype(int)
        at = np.where((at >= 0) & (at < len(r.xs_px)), at, len(r.xs_px))
        total[i] = padded[rows, at].sum(0)
    total[..., 1:] += SHADOW_PRICE
    out: list[CardSide] = []
    for k in np.argsort(total, axis=None):
        i, j, g = np.unravel_index(k, total.shape)
        if all(abs(r.xs_px[j] - o.offset_px) >= 1.0 for o in out):
            out.append(CardSide(float(r.xs_px[j]), float(slopes[i]), int(g), float(total[i, j, g])))
            if len(out) == most:
                break
    return out


def points_on(r: Run, line: CardSide, near_px: float = NEAR_PX) -> SideEdges:
    """Each block's own edge point, where one lies near the line."""
    t = r.along / np.ptp(r.along)
    expected = line.offset_px + line.slope_px * t
    step = r.xs_px[1] - r.xs_px[0]
    cost = r.cost[:, :, line.shadow]
    fence = np.where(np.abs(r.xs_px - expected[:, None]) <= near_px + step / 2, cost, np.inf)
    at = fence.argmin(1)
    x, sigma = vertex(cost, r.xs_px, at)
    ok = np.isfinite(sigma) & (np.abs(x - expected) < near_px + step)
    return edges_at(r, x, sigma, ok)


def edges_at(r: Run, x: Array, sigma: Array, ok: NDArray[np.bool_]) -> SideEdges:
    """Located points of a side.

    Args:
        r: the run.
        x, sigma: (n,) offsets along the normals and their standard deviations, px.
        ok: (n,) which of them count.
    """
    return SideEdges(
        r.side,
        r.along[ok],
        r.upper,
        (r.points_px + x[:, None] * r.normals_px)[ok],
        r.normals_px[ok],
        np.hypot(sigma[ok], FLOOR_PX),
        shape_covariance(float(np.hypot(COMMON_SD_PX, RIM_DOUBT * min(r.wall_px, BROADEST_WALL_PX)))),
    )


def choose(
    runs: list[Run], rectangle: Rectangle, prior: Prior, start: Array, size_px: tuple[int, int]
) -> tuple[Solution, list[CardSide]] | None:
    """The lines, one a side, that evidence and geometry agree on best; None if a side has too few points."""
    options = [lines(r) for r in runs]
    edges = [[points_on(r, o) for o in opts] for r, opts in zip(runs, options, strict=True)]
    best: tuple[float, Solution, list[CardSide]] | None = None
    for pick in product(*(range(len(o)) for o in options)):
        light_cost = sum((options[i][k].cost - options[i][0].cost) / BLOCKS_TOGETHER for i, k in enumerate(pick))
        if best is not None and light_cost > best[0]:
            continue
        sides = [_thinned(edges[i][k]) for i, k in enumerate(pick)]
        if any(s is None for s in sides):
            continue
        try:
            solved = solve([s for s in sides if s is not None], rectangle, prior, start, size_px)
        except np.linalg.LinAlgError:
            continue
        cost = light_cost + solved.chi2 / 2
        if best is None or cost < best[0]:
            best = (cost, solved, [options[i][k] for i, k in enumerate(pick)])
    return best and (best[1], best[2])


BLOCKS_TOGETHER = 12.0
"""How many blocks make one independent witness: what misleads one (a shadow, the rim) misleads its neighbours."""


def _thinned(edges: SideEdges) -> SideEdges | None:
    """Five points that stand for all of a side, for trying combinations quickly; None if too few were found."""
    if len(edges.along) < 6:
        return None
    groups = np.array_split(np.arange(len(edges.along)), 5)
    pick = [int(g[len(g) // 2]) for g in groups]
    residual = []
    for g, k in zip(groups, pick, strict=True):
        t = edges.along[g] - edges.along[k]
        off = ((edges.points_px[g] - edges.points_px[k]) * edges.normals_px[k]).sum(1)
        residual.append(np.median(off - np.polyfit(t, off, 1)[0] * t) if len(g) > 2 else 0.0)
    points = edges.points_px[pick] + np.array(residual)[:, None] * edges.normals_px[pick]
    return SideEdges(
        edges.side,
        edges.along[pick],
        edges.upper,
        points,
        edges.normals_px[pick],
        np.full(len(pick), POINT_SD_PX),
        edges.shape_px2,
    )


Stages = tuple[tuple[float, int, float], ...]
STAGES: Stages = ((8.0, 8, 0.8), (3.0, 6, 0.8), (1.5, 4, 0.8))
"""Search for the sides, wide then narrow: reach px, profiles a block, how far from the straight line a point may lie,
px (the lens bows a side until its radial term is known)."""


NEAR = STAGES[1:]
"""The same without the wide search."""


def located(
    light: Light,
    start: Array,
    rectangle: Rectangle,
    prior: Prior,
    size_px: tuple[int, int],
    sigma_px: float,
    stages: Stages = STAGES,
) -> tuple[Solution, list[SideEdges]] | None:
    """View from the reference's sides, first coarse, then fine.

    Args:
        light: the photo around the reference.
        start: (10,) guessed view, right to about the first stage's reach at the reference.
        rectangle: nominal size.
        prior: of the camera.
        size_px: of the photo.
        sigma_px: optical blur.
        stages: of the search, as in STAGES; at least one.
    """
    parameters = start
    solution = None
    edges: list[SideEdges] = []
    for reach, width, near in stages:
        runs = [run(light, parameters, rectangle, k, reach, width, sigma_px) for k in range(4)]
        chosen = choose(runs, rectangle, prior, parameters, size_px)
        if chosen is None:
            return None
        edges = [points_on(r, line, near) for r, line in zip(runs, chosen[1], strict=True)]
        try:
            solution = solve(edges, rectangle, prior, chosen[0].view.parameters, size_px)
        except np.linalg.LinAlgError:
            return None
        parameters = solution.view.parameters
    assert solution is not None
    return solution, edges
