"""Further cards in a photo, beside what gives the scale: nobody else is to see their faces either.

A view that is known tells sizes: what is as large as a card, and has at least two corners as round as a card's, is one,
though the frame cuts it off or something lies on it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.rectangle.quads import Quad, quadrilaterals
from calib.rectangle.refusals import CUT_CORNER_MM
from calib.rectangle.sighting import closer_look
from calib.reference.reference import ID_1, Reference
from calib.view.view import Prior, View

LEAST_LEG = 0.45
"""Of three sides so much must be seen: one may be out of the photo, or under something."""
SIZE_OFF = 0.1
"""How far its sides may be off, relative: where a side is not seen it is put by the known proportions (chosen)."""
ROUND_CORNERS = 2
"""So many corners must be a card's; a part as large as a card has none, or it is a card for all that is known."""


def other_cards(
    rgb: NDArray[np.uint8],
    view: View,
    prior: Prior,
    known_px: Sequence[Array] = (),
    quads: Sequence[Quad] | None = None,
    reference: Reference = ID_1,
) -> tuple[Array, ...]:
    """Outlines (4, 2) of all that looks like a card and is not known; they may reach out of the photo.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        view: of the plane that they lie on.
        prior: of the camera.
        known_px: outlines (n, 2) of cards that are known already.
        quads: candidates in the photo; looked for when None.
        reference: what a card is.
    """
    import cv2

    if quads is None:
        quads = quadrilaterals(rgb, prior.focal_px, reference.ratio)
    r, out = reference.rectangle, []
    known = [k.astype(np.float32) for k in known_px]
    for q in quads:
        middle = tuple(float(v) for v in q.corners_px.mean(0))
        if np.sort(q.support)[1] < LEAST_LEG or any(cv2.pointPolygonTest(k, middle, False) >= 0 for k in known):
            continue
        at = view.plane(q.corners_px, r.thickness_mm)
        sides = np.hypot(*(np.roll(at, -1, 0) - at).T)
        long, short = sorted((float(sides[::2].mean()), float(sides[1::2].mean())), reverse=True)
        if max(abs(long / r.width_mm - 1), abs(short / r.height_mm - 1)) > SIZE_OFF:
            continue
        radius = closer_look(rgb, q.corners_px, reference, prior).radius.each_mm
        low, high = reference.limits.corner_mm
        with np.errstate(invalid="ignore"):
            round_ones = (radius > low - CUT_CORNER_MM) & (radius < high + CUT_CORNER_MM)
        if round_ones.sum() >= ROUND_CORNERS:
            out.append(q.corners_px)
    return tuple(out)
