"""The blur of a part's own edges, from squares drawn with a known one."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calib.light.profile import Light
from measure.edges.edge_blur import LIMITS_PX, USUAL_PX, blur_of_edges

RING = np.array([[80.0, 80], [320, 80], [320, 240], [80, 240]])


def light_of(blur_px: float, turn_deg: float = 7.0) -> tuple[Light, np.ndarray]:
    """A dark part on light ground, four times finer than the photo, and its outline."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    ring = (RING - 200) @ np.array([[c, s], [-s, c]]) + 200
    fine = np.full((1600, 1600, 3), 40000, np.float32)
    cv2.fillPoly(fine, [np.rint((ring + 0.5) * 4 - 0.5).astype(np.int32)], (6000, 8000, 12000))
    seen = cv2.resize(cv2.GaussianBlur(fine, (0, 0), 4 * blur_px), (400, 400), interpolation=cv2.INTER_AREA)
    noisy = seen + np.random.default_rng(1).normal(0, 120, seen.shape)
    return Light(np.clip(noisy, 0, 65535).astype(np.uint16)), ring


@pytest.mark.parametrize("blur_px", [0.8, 1.0, 1.2, 1.4])
def test_blur_is_told_to_a_tenth_of_a_pixel_or_so(blur_px: float) -> None:
    light, ring = light_of(blur_px)
    assert blur_of_edges(light, [ring]) == pytest.approx(blur_px, abs=0.151)
    assert blur_of_edges(light, [ring + 3.0]) == pytest.approx(blur_px, abs=0.151)  # a rough contour


def test_what_is_out_of_all_reason_is_not_believed() -> None:
    light, ring = light_of(4.0)
    assert blur_of_edges(light, [ring]) == LIMITS_PX[1]
    assert blur_of_edges(light, []) == USUAL_PX
    even = Light(np.full((400, 400, 3), 20000, np.uint16))
    assert blur_of_edges(even, [ring]) == USUAL_PX
