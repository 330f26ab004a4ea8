"""Decoding: from a photo file's bytes to upright 8-bit sRGB.

JPEG is decoded by libjpeg-turbo, whose every complaint counts as damage; everything else by Pillow, which knows the odd
ones. What its decoders don't complain of is looked for here: seams (`seam`), checksums of a PNG (`header`), and whether
all of the file was needed, and no more, to fill the picture (`tiff`, `webp`, `heif`).
"""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from calib.errors import PhotoRefused
from calib.photo import heif, tiff, webp
from calib.photo.header import png_is_whole
from calib.photo.quiet import quiet
from calib.photo.seam import has_seam, is_torn
from calib.words import Words

if TYPE_CHECKING:
    from PIL import Image

HALVED_FROM_MEGAPIXELS = 50
"""Larger photos are read at half size: their sensors merge pixels, so nothing is lost but time."""
BLOCK_ROWS = 8
"""Rows of a block; a coded unit has twice as many where colour is sampled by two rows (ITU-T T.81, A.1.3 and A.2)."""
HALVED_DOWN = ("420", "440")
"""Such samplings."""
IS_WHOLE = {"PNG": png_is_whole, "TIFF": tiff.is_whole, "WEBP": webp.is_whole, "HEIF": heif.is_whole}
"""By format, whether a file's bytes are all there and as they were written, as far as can be told."""


def is_plain_jpeg(im: Image.Image) -> bool:
    """Whether its pixels are colours as they stand: grey or colour, no ink colours, no profile for grey."""
    return im.format in ("JPEG", "MPO") and (im.mode == "RGB" or (im.mode == "L" and "icc_profile" not in im.info))


END_OF_IMAGE = 0xD9
PROFILE_STEPS = 6
"""Steps of each channel in which a colour profile is compared with sRGB: 216 colours (chosen)."""
FULL_CODE, FULL_CODE_16 = 255, 65535
"""The highest codes of 8 and of 16 bits."""
_MARKER = re.compile(rb"\xff[^\x00\x01\xd0-\xd7\xff]")
"""What begins a segment: neither a stuffed byte nor a restart within the scan, nor a fill byte."""


def jpeg_is_whole(data: bytes) -> bool:
    """Whether a JPEG's first picture runs to its end-of-image marker (ITU-T T.81, annex B).

    The marker is found by walking the segments: a search from the end of the file would be fooled by the thumbnail
    inside EXIF, by a second picture, or by a video that some phones append.
    """
    found = _MARKER.search(data, 2)
    while found and data[found.end() - 1] != END_OF_IMAGE:
        length = int.from_bytes(data[found.end() : found.end() + 2], "big")
        found = _MARKER.search(data, found.end() + length)
    return found is not None


def jpeg_pixels(im: Image.Image, data: bytes, orientation: int, name: str) -> NDArray[np.uint8]:
    """(h, w, 3) upright sRGB of a plain JPEG.

    Args:
        im: its header, not yet decoded.
        data: the whole file.
        orientation: EXIF orientation, 1 to 8.
        name: the file's name, for messages.

    Raises:
        PhotoRefused: cut short or damaged.
    """
    halve = im.width * im.height > HALVED_FROM_MEGAPIXELS * 1e6
    rgb = _believed(data, "RGB", halve, name)
    return np.ascontiguousarray(_upright(_to_srgb(rgb, im.info.get("icc_profile")), orientation))


