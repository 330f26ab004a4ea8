"""Further cards in a photo: cut off by the frame, partly covered, or beside a sheet. Nothing of their print leaves.

Photos are drawn; the print on the second card is noise, so that whatever is left of it would correlate with it.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.arrays import Array
from calib.finding.finding import find_reference
from calib.reference.found import Found
from calib.reference.wanted import wanted
from calib.view.view import project
from measure.bench.photo_copy import cleaned
from measure.drawing.framing import plain_picture
from tests.drawn_sheets import BLUE, DARK, Thing, camera, photo, prior

Pixels = NDArray[np.uint8]
CARD = Thing(85.60, 53.98, BLUE, top=0.76, radius=3.18, turn=6.0)
SHEET = Thing(297.0, 210.0, turn=4.0)
PART = Thing(40.0, 24.0, DARK, at=(-60.0, -30.0), turn=40.0)
CONTRAST = 14.0
"""Grey levels, standard deviation of the print."""
NEAR = camera(height=260.0)
FAR = camera(height=470.0)


def corners_px(card: Thing, q: Array) -> Array:
    c, s = np.cos(np.radians(card.turn)), np.sin(np.radians(card.turn))
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [card.width / 2, card.height / 2]
    return project(q, np.c_[ring @ np.array([[c, s], [-s, c]]) + np.array(card.at), np.full(4, card.top)])


def printed(rgb: Pixels, card: Thing, q: Array, covered: Thing | None = None) -> tuple[Pixels, NDArray[np.float32]]:
    """A print of noise on a card's face, 5 mm inside its edges, and (h, w) that print, 0 elsewhere."""
    inner = corners_px(replace(card, width=card.width - 10, height=card.height - 10), q)
    mask = np.zeros(rgb.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(inner).astype(np.int32)], 1)
    if covered is not None:
        over = corners_px(replace(covered, width=covered.width + 6, height=covered.height + 6), q)
        cv2.fillPoly(mask, [np.round(over).astype(np.int32)], 0)
    noise = np.random.default_rng(3).normal(0, 1, rgb.shape[:2]).astype(np.float32)
    pattern = cv2.GaussianBlur(noise, (0, 0), 1.5)
    pattern *= mask / pattern.std()
    return np.clip(rgb + CONTRAST * pattern[..., None], 0, 255).astype(np.uint8), pattern


def left_of(pattern: NDArray[np.float32], rgb: Pixels) -> float:
    """How much of a print's contrast a picture still has, 1 for all of it; what is coarser is taken off."""
    seen = rgb.astype(np.float32).mean(2)
    seen -= cv2.GaussianBlur(seen, (0, 0), 4.0)
    at = cv2.erode((pattern != 0).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    return float(np.cov(seen[at], pattern[at])[0, 1] / (CONTRAST * pattern[at].var()))


SCENES = {
    "a card by the frame": (
        NEAR,
        (replace(CARD, at=(-35.0, 20.0)),),
        replace(CARD, at=(160.0, -20.0), turn=12.0),
        None,
    ),
    "a card beside a sheet": (FAR, (SHEET,), replace(CARD, at=(215.0, 20.0), turn=88.0), "a4"),
    "a card on a sheet, partly covered": (FAR, (SHEET,), replace(CARD, at=(60.0, 30.0)), "a4"),
}


@pytest.mark.parametrize("name", SCENES)
def test_nothing_of_a_further_cards_print_leaves(name: str) -> None:
    q, things, card, reference = SCENES[name]
    cover = Thing(30.0, 26.0, DARK, at=(card.at[0] + 40.0, card.at[1] + 24.0), turn=20.0) if "covered" in name else None
    rgb = photo(q, *things, *((PART,) if reference else ()), card, *((cover,) if cover else ()))
    rgb, pattern = printed(rgb, card, q, cover)
    assert (pattern != 0).sum() > 2000
    assert left_of(pattern, rgb) > 0.6, "of fine noise some is taken off with what is coarse"
    found = find_reference(rgb, prior(), wanted(reference))
    assert isinstance(found, Found), found
    assert abs(left_of(pattern, cleaned(rgb, found.faces_px))) < 0.02
    jpeg, frame = plain_picture(rgb, found.faces_px)
    assert frame.scale == 1
    picture = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    assert abs(left_of(pattern, picture)) < 0.02


def test_a_part_as_large_as_a_card_is_none() -> None:
    """Square corners: its print stays, for holes may be in it."""
    part = Thing(85.60, 53.98, DARK, top=0.76, at=(40.0, 20.0))
    found = find_reference(photo(FAR, SHEET, part), prior(), wanted("a4"))
    assert isinstance(found, Found), found
    assert found.faces_px == ()
