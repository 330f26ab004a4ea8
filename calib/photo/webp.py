"""Whether a WebP (RFC 9649) is as it was coded, as far as can be told: it has no checksums.

Its chunks have to fill it. And a coded picture needs its bytes to the last few: a wrong bit puts the decoder out of
step, which then needs more than there are, and complains, or fewer, and does not. So it is asked to do with fewer.
"""

from __future__ import annotations

import struct

import numpy as np

LOSSLESS, LOSSY = b"VP8L", b"VP8 "
SPARE = {LOSSLESS: 4, LOSSY: 6}
"""Bytes without which no picture is whole. Encoders leave at most 1 and 3 that are not needed (24 pictures, tried)."""
FRAME_HEAD = 10
"""Bytes of a lossy frame's head (RFC 6386, 9.1), the length of its first partition among them."""
LENGTH_SHIFT = 5
MOST_CHUNKS = 1000


def is_whole(data: bytes) -> bool:
    """Whether the chunks fill the file, and its picture can't be decoded from fewer bytes."""
    chunks = _chunks(data)
    if chunks is None:
        return False
    return all(
        not _decodes(kind, shorter) for kind, body in chunks if kind in SPARE for shorter in _shortened(kind, body)
    )


def is_lossless(data: bytes) -> bool:
    """Whether its picture is coded without loss, in differences between pixels."""
    return any(kind == LOSSLESS for kind, _ in _chunks(data) or [])


def _chunks(data: bytes) -> list[tuple[bytes, bytes]] | None:
    """Kind and content of each chunk, or None where they are not what the file says."""
    (size,) = struct.unpack_from("<I", data, 4)
    end = 8 + size
    if not end <= len(data) <= end + 1:
        return None
    found: list[tuple[bytes, bytes]] = []
    at = 12
    while at < end and len(found) < MOST_CHUNKS:
        if at + 8 > end:
            return None
        kind, length = data[at : at + 4], struct.unpack_from("<I", data, at + 4)[0]
        found.append((kind, data[at + 8 : at + 8 + length]))
        at += 8 + length + length % 2
    return found if at in (end, end + 1) else None


def _shortened(kind: bytes, body: bytes) -> list[bytes]:
    """The picture without its last bytes, and for a lossy one also without those of its first partition."""
    spare = SPARE[kind]
    if len(body) < FRAME_HEAD + 2 * spare:
        return []
    cut = [body[:-spare]]
    if kind == LOSSY:
        tag = int.from_bytes(body[:3], "little")
        first = tag >> LENGTH_SHIFT
        if first > spare:
            rest = body[FRAME_HEAD : FRAME_HEAD + first - spare] + body[FRAME_HEAD + first :]
            cut.append((tag - (spare << LENGTH_SHIFT)).to_bytes(3, "little") + body[3:FRAME_HEAD] + rest)
    return cut


def _decodes(kind: bytes, body: bytes) -> bool:
    import cv2

    padded = body + bytes(len(body) % 2)
    file = b"RIFF" + struct.pack("<I", 12 + len(padded)) + b"WEBP" + kind + struct.pack("<I", len(body)) + padded
    try:
        return cv2.imdecode(np.frombuffer(file, np.uint8), cv2.IMREAD_COLOR) is not None
    except cv2.error:
        return False
