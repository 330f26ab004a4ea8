"""What cards and parts look like from above: linear reflectance, (rows, columns, 3)."""

from __future__ import annotations

import cv2
import numpy as np

from tests.accuracy.lab.grounds import Picture, dusty, noise

Colour = tuple[float, float, float]

RASTER_MM = 0.42
"""Width of a printed strand: common practice, no source."""
CARD_MEANS = {"dark": 0.012, "waves": 0.12, "halves": 0.45, "checks": 0.5, "stripe": 0.55}
"""How bright the printed cards are on the whole."""
CARD_COLOURS = ((0.78, 0.77, 0.74), (0.70, 0.20, 0.12), (0.05, 0.05, 0.06), (0.1, 0.25, 0.5))


def card(style: str | Colour, rng: np.random.Generator, size: tuple[int, int] = (1720, 1084)) -> Picture:
    """A card's face: the name of a print, or one colour."""
    n, m = size
    if not isinstance(style, str):
        return np.broadcast_to(np.array(style, np.float32), (m, n, 3)).copy()
    y, x = np.mgrid[0:m, 0:n].astype(np.float32)
    img = np.empty((m, n, 3), np.float32)
    if style == "waves":
        k = 0.5 + 0.5 * np.sin(x / 190 + 1.4 * np.sin(y / 160))
        img[:] = np.array([0.02, 0.07, 0.30]) + np.array([0.04, 0.25, 0.12]) * k[..., None]
    elif style == "halves":
        img[:] = (0.75, 0.73, 0.68)
        img[x > 0.62 * n + 120 * np.sin(y / 200)] = (0.55, 0.10, 0.04)
    elif style == "dark":
        img[:] = (0.012, 0.012, 0.015)
        img += (0.006 * noise((m, n), 6, rng))[..., None]
    elif style == "checks":
        img[:] = (0.62, 0.62, 0.60)
        img[((x // 86).astype(int) + (y // 86).astype(int)) % 2 == 0] = (0.30, 0.42, 0.30)
    else:  # the back: a dark stripe and a signature field
        img[:] = (0.58, 0.60, 0.64)
        img[int(0.12 * m) : int(0.34 * m)] = (0.015, 0.012, 0.012)
        img[int(0.48 * m) : int(0.62 * m), int(0.05 * n) : int(0.7 * n)] = (0.80, 0.80, 0.76)
    if style in ("waves", "halves", "dark"):
        _lettered(img)
    return np.clip(img, 0.004, 0.95).astype(np.float32)


def _lettered(img: Picture) -> None:
    ink = np.zeros(img.shape[:2], np.uint8)
    cv2.putText(ink, "0000 1111 2222 3333", (130, 690), cv2.FONT_HERSHEY_DUPLEX, 3.5, 255, 9, cv2.LINE_AA)
    cv2.putText(ink, "SAMPLE CARD", (130, 930), cv2.FONT_HERSHEY_DUPLEX, 2.4, 255, 6, cv2.LINE_AA)
    k = ink[..., None] / 255 * 0.8
    img[:] = img * (1 - k) + k * 0.71
    img[380:560, 170:400] = (0.62, 0.47, 0.20)
    img[385:555:40, 175:395] *= 0.4


def part(
    colour: Colour,
    size_mm: tuple[float, float],
    rng: np.random.Generator,
    *,
    second: Colour | None = None,
    printed: bool = False,
    dust: bool = False,
    n: int = 2048,
) -> Picture:
    """A part's face, `size_mm` wide and high.

    Args:
        second: another colour in slanted bands.
        printed: the strands of a printer across it.
        dust: specks and scratches.
    """
    img = np.empty((n, n, 3), np.float32)
    img[:] = colour
    y, x = np.mgrid[0:n, 0:n].astype(np.float32) / n
    if second is not None:
        img[(x * 1.3 + y * 0.6) % 0.9 > 0.5] = second
    img *= (1 + 0.025 * noise((n, n), 80, rng) + 0.015 * noise((n, n), 8, rng))[..., None]
    if printed:
        across = (x * size_mm[0] + y * size_mm[1]) / np.sqrt(2) / RASTER_MM
        img *= (1 + 0.06 * np.cos(2 * np.pi * across))[..., None]
    return np.clip(dusty(img, rng) if dust else img, 0.004, 0.95).astype(np.float32)
