"""The coded pictures that a HEIC's main picture is made of (ISO/IEC 14496-12, 23008-12), for whoever wants to look at
their bytes. The library that reads HEIC looks at no more of them than it needs for a picture of any kind."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

from calib.photo import hevc

MOST_BOXES = 4000
"""Boxes in one; a picture of 64 megapixels in tiles of 512 pixels has some 300 entries."""
MOST_TILES = 2000
CODED = b"hvc1"
DERIVED = (b"grid", b"iden", b"iovl")
"""Pictures that are put together from others (23008-12, 6.6)."""
IN_FILE, IN_META = 0, 1
"""Construction methods (14496-12, 8.11.3): places in the file, and in the box of data beside the list of items."""
SMALL_INDEX = 0x7F


class Torn(ValueError):
    """The boxes don't fit together."""


@dataclass(slots=True)
class _Items:
    """What the list of items says."""

    primary: int = 0
    kinds: dict[int, bytes] = field(default_factory=dict)
    places: dict[int, tuple[int, list[tuple[int, int]]]] = field(default_factory=dict)
    parts: dict[int, list[int]] = field(default_factory=dict)
    properties: dict[int, list[int]] = field(default_factory=dict)
    settings: dict[int, bytes] = field(default_factory=dict)
    data: bytes = b""


def is_whole(data: bytes) -> bool:
    """Whether nothing is found to be wrong with the coded pictures of a HEIC's main picture.

    Args:
        data: the whole file. What is not coded by HEVC, or can't be looked at here, counts as whole.
    """
    try:
        return all(hevc.is_whole(units) is not False for units in _pictures(data))
    except (Torn, struct.error, IndexError):
        return False


def _pictures(data: bytes) -> Iterator[list[bytes]]:
    """The network units of each coded picture, parameter sets first.

    Raises:
        Torn, struct.error, IndexError: a place that does not exist, or units that don't fill their picture's place.
    """
    meta = next((place for kind, *place in _boxes(data, 0, len(data)) if kind == b"meta"), None)
    if meta is None:
        raise Torn("no list of items")
    items = _listed(data, meta[0] + 4, meta[1])
    for item in _tiles(items, items.primary):
        if items.kinds.get(item) == CODED:
            sets, length = _parameter_sets(items, item)
            yield [*sets, *_units(_content(data, items, item), length)]


def _tiles(items: _Items, item: int) -> list[int]:
    """What a picture is made of: itself, or others."""
    if items.kinds.get(item) not in DERIVED:
        return [item]
    parts = items.parts.get(item, [])
    if not parts or len(parts) > MOST_TILES or len(set(parts)) < len(parts):
        raise Torn("a picture is made of nothing, or of one part twice")
    return parts


