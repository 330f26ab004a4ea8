"""Blur of edges, measured on drawn steps of known blur."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from calib.light.profile import Light
from calib.light.sharpness import blur_px, edges_along, edges_of_photo

FINER = 4


def coded(linear: np.ndarray) -> np.ndarray:
    """8-bit sRGB of linear light (IEC 61966-2-1)."""
    out = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    noisy = 255 * out + np.random.default_rng(2).normal(0, 0.7, out.shape)
    return np.clip(noisy + 0.5, 0, 255).astype(np.uint8)


def square(
    sigma_px: float, dark: float = 0.05, bright: float = 0.6, shadow_px: float = 0.0, moved_px: int = 1
) -> np.ndarray:
    """(300, 300, 3) a square turned by 20°, blurred in linear light; optionally with a soft shadow on two sides, or
    moved sideways meanwhile."""
    big = np.full((300 * FINER, 300 * FINER), bright, np.float32)
    corners = cv2.boxPoints(((150 * FINER, 150 * FINER), (150 * FINER, 150 * FINER), 20.0))
    if shadow_px:
        cast = np.zeros_like(big)
        cv2.fillPoly(cast, [np.int32(corners + 12 * FINER)], 1.0)
        big *= 1 - 0.5 * cv2.GaussianBlur(cast, (0, 0), shadow_px * FINER)
    cv2.fillPoly(big, [np.int32(corners)], dark)
    big = cv2.blur(big, (moved_px * FINER, 1))
    small = cv2.resize(cv2.GaussianBlur(big, (0, 0), sigma_px * FINER), (300, 300), interpolation=cv2.INTER_AREA)
    return np.repeat(coded(small)[..., None], 3, 2)


def ring() -> tuple[np.ndarray, np.ndarray]:
    """(n, 2) points and normals along the square's sides, its corners left out."""
    points, normals = [], []
    for k in range(4):
        a = math.radians(20 + 90 * k)
        n, u = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
        points.append(np.array([149.5, 149.5]) + 75 * n + np.arange(-50, 50)[:, None] * u)
        normals.append(np.tile(n, (100, 1)))
    return np.concatenate(points), np.concatenate(normals)


@pytest.mark.parametrize("sigma_px", [0.8, 1.2, 2.0, 3.0, 4.5])
def test_a_steps_blur_is_what_it_was_drawn_with(sigma_px: float) -> None:
    found = blur_px(edges_along(Light.of(square(sigma_px)), *ring()))
    drawn = math.hypot(sigma_px, 0.35)  # averaging over a pixel and sampling between pixels blur a little as well
    assert found == pytest.approx(drawn, rel=0.12)


def test_a_soft_shadow_is_no_blur() -> None:
    found = blur_px(edges_along(Light.of(square(1.0, shadow_px=5.0)), *ring()))
    assert found < 1.35


def test_a_dark_photo_is_not_called_blurred() -> None:
    found = blur_px(edges_along(Light.of(square(1.0, 0.002, 0.03)), *ring()))
    assert found == pytest.approx(1.06, rel=0.2)


def test_motion_shows_across_itself_only_and_counts() -> None:
    edges = edges_along(Light.of(square(1.0, moved_px=15)), *ring())
    assert blur_px(edges) > 3.9  # a box 15 px long has a standard deviation of 15/sqrt(12) = 4.3
    upright = np.abs(edges.way_rad - math.radians(110)) < 0.3
    assert np.nanmedian(edges.sigma_px[upright]) < 2.4  # 20° askew: 15 sin 20° = 5.1 px, 1.5 with the lens's blur 1.8


def test_no_edges_no_figure() -> None:
    plain = np.full((300, 300, 3), 120, np.uint8)
    assert math.isnan(blur_px(edges_along(Light.of(plain), *ring())))


@pytest.mark.parametrize("sigma_px", [1.0, 3.0])
def test_the_whole_photos_edges_without_knowing_where(sigma_px: float) -> None:
    tiles = np.tile(square(sigma_px), (3, 4, 1))
    assert blur_px(edges_of_photo(tiles)) == pytest.approx(sigma_px, rel=0.25)


@pytest.mark.filterwarnings("error")
def test_a_photo_of_a_single_level_has_no_edges_and_says_nothing() -> None:
    found = edges_of_photo(np.full((300, 300, 3), 200, np.uint8))
    assert len(found.sigma_px) == 0
    assert math.isnan(blur_px(found))
