"""Whether a TIFF (6.0, and BigTIFF) is as it was written, as far as can be told: its readers ask for no more than what
fills the picture.

Its strips or tiles have to have the sizes that follow from the picture's, packed ones have to come to them to the last
byte, checksums and decoders' complaints count, and nothing but padding may lie behind what its directories speak of.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from calib.photo import lzw

WIDTH, HEIGHT, BITS, PACKING, STRIPS, SAMPLES, ROWS, STRIP_BYTES = 256, 257, 258, 259, 273, 277, 278, 279
PLANES, TILE_WIDTH, TILE_HEIGHT, TILES, TILE_BYTES, TABLES = 284, 322, 323, 324, 325, 347
SUBSAMPLING, COLOURS, YCBCR = 530, 262, 6
DIRECTORIES = (330, 34665, 34853, 40965)
"""Tags that lead to further directories: smaller pictures, EXIF, GPS and what belongs to it."""
PLAIN, LZW, JPEG, PACKBITS, DEFLATES = 1, 5, 7, 32773, (8, 32946)
SEPARATE = 2
MOST_DIRECTORIES, MOST_ENTRIES = 20, 1000
MOST_PIECES = 200_000
_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_LETTERS = {1: "B", 3: "H", 4: "I", 13: "I", 16: "Q", 18: "Q"}


@dataclass(frozen=True, slots=True)
class _Directory:
    """Whole numbers and bytes by tag, and where the last of its bytes is."""

    numbers: dict[int, tuple[int, ...]]
    raw: dict[int, bytes]
    end: int

    def one(self, tag: int, otherwise: int) -> int:
        """The first number of a tag."""
        return self.numbers.get(tag, (otherwise,))[0]


def is_whole(data: bytes) -> bool:
    """Whether nothing is found to be wrong with a TIFF's first picture, nor with how long the file is."""
    try:
        return _is_whole(data)
    except (struct.error, IndexError, KeyError, ZeroDivisionError):
        return False


def jpeg_rows(data: bytes) -> int | None:
    """Height of the smallest coded unit of a picture that is packed as JPEG; None for another."""
    first = _directory(data, *_first(data))
    if first.one(PACKING, PLAIN) != JPEG:
        return None
    return 16 if first.numbers.get(SUBSAMPLING, (2, 2))[-1] == 2 and first.one(COLOURS, 0) == YCBCR else 8


def _is_whole(data: bytes) -> bool:
    order, letter, at = _first(data)
    first = _directory(data, order, letter, at)
    end = first.end
    waiting = [place for tag in DIRECTORIES for place in first.numbers.get(tag, ())]
    for place in waiting[:MOST_DIRECTORIES]:
        other = _directory(data, order, letter, place)
        waiting += [p for tag in DIRECTORIES for p in other.numbers.get(tag, ())]
        starts, sizes = _pieces(other)
        end = max(end, other.end, *(s + n for s, n in zip(starts, sizes, strict=False)))
    starts, sizes = _pieces(first)
    expected = _expected(first)
    if not len(starts) == len(sizes) == len(expected) or not starts or len(starts) > MOST_PIECES:
        return False
    end = max(end, *(s + n for s, n in zip(starts, sizes, strict=True)))
    if end > len(data) or data[end:].strip(b"\0"):
        return False
    holds = _holds(first)
    return all(holds(data[s : s + n], shape) for s, n, shape in zip(starts, sizes, expected, strict=True))


def _first(data: bytes) -> tuple[str, str, int]:
    """Byte order, letter of an offset, and where the first directory is."""
    order = "<" if data[:2] == b"II" else ">"
    big = struct.unpack_from(f"{order}H", data, 2)[0] == 43
    letter, place = ("Q", 8) if big else ("I", 4)
    return order, letter, struct.unpack_from(order + letter, data, place)[0]


