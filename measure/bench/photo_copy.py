"""The copy of a photo that a job keeps: no EXIF, the face of the card in it averaged away, its edges as they were.

All that a trace needs is in the copy: it is lossless, and the search for the card looks at no more of the face than a
rim. So the photo can be traced again, and comes out nearly the same, although the original is gone: the view within a
hundredth of a pixel, outlines within a tenth of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.files import content_of
from calib.picture_size import claimed_megapixels
from measure.drawing.framing import hide_face
from measure.job import job
from measure.steps.shown import MOST_MEGAPIXELS

Pixels = NDArray[np.uint8]

WITHIN = 0.93
"""Share of the face's length and width that is averaged: rims of 3.0 and 1.9 mm stay, and profiles across the card's
edges reach 0.9 mm into them."""
JPEG_QUALITY = 82
"""Of the copies that a page shows: nobody measures in them (common practice)."""
SMALL_PX = 360
"""Longest side of a picture in the list."""
UNKNOWN_BLUR = 40.0
"""Where nobody knows where the card lies the whole picture is blurred, with a standard deviation of its longest side
by this: even of a card that fills the frame a row of digits, 3.6 mm apart, keeps less than a hundredth of its contrast
(ISO/IEC 7811-1 has embossed digits 3.63 mm apart; from memory)."""
COARSE_PX = 400
"""So much is left of its longest side while it is blurred, forty standard deviations."""


def cleaned(rgb: Pixels, faces_px: Sequence[Array]) -> Pixels:
    """(h, w, 3) a copy with all faces averaged away."""
    out = rgb.copy()
    for face in faces_px:
        hide_face(out, face, WITHIN)
    return out


def as_png(rgb: Pixels) -> bytes:
    """A lossless file of some pixels and nothing else."""
    import cv2

    ok, png = cv2.imencode(".png", rgb[..., ::-1], [cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE])
    assert ok
    return bytes(png)


def blurred(rgb: Pixels) -> Pixels:
    """(h, w, 3) a picture in which nobody can read anything."""
    import cv2

    h, w = rgb.shape[:2]
    share = min(1.0, COARSE_PX / max(h, w))
    size = max(1, round(w * share)), max(1, round(h * share))
    small = cv2.GaussianBlur(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), (0, 0), max(size) / UNKNOWN_BLUR)
    return np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR), np.uint8)


def thumbnail(path: Path) -> bytes | None:
    """A small JPEG of a picture; None where it is none, or no such one as jawline makes."""
    import cv2

    try:
        data = content_of(path, job.MAX_TEXT_MB, links=False)
    except OSError:
        return None
    if (claimed_megapixels(data) or math.inf) > MOST_MEGAPIXELS:
        return None
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    if image is None:
        return None
    scale = min(1.0, SMALL_PX / max(image.shape[:2]))
    small = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    ok, jpeg = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    return bytes(jpeg) if ok else None
