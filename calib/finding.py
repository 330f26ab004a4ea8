"""The reference in a photo, whichever it is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calib.card import Card, find_card
from calib.found import Found
from calib.refusals import Failure
from calib.target import UNMEASURED, Bars, find_target, no_target
from calib.view import Prior

Array = NDArray[np.float64]


def find_reference(
    rgb: NDArray[np.uint8], prior: Prior, wanted: str | None = None, bars: Bars = UNMEASURED
) -> Found | Failure:
    """The reference in a photo, with its view; or why there is none that can be trusted.

    Args:
        rgb: (h, w, 3) 8-bit sRGB.
        prior: of the camera.
        wanted: name of the only reference to look for; None for whichever is there.
        bars: check bars of the printed sheet, as measured.
    """
    if wanted in (None, "sheet"):
        target = find_target(rgb, prior, bars)  # quick to look for, and like nothing else
        if target is not None:
            return target
        if wanted is not None or bars != UNMEASURED:
            return no_target()
    card = find_card(rgb, prior)
    return card if isinstance(card, Failure) else _of_card(card)


def _of_card(card: Card) -> Found:
    outline = _outline_px(card)
    return Found(
        name=card.reference.name,
        words="card",
        view=card.solution.view,
        outlines_px=(outline,),
        taken_px=(card.corners_px,),
        field_px=None,
        faces_px=(outline,),
        cautions=card.cautions,
    )


def _outline_px(card: Card) -> Array:
    """(n, 2) closed outline of the card's upper face, its corners rounded as the standard has them."""
    r = card.solution.rectangle
    w, h, c = r.width_mm / 2 - r.corner_mm, r.height_mm / 2 - r.corner_mm, r.corner_mm
    turn = np.linspace(0, np.pi / 2, 10)
    corner = c * np.stack([np.cos(turn), np.sin(turn)], 1)
    quarter = np.array([[0.0, 1.0], [-1.0, 0.0]])
    out = []
    for k, centre in enumerate(([w, h], [-w, h], [-w, -h], [w, -h])):
        out.append(corner @ np.linalg.matrix_power(quarter, k) + centre)
    return card.solution.view.pixels(np.concatenate(out), r.thickness_mm)
