"""The drawing over its photo: the part lies under its outline, and only the plain picture's pixels come along."""

from __future__ import annotations

import base64
import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from calib.arrays import Array
from measure.geometry.features import Line, direction, flatten, length, right_normal
from measure.job import job, records
from measure.sheet import sheet
from measure.sheet.sheet import Sheet
from measure.steps.drawing import drawing
from measure.steps.sketch import sketch
from tests.make_samples import SAMPLES

BESIDE_MM = 0.5
"""So far beside an edge it is looked whether part or table lies there: twice what the outline is known to, at most."""
LATCH = SAMPLES / "vent-latch"


@pytest.fixture
def latch(tmp_path: Path) -> Path:
    """The sample's job."""
    return Path(shutil.copytree(LATCH, tmp_path / "latch"))


def photo_beneath(svg: bytes) -> tuple[Array, Array, Array, bytes]:
    """(h, w, 3) RGB of the photo in an SVG file, its upper left corner and its size on paper, and its file."""
    text = svg.decode()
    (tag,) = re.findall(r"<image [^>]*>", text)
    jpeg = base64.b64decode(re.findall(r"data:image/jpeg;base64,([^\"]+)", tag)[0])
    x, y, w, h = (float(re.findall(rf'\b{k}="([-\d.]+)"', tag)[0]) for k in ("x", "y", "width", "height"))
    rgb = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    return rgb.astype(float), np.array([x, y]), np.array([w, h]), jpeg


def colours(rgb: Array, corner: Array, size: Array, drawn: Sheet, places_mm: Array) -> Array:
    """(n,) how much bluer than red the photo is under places of the features' frame; by the sheet's own figures."""
    c, s = np.cos(drawn.turn_rad), np.sin(drawn.turn_rad)
    paper = places_mm @ np.array([[c, s], [-s, c]]) / drawn.reduced + drawn.shift_mm
    down = np.stack([paper[:, 0], drawn.height_mm - paper[:, 1]], 1)
    at = ((down - corner) / size * [rgb.shape[1], rgb.shape[0]]).astype(int)
    found = rgb[at[:, 1], at[:, 0]]
    return np.asarray(found[:, 2] - found[:, 0])


def test_the_part_lies_under_its_outline(latch: Path) -> None:
    """The sample is a blue plate on a wooden table: just inside each edge the photo is blue, just outside it is not."""
    done = sketch(latch)
    assert latch / job.ON_PHOTO in done.files
    record = records.from_text((latch / job.MEASURED).read_text(), job.MEASURED)
    drawn = sheet.sketch(drawing(record, None))
    rgb, corner, size, _ = photo_beneath((latch / job.ON_PHOTO).read_bytes())
    long = [f for f in drawn.features if isinstance(f, Line) and f.loop == 0 and length(f) > 6]
    assert len(long) >= 6
    for f in long:
        inner = flatten(f)[0] + np.linspace(0.3, 0.7, 9)[:, None] * length(f) * direction(f)
        inside, outside = (
            colours(rgb, corner, size, drawn, inner + k * right_normal(f)) for k in (-BESIDE_MM, BESIDE_MM)
        )
        assert inside.min() > outside.max() + 5, f.label  # wood, or a wall that is seen there and lies in shadow


def test_only_the_plain_picture_s_pixels_come_along(latch: Path) -> None:
    """The plain picture has its faces hidden: where it is green, so is what lies beneath; and no EXIF."""
    h, w = cv2.imread(str(latch / job.PHOTO)).shape[:2]
    cv2.imwrite(str(latch / job.PHOTO), np.full((h, w, 3), (0, 200, 0), np.uint8))
    sketch(latch)
    rgb, _, _, jpeg = photo_beneath((latch / job.ON_PHOTO).read_bytes())
    assert np.ptp(rgb.reshape(-1, 3), axis=0).max() < 12
    assert rgb[..., 1].mean() > rgb[..., 0].mean() + 50
    assert b"Exif" not in jpeg


@pytest.mark.parametrize("harm", ["gone", "another size", "no picture"])
def test_without_its_picture_a_job_is_drawn_all_the_same(latch: Path, harm: str) -> None:
    sketch(latch)
    assert (latch / job.ON_PHOTO).is_file()
    if harm == "gone":
        (latch / job.PHOTO).unlink()
    else:
        pixels = np.zeros((40, 30, 3), np.uint8)
        (latch / job.PHOTO).write_bytes(cv2.imencode(".jpg", pixels)[1].tobytes() if harm == "another size" else b"no")
    done = sketch(latch)
    assert {p.name for p in done.files} == set(job.SKETCHES)
    assert not (latch / job.ON_PHOTO).exists()  # the one from before would show what no longer is


def test_its_caption_is_in_the_sheet_s_language(latch: Path) -> None:
    sketch(latch, language="de")
    assert "Nur zum Ansehen" in (latch / job.ON_PHOTO).read_text()
