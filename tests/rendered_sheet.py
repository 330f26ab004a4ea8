"""Photos of the printed sheet with a part on it, ray by ray: pinhole with one radial term, known exactly.

Each pixel is the mean of several rays. A ray meets the part's upper face, its straight wall, or the paper; a soft
shadow lies beside the part. Then lens blur, light falling off, noise, the sRGB curve and JPEG.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.draw import polygon2mask

from calib.arrays import Array
from calib.target.layout import LAYOUTS, MARKER_CELLS, Layout
from calib.view.view import rotation

PAPER_PX_PER_MM = 20
PAPER, INK, TABLE = 0.80, 0.035, (0.30, 0.20, 0.12)


@dataclass(frozen=True)
class Shot:
    """A photo to be rendered.

    `stretch` and `shear` (rad) are what the printer did; `centre` is how far the principal point
    lies off the middle, as share of the width; `bow_mm` lifts the sheet's short sides; `covered_mm` are rectangles
    x0, y0, x1, y1 of something dark that lies on the sheet.
    """

    layout: str = "a4"
    size_px: tuple[int, int] = (2000, 1500)
    focal_px: float = 1450.0
    radial: float = 0.0
    height_mm: float = 330.0
    tilt_deg: float = 6.0
    towards_deg: float = 40.0
    turn_deg: float = 92.0
    aim_mm: tuple[float, float] = (0.0, 0.0)
    centre: tuple[float, float] = (0.002, -0.003)
    stretch: tuple[float, float] = (1.0, 1.0)
    shear: float = 0.0
    bow_mm: float = 0.0
    outline_mm: Sequence[Array] = ()
    thickness_mm: float = 4.0
    face: tuple[float, float, float] = (0.08, 0.12, 0.30)
    tint: tuple[float, float, float] = (PAPER, PAPER, PAPER)
    covered_mm: tuple[tuple[float, float, float, float], ...] = ()
    blur_px: float = 0.9
    noise: float = 0.004
    rays: int = 2
    seed: int = 1
    quality: int = 92

    def parameters(self) -> Array:
        """(10,) of the view: the camera looks at `aim_mm` from `height_mm`."""
        tilt, towards, turn = np.radians([self.tilt_deg, self.towards_deg, self.turn_deg])
        axis = np.array([-np.sin(towards), np.cos(towards), 0.0])
        R = rotation(np.array([np.pi, 0.0, 0.0])) @ rotation(np.array([0, 0, turn])) @ rotation(tilt * axis)
        back = R.T @ np.array([0.0, 0.0, -1.0])
        centre = np.array([*self.aim_mm, 0.0]) + back * self.height_mm
        vector = cv2.Rodrigues(R)[0].ravel()
        w, h = self.size_px
        principal = ((w - 1) / 2 + self.centre[0] * w, (h - 1) / 2 + self.centre[1] * w)
        return np.r_[vector, -R @ centre, self.focal_px, principal, self.radial]


@lru_cache(maxsize=4)
def _printed(name: str, tint: tuple[float, float, float]) -> Array:
    """The sheet as reflectance, true to size, 20 px a millimetre; its row 0 is the paper's upper edge."""
    layout: Layout = LAYOUTS[name]
    s = PAPER_PX_PER_MM
    w, h = round(layout.width_mm * s), round(layout.height_mm * s)
    page = np.full((h, w, 3), PAPER, np.float32)

    def box(x0: float, y0: float, x1: float, y1: float, value: object) -> None:
        ox, oy = layout.on_paper_mm
        a, b = round((x0 + ox) * s), round((x1 + ox) * s)
        c, d = h - round((y1 + oy) * s), h - round((y0 + oy) * s)
        page[c:d, a:b] = value

    fx, fy = layout.field_half_mm
    box(-fx, -fy, fx, fy, tint)
    for x, y in layout.dark_mm:
        box(x, y, x + layout.square_mm, y + layout.square_mm, INK)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    for number, corners in layout.markers.items():
        bits = cv2.aruco.generateImageMarker(dictionary, number, MARKER_CELLS)
        (x0, y1), cell = corners[0], (corners[1, 0] - corners[0, 0]) / MARKER_CELLS
        for i, j in zip(*np.nonzero(bits == 0), strict=True):
            box(x0 + j * cell, y1 - (i + 1) * cell, x0 + (j + 1) * cell, y1 - i * cell, INK)
    # ink creeps a little, and the rays of a reduced picture must not fall through
    return np.asarray(cv2.GaussianBlur(page, (0, 0), 2.0))


def _mask(loops: Sequence[Array], low: Array, size: tuple[int, int], s: float) -> NDArray[np.uint8]:
    """(h, w) 255 where a pixel's middle lies inside the first loop and outside the others."""
    inside = np.zeros(size[::-1], bool)
    for p in loops:
        x, y = ((p - low) * s - 0.5).T
        inside ^= polygon2mask(inside.shape, np.stack([y, x], 1))
    return np.asarray(cv2.GaussianBlur(inside.astype(np.uint8) * 255, (0, 0), 0.7))


STRIP = 128
"""Rows that are worked together, so that they fit into the processor's cache."""
Part = tuple[Array, NDArray[np.uint8], NDArray[np.uint8], float]


