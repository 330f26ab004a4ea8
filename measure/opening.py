"""How deep the wall of an opening goes, as far as the photo shows it.

Beyond the rim one sees the opening's wall on the side away from the camera's foot point, then what lies below. How far
down the wall goes is not asked of anyone, but it decides where the second step of light stands; the depth that explains
the light best along the whole rim is taken.
"""

from __future__ import annotations

import numpy as np

from calib.profile import Light, evidence, take
from calib.view import View
from measure.features import Array
from measure.rough import first_outline, resampled
from measure.sight import Body, Wall, sight

DEPTHS_MM = np.array([0.8, 1.2, 1.6, 2.0, 2.5, 3.0, 3.5, 4.2, 5.0, 6.5, 9.0])
BLOCK = 12
SLACK_PX = 4.0
"""How far the rough rim may lie off."""
WIDEST_PX = 24.0
"""Walls that are seen wider than this are judged as if they were so wide."""
NOISE_SD = 0.006
"""Noise of a sample that all depths are judged with, share of full light."""


def wall_of_opening(light: Light, view: View, contour_px: Array, sigma_px: float = 1.0) -> Wall:
    """The wall of an opening whose rim lies in the reference's plane.

    Args:
        light: the photo around the opening.
        view: the solved view.
        contour_px: (n, 2) rough contour of the rim.
        sigma_px: optical blur.
    """
    flat = Wall(0.0, 0.0)
    step = view.mm_per_px(np.asarray(view.plane(contour_px).mean(0)))
    rough = resampled(first_outline(view, contour_px, flat, hole=True, clockwise=False), step, 1.0, BLOCK)
    cost = np.full(len(DEPTHS_MM), np.inf)
    deepest = sight(view, rough.points_mm, -rough.normals, Wall(0.0, -float(DEPTHS_MM[-1])), _none())
    seen = deepest.wall_px.reshape(-1, BLOCK).mean(1) > 2.0
    if seen.sum() < 6:
        return Wall(0.0, -float(DEPTHS_MM[len(DEPTHS_MM) // 2]))
    rows = np.repeat(seen, BLOCK)
    xs = np.arange(-SLACK_PX, WIDEST_PX + SLACK_PX + 0.1, 1.5)
    profiles = take(light, deepest.upper_px[rows], deepest.normals_px[rows], 13 + SLACK_PX, WIDEST_PX + 12, BLOCK)
    for k, depth in enumerate(DEPTHS_MM):
        s = sight(view, rough.points_mm, -rough.normals, Wall(0.0, -float(depth)), _none())
        wall = np.minimum(s.wall_px.reshape(-1, BLOCK).mean(1)[seen], WIDEST_PX)
        variance = np.full(3, NOISE_SD**2)
        e = evidence(profiles, wall, xs, np.zeros(1), sigma_px, variance, wall_grid_px=3.0).cost[:, :, 0]
        fair = np.abs(xs[None] - wall[:, None]) <= SLACK_PX + 0.5
        best = np.where(fair, e, np.inf).min(1)
        cost[k] = np.mean(np.minimum(best, np.median(best) * 3))
    return Wall(0.0, -float(DEPTHS_MM[int(cost.argmin())]))


def _none() -> Body:
    """A body that covers nothing: whatever hides the wall's foot, its width is wanted."""
    return Body(np.zeros((1, 1), np.uint8), np.zeros(2))
