"""A photo file: upright pixels in sRGB, and what its EXIF says of the lens.

JPEG (also the first picture of an MPO), PNG, WebP, TIFF and HEIC. The size is read from the header before anything is
decoded, so that a small file that claims to be enormous costs nothing.
"""

from __future__ import annotations

import errno
import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from calib.errors import PhotoRefused, WrongUsage
from calib.files import NotPlain, content_of
from calib.photo.header import Header, Unreadable, header
from calib.photo.pixels import is_plain_jpeg, jpeg_pixels, other_pixels
from calib.photo.webp import is_lossless
from calib.words import Words
from calib.written import printable

if TYPE_CHECKING:
    from PIL import Image

MAX_FILE_MB = 300
MAX_MEGAPIXELS = 120
HEIF_MEGAPIXELS, ODD_MEGAPIXELS = 64, 40
"""The same of HEIC, and of what is not in plain colours (transparent, 16 bits, ink): so much fits into 1.2 GB."""
MIN_SHORT_SIDE_PX = 400
MIN_MEGAPIXELS = 0.3
MAX_ASPECT = 2.5
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF", "HEIF")
SENT = Words("The photo")
"""Name of a file whose own name says nothing to whoever reads of it."""
READS = Words("jawline reads JPEG, PNG, WebP, TIFF and HEIC")
FIRST_BYTES = {
    b"\xff\xd8": "JPEG",
    b"\x89PNG": "PNG",
    b"II*\0": "TIFF",
    b"MM\0*": "TIFF",
    b"II+\0": "TIFF",
    b"MM\0+": "TIFF",
    b"GIF8": Words("a GIF"),
    b"BM": Words("a BMP"),
    b"%PDF": Words("a PDF"),
    b"<svg": Words("a drawing (SVG)"),
    b"PK\3\4": Words("a ZIP file"),
}
FOCAL_35MM_LIMITS = (8, 400)
"""Focal lengths that a phone's or a camera's EXIF may state (common practice: from fisheyes to long lenses)."""
SAME_ASPECT = 0.01
"""A picture whose shape is off the one that was taken by more than this share is a crop (chosen)."""
HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")

ORIENTATION, MAKE, MODEL, EXIF_IFD = 0x0112, 0x010F, 0x0110, 0x8769
FOCAL_35MM, EXIF_WIDTH, EXIF_HEIGHT = 0xA405, 0xA002, 0xA003


@dataclass(frozen=True, slots=True)
class Photo:
    """An upright photo.

    Attributes:
        rgb: (h, w, 3) sRGB.
        focal_35mm: focal length for a 36 × 24 mm frame, as EXIF rounds it; None when it is unknown or no longer true
            because the photo was cropped.
        camera: maker and model, where EXIF has them.
        name: the file's name without its folder, printable.
        orientation: how the sensor lay, as EXIF has it (tag 274): 1, 3, 6 or 8, or 1 where that is not known.
        unchecked: whether its format would not show some damage of the file.
    """

    rgb: NDArray[np.uint8]
    focal_35mm: float | None
    camera: str | None
    name: str
    orientation: int = 1
    unchecked: bool = False


def shown_name(path: Path) -> str:
    """What a photo is called in sentences: its file's name, or that it is the one that was sent."""
    return SENT if path.name == SENT else printable(path.name)