def _directory(data: bytes, order: str, letter: str, at: int) -> _Directory:
    """A directory and the whole numbers in it.

    Args:
        order, letter: of bytes, and of an offset.
    """
    big = letter == "Q"
    (count,) = struct.unpack_from(order + ("Q" if big else "H"), data, at)
    if count > MOST_ENTRIES:
        raise IndexError
    at += 8 if big else 2
    size, room = (20, 8) if big else (12, 4)
    numbers: dict[int, tuple[int, ...]] = {}
    raw: dict[int, bytes] = {}
    end = at + count * size + room
    for k in range(count):
        tag, kind, n = struct.unpack_from(f"{order}HH{letter}", data, at + k * size)
        length = n * _BYTES.get(kind, 1)
        place = at + k * size + size - room
        if length > room:
            (place,) = struct.unpack_from(order + letter, data, place)
            end = max(end, place + length)
        if length > len(data):
            raise IndexError
        if kind in _LETTERS and n:
            numbers[tag] = struct.unpack_from(f"{order}{n}{_LETTERS[kind]}", data, place)
        raw[tag] = data[place : place + length]
    return _Directory(numbers, raw, end)


def _pieces(directory: _Directory) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Where strips or tiles begin, and how long they are."""
    start, size = (TILES, TILE_BYTES) if TILES in directory.numbers else (STRIPS, STRIP_BYTES)
    return directory.numbers.get(start, ()), directory.numbers.get(size, ())


def _expected(directory: _Directory) -> list[tuple[int, int, int]]:
    """Of each strip or tile its rows, its width and the bytes of it."""
    width, height = directory.one(WIDTH, 0), directory.one(HEIGHT, 0)
    bits = directory.numbers.get(BITS, (1,))
    samples = directory.one(SAMPLES, 1)
    separate = samples if directory.one(PLANES, 1) == SEPARATE else 1
    depth = bits[0] * samples // separate
    if TILES in directory.numbers:
        across, down = directory.one(TILE_WIDTH, 0), directory.one(TILE_HEIGHT, 0)
        count = -(-width // across) * -(-height // down)
        return [(down, across, down * (-(-across * depth // 8)))] * count * separate
    rows = min(directory.one(ROWS, height), height)
    heights = [min(rows, height - top) for top in range(0, height, rows)]
    return [(h, width, h * (-(-width * depth // 8))) for h in heights] * separate


def _holds(directory: _Directory) -> Callable[[bytes, tuple[int, int, int]], bool]:
    """What is asked of the bytes of each strip or tile, given its rows, width and bytes."""
    packing = directory.one(PACKING, PLAIN)
    if packing == JPEG:
        tables = directory.raw.get(TABLES, b"")
        return lambda packed, shape: _jpeg(packed, tables, shape)
    if directory.one(COLOURS, 0) == YCBCR:  # fewer bytes than of other colours, by the subsampling
        return lambda _packed, _shape: True
    if packing == PLAIN:
        return lambda packed, shape: len(packed) == shape[2]
    if packing in DEFLATES:
        return lambda packed, shape: _inflates(packed, shape[2])
    if packing == LZW:
        return lambda packed, shape: lzw.length(packed) == shape[2]
    if packing == PACKBITS:
        return lambda packed, shape: _packbits(packed) == shape[2]
    return lambda _packed, _shape: True


def _inflates(packed: bytes, size: int) -> bool:
    """Whether a zlib stream (RFC 1950) comes to its end, with its checksum, after so many bytes."""
    stream = zlib.decompressobj()
    try:
        return len(stream.decompress(packed, size + 1)) == size and (stream.eof or _ends(stream))
    except zlib.error:
        return False


def _ends(stream: zlib._Decompress) -> bool:
    """Whether nothing but the checksum was left."""
    return not stream.decompress(stream.unconsumed_tail, 1) and stream.eof


def _packbits(packed: bytes) -> int | None:
    """Bytes that come of it (TIFF 6.0, section 9); None where the last run is not whole."""
    at = total = 0
    while at < len(packed):
        head = packed[at]
        if head < 128:
            at, total = at + head + 2, total + head + 1
        else:
            at, total = at + (1 if head == 128 else 2), total + (0 if head == 128 else 257 - head)
    return total if at == len(packed) else None


def _jpeg(packed: bytes, tables: bytes, shape: tuple[int, int, int]) -> bool:
    """Whether the decoder has nothing to complain of."""
    import simplejpeg

    whole = tables[:-2] + packed[2:] if tables else packed
    try:
        height, width, _ = simplejpeg.decode_jpeg(whole, "GRAY").shape
    except ValueError:
        return False
    return width == shape[1] and height in (shape[0], shape[0] + -shape[0] % 16)
