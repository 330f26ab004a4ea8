"""The feet of a part's walls, as light along the image of the vertical shows them.

The upper edges are taken as found. For each short run of outline the foot is looked for over all widths of wall that a
view may allow for. Outside of the part wall and ground are even, but for the ground's shadow. Down a hole's wall the
light fades, for less and less of the sky is seen from there, and on the ground beyond it comes back: a hole's foot is
where light rises, and where it does not, dark ground or wall, none is seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.light.path import vertex
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.light_steps import steps_at
from measure.edges.rough import resampled
from measure.edges.sight import Body, Wall

STRETCH, SMOOTH_MM = 4, 0.25
"""Points averaged into one profile; smoothing of the outline before it is sampled."""
LEAST_WALL_PX = 6.0
"""A narrower wall is not told apart from its edges' blur."""
STEEP = 0.6
"""Least cosine between a run's normal and the image of the vertical: a wall seen lengthwise has no width."""
NARROWEST, WIDEST, RATIO_STEP = 0.4, 1.7, 0.01
"""Widths of wall that are tried, over the expected one: focal lengths of phones' cameras differ that much."""
FACE_PX, UPPER_PX, UPPER_STEP_PX, EDGE_PX = 8.5, 2.5, 0.25, 1.5
"""How much of the face is looked at; how far the upper edge may be off; how densely it is tried; how near another edge
may come."""
UPPER_SHARE = 0.2
"""Of a wall's expected width, how much farther off its upper edge may be: the view it was found by may be wrong."""
OUT_MM = 0.05
"""So far out the image of a normal is looked for."""
CLEAR_PX = 3.0
"""A foot nearer to the upper edge is lost in that one's blur."""
GROUND_PX = 4.0
"""How much ground must be in sight beyond the widest wall."""
RUN_MM = 3.0
"""Length of a run of outline."""
BIN = 1.15
"""Walls whose widths differ by less are judged in one go."""
CORRELATED, TRUST, SIDE_TRUST = 4.0, 6.0, 12.0
"""How many neighbouring stretches say the same; how much one of them, and one side, can say against a width."""
PLAIN = 3.0
"""A foot is seen where all other widths are unlikelier by this, natural logarithm."""
FOOT_SD_MM, HOLE_FOOT_SD_MM = 0.03, 0.06
"""Standard deviation of a wall's width as it is seen along one side, besides noise: contact shadow, light on the wall
(45 rendered parts with sharp rims); and in holes, where it is darker (chosen)."""
DIRECTIONS = 8
"""Sides that have what is wrong with their feet in common, by direction of the normal."""
FEWEST_RUNS = 2
RISES, BESIDE_PX = 1.2, 2.0
"""How much more light there is beyond the foot of a hole's wall than before it, and how far beside it that is looked at
(the same of 100 rendered parts from 1.05 to 1.5: it rises plainly or not at all)."""


@dataclass(frozen=True, slots=True)
class Runs:
    """Runs of outline along which a foot may be seen.

    Attributes:
        upper_px: (g, 2) the upper edge in the photo; across: (g, 2) the edge's normal, by which a step of a pixel along
            the image of the vertical counts 1: the foot is a line, looked for in the direction that was expected.
        width_px: (g,) expected width of the wall along it; px_per_mm: the same unit's size.
        costs: (g, r) negative log likelihood of widths over the expected one, at `ratios()`.
    """

    upper_px: Array
    across: Array
    width_px: Array
    px_per_mm: float
    costs: Array

    @property
    def evidence(self) -> float:
        """What all of them can say against widths that are wrong, log likelihood."""
        return float(self.costs.max(1).sum())


def wall_feet(light: Light, view: View, outlines_mm: tuple[Array, ...], wall: Wall, sigma_px: float) -> Runs | None:
    """Where feet are seen along a part's outlines, the outer boundary first; None where they are hardly anywhere."""
    body = Body.of(view, list(outlines_mm), wall, False)
    out = [r for i, o in enumerate(outlines_mm) for r in _along(light, view, o, wall, body, sigma_px, i > 0)]
    if len(out) < FEWEST_RUNS:
        return None
    upper, across, width, costs = (np.array(x) for x in zip(*out, strict=True))
    return Runs(upper, across, width, 1 / view.mm_per_px(outlines_mm[0].mean(0)), costs)


def ratios() -> Array:
    """(r,) widths of wall that are tried, over the expected one."""
    return np.arange(NARROWEST, WIDEST + RATIO_STEP / 2, RATIO_STEP)


