"""How many bytes a strip of a TIFF packed by LZW (TIFF 6.0, section 13) comes to, without unpacking it.

Where the codes begin follows from how many there were since the last clear code, so that they are read all at once; how
long each one's string is follows from the code before the one that made its entry.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

CLEAR, END, FIRST = 256, 257, 258
WIDER_AFTER = {9: 254, 10: 766, 11: 1790}
"""So many codes after a clear code codes get a bit longer: entry 510, 1022 or 2046 has been made by then."""
MOST_CODES = 4096 - FIRST + 2
"""Codes between two clear codes: the table is full."""
MAY_BE_LEFT = 4
"""Bytes of padding behind the end code (chosen)."""
_WIDTHS = np.select([np.arange(MOST_CODES) < n for n in WIDER_AFTER.values()], list(WIDER_AFTER), 12)
_STARTS = np.concatenate([[0], np.cumsum(_WIDTHS)])


def length(packed: bytes) -> int | None:
    """Bytes that come of it; None where a code is none, or the end is not where it should be."""
    padded = np.frombuffer(packed + bytes(4), np.uint8).astype(np.uint32)
    if int(_codes(padded, 0, 1)[0]) != CLEAR:
        return None
    at, total, bits = int(_WIDTHS[0]), 0, 8 * len(packed)
    while at < bits:
        codes = _codes(padded, at, min(MOST_CODES, int(np.searchsorted(_STARTS, bits - at, "right")) - 1))
        stops = np.flatnonzero((codes == CLEAR) | (codes == END))
        if not len(stops):
            return None
        stop = int(stops[0])
        come_to = _strings(codes[:stop])
        if come_to is None:
            return None
        total += come_to
        at += int(_STARTS[stop + 1])
        if codes[stop] == END:
            return total if bits - at < 8 * MAY_BE_LEFT else None
    return None


def _codes(data: NDArray[np.uint32], at: int, count: int) -> NDArray[np.int64]:
    """(count,) codes from a bit on."""
    begin = at + _STARTS[:count]
    byte = begin >> 3
    window = data[byte] << 16 | data[byte + 1] << 8 | data[byte + 2]
    width = _WIDTHS[:count]
    codes = (window >> (24 - (begin & 7) - width).astype(np.uint32)).astype(np.int64) & ((1 << width) - 1)
    return np.asarray(codes, np.int64)


def _strings(codes: NDArray[np.int64]) -> int | None:
    """Bytes of all strings together: each is a byte longer than the one whose code made its entry."""
    before = np.where(codes >= FIRST, codes - FIRST, -1)
    if (before >= np.arange(len(codes))).any():
        return None
    long = np.ones(len(codes), np.int64)
    open_ones = np.flatnonzero(before >= 0)
    while len(open_ones):  # each reaches twice as far back as a round before
        to = before[open_ones]
        long[open_ones], before[open_ones] = long[open_ones] + long[to], before[to]
        open_ones = open_ones[before[open_ones] >= 0]
    return int(long.sum())