def _rays(
    shot: Shot, q: Array, columns: Array, rows: Array, page: Array, paper_by_ground: Array, part: Part | None
) -> NDArray[np.float32]:
    """(h, w, 3) light of one ray through each pixel of a strip."""
    layout = LAYOUTS[shot.layout]
    R, C = rotation(q[:3]), -rotation(q[:3]).T @ q[3:6]
    h, w = len(rows), len(columns)
    x, y = np.meshgrid(columns, rows)
    d = (np.stack([x, y], -1) - q[7:9]) / q[6]
    r = np.hypot(d[..., 0], d[..., 1])
    u = r.copy()
    for _ in range(5):
        u -= (u * (1 + q[9] * u**2) - r) / (1 + 3 * q[9] * u**2)
    d *= np.where(r > 0, u / np.maximum(r, 1e-12), 1)[..., None]
    ray = np.concatenate([d, np.ones((h, w, 1))], -1) @ R
    slope = ray[..., :2] / ray[..., 2:]

    def at(z: float | Array) -> Array:
        return np.asarray(
            C[:2] + (z - C[2])[..., None] * slope if isinstance(z, np.ndarray) else C[:2] + (z - C[2]) * slope
        )

    ground = at(0.0)
    if shot.bow_mm:
        ground = at(shot.bow_mm * (ground[..., 1] / layout.half_mm[1]) ** 2)
    drawn = (ground @ paper_by_ground.T + layout.on_paper_mm) * PAPER_PX_PER_MM - 0.5
    mx = drawn[..., 0].astype(np.float32)
    my = (page.shape[0] - 1 - drawn[..., 1]).astype(np.float32)
    light = np.asarray(cv2.remap(page, mx, my, cv2.INTER_LINEAR, borderValue=TABLE), np.float32)
    for x0, y0, x1, y1 in shot.covered_mm:
        light[(ground[..., 0] > x0) & (ground[..., 0] < x1) & (ground[..., 1] > y0) & (ground[..., 1] < y1)] = 0.02
    if part is None:
        return light
    low, mask, soft, s = part
    high = low + np.array(mask.shape[::-1]) / s
    near = ((ground > low - 3) & (ground < high + 3)).all(-1)
    if not near.any():
        return light
    box = (slice(*_ends(near.any(1))), slice(*_ends(near.any(0))))
    slope, ground = slope[box], ground[box]

    def inside(p: Array, m: NDArray[np.uint8], scale: float) -> NDArray[np.float32]:
        z = ((p - low) * scale - 0.5).astype(np.float32)
        return np.asarray(cv2.remap(m, z[..., 0], z[..., 1], cv2.INTER_LINEAR), np.float32) / 255

    shade = inside(ground - np.array([0.25, -0.15]) * shot.thickness_mm, soft, s / 4)
    wall = np.zeros(shade.shape, np.float32)
    for z in np.linspace(0, 1, 13)[:-1] * shot.thickness_mm:
        wall = np.maximum(wall, inside(at(float(z)), mask, s))
    top = inside(at(shot.thickness_mm), mask, s)
    face = np.array(shot.face, np.float32)
    seen = light[box] * (1 - 0.55 * shade[..., None])
    seen = seen * (1 - wall[..., None]) + 0.55 * face * wall[..., None]
    light[box] = seen * (1 - top[..., None]) + face * top[..., None]
    return light


def _ends(where: NDArray[np.bool_]) -> tuple[int, int]:
    """First and one past the last place that is true."""
    at = np.flatnonzero(where)
    return int(at[0]), int(at[-1]) + 1


def render(shot: Shot) -> NDArray[np.uint8]:
    """(h, w, 3) sRGB."""
    q = shot.parameters()
    w, h = shot.size_px
    page = _printed(shot.layout, shot.tint)
    part: Part | None = None
    if shot.outline_mm:
        s = 24.0
        low = np.min([p.min(0) for p in shot.outline_mm], 0) - 12
        high = np.max([p.max(0) for p in shot.outline_mm], 0) + 12
        size = tuple(int(v) for v in np.ceil((high - low) * s))
        mask = _mask(shot.outline_mm, low, size, s)  # type: ignore[arg-type]
        small = cv2.resize(mask, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        part = (low, mask, cv2.GaussianBlur(small, (0, 0), 0.7 * shot.thickness_mm * s / 4 / 2), s)
    paper_by_ground = np.linalg.inv(np.array([[shot.stretch[0], shot.shear], [0.0, shot.stretch[1]]]))
    total = np.empty((h, w, 3), np.float32)
    for top in range(0, h, STRIP):
        rows = np.arange(top, min(top + STRIP, h))
        strip = np.zeros((len(rows), w, 3), np.float32)
        for k in range(shot.rays**2):
            shift = (np.array([k % shot.rays, k // shot.rays]) + 0.5) / shot.rays - 0.5
            strip += _rays(shot, q, np.arange(w) + shift[0], rows + shift[1], page, paper_by_ground, part)
        total[rows] = strip / shot.rays**2
    total = cv2.GaussianBlur(total, (0, 0), shot.blur_px)
    x, y = np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h))
    total *= (1.0 - 0.12 * (x**2 + y**2) + 0.08 * x)[..., None].astype(np.float32)
    rng = np.random.default_rng(shot.seed)
    total += rng.normal(0, 1, total.shape).astype(np.float32) * (shot.noise * np.sqrt(0.15 + np.maximum(total, 0)))
    total = np.clip(total, 0, 1)
    coded = np.where(total <= 0.0031308, 12.92 * total, 1.055 * total ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(coded * 255), np.uint8)


def save(path: Path, shot: Shot, rgb: NDArray[np.uint8], camera: str = "Example P1", focal_35mm: int = 26) -> None:
    """As a phone would: JPEG with EXIF of an invented camera."""
    from PIL import Image

    exif = Image.Exif()
    exif[0x0110] = camera
    exif.get_ifd(0x8769)[0xA405] = focal_35mm
    Image.fromarray(rgb).save(path, quality=shot.quality, exif=exif)
