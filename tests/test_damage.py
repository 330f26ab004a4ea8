"""Damaged files: refused, or what comes of them is the picture that was taken.

Photos are invented: a ramp, a block and noise. What is damaged is chosen by seeded generators.
"""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calib.errors import PhotoRefused
from calib.photo import hevc, lzw
from calib.photo.photo import load
from calib.photo.quiet import quiet
from calib.photo.seam import LUMA_STEP, has_seam, largest_steps

W, H = 640, 480
NOISE = 6.0
"""Grey levels between neighbours: the standard deviation of a difference of two pixels whose noise is 4 levels."""


def scene() -> np.ndarray:
    """(480, 640, 3) a ramp with a dark block on it, and noise of four levels."""
    y, x = np.mgrid[0:H, 0:W]
    rgb = np.stack([90 + x * 60 / W, 90 + y * 60 / H, 120 + 0 * x], -1)
    rgb[150:330, 200:470] = (50, 60, 70)
    return np.clip(rgb + np.random.default_rng(7).normal(0, 4, rgb.shape), 0, 255).astype(np.uint8)


def encoded(kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(scene()).save(out, kind, **options)
    return out.getvalue()


def spoiled(data: bytes, seed: int, begin: int) -> bytes:
    """A flipped bit, another byte, bytes that are missing or there twice: anywhere after the header."""
    rng = np.random.default_rng(seed)
    at = int(rng.integers(begin, len(data) - 2))
    out, n = bytearray(data), int(rng.choice([1, 1, 2, 16, 512]))
    match int(rng.integers(4)):
        case 0:
            out[at] ^= 1 << int(rng.integers(8))
        case 1:
            out[at] = int(rng.integers(256))
        case 2:
            del out[at : at + n]
        case _:
            out[at:at] = out[at : at + n]
    return bytes(out)


def read(path: Path, data: bytes) -> np.ndarray | None:
    """The pixels, or None where the file was refused."""
    path.write_bytes(data)
    try:
        return load(path).rgb
    except PhotoRefused:
        return None


@pytest.mark.parametrize(
    "options", [{}, {"subsampling": 0}, {"restart_marker_rows": 1}], ids=["420", "444", "restarts"]
)
def test_what_is_left_of_a_damaged_jpeg_is_local(tmp_path: Path, options: dict[str, object]) -> None:
    """One edge in a hundred at most is another one: no shifted rows, no step through the picture.

    Edges are what is measured. The whole picture may be lighter or darker, where the first row of blocks was hit, and a
    row of blocks of its own where the file begins anew in each.
    """
    data = encoded("JPEG", quality=90, **options)
    whole = read(tmp_path / "a.jpg", data)
    assert whole is not None
    refused = 0
    for seed in range(250):
        got = read(tmp_path / "a.jpg", spoiled(data, seed, 700))
        if got is None:
            refused += 1
            continue
        other = max(
            (np.abs(np.diff(got.astype(int), axis=i) - np.diff(whole.astype(int), axis=i)).max(2) > NOISE).mean()
            for i in (0, 1)
        )
        assert other < 0.01, f"seed {seed}: {other:.3f} of all edges differ"
    assert refused > 80


def test_a_damaged_png_is_refused(tmp_path: Path) -> None:
    """Every byte of the picture is under a checksum (ISO/IEC 15948, 5.3)."""
    data = encoded("PNG")
    for seed in range(60):
        broken = spoiled(data, seed, 60)
        if broken != data:
            assert read(tmp_path / "a.png", broken) is None, f"seed {seed}"


KINDS: dict[str, tuple[str, dict[str, object], int]] = {
    "heic": ("HEIF", {"quality": 80}, 8),
    "heic in tiles, rows not beside each other": (
        "HEIF",
        {"quality": 80, "tile_size": 256, "enc_params": {"x265:wpp": "0"}},
        24,
    ),
    "tiff": ("TIFF", {}, 60),
    "tiff, lzw": ("TIFF", {"compression": "tiff_lzw"}, 60),
    "tiff, deflate": ("TIFF", {"compression": "tiff_adobe_deflate"}, 60),
    "tiff, deflate by rows": ("TIFF", {"compression": "tiff_adobe_deflate", "tiffinfo": {317: 2}}, 60),
    "tiff, packbits": ("TIFF", {"compression": "packbits"}, 60),
    "webp": ("WEBP", {"quality": 90}, 60),
}


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_left_of_other_damaged_files_is_a_dot(tmp_path: Path, kind: str) -> None:
    """Where a wrong byte goes unnoticed it is that of a few pixels: 64 of 307,200 at most (measured: 27)."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    name, options, tries = KINDS[kind]
    data = encoded(name, **options)
    whole = read(tmp_path / "a.img", data)
    assert whole is not None, "a sound file is taken"
    refused = 0
    for seed in range(tries):
        got = read(tmp_path / "a.img", spoiled(data, seed, 12))
        if got is None:
            refused += 1
        else:
            assert got.shape == whole.shape
            other = int((np.abs(got.astype(int) - whole).max(2) > NOISE).sum())
            assert other <= 64, f"seed {seed}: {other} pixels differ"
    assert refused >= 0.3 * tries, "bytes missing or there twice are two cases of four"


def test_most_damage_in_a_lossless_webp_is_noticed(tmp_path: Path) -> None:
    """It has no checksum, and a wrong code as long as the right one leaves a valid picture: that is told of instead."""
    data = encoded("WEBP", lossless=True)
    refused = sum(read(tmp_path / "a.webp", spoiled(data, seed, 12)) is None for seed in range(60))
    assert read(tmp_path / "a.webp", data) is not None, "a sound file is taken"
    assert refused >= 30
    assert load(tmp_path / "a.webp").unchecked


@pytest.mark.parametrize("more", [b"\1", b"\0\0\7", b"\0" * 40])
def test_only_padding_may_lie_behind_a_tiff(tmp_path: Path, more: bytes) -> None:
    taken = read(tmp_path / "a.tif", encoded("TIFF") + more) is not None
    assert taken == (not more.strip(b"\0"))


def test_an_lzw_strip_comes_to_as_many_bytes_as_went_in() -> None:
    """Packed by another library: noise, which fills the table of codes, and plain grey, which makes long strings."""
    for picture in (scene(), np.full((H, W, 3), 99, np.uint8)):
        out = io.BytesIO()
        Image.fromarray(picture).save(out, "TIFF", compression="tiff_lzw", strip_size=W * H * 3)
        directory = Image.open(io.BytesIO(out.getvalue())).tag_v2
        at, size = directory[273][0], directory[279][0]
        packed = out.getvalue()[at : at + size]
        assert lzw.length(packed) == picture.size
        assert lzw.length(packed[:-3]) is None
        assert lzw.length(packed[: size // 2] + packed[size // 2 + 1 :]) != picture.size


def test_without_the_decoder_a_heic_is_taken_as_its_library_reads_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    data = encoded("HEIF", quality=80)
    monkeypatch.setattr(hevc, "_library", lambda: None)
    assert read(tmp_path / "a.heic", data) is not None


def test_a_png_without_its_end_is_refused(tmp_path: Path) -> None:
    assert read(tmp_path / "a.png", encoded("PNG")[:-12]) is None


@pytest.mark.parametrize("kind", ["CMYK", "L"])
def test_ink_and_grey_are_held_to_the_same(tmp_path: Path, kind: str) -> None:
    out = io.BytesIO()
    profile = b"no profile" if kind == "L" else None  # a grey one with a profile goes the other way
    Image.fromarray(scene()).convert(kind).save(out, "JPEG", quality=90, icc_profile=profile)
    data = out.getvalue()
    assert read(tmp_path / "a.jpg", data) is not None
    half = len(data) // 2
    assert read(tmp_path / "a.jpg", data[:half] + data[half + 600 :]) is None


# ---------------------------------------------------------------------------------------------------------------- seams
def shifted(levels: tuple[int, int, int], row: int, column: int, rows: int = 16) -> np.ndarray:
    """As a wrong difference does it: all that follows the damage in the order of blocks."""
    rgb = scene().astype(int)
    rgb[row : row + rows, column:] += levels
    rgb[row + rows :] += levels
    return np.clip(rgb, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("levels", [(3, 3, 3), (-4, -4, -4), (40, 40, 40), (0, 0, 12), (-9, 0, 4)])
@pytest.mark.parametrize(("row", "column"), [(16, 0), (160, 320), (160, 632), (400, 72)])
def test_a_step_through_the_picture_is_a_seam(levels: tuple[int, int, int], row: int, column: int) -> None:
    assert has_seam(shifted(levels, row, column), 16)


def newsprint() -> np.ndarray:
    """The scene on lines of print that run along the rows, 24 rows apart: each tenth of a line is more or less dark."""
    rng = np.random.default_rng(11)
    ink = np.zeros((H, W))
    for top in range(4, H - 12, 24):
        ink[top : top + 12] = np.repeat(rng.uniform(2, 14, W // 64), 64)
    soft = np.apply_along_axis(lambda c: np.convolve(c, [0.05, 0.9, 0.05], "same"), 0, ink)
    return np.clip(scene() - soft[..., None], 0, 255).astype(np.uint8)


def test_print_along_the_rows_is_no_seam() -> None:
    """Every second line ends, or begins, on the grid, and so is a step there all across, as it is between."""
    page = newsprint()
    assert largest_steps(page, 16)[0] > LUMA_STEP
    assert not has_seam(page, 16)
    torn = page.astype(int)
    torn[160:] += 12
    assert has_seam(np.clip(torn, 0, 255).astype(np.uint8), 16)


def test_a_step_is_as_large_as_it_was_made() -> None:
    found = largest_steps(shifted((6, 6, 6), 160, 320), 16)[0]
    assert found == pytest.approx(6, abs=1), "noise of 4 levels in means of 40 pixels: 0.6, and the least of 14"


def test_no_seam_where_the_picture_itself_has_edges() -> None:
    """A table's edge along the rows, spread over three as by any lens; and the block of the scene, on the grid."""
    rgb = scene().astype(float)
    edge = np.clip((np.arange(H) - 158.5) / 3, 0, 1)[:, None, None]
    assert not has_seam((rgb * (1 - 0.5 * edge)).astype(np.uint8), 16)
    rgb[160:320, 200:470] = 20
    assert not has_seam(rgb.astype(np.uint8), 16)
    assert largest_steps(scene(), 16)[0] < LUMA_STEP


# ---------------------------------------------------------------------------------------------------------------- quiet
def test_libraries_own_text_is_not_seen(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """libtiff writes of damage to the process's standard error by itself."""
    for kind, options in (
        ("TIFF", {"compression": "tiff_adobe_deflate"}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("JPEG", {"quality": 90}),
        ("PNG", {}),
        ("WEBP", {"quality": 90}),
    ):
        data = encoded(kind, **options)
        for seed in range(12):
            read(tmp_path / "a.img", spoiled(data, seed, 300))
    assert capfd.readouterr() == ("", "")


def test_standard_error_is_there_again(capfd: pytest.CaptureFixture[str]) -> None:
    with quiet():
        os.write(2, b"nobody reads this")
    os.write(2, b"this is read")
    assert capfd.readouterr().err == "this is read"
