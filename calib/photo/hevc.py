"""Whether a stream of HEVC (ITU-T H.265) is as it was coded: asked of the decoder itself, below the library for HEIC.

A wrong bit puts the arithmetic decoder out of step for good (9.3): what follows is rubbish, and the picture is said to
be finished too early or too late. Too late, the decoder warns of it, which the library that reads HEIC does not hand
on. Too early, the last bytes of a slice were never read: another picture comes of others, if they were.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import zlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

TAIL_BYTES = 32
"""So many last bytes of a slice are changed. They code the lower right corner of a picture, a few blocks (chosen)."""
TAIL_SHARE = 4
"""At most a quarter of a slice (chosen)."""
THREADS = 4
"""Worker threads of the decoder: where rows are coded side by side it waits for them."""
OTHER_BITS = 0x55
MOST_SLICES = 16
"""Slices of a picture that are looked at; phones write one (common practice)."""
MOST_STEPS = 10_000
"""Calls of a decoder for one picture; it takes a few for each unit."""
SLICES = range(32)
"""Types of units that hold a slice (table 7-1)."""
NO_PARALLEL_ROWS = 1000
"""The decoder's warning that it works with one thread: of speed, not of damage."""
FOLDERS = ("pillow_heif.libs", ".dylibs", "pillow_heif/.dylibs")
"""Where packages of pillow-heif keep the libraries that they bring along, beside or in its own folder."""


def is_whole(units: Sequence[bytes]) -> bool | None:
    """Whether one coded picture is decoded without a complaint, from its first byte to its last.

    Args:
        units: its network units (7.3.1), parameter sets first, without start codes or lengths.

    Returns:
        None where the decoder can't be asked.
    """
    decoder = _library()
    if decoder is None:
        return None
    picture = _decoded(decoder, units)
    if picture is None:
        return False
    slices = [k for k, unit in enumerate(units) if len(unit) > 2 and unit[0] >> 1 & 0x3F in SLICES]
    for k in slices[:MOST_SLICES]:
        others = [*units[:k], _other_tail(units[k]), *units[k + 1 :]]
        if _decoded(decoder, others, complain=False) == picture:
            return False
    return bool(slices)


def _other_tail(unit: bytes) -> bytes:
    """The unit with other last bytes; padding behind them (7.3.2.10) stays."""
    coded = len(unit.rstrip(b"\0\3"))
    begin = coded - max(1, min(TAIL_BYTES, coded // TAIL_SHARE))
    return unit[:begin] + bytes(b ^ OTHER_BITS for b in unit[begin:coded]) + unit[coded:]


def _decoded(decoder: Any, units: Sequence[bytes], complain: bool = True) -> int | None:
    """A checksum of the picture's luma, or None where there is none, or something was complained of."""
    context = decoder.de265_new_decoder()
    if not context:
        raise MemoryError
    try:
        decoder.de265_start_worker_threads(context, THREADS)
        for unit in units:
            decoder.de265_push_NAL(context, unit, len(unit), 0, None)
        decoder.de265_flush_data(context)
        picture = _picture(decoder, context)
        wrong = False
        while warning := decoder.de265_get_warning(context):
            wrong = wrong or warning != NO_PARALLEL_ROWS
        if not picture or (wrong and complain):
            return None
        stride = ctypes.c_int()
        luma = decoder.de265_get_image_plane(picture, 0, ctypes.byref(stride))
        size = stride.value * decoder.de265_get_image_height(picture, 0)
        return zlib.crc32((ctypes.c_uint8 * size).from_address(luma))
    finally:
        decoder.de265_free_decoder(context)


def _picture(decoder: Any, context: int) -> int | None:
    """The picture, or None after an error. There is always more to do until it is taken."""
    for _ in range(MOST_STEPS):
        more = ctypes.c_int(0)
        if decoder.de265_decode(context, ctypes.byref(more)):
            return None
        if picture := decoder.de265_get_next_picture(context):
            return int(picture)
        if not more.value:
            return None
    return None


@cache
def _library() -> Any | None:
    """libde265, as pillow-heif or the system has it; None where there is none that can be loaded."""
    for path in _places():
        try:
            library = ctypes.CDLL(path)
            _declared(library)
        except (OSError, AttributeError):  # another library of that name, or one for another processor
            continue
        return library
    return None


def _places() -> list[str]:
    import pillow_heif

    beside = Path(pillow_heif.__file__).parent.parent
    found = [str(p) for folder in FOLDERS for p in sorted((beside / folder).glob("*de265*"))]
    system = ctypes.util.find_library("de265")
    return [*found, system] if system else found


def _declared(library: Any) -> None:
    """The functions' types (libde265/de265.h)."""
    pointer, number = ctypes.c_void_p, ctypes.c_int
    numbers = ctypes.POINTER(number)
    for name, gives, takes in (
        ("new_decoder", pointer, []),
        ("free_decoder", number, [pointer]),
        ("start_worker_threads", number, [pointer, number]),
        ("push_NAL", number, [pointer, ctypes.c_char_p, number, ctypes.c_int64, pointer]),
        ("flush_data", number, [pointer]),
        ("decode", number, [pointer, numbers]),
        ("get_warning", number, [pointer]),
        ("get_next_picture", pointer, [pointer]),
        ("get_image_height", number, [pointer, number]),
        ("get_image_plane", pointer, [pointer, number, numbers]),
    ):
        function = getattr(library, f"de265_{name}")
        function.restype, function.argtypes = gives, takes
