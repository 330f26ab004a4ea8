"""Rows of digits on card faces: found on drawn cards that have them, not on other print. Numbers are invented."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from calib.card.face import flat_face, shows_number
from calib.finding.finding import find_reference
from calib.reference.found import Found
from tests.drawn_cards import Drawing, corners_px, photo, prior

W, H = 856, 540
"""Ten pixels a millimetre."""


def face(ground: int = 90) -> np.ndarray:
    """A plain face with a little noise and a slow change of light."""
    light = ground + 25 * np.linspace(-1, 1, W)[None] * np.linspace(-1, 1, H)[:, None]
    return np.clip(light + np.random.default_rng(3).normal(0, 2, (H, W)), 0, 255).astype(np.uint8)


def written(
    grey: np.ndarray, text: str, at: tuple[int, int], height_mm: float, ink: int, pitch_mm: float
) -> np.ndarray:
    """The face with characters on it, each in a cell of its own, blanks between groups."""
    im = Image.fromarray(grey)
    pen = ImageDraw.Draw(im)
    font = ImageFont.load_default(round(height_mm * 10 / 0.72))
    for k, c in enumerate(text):
        pen.text((at[0] + k * pitch_mm * 10, at[1]), c, ink, font, "mm")
    return np.asarray(cv2.GaussianBlur(np.asarray(im), (0, 0), 1.2))


def embossed(grey: np.ndarray, text: str, light: tuple[int, int], strength: float) -> np.ndarray:
    """The same raised from the card without ink: bright on one flank, dark on the other."""
    relief = written(np.zeros_like(grey), text, (100, 300), 4.0, 255, 3.63).astype(float)
    slope = relief - np.roll(relief, light, (0, 1))
    return np.clip(grey + strength * slope, 0, 255).astype(np.uint8)


NUMBER = "9900 1234 5678 0042"


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize(
    ("text", "height_mm", "ink", "pitch_mm"),
    [
        (NUMBER, 4.0, 225, 3.63),  # as embossed ones are spaced: ISO/IEC 7811-1, seven to the inch, from memory
        (NUMBER, 4.0, 15, 3.63),
        (NUMBER, 2.4, 220, 2.1),
        ("990012 345678 9012", 3.2, 225, 3.0),
        ("9900 123456 78901", 3.2, 225, 3.0),
        ("9900123456789012", 3.0, 230, 2.6),
    ],
)
def test_numbers_are_noticed(text: str, height_mm: float, ink: int, pitch_mm: float, turned: bool) -> None:
    grey = written(face(), text, (100, 300), height_mm, ink, pitch_mm)
    assert shows_number(grey[::-1, ::-1] if turned else grey)


@pytest.mark.parametrize("strength", [0.15, 0.45])
@pytest.mark.parametrize("light", [(4, 4), (0, 4), (2, -3)])
def test_raised_numbers_without_ink_are_noticed(light: tuple[int, int], strength: float) -> None:
    assert shows_number(embossed(face(), NUMBER, light, strength))


def test_a_number_along_the_short_side_is_noticed() -> None:
    grey = written(face()[:, :W].T.copy(), "9900 1234 5678 00", (60, 400), 3.0, 225, 2.7).T
    assert shows_number(grey)


def bars() -> np.ndarray:
    grey = face()
    for x in range(80, 780, 26):
        grey[250:290, x : x + 12] = 220
    return grey


def dots() -> np.ndarray:
    grey = face()
    for y in range(60, 500, 50):
        for x in range(60, 800, 36):
            cv2.circle(grey, (x, y), 12, 220, -1)
    return grey


def checks(wide: int = 40, high: int = 40) -> np.ndarray:
    y, x = np.mgrid[:H, :W]
    return np.where((x // wide + y // high) % 2 == 0, 190, 110).astype(np.uint8)


def lines_of_small_print() -> np.ndarray:
    grey = face()
    for row in range(6):
        grey = written(grey, "this card stays property of the library", (60, 120 + 40 * row), 1.2, 220, 1.05)
    return grey


def a_name() -> np.ndarray:
    return written(face(), "SAMPLE CARD", (90, 460), 3.0, 225, 2.9)


def stripe_and_field() -> np.ndarray:
    grey = face(150)
    grey[60:180] = 30
    grey[230:300, 60:560] = 225
    return grey


@pytest.mark.parametrize(
    "grey",
    [
        face(),
        bars(),
        dots(),
        checks(),
        checks(51, 30),
        checks(24, 33),
        checks(30, 30),
        lines_of_small_print(),
        a_name(),
        stripe_and_field(),
    ],
)
def test_other_print_is_no_number(grey: np.ndarray) -> None:
    assert not shows_number(grey)


def test_a_face_is_laid_flat_as_it_is_seen_from_above() -> None:
    d = Drawing(second=(0.5, 0.5, 0.5), tilt=15.0, turn=25.0)
    rgb = photo(d)
    found = find_reference(rgb, prior())
    assert isinstance(found, Found)
    flat = flat_face(rgb, found.view, found.faces_px[0])
    assert flat.shape == pytest.approx((540, 856), abs=6)
    ends = flat[200:340, 30:200].mean(), flat[200:340, -200:-30].mean()
    assert abs(ends[0] - ends[1]) > 50  # the pale part lies at one end only
    c = corners_px(d)
    across = cv2.contourArea(c.astype(np.float32), oriented=True)
    assert across < 0  # counter-clockwise as seen
