"""Plates full of holes: measured with all of them, or refused. Photos are drawn, a plate without a wall to be seen."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.errors import PartRefused
from calib.photo.photo import Photo
from calib.view.view import project
from measure.tracing import following
from measure.tracing.request import Request
from measure.tracing.tracing import trace
from measure.tracing.values import Trace
from tests.drawn_sheets import SIZE, camera

WIDE, HIGH = 3000, 2250
TABLE_MM, PX_PER_MM = 260, 14
SUBPIXEL = 4
GROUND, CARD, PLATE = (165, 140, 120), (110, 60, 40), (48, 45, 45)
PITCH_MM, BORE_MM = 4.2, 2.6


def _px(x_mm: float, y_mm: float) -> tuple[int, int]:
    """A place on the table in the drawing from above, sixteenths of a pixel."""
    scale = PX_PER_MM << SUBPIXEL
    return round((x_mm + TABLE_MM / 2) * scale), round((TABLE_MM / 2 - y_mm) * scale)


def _plate(image: NDArray[np.uint8], at: float, w: float, h: float, r: float, colour: tuple[int, int, int]) -> None:
    """A rectangle with round corners, its middle `at` mm to the right of the table's."""
    turn = np.linspace(0, np.pi / 2, 12)
    middles = ((w / 2 - r, h / 2 - r), (r - w / 2, h / 2 - r), (r - w / 2, r - h / 2), (w / 2 - r, r - h / 2))
    ring = [
        _px(at + x + r * np.cos(t + k * np.pi / 2), y + r * np.sin(t + k * np.pi / 2))
        for k, (x, y) in enumerate(middles)
        for t in turn
    ]
    cv2.fillPoly(image, [np.array(ring, np.int32)], colour, cv2.LINE_AA, shift=SUBPIXEL)


def plate(columns: int, rows: int) -> Photo:
    """A photo of a card and a plate with so many holes, 230 mm from above."""
    rng = np.random.default_rng(2)
    side = TABLE_MM * PX_PER_MM
    image = np.full((side, side, 3), GROUND, np.uint8)
    _plate(image, -62.0, 85.6, 53.98, 3.18, CARD)
    middle = -9.0 + (columns * PITCH_MM + 8) / 2
    _plate(image, middle, columns * PITCH_MM + 8, rows * PITCH_MM + 8, 3.0, PLATE)
    for i in range(columns):
        for j in range(rows):
            at = middle + (i - (columns - 1) / 2) * PITCH_MM, (j - (rows - 1) / 2) * PITCH_MM
            cv2.circle(image, _px(*at), round(BORE_MM / 2 * (PX_PER_MM << SUBPIXEL)), GROUND, -1, cv2.LINE_AA, SUBPIXEL)
    q = camera(height=230.0).copy()
    q[6:9] = q[6] * WIDE / SIZE[0], (WIDE - 1) / 2, (HIGH - 1) / 2
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * float(TABLE_MM)
    world = np.c_[corners[:, 0] - TABLE_MM / 2, TABLE_MM / 2 - corners[:, 1], np.zeros(4)]
    seen = project(q, world).astype(np.float32)
    from_above = cv2.getPerspectiveTransform((corners * PX_PER_MM - 0.5).astype(np.float32), seen)
    rgb = cv2.warpPerspective(image, from_above, (WIDE, HIGH), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
    rgb = cv2.GaussianBlur(rgb, (0, 0), 0.8) + rng.normal(0, 1.5, rgb.shape)
    return Photo(np.clip(rgb, 0, 255).astype(np.uint8), 27, None, "plate.jpg")


def bores_mm(found: Trace) -> list[float]:
    return [2 * f.radius for f in found.estimate.features if f.kind == "circle"]


def test_a_plate_with_300_holes_is_measured_with_all_of_them() -> None:
    found = trace(plate(15, 20), Request(thickness_mm=0.3))
    assert len({f.loop for f in found.estimate.features}) == 1 + 300
    bores = bores_mm(found)
    assert len(bores) == 300
    # drawn on a grid of 1/14 mm with soft edges, and at the table's height instead of 0.3 mm: 0.03 mm in all
    assert np.median(bores) == pytest.approx(BORE_MM, abs=0.04)


def test_more_holes_than_can_be_measured_are_counted_and_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(following, "MOST_HOLES", 11)
    with pytest.raises(PartRefused) as why:
        trace(plate(4, 3), Request(thickness_mm=0.3))
    assert why.value.code == "too-many-holes"
    assert "has 12 holes" in why.value.text
