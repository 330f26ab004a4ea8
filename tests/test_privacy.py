"""What an owner's photo carries besides the part never reaches an output: the card's face, place, names and numbers.

All markers and numbers are invented.
"""

from __future__ import annotations

import io
import json
import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pypdf
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from calib.card.face import shows_number
from measure.drawing import framing
from measure.drawing.picture import SeenFeature, picture
from measure.geometry.dimensions import size_of
from measure.job import records
from measure.job.job import TRACE
from measure.readings.jaw_reach import possible_readings
from measure.steps.check import check_photo, csv_text, table_lines
from measure.steps.draw import JobOrder, draw
from measure.tracing.request import Request
from tests.sample_photos import HALF, LEFT, TOP, middle, scene

MARKS = {
    "artist": "MARK-ARTIST-71",
    "copyright": "MARK-RIGHTS-72",
    "host": "MARK-HOST-73",
    "owner": "MARK-OWNER-74",
    "body": "MARK-BODY-75",
    "lens": "MARK-LENS-76",
    "maker": "MARK-MAKER-77",
    "comment": "MARK-COMMENT-78",
    "unique": "MARK-UNIQUE-79",
    "xmp": "MARK-XMP-80",
    "make": "MARK-MAKE-81",
    "software": "MARK-SOFT-82",
    "time": "2019:03:07 05:43:21",
    "gps date": "2019:03:08",
    "folder": "MARK-FOLDER-83",
}
PLACE = ("12.5824", "77.3711")  # 12° 34' 56.7", 77° 22' 16"
NUMBERS = tuple(p.encode() for p in PLACE)


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample with all that a phone or a person may write into a photo, in a folder with a name to keep, too."""
    with Image.fromarray(middle().rgb) as im:
        exif = Image.Exif()
        exif[0x013B], exif[0x8298], exif[0x013C] = MARKS["artist"], MARKS["copyright"], MARKS["host"]
        exif[0x010F], exif[0x0131], exif[0x0132] = MARKS["make"], MARKS["software"], MARKS["time"]
        more = exif.get_ifd(0x8769)
        more[0xA430], more[0xA431], more[0xA435] = MARKS["owner"], MARKS["body"], MARKS["lens"]
        more[0x927C], more[0x9286] = MARKS["maker"].encode(), b"ASCII\0\0\0" + MARKS["comment"].encode()
        more[0xA420], more[0x9003], more[0xA405] = MARKS["unique"], MARKS["time"], round(middle().focal_35mm or 0)
        gps = exif.get_ifd(0x8825)
        gps[1], gps[2] = "N", (IFDRational(12), IFDRational(34), IFDRational(567, 10))
        gps[3], gps[4], gps[29] = "E", (IFDRational(77), IFDRational(22), IFDRational(16)), MARKS["gps date"]
        photo = tmp_path_factory.mktemp("x") / MARKS["folder"] / "latch.jpg"
        photo.parent.mkdir()
        xmp = f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><d>{MARKS["xmp"]}</d></x:xmpmeta>'.encode()
        im.save(photo, quality=95, exif=exif, xmp=xmp, comment=MARKS["comment"])
    planted = photo.read_bytes()
    missing = [k for k, mark in MARKS.items() if k != "folder" and mark.encode() not in planted]
    assert not missing
    return photo


@pytest.fixture(scope="module")
def job(marked: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All outputs of a whole job on it, with two readings by the labels that this photo, saved anew, happens to get."""
    folder = tmp_path_factory.mktemp("job") / "latch"
    draw(JobOrder(marked, Request(4.2)), folder)
    outline = records.estimate(records.from_text((folder / TRACE).read_text(), TRACE), TRACE)
    named = {f.label: f for f in outline.features}
    rows = ["kind,features,value,unit,tool,note", "thickness,,4.22,mm,caliper,"]
    kind, labels = next(r for r in possible_readings(outline) if r[0] == "bore")
    rows.append(f"{kind},{labels[0]},{size_of(kind, [named[labels[0]]]).value_mm:.2f},mm,caliper,")
    readings = folder.parent / "readings.csv"
    readings.write_text("\n".join(rows) + "\n")
    draw(JobOrder(marked, Request(4.2), readings=readings), folder, force=True)
    return folder


