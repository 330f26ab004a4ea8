"""Photos' headers: sizes by the formats' definitions; what would hold a decoder for minutes is refused at once."""

from __future__ import annotations

import contextlib
import io
import struct
import subprocess
import sys
import time
import zlib
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from calib.errors import PhotoRefused
from calib.photo.header import MOST_ENTRIES, MOST_SEGMENTS, Header, Unreadable, header
from calib.photo.photo import check_header, load
from calib.photo.pixels import jpeg_is_whole

ROOT = Path(__file__).parent.parent
AT_ONCE_S = 1.5


def saved(kind: str, size: tuple[int, int] = (640, 480), **options: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "green").save(out, kind, **options)
    return out.getvalue()


def chunk(kind: bytes, body: bytes = b"") -> bytes:
    """ISO/IEC 15948, 5.3."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


PNG = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 640, 480, 8, 2, 0, 0, 0))


def tiff(entries: list[tuple[int, int, int, int]], further: int = 0, order: str = "<", claimed: int = -1) -> bytes:
    """A directory of entries (tag, type, count, value), TIFF 6.0, page 14."""
    count = len(entries) if claimed < 0 else claimed
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(f"{order}IH", 8, count)
    rows = b"".join(struct.pack(f"{order}HHII", *e) for e in entries)
    return head + rows + struct.pack(f"{order}I", further)


def pages(count: int) -> bytes:
    """A TIFF of many pages that share one picture."""
    rows = [(256, 4, 1, 640), (257, 4, 1, 480), (258, 3, 1, 8), (262, 3, 1, 1), (273, 4, 1, 0), (279, 4, 1, 1)]
    body, out = b"".join(struct.pack("<HHII", *r) for r in rows), [b"II*\0" + struct.pack("<I", 8)]
    for k in range(count):
        further = 8 + (k + 1) * (6 + len(body)) if k < count - 1 else 0
        out.append(struct.pack("<H", len(rows)) + body + struct.pack("<I", further))
    return b"".join(out)


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("JPEG", {}), ("JPEG", {"progressive": True}), ("PNG", {}), ("TIFF", {}), ("TIFF", {"big_tiff": True}),
        ("TIFF", {"compression": "tiff_lzw"}), ("WEBP", {}), ("WEBP", {"lossless": True}),
        ("WEBP", {"exif": b"Exif\0\0II*\0"}),
        ("JPEG", {"exif": b"Exif\0\0" + bytes(60_000), "icc_profile": bytes(200_000)}),
    ],
)  # fmt: skip
@pytest.mark.parametrize("size", [(640, 480), (1, 1), (2000, 1100)])
def test_sizes_are_those_that_were_saved(kind: str, options: dict[str, Any], size: tuple[int, int]) -> None:
    assert header(saved(kind, size, **options), kind) == Header(*size)


def test_several_pictures_are_seen_without_being_counted() -> None:
    more = {"save_all": True, "append_images": [Image.new("RGB", (640, 480), "red")]}
    for kind in ("PNG", "WEBP", "TIFF"):
        found = header(saved(kind, **more), kind)
        assert found
        assert found.several, kind
    assert header(tiff([(256, 4, 1, 640), (257, 3, 1, 480 << 16)], order=">"), "TIFF") == Header(640, 480)


def long_files() -> dict[str, tuple[str, bytes]]:
    """Files of some megabytes, each with as much in its header as fits; all of them invented."""
    most = 20_000_000
    jpeg = saved("JPEG")
    entries = [(256, 4, 1, 640), (257, 4, 1, 480)] + [(1000 + k, 7, most, 0) for k in range(500)]
    return {
        "pages": ("photo-animated", pages(330_000)),
        "pages in a circle": ("photo-animated", tiff([(256, 4, 1, 640), (257, 4, 1, 480)], further=8)),
        "entries": ("photo-damaged", tiff([(256, 4, 1, 640), (257, 4, 1, 480)], claimed=65_535) + bytes(most)),
        "entries that hold the file": ("photo-damaged", tiff(entries) + bytes(most)),
        "chunks": ("photo-damaged", PNG + chunk(b"teSt") * (most // 12) + chunk(b"IDAT")),
        "segments": ("photo-damaged", jpeg[:2] + b"\xff\xfe\0\2" * (most // 4) + jpeg[2:]),
        "segments of no length": ("photo-damaged", jpeg[:2] + b"\xff\xfe\0\0" * (most // 4) + jpeg[2:]),
        "junk": ("photo-damaged", jpeg[:2] + b"\0" * most + jpeg[2:]),
        "fill": ("photo-damaged", jpeg[:2] + b"\xff" * most + jpeg[2:]),
        "nothing but marks": ("photo-damaged", jpeg[:2] + b"\xff\x01" * (most // 2)),
    }


@pytest.mark.parametrize("kind", list(long_files()))
def test_headers_that_go_on_for_megabytes_are_refused_at_once(tmp_path: Path, kind: str) -> None:
    code, data = long_files()[kind]
    path = tmp_path / "x.jpg"
    path.write_bytes(data)
    for reader in (check_header, load):
        began = time.process_time()
        with pytest.raises(PhotoRefused) as why:
            reader(path)
        assert why.value.code == code
        assert time.process_time() - began < AT_ONCE_S


def test_what_is_cut_short_anywhere_is_unreadable_or_right() -> None:
    for kind in ("JPEG", "PNG", "WEBP", "TIFF"):
        data = saved(kind)
        for n in range(12, min(len(data), 900)):
            with contextlib.suppress(Unreadable):
                assert header(data[:n], kind) == Header(640, 480)


def test_the_limits_are_far_from_what_cameras_write() -> None:
    """Metadata of a phone is some twenty segments; 10 MB of extended XMP and profiles two hundred."""
    many = saved("JPEG")[:2] + b"\xff\xe1\xff\xfd" + bytes(65_531)
    data = saved("JPEG")
    assert header(data[:2] + many[2:] * 200 + data[2:], "JPEG") == Header(640, 480)
    assert MOST_SEGMENTS > 1000
    assert MOST_ENTRIES > 200


# --------------------------------------------------------------------------------------------------------------- memory
MEASURES = r"""
import re, sys
from pathlib import Path
from calib.photo.photo import load
print(load(sys.argv[1]).rgb.shape)
print(int(re.search(r"VmHWM:\s*(\d+)", Path("/proc/self/status").read_text())[1]) / 1000)
"""


def large(kind: str, path: Path) -> Path:
    """119 megapixels of one colour: a WebP of 38 bytes, a PNG of 400 kB."""
    before, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
    options = {"WEBP": {"lossless": True, "quality": 0, "method": 0}, "TIFF": {"compression": "tiff_lzw"}}
    Image.new("RGB", (10_900, 10_900), (120, 130, 140)).save(path, kind, **options.get(kind, {}))
    Image.MAX_IMAGE_PIXELS = before
    return path


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is told otherwise elsewhere")
@pytest.mark.parametrize("kind", ["WEBP", "PNG"])
def test_a_small_file_of_119_megapixels_is_decoded_in_less_than_a_gigabyte(tmp_path: Path, kind: str) -> None:
    path = large(kind, tmp_path / "x")
    done = subprocess.run([sys.executable, "-c", MEASURES, str(path)], cwd=ROOT, capture_output=True, text=True)
    shape, peak_mb = done.stdout.strip().splitlines()
    assert shape == "(5450, 5450, 3)"
    assert float(peak_mb) < 1000


def test_more_pixels_than_fit_into_memory_in_that_form_are_refused(tmp_path: Path) -> None:
    for mode in ("RGBA", "P", "I;16"):
        Image.new(mode, (7000, 6000)).save(tmp_path / "x.png")
        with pytest.raises(PhotoRefused, match="more than 40 megapixels"):
            load(tmp_path / "x.png")


def test_a_scan_of_megabytes_of_stuffed_bytes_is_walked_at_once() -> None:
    began = time.process_time()
    for filling in (b"\xff\0", b"\xff\xff", b"\xff\xd0"):
        assert not jpeg_is_whole(saved("JPEG")[:-2] + filling * 20_000_000)
        assert jpeg_is_whole(saved("JPEG")[:-2] + filling * 20_000_000 + b"\xff\xd9")
    assert time.process_time() - began < 2 * AT_ONCE_S


def test_an_offset_beyond_any_file_is_unreadable() -> None:
    """BigTIFF has 64 bits for it."""
    with pytest.raises(Unreadable):
        header(b"II+\0\x08\0\0\0" + b"\xff" * 8 + bytes(40), "TIFF")