def _along(
    light: Light, view: View, outline_mm: Array, wall: Wall, body: Body, sigma_px: float, hole: bool
) -> Iterator[tuple[Array, Array, float, Array]]:
    """The runs of an outline, side by side."""
    px_mm = view.mm_per_px(outline_mm.mean(0))
    rough = resampled(outline_mm, px_mm, SMOOTH_MM, STRETCH)
    upper, foot = (view.pixels(rough.points_mm, z) for z in (wall.upper_mm, wall.lower_mm))
    shift = foot - upper
    width = np.hypot(*shift.T)
    down = shift / np.maximum(width, 1e-9)[:, None]
    normal = view.pixels(rough.points_mm + OUT_MM * rough.normals, wall.upper_mm) - upper
    normal /= np.maximum(np.hypot(*normal.T), 1e-9)[:, None]
    beyond = upper + WIDEST * shift + GROUND_PX * down
    seen = ((down * normal).sum(1) > STEEP) & (width > LEAST_WALL_PX) & ~body.covers(beyond)
    usable = seen.reshape(-1, STRETCH).all(1)
    stretches = np.flatnonzero(usable)
    if not len(stretches):
        return
    wide = width.reshape(-1, STRETCH).mean(1)
    of_side = (np.arctan2(rough.normals[::STRETCH, 1], rough.normals[::STRETCH, 0]) * DIRECTIONS / (2 * np.pi)) // 1
    per_run = max(round(RUN_MM / (px_mm * STRETCH)), 1)
    key = np.stack([np.floor(np.log(wide) / np.log(BIN)), of_side, np.arange(len(wide)) // per_run], 1)[stretches]
    runs: list[tuple[float, Array, Array, float, Array]] = []
    for k in np.unique(key, axis=0):
        at = stretches[(key == k).all(1)]
        points = (at[:, None] * STRETCH + np.arange(STRETCH)).ravel()
        w = float(wide[at].mean())
        up, cost = _run(light, upper[points], foot[points], down[points], w, sigma_px, hole)
        found = up + ratios()[cost.argmin()] * (w - up)
        if hole and not _rises(light, upper[points] + found * down[points], down[points]):
            continue
        way = down[points].mean(0)
        way /= np.hypot(*way)
        start = upper[points].mean(0) + up * way
        across = normal[points].mean(0)
        runs.append((float(k[1]), start, across / (across @ way), w - up, cost))
    for side in {r[0] for r in runs}:
        mine = [r for r in runs if r[0] == side]
        if not _plain(np.sum([r[4] for r in mine], 0)):
            continue
        of_all_mm = HOLE_FOOT_SD_MM if hole else FOOT_SD_MM
        sd_mm = of_all_mm * len(mine) ** 0.5  # of each, if all together are to be no better than one
        for _, start, across, w, cost in mine:
            yield start, across, w, np.minimum(_widened(cost, sd_mm / (w * px_mm)), SIDE_TRUST / len(mine))


def _plain(cost: Array) -> bool:
    """Whether a foot is seen: narrower and wider walls are both unlikely."""
    k, least = int(cost.argmin()), cost.min() + PLAIN
    return bool(cost[:k].max(initial=0) > least and cost[k:].max(initial=0) > least)


def _rises(light: Light, foot_px: Array, down: Array) -> bool:
    """Whether there is more light beyond a foot (n, 2) than before it."""
    beside = BESIDE_PX * np.stack([-down, down])
    before, beyond = (light.sample(foot_px + b).mean() for b in beside)
    return bool(beyond > RISES * before)


def _widened(cost: Array, sd: float) -> Array:
    """Costs at `ratios()` when the foot may besides be seen wrongly by a standard deviation of the ratio."""
    r = ratios()
    out = (cost[None] + 0.5 * ((r[:, None] - r[None]) / sd) ** 2).min(1)
    return np.asarray(out - out.min())


def _run(
    light: Light, upper_px: Array, foot_px: Array, down: Array, width_px: float, sigma_px: float, hole: bool
) -> tuple[float, Array]:
    """How far the upper edge lies outside its place, px, and what widths of wall cost, at `ratios()`.

    Where the wall is nearly of the face's colour the upper edge may lie elsewhere: a width costs what the best pair of
    edges so far apart does.
    """
    reach = UPPER_PX + UPPER_SHARE * width_px
    tried = np.arange(-reach, reach + UPPER_STEP_PX / 2, UPPER_STEP_PX)
    room = min(max(width_px - reach - EDGE_PX, UPPER_PX), FACE_PX)
    upper = steps_at(light, upper_px, down, STRETCH, tried, FACE_PX + reach - UPPER_PX, room, sigma_px)
    total = np.minimum(upper.cost, TRUST).sum(0, keepdims=True)
    up = float(vertex(total, tried, total.argmin(1))[0][0])
    r = ratios()
    places = (r - 1) * width_px
    foot = steps_at(
        light,
        foot_px,
        down,
        STRETCH,
        places,
        max(width_px - EDGE_PX, 1.0),
        (WIDEST - 1) * width_px + GROUND_PX,
        sigma_px,
        fading=hole,
    )
    cost = np.minimum(foot.cost, TRUST).sum(0) / CORRELATED
    cost = np.where(r * width_px < CLEAR_PX, cost.max(), cost)
    wide = r * (width_px - up)
    at = np.interp(wide[:, None] + tried - width_px, places, cost) + (total[0] - total.min()) / CORRELATED
    return up, np.asarray(at.min(1))
