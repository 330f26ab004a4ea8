"""Exposure and glare, on drawn faces."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calib.light.exposure import exposure, glare


def test_bright_parts_and_burnt_share() -> None:
    rgb = np.full((600, 800, 3), 90, np.uint8)
    rgb[:150] = 255
    found = exposure(rgb)
    assert found.burnt == pytest.approx(0.25, abs=0.01)
    assert found.bright == 255
    assert exposure(np.full((600, 800, 3), 30, np.uint8)).bright == 30


def test_glare_is_counted_inside_the_face_only() -> None:
    rgb = np.full((200, 300, 3), 140, np.uint8)
    cv2.circle(rgb, (150, 100), 40, (255, 255, 255), -1)
    rgb[:, :20] = 255
    inside = np.zeros((200, 300), np.uint8)
    inside[20:180, 30:270] = 1
    assert glare(rgb, inside) == pytest.approx(np.pi * 40**2 / (160 * 240), rel=0.05)


def test_single_bright_grains_and_saturated_colours_are_no_glare() -> None:
    rgb = np.full((200, 300, 3), (40, 60, 255), np.uint8)
    rgb[np.random.default_rng(1).random((200, 300)) < 0.02] = 255
    assert glare(rgb, np.ones((200, 300), np.uint8)) < 0.002
