"""Where a wall shows, against a camera drawn by hand."""

import cv2
import numpy as np
import pytest

from calib.view.view import View
from measure.silhouette.standing import lower_from_upper, wall_below

FOCAL, SIZE = 3000.0, (3024, 4032)


def turn(tilt_deg):
    t = np.radians(tilt_deg)
    return np.array([[1, 0, 0], [0, -np.cos(t), -np.sin(t)], [0, np.sin(t), -np.cos(t)]])


def pixels(points, tilt_deg):
    """Pinhole camera 260 mm from the plane's origin, leaning by tilt."""
    p = np.asarray(points, float) @ turn(tilt_deg).T + np.array([0, 0, 260.0])
    return p[:, :2] / p[:, 2:] * FOCAL + np.array([(SIZE[1] - 1) / 2, (SIZE[0] - 1) / 2])


@pytest.mark.parametrize("tilt_deg", [0, 7, 18])
def test_lower_edge_stands_below_the_upper(tilt_deg):
    vector = cv2.Rodrigues(turn(tilt_deg))[0][:, 0]
    centre = [(SIZE[1] - 1) / 2, (SIZE[0] - 1) / 2]
    view = View(np.r_[vector, 0, 0, 260.0, FOCAL, centre, 0.0], np.zeros((10, 10)), SIZE[::-1])
    at = np.array([[-60.0, 15.0], [-40.0, -30.0], [5.0, 40.0]])
    for share in (0.5, 1.0):
        move = lower_from_upper(view, 8.0, share)
        upper = pixels(np.column_stack([at, np.full(3, 8.0)]), tilt_deg)
        lower = pixels(np.column_stack([at, np.full(3, 8.0 * (1 - share))]), tilt_deg)
        got = cv2.perspectiveTransform(upper[:, None], move)[:, 0]
        np.testing.assert_allclose(got, lower, atol=1e-6)


def test_wall_is_on_the_side_it_moves_to():
    face = np.zeros((40, 60), np.uint8)
    face[10:30, 10:40] = 1
    shift = np.array([[1, 0, 4], [0, 1, 0], [0, 0, 1]], float)
    wall = wall_below(face, [shift])
    assert wall[10:30, 40:44].all()
    assert wall.sum() == 20 * 4
