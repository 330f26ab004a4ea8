"""Whether a photo is sharp enough to be measured, by the edges of the reference and of all that is in it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.errors import PhotoRefused
from calib.light.profile import Light
from calib.light.sharpness import Edges, blur_px, edges_along, edges_of_photo
from calib.reference.found import Found
from calib.words import Words
from measure.edges.rings import evenly, outward

MARGIN_PX = 24
SHARP_PX = 1.3
"""Edges no more blurred than this need no confirming."""
MOST_PX = 1.6
"""Beyond this blur uncertainties no longer hold: a wall, its shadow and its two rims run into one step of light. Of
rendered photos, blurred out of focus or by a moving hand, that show up to 1.4 px, 96.5 % of the dimensions lay within
± u95, at 1.4 to 1.6 still 93.2 %, at 1.6 to 1.7 no more than 81.7 %, beyond 2.1 two thirds. As taken they show 0.9 to
1.25."""
BLURRED = Words(
    "The photo is blurred: its edges are smeared over {value:.1f} pixels, so that no "
    "uncertainty would hold; hold the phone still, and let it focus on the part."
)


def edges_of(rgb: NDArray[np.uint8], ring_px: Array) -> Edges:
    """Steps of light across a closed outline (n, 2)."""
    points = evenly(ring_px)
    low, high = points.min(0) - MARGIN_PX, points.max(0) + MARGIN_PX
    light = Light.of(rgb, (int(low[0]), int(low[1]), int(high[0]), int(high[1])))
    return edges_along(light, points, outward(points))


def confirmed(rgb: NDArray[np.uint8], blur: float) -> float:
    """A blur of the card's and the part's edges, unless the photo's other edges are sharper.

    A card's lower rim beside the upper one and a shadow close by make a wide step, too; but a lens out of focus or a
    shaken hand spares nothing on the table.
    """
    return blur if not blur > SHARP_PX else float(np.fmin(blur, blur_px(edges_of_photo(rgb))))


def require_sharp(rgb: NDArray[np.uint8], reference: Found) -> None:
    """Refuse a blurred photo.

    Args:
        rgb: (h, w, 3) the photo.
        reference: what was found in it.

    Raises:
        PhotoRefused: it is too blurred for its uncertainties to hold.
    """
    rings = reference.outlines_px
    blur = confirmed(rgb, blur_px(*(edges_of(rgb, ring) for ring in rings))) if rings else math.nan
    if blur > MOST_PX:
        raise PhotoRefused(Words(BLURRED, value=blur), "blurred")