def load(path: Path | str) -> Photo:
    """Read a photo.

    Args:
        path: the file.

    Raises:
        WrongUsage: there is no such file, or it can't be read.
        PhotoRefused: not a photo, damaged, too large, too small, or more than one picture.
    """
    path = Path(path)
    name = shown_name(path)
    data = _bytes_of(path)
    kind, _ = _checked(data, name)
    im = _opened(data, kind, name)
    _check_size(im.size, name, _most_megapixels(im, kind))
    try:
        exif = _exif_of(im)
        orientation = int(_number(exif.get(ORIENTATION, 1)))
        rgb = (
            jpeg_pixels(im, data, orientation, name) if is_plain_jpeg(im) else other_pixels(im, data, orientation, name)
        )
    except PhotoRefused:
        raise
    except MemoryError:
        raise PhotoRefused(
            Words("{name} needs more memory than there is: take the photo at a smaller size.", name=name),
            "photo-too-large",
        ) from None
    except Exception as why:  # decoders raise whatever they like on damaged files
        code = "photo-truncated" if "truncated" in str(why) or isinstance(why, EOFError) else "photo-damaged"
        raise PhotoRefused(
            Words(
                "{name} is damaged or cut short and can't be read to its end: copy it again from the phone.", name=name
            ),
            code,
        ) from why
    turned = orientation if orientation in (3, 6, 8) else 1
    unchecked = kind == "WEBP" and is_lossless(data)
    return Photo(rgb, _focal_35mm(exif, im.size), _camera(exif), name, turned, unchecked)


def check_header(path: Path | str) -> float:
    """Refuse a file whose header already tells that it is no photo to measure in; nothing is decoded.

    Returns:
        Megapixels.

    Raises:
        WrongUsage: there is no such file, or it can't be read.
        PhotoRefused: not a photo, too large, too small, or more than one picture.
    """
    path = Path(path)
    name = shown_name(path)
    data = _bytes_of(path)
    kind, claimed = _checked(data, name)
    if claimed is None:  # HEIC, which its library alone knows, and has limits of its own for
        with _opened(data, kind, name) as im:
            _check_size(im.size, name, HEIF_MEGAPIXELS)
            return im.width * im.height / 1e6
    return claimed.width * claimed.height / 1e6


def _bytes_of(path: Path) -> bytes:
    """The file's content, when it is a file of sensible size."""
    try:
        data = content_of(path, MAX_FILE_MB)
    except IsADirectoryError:
        raise WrongUsage(
            Words("{path} is a folder: give the photo's own file name.", path=path), "not-a-file"
        ) from None
    except FileNotFoundError:
        raise WrongUsage(
            Words("There is no file {path}: check the name and the folder.", path=path), "no-file"
        ) from None
    except NotPlain as why:
        if why.errno == errno.EFBIG:
            raise PhotoRefused(
                Words(
                    "{name} is larger than {max_file_mb} MB: save it as a JPEG of full quality.",
                    name=shown_name(path),
                    max_file_mb=MAX_FILE_MB,
                ),
                "photo-too-large",
            ) from None
        raise WrongUsage(Words("{path} is not a file that holds a photo.", path=path), "not-a-file") from None
    except PermissionError:
        raise WrongUsage(Words("{path} may not be read: check its permissions.", path=path), "no-permission") from None
    except OSError as why:
        reason = (why.strerror or str(why)).lower()
        raise WrongUsage(Words("{path} can't be read ({reason}).", path=path, reason=reason), "no-file") from None
    if not data:
        raise PhotoRefused(
            Words("{name} is empty (zero bytes): copy it again from the phone.", name=shown_name(path)),
            "photo-empty",
        )
    return data


def _checked(data: bytes, name: str) -> tuple[str, Header | None]:
    """The kind of file, one of FORMATS, and its header, when that tells of one photo of sensible size."""
    kind = _kind_by_first_bytes(data)
    if kind not in FORMATS:
        what = kind or Words("not a photo")
        raise PhotoRefused(Words("{name} is {what}: {reads}.", name=name, what=what, reads=READS), "not-a-photo")
    try:
        claimed = header(data, kind)
    except Unreadable as why:
        raise PhotoRefused(
            Words("{name} is damaged or cut short ({why}): copy it again from the phone.", name=name, why=why),
            "photo-damaged",
        ) from None
    if claimed:
        _check_size((claimed.width, claimed.height), name)
        if claimed.several:
            raise PhotoRefused(
                Words(
                    "{name} holds more than one picture (an animation or several pages): save the one to "
                    "measure as a photo of its own.",
                    name=name,
                ),
                "photo-animated",
            )
    return kind, claimed


