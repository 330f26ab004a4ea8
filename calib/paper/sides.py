"""The sides of a large flat rectangle, a sheet of paper, to a fraction of a pixel.

Unlike a card's they may run across half the photo, so that the lens bows them by many pixels: each side is a smooth
path through the evidence of its profiles instead of a straight line.
"""

from __future__ import annotations

import numpy as np

from calib.arrays import Array
from calib.light.path import smoothest, vertex
from calib.light.profile import Light
from calib.rectangle.sides import CONFIDENT, SHADOW_PRICE, Run, edges_at, run
from calib.view.joint import JointView, LyingRectangle, solve_jointly
from calib.view.view import Prior, Rectangle, SideEdges

STAGES = ((14.0, 16), (5.0, 12), (2.5, 8))
"""Search for the sides, wide then narrow: reach px, profiles a block."""
STIFFNESS = 1.5
"""Cost of a jump by one grid step from block to block: sides are nearly straight."""
CLOSE_PX = 1.0
"""A block's own best position counts if it lies this near the path."""
THIN_MM = 0.3
"""Something thinner casts no shadow that a photo shows."""


def located_sheet(
    light: Light,
    start: Array,
    rectangle: Rectangle,
    cut_sd_mm: float,
    prior: Prior,
    size_px: tuple[int, int],
    sigma_px: float,
) -> tuple[JointView, tuple[SideEdges, ...]] | None:
    """View from the sides of a sheet, first coarse, then fine; None if they don't determine one.

    Args:
        light: the photo around the sheet.
        start: (10,) guessed view, right to about 14 px at its sides.
        rectangle: nominal size.
        cut_sd_mm: see `calib.view.joint.LyingRectangle`.
        prior: of the camera.
        size_px: of the photo.
        sigma_px: optical blur.
    """
    found: JointView | None = None
    edges: tuple[SideEdges, ...] = ()
    parameters = start
    for reach, width in STAGES:
        runs = [run(light, parameters, rectangle, k, reach, width, sigma_px) for k in range(4)]
        edges = tuple(_points(r, rectangle.thickness_mm) for r in runs)
        if any(len(e.along) < 6 for e in edges):
            return None
        try:
            found = solve_jointly([LyingRectangle(edges, rectangle, cut_sd_mm)], prior, parameters, size_px)
        except np.linalg.LinAlgError:
            return None
        parameters = found.view.parameters
    assert found is not None
    return found, edges


def _points(r: Run, thickness_mm: float) -> SideEdges:
    """Each block's edge point, where one lies near the smooth path through all of them."""
    shadow = 0
    if thickness_mm > THIN_MM:
        price = np.minimum(r.cost.min(1) - r.cost.min((1, 2))[:, None], CONFIDENT).sum(0)
        price[1:] += SHADOW_PRICE
        shadow = int(price.argmin())
    cost = r.cost[:, :, shadow]
    path = smoothest(np.minimum(cost - cost.min(1, keepdims=True), CONFIDENT), STIFFNESS, closed=False)
    x, sigma = vertex(cost, r.xs_px, path)
    ok = np.isfinite(sigma) & (np.abs(x - r.xs_px[path]) < CLOSE_PX)
    return edges_at(r, x, sigma, ok)
