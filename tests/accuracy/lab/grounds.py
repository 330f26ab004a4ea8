"""What things lie on: linear reflectance of tables, (n, n, 3), in the colour that is asked for.

Woven, printed and grained grounds are invented. Brick, grass, gravel and print are open photographs that scikit-image
carries, taken small, as a patterned tile, a mat, terrazzo and newsprint would be.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]

SPAN_MM = 640.0
"""Side of the textured table."""

COLOURS = {
    "wood": (0.45, 0.27, 0.14),
    "dark wood": (0.10, 0.055, 0.03),
    "white paper": (0.80, 0.80, 0.78),
    "grey card": (0.22, 0.22, 0.22),
    "green mat": (0.03, 0.15, 0.10),
    "blue cloth": (0.05, 0.10, 0.24),
    "pale laminate": (0.62, 0.60, 0.54),
    "black laminate": (0.03, 0.03, 0.032),
    "towel": (0.66, 0.62, 0.55),
    "sheet": (0.78, 0.78, 0.77),
    "brick": (0.34, 0.19, 0.13),
    "grass": (0.16, 0.22, 0.10),
    "gravel": (0.38, 0.36, 0.33),
    "newsprint": (0.58, 0.56, 0.51),
}
PLAIN = ("white paper", "grey card", "pale laminate", "black laminate")
"""What the guide asks for."""
BUSY = ("wood", "dark wood", "green mat", "blue cloth", "sheet", "towel", "brick", "grass", "gravel", "newsprint")

LUMINANCE = (0.21, 0.72, 0.07)
"""Of red, green and blue in linear light (ITU-R BT.709, rounded)."""


def luminance(colour: tuple[float, float, float]) -> float:
    """How bright a linear colour is."""
    return float(np.dot(colour, LUMINANCE))


def ground(name: str, rng: np.random.Generator, n: int = 4096, *, dust: bool = False) -> Picture:
    """The texture of a ground by its name.

    Args:
        n: side, pixels; it covers `SPAN_MM`.
        dust: specks and scratches on it.
    """
    base, px = np.array(COLOURS[name], np.float32), n / SPAN_MM
    img = _MAKERS[name](base, rng, n, px)
    return np.clip(dusty(img, rng) if dust else img, 0.004, 0.95).astype(np.float32)


def noise(shape: tuple[int, int], scale: float, rng: np.random.Generator) -> Picture:
    """Smooth noise of variance about 1, its bumps `scale` pixels wide."""
    small = rng.normal(0, 1, (max(2, int(shape[0] / scale) + 2), max(2, int(shape[1] / scale) + 2)))
    return cv2.resize(small.astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC)


def dusty(img: Picture, rng: np.random.Generator) -> Picture:
    """Grey specks and pale hairlines over a texture."""
    h, w = img.shape[:2]
    specks = np.zeros((h, w), np.float32)
    for x, y in rng.integers(0, (w, h), (h * w // 9000, 2)):
        cv2.circle(specks, (int(x), int(y)), int(rng.integers(0, 3)), 1.0, -1)
    for _ in range(12):
        p, a, d = rng.uniform(0, min(h, w), 2), rng.uniform(0, 2 * math.pi), rng.uniform(0.05, 0.3) * min(h, w)
        q = p + d * np.array([math.cos(a), math.sin(a)])
        cv2.line(specks, p.astype(int).tolist(), q.astype(int).tolist(), 0.5, 1, cv2.LINE_AA)
    k = 0.35 * cv2.GaussianBlur(specks, (0, 0), 0.7)[..., None]
    return img * (1 - k) + k * 0.42


def _fine(n: int, rng: np.random.Generator, sigma: float) -> Picture:
    return cv2.GaussianBlur(rng.normal(0, 1, (n, n)).astype(np.float32), (0, 0), sigma)


def _wood(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    y = np.arange(n, dtype=np.float32)[:, None]
    along = y + 6 * (25 * noise((n, n), 900, rng) + 4 * noise((n, n), 120, rng))
    rings = np.sin(along / (px * 2.3)) * 0.5 + np.sin(along / (px * 0.9)) * 0.25
    fibre = cv2.GaussianBlur(rng.normal(0, 1, (n, n)).astype(np.float32), (0, 0), sigmaX=24, sigmaY=0.8)
    return (1 + 0.13 * rings + 1.6 * fibre + 0.05 * noise((n, n), 700, rng))[..., None] * base


def _laminate(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    return (1 + np.clip(_fine(n, rng, 1.6), -0.25, 0.25) + 0.05 * noise((n, n), 500, rng))[..., None] * base


def _cloth(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    wave = np.sin(np.arange(n, dtype=np.float32) * 2 * np.pi / (px * 1.1))
    g = 1 + 0.22 * wave[:, None] * wave + 0.06 * noise((n, n), 300, rng) + 0.4 * _fine(n, rng, 2)
    return g[..., None] * base


def _mat(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    """A cutting mat with a printed grid of no useful pitch."""
    img = (1 + 0.04 * noise((n, n), 400, rng))[..., None] * base
    pitch = 13.7 * px
    at = np.arange(n, dtype=np.float32) % pitch
    on = np.minimum(at, pitch - at) < 0.16 * px
    img[on[:, None] | on] = np.minimum(1, base * 2.6 + 0.12)
    return img


def _towel(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    stripes = (np.arange(n, dtype=np.float32) / (px * 9.5)) % 1 < 0.35
    g = 1 - 0.45 * stripes + 0.05 * noise((n, n), 200, rng) + 0.25 * _fine(n, rng, 1.2)
    return g[..., None] * base


def _paper(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    g = 1 + 0.015 * noise((n, n), 900, rng) + 0.01 * rng.normal(0, 1, (n, n)).astype(np.float32)
    return g[..., None] * base


def _sheet(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
    """A sheet of A4 lying askew on a darker desk."""
    desk = (1 + 0.12 * noise((n, n), 60, rng) + 0.1 * noise((n, n), 500, rng))[..., None]
    a = math.radians(rng.uniform(-8, 8))
    y, x = (np.mgrid[0:n, 0:n].astype(np.float32) - n / 2) / px
    u, v = x * math.cos(a) + y * math.sin(a), -x * math.sin(a) + y * math.cos(a)
    on = (np.abs(u) < 148.5) & (np.abs(v) < 105)
    return np.where(on[..., None], _paper(base, rng, n, px), desk * np.array([0.16, 0.10, 0.06], np.float32))


def _photograph(name: str, mm_per_px: float, depth: float):
    """A maker from one of scikit-image's photographs: mirrored end to end, so many mm a pixel of it, its contrast."""

    def made(base: Picture, rng: np.random.Generator, n: int, px: float) -> Picture:
        from skimage import data

        grey = np.asarray(getattr(data, name)(), np.float32)
        if name == "page":  # mirrored print would be odd; the scan's own light is that of its paper between the lines
            paper = cv2.GaussianBlur(cv2.dilate(grey, np.ones((25, 25))), (0, 0), 12, borderType=cv2.BORDER_REPLICATE)
            tile = np.tile(grey / paper, (2, 2))
        else:  # the photograph's light is not the ground's
            grey = grey / cv2.GaussianBlur(grey, (0, 0), 60)
            tile = np.block([[grey, grey[:, ::-1]], [grey[::-1], grey[::-1, ::-1]]])
        at = (np.arange(n, dtype=np.float32) / px / mm_per_px + rng.uniform(0, 1000)).astype(np.float32)
        y, x = np.meshgrid(at % (tile.shape[0] - 1), at % (tile.shape[1] - 1), indexing="ij")
        g = cv2.remap(tile, x.astype(np.float32), y.astype(np.float32), cv2.INTER_CUBIC)
        return (1 + depth * (g - 1))[..., None] * base

    return made


_MAKERS = {
    "wood": _wood,
    "dark wood": _wood,
    "white paper": _paper,
    "grey card": _paper,
    "green mat": _mat,
    "blue cloth": _cloth,
    "pale laminate": _laminate,
    "black laminate": _laminate,
    "towel": _towel,
    "sheet": _sheet,
    "brick": _photograph("brick", 0.15, 0.8),
    "grass": _photograph("grass", 0.16, 0.7),
    "gravel": _photograph("gravel", 0.11, 0.8),
    "newsprint": _photograph("page", 0.16, 1.0),
}
