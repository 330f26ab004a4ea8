"""What a photo's file says of itself in its first bytes, read in a bounded number of steps before any decoder is asked.

Decoders count pages, walk chunks and fetch entries for as long as a file has them, and a few megabytes can have
millions. Sizes and pages are read here by the formats' own definitions: JPEG (ITU-T T.81, annex B), PNG (ISO/IEC
15948), WebP (RFC 9649), TIFF 6.0 and BigTIFF. HEIC is left to its library, which has limits of its own.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

MOST_SEGMENTS = 4000
"""Segments or chunks before the picture: a large colour profile and metadata take a few hundred."""
MOST_ENTRIES = 1000
"""Entries of a TIFF's directory; baseline and EXIF define some two hundred."""
MOST_JUNK = 1024
"""Bytes between two segments of a JPEG that are passed over."""
MOST_CHUNKS = 100_000
"""Chunks of a whole PNG: libraries write 8 to 64 kB of picture in each."""
_TIFF_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}


@dataclass(frozen=True, slots=True)
class Header:
    """Width and height, pixels, and whether the file holds further pictures to be shown after or beside the first."""

    width: int
    height: int
    several: bool = False


class Unreadable(ValueError):
    """The header is damaged, or goes on for longer than that of any photo."""


def header(data: bytes, kind: str) -> Header | None:
    """The header of a file.

    Args:
        data: the whole file, or enough of it.
        kind: JPEG, PNG, WEBP or TIFF; for anything else there is None.

    Raises:
        Unreadable: there is none that a photo could have.
    """
    reader = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp, "TIFF": _tiff}.get(kind)
    try:
        return reader(data) if reader else None
    except (struct.error, IndexError, OverflowError):  # an offset beyond what any file has
        raise Unreadable("it is cut short") from None


def _jpeg(data: bytes) -> Header:
    at = 2
    for _ in range(MOST_SEGMENTS):
        at = data.find(b"\xff", at, at + MOST_JUNK)
        if at < 0:
            raise Unreadable("there is no segment where one should be")
        while data[at + 1] == 0xFF:  # fill bytes
            at = _past(data, at)
        marker = data[at + 1]
        if marker in (0xD9, 0xDA):
            break
        if marker in (0x00, 0x01) or 0xD0 <= marker <= 0xD8:
            at += 2
            continue
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack_from(">HH", data, at + 5)
            return Header(width, height)
        (length,) = struct.unpack_from(">H", data, at + 2)
        at += 2 + max(length, 2)
    raise Unreadable("it has no frame")


def _past(data: bytes, at: int) -> int:
    """The last of a row of fill bytes."""
    end = next((i for i in range(at, min(at + MOST_JUNK, len(data))) if data[i] != 0xFF), None)
    if end is None:
        raise Unreadable("there is no segment where one should be")
    return end - 1


def _png(data: bytes) -> Header:
    width, height = struct.unpack_from(">II", data, 16)
    at, several = 8, False
    for _ in range(MOST_SEGMENTS):
        length, kind = struct.unpack_from(">I4s", data, at)
        if kind == b"IDAT":
            return Header(width, height, several)
        if kind == b"acTL":  # animated (third edition, 11.3.6)
            several = struct.unpack_from(">I", data, at + 8)[0] > 1
        at += 12 + length
    raise Unreadable("it has no picture")


def png_is_whole(data: bytes) -> bool:
    """Whether a PNG runs to its end, and every chunk has the checksum that it was written with (5.3)."""
    at, view = 8, memoryview(data)
    for _ in range(MOST_CHUNKS):
        if at + 12 > len(data):
            return False
        length, kind = struct.unpack_from(">I4s", data, at)
        end = at + 8 + length
        if end + 4 > len(data) or zlib.crc32(view[at + 4 : end]) != struct.unpack_from(">I", data, end)[0]:
            return False
        if kind == b"IEND":
            return True
        at = end + 4
    return False


def _webp(data: bytes) -> Header:
    kind = data[12:16]
    if kind == b"VP8X":
        low, high = data[24:27], data[27:30]
        if len(high) < 3:
            raise Unreadable("it is cut short")
        size = int.from_bytes(low, "little") + 1, int.from_bytes(high, "little") + 1
        return Header(*size, several=bool(data[20] & 0x02))
    if kind == b"VP8L":
        (bits,) = struct.unpack_from("<I", data, 21)
        return Header((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)
    if kind == b"VP8 ":
        width, height = struct.unpack_from("<HH", data, 26)
        return Header(width & 0x3FFF, height & 0x3FFF)
    raise Unreadable("it has no picture")


def _tiff(data: bytes) -> Header:
    order = "<" if data[:2] == b"II" else ">"
    big = struct.unpack_from(f"{order}H", data, 2)[0] == 43
    (at,) = struct.unpack_from(f"{order}{'Q' if big else 'I'}", data, 8 if big else 4)
    (count,) = struct.unpack_from(f"{order}{'Q' if big else 'H'}", data, at)
    if count > MOST_ENTRIES:
        raise Unreadable("its directory has more entries than any")
    at += 8 if big else 2
    size = 20 if big else 12
    found: dict[int, int] = {}
    held = 0
    for k in range(count):
        tag, kind, n = struct.unpack_from(f"{order}HH{'Q' if big else 'I'}", data, at + k * size)
        held += n * _TIFF_BYTES.get(kind, 1)
        if kind in (3, 4, 16) and tag in (256, 257):
            letter = {3: "H", 4: "I", 16: "Q"}[kind]
            (found[tag],) = struct.unpack_from(order + letter, data, at + k * size + (12 if big else 8))
    if held > 2 * len(data):  # each is fetched when it is opened
        raise Unreadable("its directory holds more than the file")
    (further,) = struct.unpack_from(f"{order}{'Q' if big else 'I'}", data, at + count * size)
    if 256 not in found or 257 not in found:
        raise Unreadable("it has no size")
    return Header(found[256], found[257], further != 0)
