"""Which pixels are the part: on the sample, turned and darkened, and where there is nothing to find."""

import cv2
import numpy as np
import pytest

from calib.photo.photo import load
from calib.reference.reference import ID_1
from calib.view.view import View, camera_prior, first_guess
from measure.silhouette.candidates import Reserved
from measure.silhouette.silhouette import NoSilhouette, Silhouette, silhouette
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
    assert result.message.what


def table_with(things):
    """A grey table with a drawn card and drawn things: (corner, size, colour), pixels; about 5 px a millimetre."""
    rgb = np.full((600, 900, 3), 120, np.uint8)
    card = np.array([[60, 150], [488, 150], [488, 420], [60, 420]], float)
    cv2.fillPoly(rgb, [card.astype(np.int32)], (220, 220, 210))
    for (x, y), (w, h), colour in things:
        rgb[y : y + h, x : x + w] = colour
    noise = np.random.default_rng(3).normal(0, 1.5, rgb.shape)
    return np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8), card


RED, BLUE = (150, 40, 30), (30, 50, 140)


@pytest.mark.parametrize(
    ("things", "reason"),
    [
        ([], "no-part"),
        ([((600, 100), (110, 140), RED), ((620, 330), (110, 130), BLUE)], "several-parts"),
        ([((790, 200), (110, 140), RED)], "part-at-edge"),
        ([((560, 60), (340, 480), RED)], "part-at-edge"),  # large, cut on one side
        ([((560, 300), (340, 300), RED)], "part-at-edge"),  # and on two
        ([((760, 0), (140, 600), RED)], "no-part"),  # the desk beyond a sheet
        ([((494, 200), (160, 140), RED)], "part-touches-card"),
    ],
)
def test_what_cannot_be_measured_is_refused_by_name(things, reason):
    result, _ = found(*table_with(things))
    assert isinstance(result, NoSilhouette)
    assert result.reason == reason


def test_table_tinted_by_a_part_in_its_notch_is_not_part():
    rgb, card = table_with([((600, 180), (200, 200), RED)])
    y, x = np.mgrid[0 : rgb.shape[0], 0 : rgb.shape[1]]
    notch = (y < 270) & (np.abs(x - 700) < 40)
    # in the notch and before it a soft shadow, the deeper the more of the part's red is thrown on it
    depth = np.clip(y / 193, 0, 1) * np.exp(-np.maximum(np.abs(x - 700) - 40, 0) / 25) * (y < 270)
    tinted = table_with([])[0] - depth[..., None] * np.array([15, 26, 27])
    part = (y >= 180) & (y < 380) & (x >= 600) & (x < 800) & ~notch
    rgb = cv2.GaussianBlur(np.where(part[..., None], rgb, tinted).astype(np.uint8), (0, 0), 0.8)
    result, px_per_mm = found(rgb, card)
    assert isinstance(result, Silhouette)
    inside = cv2.pointPolygonTest(result.contours_px[0].astype(np.float32), (700.0, 200.0), True)
    assert inside < -2 * px_per_mm
