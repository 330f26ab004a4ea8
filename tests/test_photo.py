"""Reading photos: every format and depth comes out upright in sRGB, everything else is refused in one sentence."""

from __future__ import annotations

import os
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from calib.errors import PhotoRefused, WrongUsage
from calib.photo.photo import load
from calib.photo.pixels import jpeg_is_whole

W, H = 800, 600


def scene() -> np.ndarray:
    """(600, 800, 3) soft ramps with a bright red block at the upper left: no two turns or mirrors look alike."""
    y, x = np.mgrid[0:H, 0:W]
    rgb = np.stack([60 + x * 100 / W, 60 + y * 100 / H, 120 + 0 * x], -1)
    rgb[30:200, 40:260] = (220, 30, 40)
    return rgb.astype(np.uint8)


def picture() -> Image.Image:
    return Image.fromarray(scene())


def exif(orientation: int = 1, focal: int = 26, **more: int) -> bytes:
    e = Image.Exif()
    e[0x0112] = orientation
    e[0x010F], e[0x0110] = "Acme\0", "Acme One"
    e.get_ifd(0x8769).update({0xA405: focal, **{int(k[1:], 16): v for k, v in more.items()}})
    return e.tobytes()


def near(rgb: np.ndarray, expected: np.ndarray, tolerance: float = 4) -> bool:
    if rgb.shape != expected.shape:
        return False
    return float(np.abs(rgb.astype(int) - expected.astype(int)).mean()) < tolerance


def refused(path: Path, code: str, error: type[PhotoRefused | WrongUsage] = PhotoRefused) -> None:
    with pytest.raises(error) as why:
        load(path)
    assert why.value.code == code
    assert "\n" not in why.value.text
    assert why.value.text.endswith(".")


# -------------------------------------------------------------------------------------------------------------- formats
@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.webp", "a.tif", "a.heic"])
def test_every_format_gives_the_same_upright_pixels(tmp_path: Path, name: str) -> None:
    if name.endswith("heic"):
        import pillow_heif

        pillow_heif.register_heif_opener()
    picture().save(tmp_path / name, quality=95, exif=exif())
    photo = load(tmp_path / name)
    assert near(photo.rgb, scene())
    assert photo.rgb.dtype == np.uint8
    assert photo.rgb.flags["C_CONTIGUOUS"]
    assert photo.name == name
    assert photo.focal_35mm == 26
    assert photo.camera == "Acme One"


def stored(turn: int, rgb: np.ndarray) -> np.ndarray:
    """How a scene is stored under each orientation (Exif 2.32, tag 274: where row 0 and column 0 lie)."""
    rows_are_columns = turn >= 5
    a = rgb.transpose(1, 0, 2) if rows_are_columns else rgb
    flip = {
        1: (1, 1),  # row 0 top, column 0 left
        2: (1, -1),  # top, right
        3: (-1, -1),  # bottom, right
        4: (-1, 1),  # bottom, left
        5: (1, 1),  # row 0 left, column 0 top
        6: (-1, 1),  # row 0 right, column 0 top
        7: (-1, -1),  # right, bottom
        8: (1, -1),  # left, bottom
    }[turn]
    return np.ascontiguousarray(a[:: flip[0], :: flip[1]])


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
@pytest.mark.parametrize("turn", range(1, 9))
def test_orientation_is_undone_mirrored_ones_too(tmp_path: Path, turn: int, suffix: str) -> None:
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(stored(turn, scene())).save(path, quality=95, exif=exif(turn))
    photo = load(path)
    assert near(photo.rgb, scene())
    assert photo.focal_35mm == 26


def test_first_picture_of_an_mpo_is_taken(tmp_path: Path) -> None:
    other = Image.new("RGB", (W, H), "green")
    picture().save(tmp_path / "a.jpg", format="MPO", save_all=True, append_images=[other], quality=95)
    assert near(load(tmp_path / "a.jpg").rgb, scene())


