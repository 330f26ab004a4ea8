"""Small photos of cards, drawn with known truth: face, rim and shadow in perspective, on a table, blur and noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.view.view import Prior, camera_prior, project, rotation

SIZE = (1200, 900)
FOCAL_35MM = 27.0
UNDER = 2
"""Drawn so many times finer, then averaged."""


@dataclass(frozen=True)
class Drawing:
    """A card on a table. Millimetres, degrees.

    Attributes:
        width, height, radius, thickness: of the card.
        at, turn: where its middle lies on the table, and how it is turned.
        camera_height, tilt, azimuth: of the camera, which looks at the origin.
        table: plain, wood, stripes, grid, speckle.
        ground, face: colours, linear light.
        second: colour of a part of the face, or None.
        shadow: how far the shadow's edge lies beside the card, x and y; and how dark it is.
        bow: how far the middles of the long sides stand out: a bent card.
        radial: the lens's first term.
    """

    width: float = 85.60
    height: float = 53.98
    radius: float = 3.18
    thickness: float = 0.76
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 10.0
    camera_height: float = 260.0
    tilt: float = 8.0
    azimuth: float = 40.0
    table: str = "plain"
    ground: tuple[float, float, float] = (0.30, 0.28, 0.25)
    face: tuple[float, float, float] = (0.05, 0.10, 0.35)
    second: tuple[float, float, float] | None = None
    shadow: tuple[float, float, float] = (0.35, 0.3, 0.5)
    bow: float = 0.0
    radial: float = 0.0


def parameters(d: Drawing) -> Array:
    """(10,) the drawing's camera, see `calib.view.view.NAMES`."""
    lean, way = np.radians([d.tilt, d.azimuth])
    back = np.array([np.sin(lean) * np.cos(way), np.sin(lean) * np.sin(way), np.cos(lean)])
    right = np.cross(-back, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    R = np.stack([right, np.cross(-back, right), -back])
    centre = back * d.camera_height / np.cos(lean)
    vector = cv2.Rodrigues(R)[0].ravel()
    assert np.allclose(rotation(vector), R)
    focal = FOCAL_35MM * (SIZE[0] / 36 + np.hypot(*SIZE) / 43.2666) / 2
    return np.r_[vector, -R @ centre, focal, (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, d.radial]


def prior() -> Prior:
    """What EXIF would tell of the drawings' camera."""
    return camera_prior(SIZE, FOCAL_35MM)


def outline(d: Drawing) -> Array:
    """(n, 2) the card's outline on the table, mm."""
    w, h, r = d.width / 2, d.height / 2, d.radius
    t = np.linspace(0, np.pi / 2, 16)
    corners = [(w - r, h - r, 0), (r - w, h - r, 1), (r - w, r - h, 2), (w - r, r - h, 3)]
    arcs = [np.c_[x + r * np.cos(t + k * np.pi / 2), y + r * np.sin(t + k * np.pi / 2)] for x, y, k in corners]
    ring = np.concatenate(arcs)
    closed = np.concatenate([ring, ring[:1]])
    steps = [np.linspace(a, b, 12, endpoint=False) for a, b in pairwise(closed)]
    ring = np.concatenate(steps)
    ring[:, 1] += np.sign(ring[:, 1]) * d.bow * (1 - (ring[:, 0] / w) ** 2) * (np.abs(ring[:, 1]) > 0.8 * h)
    return _placed(d, ring)


def corners_px(d: Drawing) -> Array:
    """(4, 2) where the sides of the upper face meet in the photo, counter-clockwise as seen."""
    w, h = d.width / 2, d.height / 2
    ring = _placed(d, np.array([[-w, -h], [w, -h], [w, h], [-w, h]]))
    return project(parameters(d), np.c_[ring, np.full(4, d.thickness)])


def _placed(d: Drawing, points: Array) -> Array:
    c, s = np.cos(np.radians(d.turn)), np.sin(np.radians(d.turn))
    return points @ np.array([[c, s], [-s, c]]) + np.array(d.at)


def _table(d: Drawing, rng: np.random.Generator) -> NDArray[np.float32]:
    """(h, w, 3) linear light of the bare table."""
    w, h = SIZE
    x, y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
    shade = np.ones((h, w), np.float32)
    if d.table == "wood":
        fibre = cv2.GaussianBlur(rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), sigmaX=24, sigmaY=0.7)
        shade += 0.1 * np.sin((y + 14 * np.sin(x / 130)) / 4.5) + 1.2 * fibre
    elif d.table == "stripes":
        shade -= 0.4 * ((x + 0.05 * y) % 52 < 18)
    elif d.table == "grid":
        shade += 1.6 * ((x + 0.03 * y) % 67 < 1.5) + 1.6 * ((y - 0.03 * x) % 67 < 1.5)
    elif d.table == "speckle":
        shade += np.clip(1.5 * cv2.GaussianBlur(rng.normal(0, 1, (h, w)).astype(np.float32), (0, 0), 1.2), -0.2, 0.2)
    fall = 1 - 0.15 * ((x - w / 3) ** 2 + (y - h / 2) ** 2) / w**2
    return np.asarray(shade[..., None] * fall[..., None] * np.array(d.ground, np.float32), np.float32)


def photo(*drawings: Drawing, noise: float = 0.004, seed: int = 5) -> NDArray[np.uint8]:
    """8-bit sRGB of cards on the table of the first drawing, seen by its camera."""
    rng = np.random.default_rng(seed)
    camera = parameters(drawings[0])
    picture = cv2.resize(_table(drawings[0], rng), None, fx=UNDER, fy=UNDER, interpolation=cv2.INTER_LINEAR)
    for d in drawings:
        low = outline(d)
        x, y, dark = d.shadow
        cast = np.zeros(picture.shape[:2], np.float32)
        if dark:
            _fill(
                cast, np.concatenate([_seen(camera, low, 0), _seen(camera, low + np.array([x, y]), 0)]), 1.0, hull=True
            )
            cast = cv2.GaussianBlur(cast, (0, 0), 1.5)
        picture *= 1 - dark * cast[..., None]
        rim = np.concatenate([_seen(camera, low, 0), _seen(camera, low, d.thickness)])
        _fill(picture, rim, tuple(0.45 * c for c in d.face), hull=True)
        _fill(picture, _seen(camera, low, d.thickness), d.face)
        if d.second is not None:
            half = replace(d, width=0.4 * d.width, radius=0.1, bow=0.0)
            part = outline(half) + _placed(replace(d, at=(0.0, 0.0)), np.array([[-0.3 * d.width, 0.0]]))
            clip = np.zeros(picture.shape[:2], np.uint8)
            face = clip.copy()
            _fill(clip, _seen(camera, part, d.thickness), 1)
            _fill(face, _seen(camera, low, d.thickness), 1)
            picture[(clip & face) > 0] = d.second
    picture = cv2.resize(cv2.GaussianBlur(picture, (0, 0), 0.8 * UNDER), SIZE, interpolation=cv2.INTER_AREA)
    picture = np.clip(picture + rng.normal(0, noise, picture.shape), 0, 1)
    coded = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * picture ** (1 / 2.4) - 0.055)
    return np.asarray(coded * 255 + 0.5, np.uint8)


def _seen(camera: Array, points: Array, z: float) -> Array:
    return project(camera, np.c_[points, np.full(len(points), z)])


def _fill(picture: NDArray[np.float32], points_px: Array, colour: object, hull: bool = False) -> None:
    at = np.round(((points_px + 0.5) * UNDER - 0.5) * 256).astype(np.int32)
    if hull:
        at = cv2.convexHull(at)[:, 0]
    cv2.fillPoly(picture, [at], colour, cv2.LINE_AA if picture.dtype == np.uint8 else cv2.LINE_8, 8)