def unpacked(path: Path) -> bytes:
    """A file's bytes, and what its compressed parts hold."""
    data = path.read_bytes()
    if path.suffix == ".pdf":
        reader = pypdf.PdfReader(path)
        data += str(reader.metadata).encode() + str(reader.xmp_metadata).encode()
        data += b"".join(page.get_contents().get_data() for page in reader.pages)
    if path.suffix == ".png":
        at = 8
        while at < len(data):  # chunk by chunk: PNG (ISO/IEC 15948), 5.3
            size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
            assert kind in (b"IHDR", b"IDAT", b"IEND", b"pHYs", b"gAMA", b"sRGB"), kind
            at += 12 + size
    return data


def test_no_mark_reaches_any_output(job: Path, marked: Path) -> None:
    files = [p for p in job.rglob("*") if p.is_file()]
    assert len(files) >= 8
    for path in files:
        data = unpacked(path)
        for mark in (*MARKS.values(), *PLACE):
            for coded in (
                mark.encode(),
                mark.encode("utf-16-le"),
                mark.encode("utf-16-be"),
                mark.encode().hex().encode(),
            ):
                assert not reaches(coded, data, number=coded in NUMBERS), f"{mark} in {path.name}"


def reaches(coded: bytes, data: bytes, *, number: bool) -> bool:
    """Whether data hold a mark; a number only by itself, for a PDF is full of others that may contain its digits."""
    return bool(re.search(rb"(?<!\d)" + re.escape(coded) + rb"(?!\d)", data)) if number else coded in data


def test_check_tells_none_of_it_either(marked: Path) -> None:
    found = check_photo(marked, Request(4.2))
    said = json.dumps(found.plain()) + csv_text([found]) + "".join(table_lines([found]))
    assert not [mark for mark in (*MARKS.values(), *PLACE) if mark in said]


def test_the_job_knows_the_photo_by_its_base_name(job: Path) -> None:
    assert json.loads((job / "trace.json").read_text())["photo"] == "latch.jpg"


def test_drawings_hold_no_bitmap(job: Path) -> None:
    svg = (job / "sketch.svg").read_text()
    assert "<image" not in svg
    assert "data:" not in svg
    assert [list(page.images) for page in pypdf.PdfReader(job / "sketch.pdf").pages] == [[]]
    for name in ("sketch.dxf", "outline.dxf"):
        text = (job / name).read_text()
        assert "\nIMAGEDEF\n" not in text
        assert "\nOLE2FRAME\n" not in text
        assert "\nIMAGE\n" not in text.partition("\nENTITIES\n")[2]


# ------------------------------------------------------------------------------------------------------ the card's face
def detail(grey: np.ndarray, coarse_px: float) -> np.ndarray:
    """Print only: all that is finer than some pixels."""
    grey = grey.astype(np.float32)
    return grey - cv2.GaussianBlur(grey, (0, 0), max(coarse_px, 1.0))


def likeness(png: np.ndarray, patch: np.ndarray, widths_px: np.ndarray) -> float:
    """How well a patch of the photo is found anywhere in a picture, at any of some sizes: 1 if it is there."""
    grey = cv2.cvtColor(png, cv2.COLOR_RGB2GRAY)
    grey = grey + np.random.default_rng(1).normal(0, 1, grey.shape)  # a patch is like nothing, too, to the last digit
    best = 0.0
    for width in widths_px:
        scale = width / patch.shape[1]
        size = (round(width), max(6, round(patch.shape[0] * scale)))
        if size[1] >= grey.shape[0] or size[0] >= grey.shape[1]:
            continue
        small = cv2.resize(patch, size, interpolation=cv2.INTER_AREA)
        fine = size[1] / 5
        found = cv2.matchTemplate(detail(grey, fine), detail(small, fine), cv2.TM_CCOEFF_NORMED)
        best = max(best, float(found[np.isfinite(found)].max()))
    return best


