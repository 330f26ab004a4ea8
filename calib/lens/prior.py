"""From a lens profile to what is known of the camera of one photo, whichever way its sensor lay.

A profile's centre is counted in the sensor's frame. A phone that is held upright turns the photo afterwards, and says
so in EXIF; the centre, and what its errors have to do with those of the other terms, turn along.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calib.arrays import Array
from calib.lens.lens import FRAME_MM, Profile
from calib.photo.photo import Photo
from calib.view.view import Prior

TURNS = {3: [[-1, 0], [0, -1]], 6: [[0, -1], [1, 0]], 8: [[0, 1], [-1, 0]]}
"""From the sensor's x and y to the upright photo's, by EXIF orientation (Exif 2.32, tag 274)."""


def turn_of(photo: Photo) -> Array:
    """(2, 2) from directions on the sensor to directions in the upright photo."""
    return np.array(TURNS.get(photo.orientation, np.eye(2)), float)


def sensor_size_px(photo: Photo) -> tuple[int, int]:
    """Width and height of a photo as the sensor lay."""
    h, w = photo.rgb.shape[:2]
    return (h, w) if turn_of(photo)[0, 0] == 0 else (w, h)


def on_sensor(points_px: Array, photo: Photo) -> Array:
    """(n, 2) pixels of the upright photo where the sensor had them."""
    upright, sensor = np.array(photo.rgb.shape[1::-1]), np.array(sensor_size_px(photo))
    return np.asarray((points_px - (upright - 1) / 2) @ turn_of(photo) + (sensor - 1) / 2)


def prior_by(profile: Profile, plain: Prior, photo: Photo) -> Prior:
    """What is known of a photo's camera with its profile.

    Args:
        profile: of that camera.
        plain: what would be known without it.
        photo: upright.
    """
    h, w = photo.rgb.shape[:2]
    scale = max(w, h) / FRAME_MM
    out = replace(plain, radial=profile.radial, radial_sd=profile.radial_sd)
    if profile.focal_35mm and profile.focal_35mm_sd:
        relative = profile.focal_35mm_sd / profile.focal_35mm
        out = replace(out, focal_px=profile.focal_35mm * scale, focal_relative=relative)
    across, down = sensor_size_px(photo)
    if profile.centre_35mm is None or profile.centre_35mm_sd is None or (down > across) != profile.tall:
        return out  # which way the sensor lay is not known, or not where its axis is
    turn = turn_of(photo)
    x, y = turn @ profile.centre_35mm * scale + np.array([w - 1, h - 1]) / 2
    out = replace(out, centre_px=(float(x), float(y)), centre_sd_px=profile.centre_35mm_sd * scale)
    if profile.correlation is None:
        return out
    turned = np.eye(4)
    turned[1:3, 1:3] = turn
    correlation = turned @ np.array(profile.correlation) @ turned.T
    return replace(out, correlation=tuple(map(tuple, correlation.tolist())))
