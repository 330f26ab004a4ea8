"""Linear light as a phone keeps it: lens, blur, vignette, noise, tone curve, sharpening, JPEG, in that order."""

from __future__ import annotations

import io

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.accuracy.lab.camera import Camera
from tests.accuracy.lab.scene import Phone

LARGEST_BYTES = 3_200_000
TURNS = {1: 0, 6: 1, 3: 2, 8: 3}
"""EXIF orientation: quarter turns from the upright picture back to what is stored."""


def developed(light: NDArray[np.float32], camera: Camera, phone: Phone, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Linear light -> 8-bit sRGB, upright."""
    img = camera.bent(np.minimum(light, 8.0))
    img = cv2.GaussianBlur(img, (0, 0), phone.blur_px)
    h, w = img.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w / 2) ** 2
    img = img * (1 - phone.vignette * r2)[..., None]
    img = img * (phone.exposure / np.percentile(img.mean(2), 97))
    shot = phone.noise**2 * np.clip(img, 0, 1) + (phone.noise * 0.25) ** 2
    img = np.clip(img + rng.normal(0, 1, img.shape).astype(np.float32) * np.sqrt(shot), 0, 1)
    out = np.where(img <= 0.0031308, 12.92 * img, 1.055 * img ** (1 / 2.4) - 0.055)
    if phone.sharpen:
        out = out + phone.sharpen * (out - cv2.GaussianBlur(out, (0, 0), 1.3))
    return (np.clip(out, 0, 1) * 255 + 0.5).astype(np.uint8)


def jpeg(upright: NDArray[np.uint8], camera: Camera, phone: Phone, largest: int = LARGEST_BYTES) -> tuple[bytes, int]:
    """The file, turned as it is stored, and the quality that it was written with; worse than asked if too large."""
    stored = Image.fromarray(
        np.ascontiguousarray(np.rot90(upright, TURNS[phone.orientation if phone.exif != "none" else 1]))
    )
    exif = _exif(camera, phone)
    quality = phone.quality
    while True:
        file = io.BytesIO()
        stored.save(file, "JPEG", quality=quality, subsampling=2, **({"exif": exif} if exif else {}))
        if file.tell() <= largest or quality <= 50:
            return file.getvalue(), quality
        quality -= 4


def _exif(camera: Camera, phone: Phone) -> bytes | None:
    if phone.exif == "none":
        return None
    e = Image.Exif()
    e[0x0112] = phone.orientation
    e[0x010F], e[0x0110], e[0x0132] = "Sample Maker", "Sample Phone 1", "2026:05:17 10:20:30"
    if phone.exif != "bare":
        f35 = camera.f * 36.0 / camera.width
        sub = e.get_ifd(0x8769)
        sub[0xA405] = max(1, round(f35 + phone.f35_slip))
        sub[0x920A] = round(f35 / 6.1, 2)
        sub[0x9003] = "2026:05:17 10:20:30"
    return e.tobytes()
