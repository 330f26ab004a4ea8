"""One photo written anew is the same view; one from half a millimetre beside is another. Of the sample, cut down."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from calib.photo.same_view import glance, same_view
from tests.sample_photos import Pixels, scene


def written(rgb: Pixels, **how: object) -> Pixels:
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, **how)
    return np.asarray(Image.open(out).convert("RGB"))


AGAIN = {
    "as a JPEG of poor quality": lambda rgb: written(rgb, format="JPEG", quality=60),
    "in 256 colours": lambda rgb: np.asarray(Image.fromarray(rgb).quantize(256).convert("RGB")),
    "in grey": lambda rgb: np.asarray(Image.fromarray(rgb).convert("L").convert("RGB")),
    "turned": lambda rgb: np.rot90(rgb, 3).copy(),
    "half the size": lambda rgb: np.asarray(Image.fromarray(rgb).reduce(2)),
}


@pytest.mark.parametrize("how", AGAIN)
def test_a_photo_written_anew_shows_the_same_view(how: str) -> None:
    rgb = scene().rgb
    assert same_view(glance(rgb), glance(AGAIN[how](rgb)))


@pytest.mark.parametrize("shift_px", [8, 40])
def test_a_hand_that_moved_shows_another(shift_px: int) -> None:
    rgb = scene().rgb
    assert not same_view(glance(rgb), glance(np.roll(rgb, shift_px, axis=1)))


def test_blank_photos_are_no_trouble() -> None:
    blank = np.full((400, 600, 3), 200, np.uint8)
    assert not same_view(glance(blank), glance(blank.copy()))
