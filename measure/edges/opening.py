"""How deep the wall of an opening goes, as far as the photo shows it.

Beyond the rim one sees the opening's wall on the side away from the camera's foot point, then what lies below. How far
down the wall goes is not asked of anyone, but it decides where the second step of light stands; the depth that explains
the light best along the whole rim is taken.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from calib.light.path import smoothest
from calib.light.profile import Light, evidence, roughness_of_face, take
from calib.view.view import View
from measure.edges.rough import first_outline, resampled
from measure.edges.sight import Body, Wall, sight

DEPTHS_MM = np.geomspace(0.6, 14.0, 48)
"""Depths that are tried, some 7 % apart."""
UNSEEN_DEPTH_MM = 3.0
"""Where no wall is seen its depth does not matter."""
SMOOTH_MM, BLOCK = 0.5, 8
"""Smoothing of the rough rim, and points whose profiles are averaged."""
SLACK_PX, STIFFNESS = 5.0, 1.5
"""How far the rough rim may lie off, and what a jump of a step in that costs from block to block."""
WIDEST_PX, STEP_PX = 24.0, 0.75
"""Walls that are seen wider are judged as if they were so wide; spacing of widths and of positions."""
NOISE_SD = 0.006
"""Noise of a sample that all depths are judged with, share of full light."""
TRUST = 25.0
"""No block speaks against a depth more than this."""


def wall_of_opening(light: Light, view: View, contour_px: Array, sigma_px: float = 1.0) -> Wall:
    """The wall of an opening whose rim lies in the reference's plane.

    For each depth the width of the wall that would be seen is known along the whole rim, and the smoothest rim that
    goes with it is looked for; the depth whose rim has the least negative log likelihood is the one.

    Args:
        light: the photo around the opening.
        view: the solved view.
        contour_px: (n, 2) rough contour of the rim.
        sigma_px: optical blur.
    """
    step = view.mm_per_px(np.asarray(view.plane(contour_px).mean(0)))
    contour = first_outline(view, contour_px, Wall(0.0, 0.0), hole=True, clockwise=False)
    rim = resampled(contour, step, SMOOTH_MM, BLOCK)
    sights = [sight(view, rim.points_mm, -rim.normals, Wall(0.0, -float(d)), _none()) for d in DEPTHS_MM]
    widths = np.minimum([s.wall_px.reshape(-1, BLOCK).mean(1) for s in sights], WIDEST_PX)
    seen = widths[-1] > 2.0
    if seen.sum() < 6:
        return Wall(0.0, -UNSEEN_DEPTH_MM)
    rows = np.repeat(seen, BLOCK)
    deepest = sights[-1]
    cost = _costs(light, deepest.upper_px[rows], deepest.normals_px[rows], sigma_px)
    told = [_along_rim(cost, w) for w in widths[:, seen]]
    return Wall(0.0, -float(DEPTHS_MM[int(np.argmin(told))]))


def _costs(light: Light, upper_px: Array, normals_px: Array, sigma_px: float) -> Array:
    """(b, x, w) what each block says against a rim that lies x off with a wall w wide, up to TRUST.

    The rough rim lies within SLACK_PX of either edge of the wall, or between them.
    """
    profiles = take(light, upper_px, normals_px, 13 + SLACK_PX + WIDEST_PX, WIDEST_PX + SLACK_PX + 10, BLOCK)
    variance, rough = np.full(3, NOISE_SD**2), roughness_of_face(profiles)
    blocks, slack, widest = len(profiles.light), round(SLACK_PX / STEP_PX), round(WIDEST_PX / STEP_PX)
    cost = np.full((blocks, widest + 2 * slack + 1, widest + 1), np.inf)
    for w in range(widest + 1):
        lower = np.asarray(np.arange(-slack, slack + w + 1) * STEP_PX, np.float64)
        wall = np.full(blocks, w * STEP_PX)
        e = evidence(profiles, wall, lower, np.zeros(1), sigma_px, variance, STEP_PX, rough)
        cost[:, widest - w :, w] = e.cost[:, :, 0]
    return np.asarray(np.minimum(cost - cost.min((1, 2), keepdims=True), TRUST))


def _along_rim(cost: Array, width_px: Array) -> float:
    """Cost of the smoothest rim whose wall is seen so wide at each block, (b,)."""
    rows = np.arange(len(cost))
    below = np.minimum((width_px / STEP_PX).astype(int), cost.shape[2] - 2)
    share = (width_px / STEP_PX - below)[:, None]
    here = (1 - share) * cost[rows, :, below] + share * cost[rows, :, below + 1]
    return float(here[rows, smoothest(here, STIFFNESS, closed=True)].sum())


def _none() -> Body:
    """A body that covers nothing: whatever hides the wall's foot, its width is wanted."""
    return Body(np.zeros((1, 1), np.uint8), np.zeros(2))