def _opened(data: bytes, kind: str, name: str) -> Image.Image:
    """The picture as its library knows it, nothing decoded."""
    from PIL import Image

    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of sizes that are judged here
            return Image.open(io.BytesIO(data), formats=[kind])
    except Image.DecompressionBombError:
        raise _too_large(name) from None
    except Exception as why:  # decoders raise whatever they like on damaged files
        raise PhotoRefused(
            Words("{name} is damaged or cut short: copy it again from the phone.", name=name), "photo-damaged"
        ) from why


def _kind_by_first_bytes(data: bytes) -> str | None:
    """One of FORMATS, or words for another kind of file; None when nobody knows."""
    if data[4:8] == b"ftyp":
        return "HEIF" if data[8:12] in HEIF_BRANDS else Words("a video or another kind of media file")
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    return next((kind for mark, kind in FIRST_BYTES.items() if data.startswith(mark)), None)


def _too_large(name: str, most: float = MAX_MEGAPIXELS) -> PhotoRefused:
    return PhotoRefused(
        Words(
            "{name} claims more than {most:g} megapixels: take the photo in the camera's normal mode.",
            name=name,
            most=most,
        ),
        "photo-too-large",
    )


def _most_megapixels(im: Image.Image, kind: str) -> float:
    if kind == "HEIF":
        return HEIF_MEGAPIXELS
    return MAX_MEGAPIXELS if im.mode == "RGB" or is_plain_jpeg(im) else ODD_MEGAPIXELS


def _check_size(size: tuple[int, int], name: str, most: float = MAX_MEGAPIXELS) -> None:
    short, long = sorted(size)
    if short * long > most * 1e6:
        raise _too_large(name, most)
    if short < MIN_SHORT_SIDE_PX or short * long < MIN_MEGAPIXELS * 1e6:
        raise PhotoRefused(
            Words(
                "{name} has only {width} × {height} pixels: send the photo as the camera took it, not a preview.",
                name=name,
                width=size[0],
                height=size[1],
            ),
            "photo-too-small",
        )
    if long > MAX_ASPECT * short:
        raise PhotoRefused(
            Words(
                "{name} is {long:.1f} times as long as wide, a panorama or a strip cut from a photo: "
                "use a photo as the camera took it.",
                name=name,
                long=long / short,
            ),
            "photo-panorama",
        )


def _exif_of(im: Image.Image) -> dict[int, Any]:
    """The few EXIF entries that are used; damaged EXIF counts as none."""
    try:
        exif = im.getexif()
        return {**exif, **exif.get_ifd(EXIF_IFD)}
    except Exception:  # the EXIF reader raises whatever it likes on damaged blocks, and the pixels are good without
        return {}


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return 0.0


def _focal_35mm(exif: dict[int, Any], size: tuple[int, int]) -> float | None:
    """FocalLengthIn35mmFilm (Exif 2.32, tag 41989), where 0 means unknown.

    A crop keeps the entry but not its truth: when the picture's shape is no longer the one that was taken, it is None.
    """
    focal = _number(exif.get(FOCAL_35MM))
    if not FOCAL_35MM_LIMITS[0] <= focal <= FOCAL_35MM_LIMITS[1]:
        return None
    taken = sorted((_number(exif.get(EXIF_WIDTH)), _number(exif.get(EXIF_HEIGHT))))
    short, long = sorted(size)
    if taken[0] > 0 and abs((taken[1] / taken[0]) / (long / short) - 1) > SAME_ASPECT:
        return None
    return focal


def _camera(exif: dict[int, Any]) -> str | None:
    words = [str(exif.get(tag, "")).replace("\0", " ").strip() for tag in (MAKE, MODEL)]
    if words[1].lower().startswith(words[0].lower()):
        words[0] = ""
    text = " ".join("".join(c for c in " ".join(words) if c.isprintable()).split())
    return text[:60] or None