def _boxes(data: bytes, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Kind, begin and end of the content of each box (4.2)."""
    for _ in range(MOST_BOXES):
        if at + 8 > end:
            return
        size, kind = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            (size,), head = struct.unpack_from(">Q", data, at + 8), 16
        last = end if size == 0 else at + size
        if last > end or last < at + head:
            raise Torn("a box is larger than its place")
        yield kind, at + head, last
        at = last


class _Reader:
    """Whole numbers, one after the other."""

    def __init__(self, data: bytes, at: int, end: int) -> None:
        self.data, self.at, self.end = data, at, end

    def take(self, size: int) -> int:
        """The next number of so many bytes."""
        if self.at + size > self.end:
            raise Torn("a list is longer than its box")
        self.at += size
        return int.from_bytes(self.data[self.at - size : self.at], "big")


def _listed(data: bytes, at: int, end: int) -> _Items:
    items = _Items()
    for kind, begin, last in _boxes(data, at, end):
        read = _Reader(data, begin, last)
        match kind:
            case b"pitm":
                items.primary = read.take(2 if read.take(4) >> 24 == 0 else 4)
            case b"iinf":
                read.take(2 if read.take(4) >> 24 == 0 else 4)
                _kinds(data, read.at, last, items)
            case b"iloc":
                _places(read, items)
            case b"iref":
                wide = read.take(4) >> 24 != 0
                for what, first, past in _boxes(data, begin + 4, last):
                    if what == b"dimg":
                        refers = _Reader(data, first, past)
                        whole = refers.take(4 if wide else 2)
                        items.parts[whole] = [refers.take(4 if wide else 2) for _ in range(refers.take(2))]
            case b"iprp":
                _properties(data, begin, last, items)
            case b"idat":
                items.data = data[begin:last]
    return items


def _kinds(data: bytes, at: int, end: int, items: _Items) -> None:
    """8.11.6: of each item its kind."""
    for _, begin, last in _boxes(data, at, end):
        read = _Reader(data, begin, last)
        version = read.take(4) >> 24
        if version >= 2:
            item = read.take(2 if version == 2 else 4)
            read.take(2)
            items.kinds[item] = read.take(4).to_bytes(4, "big")


def _places(read: _Reader, items: _Items) -> None:
    """8.11.3: of each item where its bytes are."""
    version = read.take(4) >> 24
    sizes = read.take(2)
    offset, length, base, index = (sizes >> shift & 0xF for shift in (12, 8, 4, 0))
    for _ in range(read.take(2 if version < 2 else 4)):
        item = read.take(2 if version < 2 else 4)
        method = read.take(2) & 0xF if version else IN_FILE
        read.take(2)
        start = read.take(base)
        extents = []
        for _ in range(read.take(2)):
            read.take(index if version else 0)
            extents.append((start + read.take(offset), read.take(length)))
        items.places[item] = method, extents


def _properties(data: bytes, at: int, end: int, items: _Items) -> None:
    """23008-12, 9.3: settings of decoders, and which of them are of which item."""
    for kind, begin, last in _boxes(data, at, end):
        if kind == b"ipco":
            for k, (what, first, past) in enumerate(_boxes(data, begin, last), 1):
                if what == b"hvcC":
                    items.settings[k] = data[first:past]
        elif kind == b"ipma":
            read = _Reader(data, begin, last)
            head = read.take(4)
            wide = head & 1
            for _ in range(read.take(4)):
                item = read.take(2 if head >> 24 == 0 else 4)
                found = [read.take(1 + wide) for _ in range(read.take(1))]
                items.properties[item] = [k & (0x7FFF if wide else SMALL_INDEX) for k in found]


def _parameter_sets(items: _Items, item: int) -> tuple[list[bytes], int]:
    """The parameter sets of an item's decoder, and of how many bytes a unit's length is (14496-15, 8.3.3.1)."""
    settings = next((items.settings[k] for k in items.properties.get(item, []) if k in items.settings), None)
    if settings is None:
        raise Torn("a coded picture without its decoder's settings")
    read = _Reader(settings, 21, len(settings))
    length = (read.take(1) & 3) + 1
    sets = []
    for _ in range(read.take(1)):
        read.take(1)
        for _ in range(read.take(2)):
            size = read.take(2)
            sets.append(read.take(size).to_bytes(size, "big"))
    return sets, length


def _content(data: bytes, items: _Items, item: int) -> bytes:
    method, extents = items.places.get(item, (IN_FILE, []))
    if method not in (IN_FILE, IN_META):
        raise Torn("bytes of another item")
    where = data if method == IN_FILE else items.data
    parts = [where[at : at + size] if size else where[at:] for at, size in extents]
    if any(len(part) < size for part, (_, size) in zip(parts, extents, strict=True)):
        raise Torn("an item ends behind the file")
    return b"".join(parts)


def _units(coded: bytes, length: int) -> list[bytes]:
    read, units = _Reader(coded, 0, len(coded)), []
    while read.at < len(coded):
        size = read.take(length)
        if size == 0 or read.at + size > len(coded):
            raise Torn("a unit is longer than its picture")
        units.append(coded[read.at : read.at + size])
        read.at += size
    return units
