"""Tables and prints, invented: reflectances in linear light, a seeded picture each."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]

TABLE_PX_PER_MM = 5.0
PRINT_PX_PER_MM, SOFT_PX = 8.0, 0.8
WHITE = (0.80, 0.80, 0.78)
TABLES = {
    "wood": (0.45, 0.27, 0.14),
    "dark wood": (0.10, 0.055, 0.03),
    "paper": (0.80, 0.80, 0.78),
    "grey": (0.22, 0.22, 0.22),
    "mat": (0.03, 0.15, 0.10),
    "cloth": (0.05, 0.10, 0.24),
    "laminate": (0.62, 0.60, 0.54),
    "black": (0.03, 0.03, 0.032),
    "towel": (0.66, 0.62, 0.55),
    "squared": (0.78, 0.78, 0.77),
}
"""Mean reflectance of each table."""


def noise(shape: tuple[int, int], scale_px: float, rng: np.random.Generator) -> Picture:
    """(h, w) smooth noise of unit variance whose grain is about so large."""
    h, w = shape
    small = rng.normal(0, 1, (max(2, int(h / scale_px) + 2), max(2, int(w / scale_px) + 2)))
    return np.asarray(cv2.resize(small.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC), np.float32)


@cache
def table(kind: str, size_mm: tuple[float, float]) -> Picture:
    """(h, w, 3) a table's top, `TABLE_PX_PER_MM` fine."""
    p, rng = TABLE_PX_PER_MM, np.random.default_rng(list(TABLES).index(kind))
    h, w = int(size_mm[1] * p), int(size_mm[0] * p)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    shade = 1 + 0.012 * noise((h, w), 150 * p, rng) + 0.01 * noise((h, w), 1.2, rng)
    if kind in ("wood", "dark wood"):
        bent = y + 5 * p * noise((h, w), 140 * p, rng) + p * noise((h, w), 20 * p, rng)
        fibre = cv2.resize(noise((h, w // 24 + 2), 1.6, rng), (w, h), interpolation=cv2.INTER_LINEAR)
        shade += 0.12 * np.sin(bent / (0.7 * p)) + 0.08 * np.sin(bent / (2.1 * p)) + 0.06 * fibre
        joint = (y % (92 * p)) < 0.5 * p
        shade = np.where(joint, 0.55 * shade, shade)
    elif kind == "mat":
        lines = ((x % (10 * p)) < 0.3 * p) | ((y % (10 * p)) < 0.3 * p)
        shade = np.where(lines, 2.6, shade)
    elif kind == "cloth":
        shade += 0.16 * np.sin(x / 0.25 / p) * np.sin(y / 0.25 / p) + 0.08 * noise((h, w), 2.0, rng)
    elif kind == "towel":
        shade += 0.10 * noise((h, w), 2.5, rng) - 0.45 * (((x / p / 9.5) % 1) < 0.35)
    elif kind == "squared":
        lines = ((x % (5 * p)) < 0.3 * p) | ((y % (5 * p)) < 0.3 * p)
        out = shade[..., None] * np.array(TABLES[kind], np.float32)
        return np.asarray(np.where(lines[..., None], np.float32((0.45, 0.58, 0.75)), out), np.float32)
    elif kind == "laminate":
        shade += 0.05 * noise((h, w), 4.0, rng)
    return np.asarray(np.clip(shade[..., None] * np.array(TABLES[kind], np.float32), 0.004, 0.95), np.float32)


def printed(style: object, size_mm: tuple[float, float], rng: np.random.Generator) -> Picture:
    """(h, w, 3) the face of something, by the name of a print or a plain colour."""
    p = PRINT_PX_PER_MM
    w, h = max(int(size_mm[0] * p), 8), max(int(size_mm[1] * p), 8)
    out = np.empty((h, w, 3), np.float32)
    if not isinstance(style, str):
        out[:] = style
        return out
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if style == "waves":
        share = 0.5 + 0.5 * np.sin(x / 88 + 1.4 * np.sin(y / 75))
        out[:] = np.float32((0.02, 0.07, 0.30)) + share[..., None] * np.float32((0.04, 0.25, 0.12))
    elif style == "halves":
        out[:] = (0.75, 0.73, 0.68)
        out[x > 0.62 * w + 0.07 * w * np.sin(y / 95)] = (0.55, 0.10, 0.04)
    elif style == "dark":
        out[:] = 0.013 + 0.005 * noise((h, w), 4, rng)[..., None]
    elif style == "stripe":
        out[:] = (0.58, 0.60, 0.64)
        out[int(0.12 * h) : int(0.34 * h)] = 0.014
        out[int(0.48 * h) : int(0.62 * h), int(0.05 * w) : int(0.7 * w)] = (0.8, 0.8, 0.76)
    elif style == "checks":
        out[:] = (0.62, 0.62, 0.60)
        out[((x // (w / 20)).astype(int) + (y // (h / 12)).astype(int)) % 2 == 0] = (0.30, 0.42, 0.30)
    elif style == "picture":
        for c in range(3):
            out[..., c] = (
                0.35 + 0.12 * noise((h, w), 140, rng) + 0.08 * noise((h, w), 40, rng) + 0.05 * noise((h, w), 12, rng)
            )
    elif style == "frame":
        out[:] = WHITE
        _band(out, 0.018 * w, 0.04 * w, (0.05, 0.06, 0.2))
    elif style == "rim":  # dark print with a white margin 1 mm wide
        out[:] = (0.03, 0.10, 0.07)
        _band(out, 0.0, p, WHITE)
    elif style == "text":
        out[:] = WHITE
        for k, (a, b) in enumerate(((0.3, 0.75), (0.3, 0.6), (0.3, 0.7), (0.3, 0.55))):
            out[int((0.35 + 0.13 * k) * h) : int((0.41 + 0.13 * k) * h), int(a * w) : int(b * w)] = 0.08
    elif style == "pips":
        out[:] = WHITE
        for u, v in ((0.2, 0.25), (0.5, 0.25), (0.8, 0.25), (0.2, 0.75), (0.5, 0.75), (0.8, 0.75)):
            cv2.circle(out, (int(u * w), int(v * h)), int(0.09 * h), (0.5, 0.02, 0.03), -1)
    else:
        raise ValueError(style)
    if style in ("waves", "halves", "dark"):
        chip = (slice(int(0.35 * h), int(0.52 * h)), slice(int(0.1 * w), int(0.23 * w)))
        out[chip] = (0.62, 0.47, 0.20)
        ink = np.zeros((h, w), np.uint8)
        cv2.putText(ink, "0000 1111 2222", (int(0.08 * w), int(0.7 * h)), 2, h / 390, 255, 2, cv2.LINE_AA)
        cv2.putText(ink, "SAMPLE CARD", (int(0.08 * w), int(0.88 * h)), 2, h / 540, 255, 2, cv2.LINE_AA)
        out += (np.float32(0.7) - out) * (ink[..., None] / np.float32(255))
    return np.asarray(cv2.GaussianBlur(np.clip(out, 0.004, 0.95), (0, 0), SOFT_PX), np.float32)


def _band(out: Picture, outer_px: float, inner_px: float, colour: tuple[float, float, float]) -> None:
    """A frame between two distances from the sides."""
    a, b = round(outer_px), round(inner_px)
    middle = out[b:-b, b:-b].copy()
    out[a : out.shape[0] - a, a : out.shape[1] - a] = colour
    out[b:-b, b:-b] = middle
