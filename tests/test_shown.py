"""What a job shows of its photo: features where they are seen, and the picture with nothing but pixels in it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calib.errors import JobRefused
from calib.messages import Remedy
from measure.cli.app import app
from measure.cli.run import run
from measure.geometry.features import Line
from measure.geometry.motion import Motion
from measure.job import job, view_record
from measure.job.records import JoinedRecord, estimate, from_text
from measure.steps.shown import labelled, shown, to_photo
from measure.steps.trace import trace
from measure.tracing.request import Request
from measure.tracing.sighted import frame_back
from measure.tracing.tracing import trace as traced
from measure.tracing.values import Trace
from tests.sample_photos import middle, save


@pytest.fixture(scope="module")
def found() -> Trace:
    return traced(replace(middle(), focal_35mm=None), Request(4.2))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    where = tmp_path_factory.mktemp("shown")
    trace(save(middle().rgb, where / "latch.png"), where / "job", Request(4.2))
    return where / "job"


def points_of(path: str) -> np.ndarray:
    return np.array([[float(v) for v in p.split(",")] for p in path.strip("MZ").split("L")])


def test_a_frame_leads_back() -> None:
    motion = Motion(0.4, (3.0, -2.0))
    there = motion.of(Line("E1", 0, (1.0, 2.0), (5.0, 7.0)))
    back = frame_back(motion)
    assert back[:, :2] @ np.array(there.start) + back[:, 2] == pytest.approx([1.0, 2.0])


def test_features_are_shown_where_they_were_seen(found: Trace) -> None:
    for f, seen in zip(found.estimate.features, found.seen_px, strict=True):
        here = found.sighted.points_px(f)
        at = [np.hypot(*(seen - p).T).min() for p in here[:: max(len(here) // 8, 1)]]
        assert max(at) < 8.0  # between its points, which lie some pixels apart
        assert here[0] == pytest.approx(seen[0], abs=0.3) or f.kind == "circle"


def test_features_that_were_made_more_exact_are_shown_in_the_old_place(found: Trace) -> None:
    old = found.estimate.features
    new = [Motion(0.3, (4.0, 1.0)).of(f) for f in old]
    again = found.sighted.laid_anew(old, new)
    for f, g in zip(old, new, strict=True):
        if f.kind == "line":
            assert again.points_px(g) == pytest.approx(found.sighted.points_px(f), abs=1e-4)


def test_a_job_opens_with_its_picture(folder: Path) -> None:
    what = shown(folder)
    assert what is not None
    record = from_text((folder / job.TRACE).read_text(), "trace.json")
    image = cv2.imread(str(folder / job.PHOTO))
    assert image.shape[:2] == (what.record.picture.height, what.record.picture.width)
    assert [o.label for o in what.drawn.features] == [f.label for f in record.features]
    assert what.corners.shape == (4, 2)
    labels = np.array([o.label_px for o in what.drawn.features])
    apart = np.hypot(*(labels[:, None] - labels[None]).transpose(2, 0, 1)) + 1e3 * np.eye(len(labels))
    assert apart.min() > 0.9 * what.drawn.label_height_px
    grey = cv2.GaussianBlur(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY).astype(np.float32), (0, 0), 1.5)
    steep = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1))
    on = [points_of(o.path) for o in what.drawn.features if o.loop == 0 and o.kind == "line"]
    at = np.concatenate([p.mean(0)[None] for p in on]).round().astype(int)
    near = [steep[y - 4 : y + 5, x - 4 : x + 5].max() for x, y in at]
    assert np.median(near) > 5 * np.median(steep)  # the paths run along edges of the picture


def test_places_lead_back_to_the_photo(folder: Path) -> None:
    what = shown(folder)
    assert what is not None
    assert to_photo(what.corners, what.record) == pytest.approx(np.array(what.record.reference.corners), abs=0.02)


def test_the_record_keeps_what_projects(folder: Path, found: Trace) -> None:
    text = (folder / job.VIEW).read_text()
    sighted = view_record.sighted(view_record.from_text(text, job.VIEW))
    record = from_text((folder / job.TRACE).read_text(), "trace.json")
    for f, seen in zip(estimate(record, "trace.json").features, found.seen_px, strict=True):
        if f.kind == "line":
            assert sighted.points_px(f) == pytest.approx(seen, abs=0.05)


def test_the_picture_carries_pixels_only(folder: Path) -> None:
    data, at, kinds = (folder / job.PHOTO).read_bytes(), 2, []
    while data[at + 1] != 0xDA:  # marker by marker up to the scan: ISO/IEC 10918-1, B.1.1
        kinds.append(data[at + 1])
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    assert set(kinds) <= {0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDD}  # no EXIF (E1), no profile, no comment (FE)


def test_what_was_completed_is_dashed_in_the_labelled_picture(folder: Path) -> None:
    record = from_text((folder / job.TRACE).read_text(), job.TRACE)
    longest = max(
        (f for f in record.features if f.kind == "line"), key=lambda f: np.hypot(*np.subtract(f.start, f.end))
    )
    guessed = tuple(f.model_copy(update={"origin": "completed"}) if f is longest else f for f in record.features)
    seen, dashed = (
        cv2.imdecode(np.frombuffer(labelled(folder, r) or b"", np.uint8), cv2.IMREAD_COLOR).astype(int)
        for r in (record, record.model_copy(update={"features": guessed}))
    )
    was = cv2.imdecode(np.frombuffer((folder / job.PICTURE).read_bytes(), np.uint8), cv2.IMREAD_COLOR).astype(int)
    assert seen.shape[:2] == pytest.approx(was.shape[:2], rel=0.01)  # of the photo's margin 12 px are the picture's now
    same = cv2.resize(was.astype(np.float32), seen.shape[1::-1])
    assert np.median(np.abs(seen - same).max(-1)) < 8  # as it was traced, but for the JPEG between
    changed = np.argwhere(np.abs(dashed - seen).max(-1) > 60).astype(float)
    assert len(changed) > 100
    away = changed - changed.mean(0)
    _, size, along = np.linalg.svd(away, full_matrices=False)
    assert np.abs(away @ along[1]).max() < 6  # nothing but a straight stretch, px
    gaps = np.diff(np.unique(np.round(away @ along[0])))
    assert (gaps > 4).sum() >= 5  # in pieces
    assert size[0] > 20 * size[1]


def test_pieces_put_together_keep_the_labelled_picture(folder: Path) -> None:
    record = from_text((folder / job.TRACE).read_text(), job.TRACE)
    gap = JoinedRecord(length_mm=9.0, gap_rms_mm=0.1, gap_worst_mm=0.2)
    assert labelled(folder, record.model_copy(update={"joined": gap})) is None


def test_damaged_or_foreign_files_are_refused(folder: Path, tmp_path: Path) -> None:
    for name in (job.TRACE, job.PHOTO, job.VIEW):
        (tmp_path / name).write_bytes((folder / name).read_bytes())
    plain = json.loads((tmp_path / job.VIEW).read_text())
    for wrong in ("{", json.dumps(plain | {"camera": [1.0] * 9}), json.dumps(plain | {"camera": [1e6] * 10})):
        (tmp_path / job.VIEW).write_text(wrong)
        with pytest.raises(JobRefused) as why:
            shown(tmp_path)
        assert why.value.message.remedies == (Remedy("run-again", "trace"),)
    (tmp_path / job.VIEW).unlink()
    assert shown(tmp_path) is None


@pytest.mark.parametrize("text", ["{", '{"parts": []}', '{"card": [[1, 2], [3, 4]]}', '{"part": [[["x", 1]]]}'])
def test_marks_that_cannot_be_used_are_wrong_usage(
    tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "marks.json").write_text(text)
    (tmp_path / "p.jpg").write_bytes(b"")
    arguments = ["trace", str(tmp_path / "p.jpg"), "--thickness", "4.2", "--marks", str(tmp_path / "marks.json")]
    assert run(app, [*arguments, "--job", str(tmp_path / "job")]) == 2
    assert "marks.json" in capsys.readouterr().err
    assert not (tmp_path / "job").exists()
