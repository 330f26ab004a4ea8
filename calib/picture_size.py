"""The size that a picture's header claims, before anything of it is decoded: a few bytes may claim gigabytes."""

from __future__ import annotations

import io
import warnings


def claimed_megapixels(data: bytes) -> float | None:
    """Megapixels of a JPEG or PNG by its header; None where it is neither."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of sizes that are judged here
            with Image.open(io.BytesIO(data), formats=["JPEG", "PNG"]) as im:
                return im.width * im.height / 1e6
    except Exception:  # decoders raise whatever they like on damaged files, of too many pixels too
        return None
