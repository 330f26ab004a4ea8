"""Which pixels are the part: on the sample, turned and darkened, and where there is nothing to find."""

import numpy as np
import pytest

from calib.photo import load
from calib.reference import ID_1
from calib.view import View, camera_prior, first_guess
from measure.candidates import Reserved
from measure.silhouette import NoSilhouette, Silhouette, silhouette
from tests.sample_photos import FOLDER, scene, without


def found(rgb, card_px, thickness_mm=4.2):
    size = rgb.shape[1::-1]
    view = View(first_guess(card_px, ID_1.rectangle, camera_prior(size, None))[0], np.zeros((10, 10)), size)
    return silhouette(rgb, view, Reserved((card_px,)), "part", thickness_mm), 1 / view.mm_per_px(np.zeros(2))


def test_part_and_its_holes():
    rgb = load(FOLDER / "photo.jpg").rgb
    s = scene()
    result, px_per_mm = found(rgb, s.card_px * (rgb.shape[1] / s.rgb.shape[1]))
    assert isinstance(result, Silhouette)
    assert len(result.contours_px) == 4  # the outside, two bores and a slot
    part = s.part_px * (rgb.shape[1] / s.rgb.shape[1])
    extent = np.abs(np.r_[result.contours_px[0].min(0) - part.min(0), result.contours_px[0].max(0) - part.max(0)])
    assert extent.max() < 1.5 * px_per_mm


@pytest.mark.parametrize("change", ["upright", "turned", "darker"])
def test_same_holes_however_the_photo_is_taken(change):
    s = scene()
    rgb, card = s.rgb, s.card_px
    if change == "turned":
        rgb = np.ascontiguousarray(np.rot90(rgb))
        card = np.c_[card[:, 1], s.rgb.shape[1] - 1 - card[:, 0]]
    if change == "darker":
        rgb = np.asarray(rgb * 0.6, np.uint8)
    result, _ = found(rgb, card)
    assert isinstance(result, Silhouette)
    assert len(result.contours_px) == 4


def test_nothing_there_is_a_reason_and_false():
    s = scene()
    result, _ = found(without(s.rgb, s.part_px), s.card_px)
    assert isinstance(result, NoSilhouette)
    assert not result
    assert result.reason == "no-part"
    assert result.text.endswith(".")
