"""The photo cut out and scaled for a picture, with nothing in it that nobody is to see.

People photograph bank cards: nothing of a card's face leaves this module, and its files carry no EXIF.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array

FACE_CELLS = 6
"""Cells along the card's long side that its face is averaged into: 14 mm each, several printed digits wide."""
PHOTO_PX, PHOTO_QUALITY = 2000, 85
"""Long side of the plain picture, and the quality of its JPEG."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A cut-out of the photo at another scale, and where the photo's pixels are in it."""

    pixels: NDArray[np.uint8]
    origin_px: Array
    scale: float

    def at(self, points_px: Array) -> Array:
        """(n, 2) places in the cut-out of pixels of the photo."""
        return np.asarray((points_px - self.origin_px + 0.5) * self.scale - 0.5)


def framed(
    rgb: NDArray[np.uint8],
    points_px: Array,
    margin: float,
    box_px: tuple[int, int],
    largest: float,
    faces_px: Sequence[Array],
) -> Frame:
    """The photo cut down to some points with a margin, scaled into a box, faces hidden."""
    import cv2

    h, w = rgb.shape[:2]
    low, high = points_px.min(0), points_px.max(0)
    border = margin * float((high - low).max()) + 12
    x0, y0 = (int(v) for v in np.clip(np.floor(low - border), 0, [w - 2, h - 2]))
    x1, y1 = (int(v) for v in np.clip(np.ceil(high + border), [x0 + 2, y0 + 2], [w, h]))
    part = rgb[y0:y1, x0:x1]
    scale = min(largest, box_px[0] / (x1 - x0), box_px[1] / (y1 - y0))
    size = (max(1, round((x1 - x0) * scale)), max(1, round((y1 - y0) * scale)))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    frame = Frame(np.ascontiguousarray(small), np.array([x0, y0], float), scale)
    for face in faces_px:
        hide_face(frame.pixels, frame.at(face))
    return frame


def hide_face(image: NDArray[np.uint8], card: Array, within: float = 0.965) -> None:
    """Average a card's face into a few large cells, in place; a rim of it stays to judge the outline by.

    Args:
        image: (h, w, 3) is changed.
        card: (n, 2) outline of the face in it.
        within: the share of its length and width that is averaged.
    """
    import cv2

    centre = card.mean(0)
    inner = np.round(centre + (card - centre) * within).astype(np.int32)
    x, y, w, h = cv2.boundingRect(inner)
    x0, y0, x1, y1 = max(x, 0), max(y, 0), min(x + w, image.shape[1]), min(y + h, image.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    mask = np.zeros(image.shape[:2], np.uint8)
    cv2.fillPoly(mask, [inner], 255)
    face, inside = image[y0:y1, x0:x1], mask[y0:y1, x0:x1]
    if not inside.any():
        return
    cell = float(np.ptp(card, axis=0).max()) / FACE_CELLS
    cells = (max(1, round((x1 - x0) / cell)), max(1, round((y1 - y0) / cell)))
    weight = inside.astype(np.float32) / 255
    total = cv2.resize(face * weight[..., None], cells, interpolation=cv2.INTER_AREA).reshape(cells[1], cells[0], 3)
    share = cv2.resize(weight, cells, interpolation=cv2.INTER_AREA).reshape(cells[1], cells[0], 1)
    mean = face[inside > 0].mean(0)
    coarse = np.where(share > 0.02, total / np.maximum(share, 0.02), mean).astype(np.float32)
    smooth = cv2.resize(coarse, (x1 - x0, y1 - y0), interpolation=cv2.INTER_LINEAR)
    face[inside > 0] = np.clip(smooth, 0, 255).astype(np.uint8)[inside > 0]


def plain_picture(rgb: NDArray[np.uint8], faces_px: Sequence[Array]) -> tuple[bytes, Frame]:
    """The whole photo as a JPEG file of at most PHOTO_PX, nothing drawn on it; and where its pixels are in that.

    Args:
        rgb: (h, w, 3) the photo.
        faces_px: outlines (n, 2) of the faces that are made unrecognisable.
    """
    import cv2

    h, w = rgb.shape[:2]
    frame = framed(rgb, np.array([[0.0, 0.0], [w - 1.0, h - 1.0]]), 0.0, (PHOTO_PX, PHOTO_PX), 1.0, faces_px)
    ok, jpeg = cv2.imencode(".jpg", frame.pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, PHOTO_QUALITY])
    assert ok
    return bytes(jpeg), frame