def _believed(data: bytes, colours: str, halve: bool, name: str) -> NDArray[np.uint8]:
    """(h, w, channels) a JPEG of which the decoder has nothing to complain, and across which no seam runs."""
    import simplejpeg

    if not jpeg_is_whole(data):
        raise PhotoRefused(
            Words("{name} is cut short, part of the picture is missing: copy it again from the phone.", name=name),
            "photo-truncated",
        )
    try:
        height, width, _, sampling = simplejpeg.decode_jpeg_header(data)
        least = ((height + 1) // 2, (width + 1) // 2) if halve else (0, 0)  # it reads at the first size that reaches it
        pixels = simplejpeg.decode_jpeg(data, colours, min_height=least[0], min_width=least[1])
    except ValueError:  # its every warning, and codings that it does not know
        raise _damaged(name) from None
    unit = BLOCK_ROWS * (2 if sampling in HALVED_DOWN else 1) // (2 if halve else 1)
    if has_seam(pixels[..., :3] if pixels.shape[2] > 1 else np.repeat(pixels, 3, 2), unit):
        raise _damaged(name)
    return np.asarray(pixels, np.uint8)


def _damaged(name: str) -> PhotoRefused:
    return PhotoRefused(
        Words(
            "{name} is damaged, part of the picture is not as it was taken: copy it again from the "
            "phone. If it is the original, save it anew as a plain JPEG.",
            name=name,
        ),
        "photo-damaged",
    )


def _upright(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Undo EXIF orientation 2 to 8 (Exif 2.32, tag 274), mirrored ones included: the picture as it was seen."""
    import cv2

    if orientation in (5, 7):
        rgb = cv2.transpose(rgb)
    flip = {2: 1, 4: 0, 7: -1}.get(orientation)
    if flip is not None:
        rgb = cv2.flip(rgb, flip)
    turn = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}.get(orientation)
    return rgb if turn is None else np.asarray(cv2.rotate(rgb, turn), np.uint8)


def _to_srgb(rgb: NDArray[np.uint8], profile: bytes | None) -> NDArray[np.uint8]:
    """Convert from the embedded colour profile, unless it is sRGB to within a code value."""
    if not profile:
        return rgb
    from PIL import Image

    convert = _profile_transform(profile, "RGB")
    if convert is None:
        return rgb
    steps = np.linspace(0, FULL_CODE, PROFILE_STEPS).astype(np.uint8)
    tries = np.stack(np.meshgrid(steps, steps, steps), -1).reshape(1, -1, 3)
    after = np.asarray(convert.apply(Image.fromarray(tries)))
    if np.abs(after.astype(int) - tries).max() <= 1:
        return rgb
    return np.asarray(convert.apply(Image.fromarray(rgb)))


def _profile_transform(profile: bytes, mode: str) -> Any:
    """Transform of an ICC profile to sRGB; None when the profile is damaged or belongs to another colour model."""
    from PIL import ImageCms

    try:
        return ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("sRGB"), mode, "RGB"
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return None


def other_pixels(im: Image.Image, data: bytes, orientation: int, name: str) -> NDArray[np.uint8]:
    """(h, w, 3) upright sRGB of everything but plain JPEG: any depth, any colour model, on white where transparent.

    Args:
        im: its header, not yet decoded.
        data: the whole file.
        orientation: EXIF orientation, 1 to 8.
        name: the file's name, for messages.

    Raises:
        PhotoRefused: no colours or greys of a photo. Damaged files raise whatever Pillow raises.
    """
    from PIL import ImageOps

    if im.format in ("JPEG", "MPO"):
        _believed(data, "CMYK" if im.mode == "CMYK" else "GRAY", False, name)
    large = im.width * im.height > HALVED_FROM_MEGAPIXELS * 1e6
    with quiet():
        if im.format in IS_WHOLE and not IS_WHOLE[im.format](data):
            raise _damaged(name)
        if large and im.mode == "RGB":
            return _large(im, data, orientation)
        im.load()
    if im.mode in ("L", "RGB") and _is_torn(np.asarray(im.convert("RGB")), im.format, data):
        raise _damaged(name)
    if im.mode in ("1", "F", "LAB"):
        raise PhotoRefused(
            Words(
                "{name} does not hold a photo's colours or greys (mode {mode}): save it as JPEG or PNG.",
                name=name,
                mode=im.mode,
            ),
            "photo-format",
        )
    profile = im.info.get("icc_profile")
    ImageOps.exif_transpose(im, in_place=True)
    if im.mode.startswith("I"):
        return _grey16(np.asarray(im))
    if im.mode == "P":
        im = im.convert("RGBA" if "transparency" in im.info else "RGB")
    if im.has_transparency_data or im.mode in ("La", "RGBa"):
        im = _on_white(im)
    if im.mode in ("L", "CMYK") and profile:
        convert = _profile_transform(profile, im.mode)
        im, profile = (convert.apply(im) if convert else im.convert("RGB")), None
    return np.ascontiguousarray(_to_srgb(np.array(im.convert("RGB")), profile))


def _is_torn(rgb: NDArray[np.uint8], kind: str | None, data: bytes) -> bool:
    """Whether a step runs across a picture that is coded in differences: of blocks in a TIFF, of pixels in a WebP."""
    if kind == "TIFF":
        rows = tiff.jpeg_rows(data)
        return rows is not None and has_seam(rgb, rows)
    return kind == "WEBP" and webp.is_lossless(data) and is_torn(rgb)


def _large(im: Image.Image, data: bytes, orientation: int) -> NDArray[np.uint8]:
    """(h, w, 3) upright sRGB of a large picture in plain colours, at half its size; never more than one copy of it."""
    profile = im.info.get("icc_profile")
    if im.format == "WEBP":  # Pillow's decoder keeps four pictures of that size
        import cv2

        im.close()
        whole = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
        if whole is None:
            raise ValueError("can't be decoded")
        half = cv2.resize(whole, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        del whole
        rgb = np.asarray(cv2.cvtColor(half, cv2.COLOR_BGR2RGB), np.uint8)
    else:
        im.load()
        rgb = np.array(im.reduce(2))
        im.close()
    return np.ascontiguousarray(_upright(_to_srgb(rgb, profile), orientation))


def _grey16(grey: NDArray[Any]) -> NDArray[np.uint8]:
    """(h, w, 3) of 16-bit grey."""
    grey = np.clip(grey, 0, FULL_CODE_16).astype(np.uint32)
    eight = np.asarray((grey * FULL_CODE + FULL_CODE_16 // 2) // FULL_CODE_16, np.uint8)
    return np.ascontiguousarray(np.repeat(eight[..., None], 3, 2))


def _on_white(im: Image.Image) -> Image.Image:
    from PIL import Image

    im = im.convert("RGBA")
    white = Image.new("RGBA", im.size, "white")
    white.alpha_composite(im)
    white.info = dict(im.info)
    return white.convert("RGB")
