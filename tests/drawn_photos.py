"""Small photos drawn on the fly: a table, a card, a part with shadow and holes, in linear light with blur and noise."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

PX_PER_MM = 5.0
WIDTH, HEIGHT = 900, 680
CARD_PX = np.array([[560.0, 60.0], [820.0, 145.0], [686.0, 552.0], [427.0, 467.0]])  # 54 × 86 mm, turned

Array = NDArray[np.float64]


def rounded_bar(centre: tuple[float, float], length: float, width: float, turn_deg: float) -> Array:
    """(n, 2) outline of a bar with round ends, px."""
    a = np.linspace(-np.pi / 2, np.pi / 2, 40)
    end = np.stack([length / 2 - width / 2 + width / 2 * np.cos(a), width / 2 * np.sin(a)], 1)
    t = np.radians(turn_deg)
    return np.vstack([end, -end]) @ np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]]) + centre


def circle(centre: tuple[float, float], radius: float) -> Array:
    """(n, 2) outline of a circle, px."""
    a = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    return np.stack([np.cos(a), np.sin(a)], 1) * radius + centre


def cover(outline: Array) -> NDArray[np.float32]:
    """(h, w) share of each pixel that an outline covers."""
    mask = np.zeros((HEIGHT * 4, WIDTH * 4), np.uint8)
    cv2.fillPoly(mask, [np.rint(((outline + 0.5) * 4 - 0.5) * 16).astype(np.int32)], 255, shift=4)
    return cv2.resize(mask, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def table(kind: str, rng: np.random.Generator) -> NDArray[np.float32]:
    """(h, w, 3) linear reflectance of a table top."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    base = {
        "paper": (0.6, 0.6, 0.58),
        "grain": (0.4, 0.24, 0.12),
        "weave": (0.06, 0.11, 0.26),
        "stripes": (0.55, 0.5, 0.45),
        "grid": (0.03, 0.15, 0.1),
        "speckle": (0.5, 0.48, 0.44),
        "grey": (0.22, 0.22, 0.22),
        "desk": (0.6, 0.6, 0.58),
    }[kind]
    level = np.ones((HEIGHT, WIDTH), np.float32)
    white = rng.normal(0, 1, (HEIGHT, WIDTH)).astype(np.float32)
    if kind == "grain":
        level += 2.0 * cv2.GaussianBlur(white, (0, 0), sigmaX=14, sigmaY=1.0) + 0.08 * np.sin(y / 7)
    elif kind == "weave":
        level += 0.2 * np.sin(x * 1.2) * np.sin(y * 1.2) + 0.1 * white
    elif kind == "stripes":
        level -= 0.4 * ((x / 47) % 1 < 0.35)
    elif kind == "speckle":
        level += 0.8 * np.clip(cv2.GaussianBlur(white, (0, 0), 1.5), -0.2, 0.2)
    out = level[..., None] * np.array(base, np.float32)
    if kind == "grid":
        line = (x % 68 < 2) | (y % 68 < 2)
        out[line] = np.array(base, np.float32) * 2.6 + 0.12
    elif kind == "desk":  # a sheet of paper on a dark desk
        out[(y < 40 + 0.05 * x) | (x < 25)] = (0.16, 0.1, 0.06)
    return out


@dataclass
class Scene:
    """What lies on the table."""

    kind: str = "paper"
    part: Array | None = field(default_factory=lambda: rounded_bar((210, 330), 260, 100, 35))
    colour: tuple[float, float, float] = (0.35, 0.05, 0.04)
    second: tuple[float, float, float] | None = None
    holes: tuple[Array, ...] = ()
    prints: tuple[Array, ...] = ()
    others: tuple[tuple[Array, tuple[float, float, float]], ...] = ()
    shadow_px: tuple[float, float] = (9.0, 12.0)
    shadow_blur_px: float = 5.0
    wall_px: tuple[float, float] = (0.0, 0.0)
    exposure: float = 1.0
    noise: float = 0.006
    card: bool = True

    def photo(self, seed: int = 1) -> NDArray[np.uint8]:
        """(h, w, 3) sRGB pixels."""
        rng = np.random.default_rng(seed)
        image = table(self.kind, rng)
        y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
        if self.card:
            self._lay(image, CARD_PX, (0.1, 0.25, 0.45), (2, 2), 1.5)
        for outline, colour in self.others:
            self._lay(image, outline, colour, (2, 2), 1.5)
        if self.part is not None:
            self._lay(image, self.part, self.colour, self.shadow_px, self.shadow_blur_px)
        image *= (0.75 + 0.3 * x / WIDTH - 0.15 * ((y - HEIGHT / 2) / HEIGHT) ** 2)[..., None] * self.exposure
        image = cv2.GaussianBlur(image, (0, 0), 0.7)
        image += rng.normal(0, self.noise, image.shape).astype(np.float32) * np.sqrt(np.clip(image, 0.05, 1))
        image = np.clip(image, 0, 1)
        code = np.where(image <= 0.0031308, 12.92 * image, 1.055 * image ** (1 / 2.4) - 0.055)
        return (code * 255 + 0.5).astype(np.uint8)

    def _lay(
        self,
        image: NDArray[np.float32],
        outline: Array,
        colour: tuple[float, ...],
        shadow: tuple[float, float],
        blur: float,
    ) -> None:
        is_part = outline is self.part
        body = np.maximum.reduce(
            [cover(outline + np.array(self.wall_px) * s * is_part) for s in (0, 0.25, 0.5, 0.75, 1)]
        )
        dark = np.maximum.reduce([cover(outline + np.array(shadow) * s) for s in (0, 0.5, 1)])
        image *= 1 - 0.55 * cv2.GaussianBlur(dark, (0, 0), blur)[..., None]
        ground = image.copy()
        wall = np.array(colour, np.float32) * 0.6
        image += body[..., None] * (wall - image)
        face = np.broadcast_to(np.array(colour, np.float32), image.shape).copy()
        if is_part and self.second is not None:
            x = np.mgrid[0:HEIGHT, 0:WIDTH][1]
            face[(x > 180) & (x < 235)] = self.second
        for p in self.prints if is_part else ():
            face += cover(p)[..., None] * (np.array([0.03, 0.03, 0.03], np.float32) - face)
        image += cover(outline)[..., None] * (face - image)
        for h in self.holes if is_part else ():
            inside = cover(h)[..., None]
            floor = cover(h + np.array([3.0, -2.0]))[..., None]  # the rest of the hole shows its wall
            lit = cover(h + np.array([-4.0, -6.0]))[..., None]
            image += inside * (np.array(colour, np.float32) * 0.25 - image)
            image += inside * floor * (ground * (0.35 + 0.5 * lit) - image)