def test_jpeg_with_a_video_appended_is_whole(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.jpg", quality=95)
    whole = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(whole + b"\0\0\0\x18ftypmp42" + b"\xff" * 999)
    assert near(load(tmp_path / "a.jpg").rgb, scene())


def test_progressive_jpeg_with_restarts(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.jpg", quality=95, progressive=True, restart_marker_rows=2)
    assert near(load(tmp_path / "a.jpg").rgb, scene())


# --------------------------------------------------------------------------------------------- depths and colour models
@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_sixteen_bit_colour(tmp_path: Path, suffix: str) -> None:
    cv2.imwrite(str(tmp_path / f"a.{suffix}"), scene()[..., ::-1].astype(np.uint16) * 257)
    assert near(load(tmp_path / f"a.{suffix}").rgb, scene(), 1)


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_sixteen_bit_grey(tmp_path: Path, suffix: str) -> None:
    grey = scene()[..., 0]
    Image.fromarray(grey.astype(np.uint16) * 257).save(tmp_path / f"a.{suffix}")
    assert near(load(tmp_path / f"a.{suffix}").rgb, np.repeat(grey[..., None], 3, 2), 1)


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_grey(tmp_path: Path, suffix: str) -> None:
    grey = scene()[..., 0]
    Image.fromarray(grey).save(tmp_path / f"a.{suffix}", quality=95)
    assert near(load(tmp_path / f"a.{suffix}").rgb, np.repeat(grey[..., None], 3, 2))


@pytest.mark.parametrize("suffix", ["jpg", "tif"])
def test_ink_colours(tmp_path: Path, suffix: str) -> None:
    picture().convert("CMYK").save(tmp_path / f"a.{suffix}", quality=95)
    assert near(load(tmp_path / f"a.{suffix}").rgb, scene(), 6)


def test_palette(tmp_path: Path) -> None:
    picture().quantize(256).save(tmp_path / "a.png")
    assert near(load(tmp_path / "a.png").rgb, scene(), 6)


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P"])
def test_transparent_parts_are_white(tmp_path: Path, mode: str) -> None:
    clear = picture().convert("RGBA")
    clear.paste((0, 0, 0, 0), (300, 250, 500, 400))
    clear = clear.quantize(200) if mode == "P" else clear.convert(mode)
    clear.save(tmp_path / "a.png")
    rgb = load(tmp_path / "a.png").rgb
    assert rgb.shape == (H, W, 3)
    assert (rgb[260:390, 310:490] == 255).all()
    assert rgb[100, 100].max() < 230


# ------------------------------------------------------------------------------------------------------------- profiles
def wide_gamut() -> bytes:
    """A display profile with wider primaries and the sRGB curve, made of the CMS's own sRGB profile.

    The three colorants are replaced by those of Display P3, D50-adapted (from memory): red becomes redder when a file
    that carries this profile is shown in sRGB.
    """
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    primaries = {b"rXYZ": (0.51512, 0.24120, -0.00105), b"gXYZ": (0.29198, 0.69225, 0.04189)}
    primaries[b"bXYZ"] = (0.15710, 0.06657, 0.78407)
    for i in range(struct.unpack(">I", profile[128:132])[0]):
        tag, at, _ = struct.unpack(">4sII", profile[132 + 12 * i : 144 + 12 * i])
        if tag in primaries:
            profile[at + 8 : at + 20] = struct.pack(">3i", *(round(v * 65536) for v in primaries[tag]))
    return bytes(profile)


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_another_colour_profile_is_converted(tmp_path: Path, suffix: str) -> None:
    flat = Image.new("RGB", (W, H), (180, 80, 80))
    flat.save(tmp_path / f"a.{suffix}", quality=98, icc_profile=wide_gamut())
    r, g, _ = load(tmp_path / f"a.{suffix}").rgb[300, 400].astype(int)
    assert r - g > 108, "a redder red than the 100 that is stored"


def test_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    picture().save(tmp_path / "a.png", icc_profile=srgb)
    assert (load(tmp_path / "a.png").rgb == scene()).all()


def test_a_damaged_profile_counts_as_none(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.png", icc_profile=b"not a profile at all" * 20)
    assert (load(tmp_path / "a.png").rgb == scene()).all()


# ----------------------------------------------------------------------------------------------------------------- EXIF
def test_no_exif(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.jpg")
    photo = load(tmp_path / "a.jpg")
    assert photo.focal_35mm is None
    assert photo.camera is None


def test_focal_length_zero_means_unknown(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.jpg", exif=exif(focal=0))
    assert load(tmp_path / "a.jpg").focal_35mm is None


@pytest.mark.parametrize(("taken", "known"), [((800, 600), True), ((4032, 3024), True), ((4032, 2268), False)])
def test_a_cropped_photo_has_lost_its_focal_length(tmp_path: Path, taken: tuple[int, int], known: bool) -> None:
    picture().save(tmp_path / "a.jpg", exif=exif(xA002=taken[0], xA003=taken[1]))
    assert (load(tmp_path / "a.jpg").focal_35mm is not None) == known


def test_damaged_exif_counts_as_none(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.jpg", exif=b"Exif\0\0MM\0*\xff\xff\xff\xff broken", quality=95)
    photo = load(tmp_path / "a.jpg")
    assert photo.focal_35mm is None
    assert near(photo.rgb, scene())


# -------------------------------------------------------------------------------------------------------------- refused
def test_missing_file_and_folder_are_wrong_usage(tmp_path: Path) -> None:
    refused(tmp_path / "nowhere.jpg", "no-file", WrongUsage)
    refused(tmp_path, "not-a-file", WrongUsage)


def test_zero_bytes(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").touch()
    refused(tmp_path / "a.jpg", "photo-empty")


@pytest.mark.parametrize(
    "content", [b"hello, I am a text file\n" * 50, b"%PDF-1.7 and so on", b"\0" * 4096, b"GIF89a" + b"\0" * 99]
)
def test_not_a_photo(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.jpg").write_bytes(content)
    refused(tmp_path / "a.jpg", "not-a-photo")


def test_a_gif_is_named(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.gif")
    with pytest.raises(PhotoRefused, match="is a GIF: jawline reads JPEG"):
        load(tmp_path / "a.gif")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.95, 0.9999])
@pytest.mark.parametrize("suffix", ["jpg", "png", "webp", "tif", "heic"])
def test_cut_short_anywhere(tmp_path: Path, suffix: str, share: float) -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()
    noise = np.random.default_rng(5).normal(0, 12 if suffix != "heic" else 1, (H, W, 3))
    path = tmp_path / f"a.{suffix}"
    options = {"tif": {"compression": "tiff_lzw"}, "jpg": {"exif": exif(), "quality": 90}}.get(suffix, {})
    Image.fromarray(np.clip(scene() + noise, 0, 255).astype(np.uint8)).save(path, **options)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    if suffix in ("png", "tif") and share > 0.99:
        return  # every pixel is there: only the closing mark or the directory's tail is missing
    with pytest.raises(PhotoRefused) as why:
        load(path)
    assert why.value.code in ("photo-truncated", "photo-damaged", "not-a-photo")


def test_jpeg_cut_short_and_closed_again(tmp_path: Path) -> None:
    """Some transfers close the file properly: the decoder then paints the rest grey."""
    noise = np.random.default_rng(5).normal(0, 12, (H, W, 3))
    Image.fromarray(np.clip(scene() + noise, 0, 255).astype(np.uint8)).save(tmp_path / "a.jpg", quality=90)
    data = (tmp_path / "a.jpg").read_bytes()
    (tmp_path / "a.jpg").write_bytes(data[: len(data) // 2] + b"\xff\xd9")
    refused(tmp_path / "a.jpg", "photo-damaged")


def test_the_end_of_a_thumbnail_is_not_the_end_of_the_photo(tmp_path: Path) -> None:
    picture().resize((160, 120)).save(tmp_path / "thumb.jpg")
    thumb = (tmp_path / "thumb.jpg").read_bytes()
    picture().save(tmp_path / "a.jpg")
    data = (tmp_path / "a.jpg").read_bytes()
    segment = b"\xff\xe1" + struct.pack(">H", len(thumb) + 8) + b"Exif\0\0" + thumb
    whole = data[:2] + segment + data[2:]
    assert jpeg_is_whole(whole)
    assert not jpeg_is_whole(whole[:-2])
    assert not jpeg_is_whole(whole[: len(segment) + 2])


def png_that_claims(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")


def test_a_small_file_that_claims_to_be_enormous(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(png_that_claims(30_000, 30_000))
    refused(tmp_path / "a.png", "photo-too-large")
    (tmp_path / "b.png").write_bytes(png_that_claims(12_000, 11_000))
    refused(tmp_path / "b.png", "photo-too-large")


def test_a_jpeg_that_claims_to_be_enormous(tmp_path: Path) -> None:
    picture().save(tmp_path / "a.jpg")
    data = (tmp_path / "a.jpg").read_bytes()
    at = data.index(b"\xff\xc0") + 5
    (tmp_path / "a.jpg").write_bytes(data[:at] + struct.pack(">HH", 30_000, 30_000) + data[at + 4 :])
    refused(tmp_path / "a.jpg", "photo-too-large")


@pytest.mark.parametrize(
    ("size", "code"),
    [((320, 240), "photo-too-small"), ((5000, 60), "photo-too-small"), ((2000, 500), "photo-panorama")],
)
def test_sizes_that_cannot_be_measured(tmp_path: Path, size: tuple[int, int], code: str) -> None:
    picture().resize(size).save(tmp_path / "a.png")
    refused(tmp_path / "a.png", code)


@pytest.mark.parametrize("suffix", ["png", "webp", "tif"])
def test_more_than_one_picture(tmp_path: Path, suffix: str) -> None:
    frames = [picture(), Image.new("RGB", (W, H), "green")]
    frames[0].save(tmp_path / f"a.{suffix}", save_all=True, append_images=frames[1:])
    refused(tmp_path / f"a.{suffix}", "photo-animated")


def test_black_and_white_only(tmp_path: Path) -> None:
    picture().convert("1").save(tmp_path / "a.png")
    refused(tmp_path / "a.png", "photo-format")


def test_very_large_photos_are_read_at_half_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("calib.photo.pixels.HALVED_FROM_MEGAPIXELS", 0.4)
    half = scene().reshape(H // 2, 2, W // 2, 2, 3).mean((1, 3)).astype(np.uint8)
    for name in ("a.jpg", "a.png"):
        picture().save(tmp_path / name, quality=95)
        assert near(load(tmp_path / name).rgb, half)


def test_odd_names_can_be_written_in_files(tmp_path: Path) -> None:
    """Line breaks would break tables and drawings, broken bytes every file in UTF-8."""
    name = os.fsdecode(b"a\nb \xff.png")
    Image.new("RGB", (800, 600)).save(tmp_path / "a.png")
    (tmp_path / "a.png").rename(tmp_path / name)
    assert load(tmp_path / name).name == "a?b ?.png"
