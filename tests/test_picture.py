"""The labelled picture: labels clear of each other and of the frame, the card hidden, nothing but pixels inside."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from measure.drawing.labels import CELL, Wish, place
from measure.drawing.picture import SeenFeature, picture


def rectangle(x0: float, y0: float, x1: float, y1: float, step: float = 20) -> np.ndarray:
    corners = np.array([[x0, y1], [x1, y1], [x1, y0], [x0, y0], [x0, y1]], float)
    t = np.linspace(0, 4, int(4 * max(x1 - x0, y1 - y0) / step))
    return np.stack([np.interp(t, range(5), corners[:, k]) for k in (0, 1)], 1)


def card_with_print() -> tuple[np.ndarray, np.ndarray]:
    """A grey table with a card covered in a fine pattern, as digits would be: (900, 1600, 3), and its outline."""
    rgb = np.full((900, 1600, 3), 120, np.uint8)
    stripes = np.where((np.arange(400) // 6 % 2 == 0)[None, :, None], 20, 230)
    rgb[200:452, 1100:1500] = stripes
    return rgb, rectangle(1100, 200, 1500, 452)


def part() -> list[SeenFeature]:
    x0, y0, x1, y1 = 200, 300, 700, 600
    sides = [((x0, y1), (x1, y1)), ((x1, y1), (x1, y0)), ((x1, y0), (x0, y0)), ((x0, y0), (x0, y1))]
    drawn = [SeenFeature(f"E{i + 1}", "line", 0, np.linspace(a, b, 40)) for i, (a, b) in enumerate(sides)]
    turn = np.linspace(0, 2 * np.pi, 60)
    return [*drawn, SeenFeature("D1", "circle", 1, np.stack([450 + 60 * np.cos(turn), 450 + 60 * np.sin(turn)], 1))]


def test_the_cards_face_cannot_be_read() -> None:
    rgb, card = card_with_print()
    png = np.asarray(Image.open(io.BytesIO(picture(rgb, [card], [card], part())))).astype(int)
    below = png[-330:, : png.shape[1] // 2]
    pale = (np.abs(below - below.mean(-1, keepdims=True)).max(-1) < 12) & (below.mean(-1) > 200)
    rim_only = pale.mean()
    assert rim_only < 0.06, "bright stripes of the pattern are left"
    flat = np.abs(np.diff(below.mean(-1), axis=1))
    assert np.quantile(flat, 0.9) < 25


def test_a_card_beside_the_part_is_hidden_in_the_large_view_too() -> None:
    rgb, _ = card_with_print()
    rgb[300:552, 720:1120] = np.where((np.arange(400) // 6 % 2 == 0)[None, :, None], 20, 230)
    card = rectangle(720, 300, 1120, 552)
    png = np.asarray(Image.open(io.BytesIO(picture(rgb, [card], [card], part())))).astype(int)
    right = png[int(0.4 * (len(png) - 330)) : int(0.6 * (len(png) - 330)), -40:].mean(-1)
    assert np.ptp(right) < 40


def test_the_file_holds_pixels_only() -> None:
    rgb, card = card_with_print()
    im = Image.open(io.BytesIO(picture(rgb, [card], [card], part(), ["a note"])))
    assert im.format == "PNG"
    assert max(im.size) <= 1600 + 400
    assert dict(im.getexif()) == {}
    assert set(im.info) <= {"dpi", "gamma"}


def wishes_on_a_ring(n: int, radius: float) -> list[Wish]:
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return [
        Wish(800 + radius * np.array([np.cos(t), np.sin(t)]), np.array([np.cos(t), np.sin(t)]), (60, 34)) for t in a
    ]


@pytest.mark.parametrize("n", [1, 8, 40, 90])
def test_labels_overlap_neither_each_other_nor_the_frame(n: int) -> None:
    free = np.zeros((1600 // CELL + 1, 1600 // CELL + 1), bool)
    wishes = wishes_on_a_ring(n, 420)
    at = place(wishes, free, free, (1600, 1600))
    d = np.abs(at[:, None] - at[None])
    apart = (d[..., 0] >= 60) | (d[..., 1] >= 34) | np.eye(n, dtype=bool)
    assert apart.all()
    assert (at > [30, 17]).all()
    assert (at < [1570, 1583]).all()


def test_no_labels_is_no_trouble() -> None:
    free = np.zeros((10, 10), bool)
    assert place([], free, free, (40, 40)).shape == (0, 2)
