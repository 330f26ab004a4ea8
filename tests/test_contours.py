"""Smooth contours of masks."""

import numpy as np
import pytest

from measure.silhouette.contours import smooth_contour


@pytest.mark.parametrize("radius", [9.0, 40.0])
def test_circle_keeps_its_place_and_size(radius):
    y, x = np.mgrid[0:120, 0:130]
    mask = ((x - 61.3) ** 2 + (y - 58.8) ** 2 < radius**2).astype(np.uint8)
    points = smooth_contour(mask, 4.5)
    away = np.hypot(points[:, 0] - 61.3, points[:, 1] - 58.8)
    assert points.mean(0) == pytest.approx([61.3, 58.8], abs=0.1)
    assert np.abs(away - radius).max() < 0.6
    assert np.mean(away) == pytest.approx(radius, abs=0.3)
    steps = np.hypot(*np.diff(points, axis=0, append=points[:1]).T)
    assert steps.max() < 1.3 * steps.min()


def test_mask_at_the_border_and_empty_mask():
    mask = np.zeros((30, 30), np.uint8)
    assert len(smooth_contour(mask, 4.0)) == 0
    mask[0:15, 0:20] = 1
    points = smooth_contour(mask, 4.0)
    assert points.min() > -1.0
    assert points[:, 0].max() == pytest.approx(19.5, abs=0.6)