def outline_px(of_scene: np.ndarray) -> np.ndarray:
    """An outline of the sample at half its size, in the sample's middle."""
    return of_scene / HALF - [LEFT, TOP]


def number_of_card() -> np.ndarray:
    """The sample card's number as it is in the photo, grey."""
    x, y = outline_px(scene().card_px).mean(0)
    grey = cv2.cvtColor(middle().rgb, cv2.COLOR_RGB2GRAY)
    return grey[int(y) - 90 : int(y) + 110, int(x) - 360 : int(x) + 300]


def test_the_cards_number_is_nowhere_in_the_picture(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    patch = number_of_card()
    hidden = np.asarray(Image.open(job / "trace.png").convert("RGB"))
    card, part = outline_px(scene().card_px[:4]), outline_px(scene().part_px)
    monkeypatch.setattr(framing, "hide_face", lambda image, card: None)
    shown = picture(middle().rgb, [card], [card], [SeenFeature("E1", "line", 0, part)])
    seen = np.asarray(Image.open(io.BytesIO(shown)))
    assert likeness(seen, patch, np.array([219, 226, 233])) > 0.75  # where it is not hidden it is found in the strip
    assert likeness(hidden, patch, np.geomspace(90, 640, 13)) < 0.5  # below, digits are less than seven pixels high


def test_nor_is_it_in_the_plain_picture(job: Path) -> None:
    patch = number_of_card()
    hidden = np.asarray(Image.open(job / "trace-photo.jpg").convert("RGB"))
    width = patch.shape[1] * hidden.shape[1] / middle().rgb.shape[1]
    shown = np.asarray(Image.open(io.BytesIO(framing.plain_picture(middle().rgb, [])[0])))
    assert likeness(shown, patch, np.array([width])) > 0.75
    assert likeness(hidden, patch, np.array([width])) < 0.5


@pytest.mark.parametrize("px_per_mm", [2.0, 6.0, 15.0])
def test_digits_on_a_hidden_face_cannot_be_told(px_per_mm: float) -> None:
    """Whatever the picture's scale, what is left of a face is smooth over more than two digits' widths."""
    rng = np.random.default_rng(6)
    w, h = round(85.6 * px_per_mm), round(53.98 * px_per_mm)
    image = np.full((h + 40, w + 40, 3), 120, np.uint8)
    cells = rng.integers(0, 2, (14, 23)).astype(np.uint8) * 200 + 25  # print of 3.7 mm all over, as bold as can be
    image[20 : 20 + h, 20 : 20 + w] = cv2.resize(cells, (w, h), interpolation=cv2.INTER_NEAREST)[..., None]
    corners = np.array([[20, 20], [20 + w, 20], [20 + w, 20 + h], [20, 20 + h]], float)
    before = image[..., 0].copy()
    framing.hide_face(image, corners)
    inner = np.s_[20 + round(0.06 * h) : 20 + round(0.94 * h), 20 + round(0.06 * w) : 20 + round(0.94 * w)]
    fine = detail(image[..., 0], 3.7 * px_per_mm)[inner]
    assert fine.std() < 0.06 * detail(before, 3.7 * px_per_mm)[inner].std()
    face = cv2.resize(image[20 : 20 + h, 20 : 20 + w, 0], (856, 540), interpolation=cv2.INTER_CUBIC)
    assert not shows_number(face)


def test_the_number_is_noticed_before_and_not_after(tmp_path: Path, job: Path) -> None:
    """The labelled picture itself, given back to check, shows no number."""
    shutil.copy(job / "trace.png", tmp_path / "trace.png")
    found = check_photo(tmp_path / "trace.png", Request(4.2))
    assert "card-digits" not in [x.code for x in found.findings]
