"""How blurred a part's own edges are.

The locator must know, since a step that it takes for sharper than it is comes out shifted where a wall or a shadow
stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from calib.light.profile import Light
from calib.light.sharpness import SHARP_QUANTILE, edges_along
from measure.edges.rings import evenly, outward

WIDENED_PX = 0.5
"""What sampling and slopes taken over a whole pixel add to a blur that is read off a slope."""
LIMITS_PX, STEP_PX = (0.6, 1.6), 0.1
"""Blur that is believed, and steps that it is rounded to, so that one set of solvers serves many photos."""
USUAL_PX, LEAST_EDGES = 1.0, 20
"""Blur of a photo that too few edges tell it of."""


def blur_of_edges(light: Light, rings_px: Sequence[Array]) -> float:
    """Standard deviation of the optical blur across a part's edges, px.

    Args:
        light: the photo around the part.
        rings_px: (n, 2) closed outlines of the loops, within a few pixels.
    """
    found = []
    for ring in rings_px:
        points = evenly(ring)
        if len(points) >= LEAST_EDGES:
            found.append(edges_along(light, points, outward(points)).sigma_px)
    sigma = np.concatenate(found) if found else np.zeros(0)
    sigma = sigma[np.isfinite(sigma)]
    if len(sigma) < LEAST_EDGES:
        return USUAL_PX
    seen = float(np.quantile(sigma, SHARP_QUANTILE))  # a wall or a soft shadow beside an edge makes it look softer
    blur = math.sqrt(max(seen**2 - WIDENED_PX**2, 0.0))
    return float(np.clip(round(blur / STEP_PX) * STEP_PX, *LIMITS_PX))
