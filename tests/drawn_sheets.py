"""Small photos of flat things on a table, drawn with exact edges: each pixel by the share of it that a thing covers."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.view.view import Prior, camera_prior, project, rotation, to_plane

Colour = tuple[float, float, float]

SIZE = (1200, 900)
FOCAL_35MM = 27.0
BLUR_PX, NOISE = 0.8, 0.004
WHITE, BLUE, DARK, WOOD = (0.75, 0.75, 0.72), (0.05, 0.10, 0.35), (0.03, 0.03, 0.035), (0.25, 0.16, 0.09)
OPEN = 0.85
"""Light of a white surface that nothing hides the sky from."""


@dataclass(frozen=True)
class Thing:
    """A flat rectangle with its upper face at a height, millimetres; a disc if its radius is half its sides.

    `below` is where its wall begins; `bow` moves the middles of its long sides outwards.
    """

    width: float
    height: float
    face: Colour = WHITE
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    top: float = 0.0
    below: float = 0.0
    radius: float = 0.0
    bow: float = 0.0


def camera(tilt: float = 8.0, azimuth: float = 40.0, height: float = 420.0, k1: float = 0.0) -> Array:
    """(10,) a camera that looks at the origin, see `calib.view.view.NAMES`."""
    lean, way = np.radians([tilt, azimuth])
    back = np.array([np.sin(lean) * np.cos(way), np.sin(lean) * np.sin(way), np.cos(lean)])
    right = np.cross(-back, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    R = np.stack([right, np.cross(-back, right), -back])
    vector = cv2.Rodrigues(R)[0].ravel()
    assert np.allclose(rotation(vector), R)
    focal = FOCAL_35MM * (SIZE[0] / 36 + np.hypot(*SIZE) / 43.2666) / 2
    return np.r_[vector, -R @ back * height / np.cos(lean), focal, (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, k1]


def prior() -> Prior:
    """What EXIF would tell of the camera."""
    return camera_prior(SIZE, FOCAL_35MM)


def _cover(picture: Array, q: Array, t: Thing, height: float, colour: Colour) -> None:
    """Lay a thing's outline at a height into a picture: each pixel by the share of it that lies within.

    Around the foot of a wall the ground is darker by the sky that the wall hides, and lighter by what the wall throws
    on it (a long upright wall under an even sky; Lambert's law).
    """
    c, s = np.cos(np.radians(t.turn)), np.sin(np.radians(t.turn))
    half = np.array([t.width, t.height]) / 2
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (half + t.bow)
    seen = project(q, np.c_[ring @ np.array([[c, s], [-s, c]]) + np.array(t.at), np.full(4, height)])
    low = np.clip(np.floor(seen.min(0)) - 9, 0, None).astype(int)
    high = np.clip(np.ceil(seen.max(0)) + 9, None, SIZE).astype(int)
    if (high - low < 2).any():
        return
    x, y = np.meshgrid(np.arange(low[0], high[0], dtype=float), np.arange(low[1], high[1], dtype=float))
    X = (to_plane(q, np.stack([x.ravel(), y.ravel()], 1), height) - np.array(t.at)) @ np.array([[c, -s], [s, c]])
    d = np.abs(X) - half + t.radius
    d[:, 1] -= t.bow * (1 - np.clip(X[:, 0] / half[0], -1, 1) ** 2)
    far = (np.hypot(*np.maximum(d, 0).T) + np.minimum(d.max(1), 0) - t.radius).reshape(x.shape)
    share = np.clip(0.5 - far / np.maximum(np.hypot(*np.gradient(far)), 1e-9), 0, 1)[..., None]
    window = np.s_[low[1] : high[1], low[0] : high[0]]
    if height < t.top:
        away = np.maximum(far, 0)[..., None] / (t.top - height)
        hidden = (1 - away / np.hypot(1, away)) / 2
        picture[window] *= 1 - hidden * (1 - np.array(colour) / OPEN)
    picture[window] += share * (np.array(colour) - picture[window])


def photo(q: Array, *things: Thing, ground: Colour = WOOD, seed: int = 5) -> NDArray[np.uint8]:
    """8-bit sRGB of things on a table, in the order that they lie on one another."""
    rng = np.random.default_rng(seed)
    w, h = SIZE
    fibre = cv2.GaussianBlur(rng.normal(0, 1, (h, w)), (0, 0), sigmaX=24, sigmaY=0.9)
    picture = (1 + 1.2 * fibre)[..., None] * np.array(ground)
    for t in things:
        if t.below < t.top:
            _cover(picture, q, t, t.below, (0.45 * t.face[0], 0.45 * t.face[1], 0.45 * t.face[2]))
        _cover(picture, q, t, t.top, t.face)
    x, y = np.meshgrid(np.arange(w, dtype=float), np.arange(h, dtype=float))
    fall = 1 - 0.15 * ((x - w / 3) ** 2 + (y - h / 2) ** 2) / w**2
    picture = cv2.GaussianBlur(picture * fall[..., None], (0, 0), BLUR_PX)
    picture = np.clip(picture + rng.normal(0, NOISE, picture.shape), 0, 1)
    coded = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * picture ** (1 / 2.4) - 0.055)
    return np.asarray(coded * 255 + 0.5, np.uint8)
