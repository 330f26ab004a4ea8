"""jawline complete from folder to folder: what was seen is never lost, and what follows works on the result."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from calib.errors import JobRefused, ReadingsRefused, WrongUsage
from measure.cli.app import app
from measure.cli.run import run
from measure.drawing.outline_dxf import outline_dxf
from measure.geometry.dimensions import list_dimensions
from measure.geometry.features import Estimate
from measure.job import job, records
from measure.readings.jaw_reach import check_reading, possible_readings
from measure.readings.readings import Reading
from measure.steps.complete import complete
from measure.steps.reconcile import reconcile
from measure.steps.shown import labelled
from measure.steps.sketch import sketch
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.broken_parts import bridge, tear, wedge
from tests.jobs import SCALE, traced

KNOB = Path(__file__).parent / "accuracy" / "broken" / "tap-knob-broken.jpg"


def _job(folder: Path, part=None, at=(0.15, 0.26)) -> Path:
    return job_of(folder, tear(part or bridge(), at, np.random.default_rng(5), depth=1.0).estimate)


def job_of(folder: Path, e: Estimate) -> Path:
    """A job of what was traced without a photo."""
    record = records.JobRecord(
        part="bridge",
        photo="bridge.jpg",
        scale=SCALE,
        subject="part",
        thickness_mm=4.0,
        features=tuple(records.feature_record(f) for f in e.features),
        dimensions=tuple(records.dimension_record(d) for d in list_dimensions(e)),
        adjustment=records.adjustment_record(e),
    )
    job.write(folder, {job.TRACE: records.to_text(record).encode(), job.OUTLINE: outline_dxf(e.features)})
    return folder


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    return _job(tmp_path / "job")


def _record(folder: Path, name: str = job.TRACE) -> records.JobRecord:
    return records.from_text((folder / name).read_text(), name)


def test_a_break_marked_the_wrong_way_round_is_asked_about(tmp_path):
    """From E3 on counter-clockwise to E2 is all of the plate; from E2 to E3 it is half of it."""
    folder = traced(tmp_path / "plate")
    with pytest.raises(WrongUsage, match=r"E3-E2 is .* % of the outer boundary, counter-clockwise: was E2-E3 meant"):
        complete(folder, broken="E3-E2")


def test_completed_reconciled_and_drawn(broken):
    done = complete(broken)
    assert done.result["breaks"][0]["by"] == "mirror"
    after = _record(broken)
    assert [f.label for f in after.broken] == ["C1"]
    assert all(f.kind != "curve" for f in after.features)
    made_up = {f.label for f in after.features if f.origin == "completed"}
    assert made_up
    reconcile(broken)
    measured = _record(broken, job.MEASURED)
    assert measured.broken == after.broken
    assert {f.label for f in measured.features if f.origin == "completed"} == made_up
    sketch(broken)
    assert b"COMPLETED" in (broken / "sketch.dxf").read_bytes()
    assert b"FRACTURE" in (broken / "sketch.dxf").read_bytes()


def test_what_was_seen_comes_back_byte_for_byte(broken):
    before = (broken / job.TRACE).read_bytes(), (broken / job.OUTLINE).read_bytes()
    complete(broken)
    assert (broken / job.SEEN).read_bytes() == before[0]
    assert (broken / job.OUTLINE).read_bytes() != before[1]
    complete(broken)  # twice is as good as once
    assert (broken / job.SEEN).read_bytes() == before[0]
    complete(broken, by="open")
    assert (broken / job.TRACE).read_bytes() == before[0]
    assert not (broken / job.SEEN).exists()
    assert complete(broken, by="open").files == ()


def test_the_labelled_picture_follows(tmp_path):
    """A rendered photo of a knob with a lobe off: what is completed shows in trace.png, and goes with it."""
    thickness = json.loads(KNOB.with_suffix(".truth.json").read_text())["thickness_mm"]
    folder = tmp_path / "job"
    trace(KNOB, folder, Request(thickness))
    seen = labelled(folder, _record(folder))
    outer = [f for f in records.estimate(_record(folder), job.TRACE).features if f.loop == 0]
    torn = [f.label for f in outer if f.kind == "curve"]  # lobes are arcs
    done = complete(folder, broken=f"{torn[0]}-{torn[-1]}")
    assert folder / job.PICTURE in done.files
    assert (folder / job.PICTURE).read_bytes() == labelled(folder, _record(folder)) != seen
    complete(folder, by="open")
    assert (folder / job.PICTURE).read_bytes() == seen


def test_each_break_is_kept_or_rejected_for_itself(broken):
    before = (broken / job.TRACE).read_bytes()
    complete(broken, broken="R5", by="extend")
    complete(broken, broken="C1", by="mirror")
    both = _record(broken)
    assert [c.broken for c in both.completed] == ["R5", "C1"]
    assert {f.label for f in both.broken} >= {"C1", "R5"}
    complete(broken, broken="C1", by="seen")
    one = _record(broken)
    assert [c.broken for c in one.completed] == ["R5"]
    assert any(f.kind == "curve" for f in one.features)
    with pytest.raises(JobRefused):
        complete(broken, broken="C1", by="turn")
    assert _record(broken) == one  # what failed leaves the rest as it was
    complete(broken, broken="R5", by="seen")
    assert (broken / job.TRACE).read_bytes() == before
    assert not (broken / job.SEEN).exists()


def test_one_way_that_does_not_serve_is_refused_and_changes_nothing(tmp_path):
    folder = _job(tmp_path / "job", wedge(), (0.28, 0.38))
    before = (folder / job.TRACE).read_bytes()
    with pytest.raises(JobRefused, match="mm"):
        complete(folder, by="mirror")
    assert (folder / job.TRACE).read_bytes() == before
    assert not (folder / job.SEEN).exists()


def test_an_extension_is_called_a_guess(tmp_path):
    done = complete(_job(tmp_path / "job", wedge(), (0.28, 0.38)))
    assert done.result["breaks"][0]["by"] == "extend"
    assert [c.code for c in done.cautions] == ["completion-guessed"]


def test_jaws_touch_nothing_that_was_completed(broken):
    complete(broken)
    e = records.estimate(_record(broken), job.TRACE)
    made_up = next(f.label for f in e.features if f.origin == "completed" and f.kind == "arc")
    assert not any(made_up in labels for _, labels in possible_readings(e))
    with pytest.raises(ReadingsRefused, match="completed"):
        check_reading(Reading("radius", (made_up,), 2.0), e)


def test_a_trace_that_a_person_changed_is_not_overwritten(broken):
    path = broken / job.TRACE
    path.write_text(path.read_text().replace('"bridge"', '"my bridge"'))
    with pytest.raises(WrongUsage, match="changed"):
        complete(broken)
    complete(broken, force=True)
    assert _record(broken).part == "my bridge"
    assert _record(broken, job.SEEN).part == "my bridge"


@pytest.mark.parametrize(
    ("options", "code", "exit_code"),
    [
        (["--by", "round"], "by", 2),
        (["--broken", "E99"], "broken", 2),
        (["--broken", "D1"], "broken", 2),
        (["--by", "turn"], "not-completed", 1),
    ],
)
def test_bad_input_on_the_command_line(broken, capsys, options, code, exit_code):
    assert run(app, ["complete", str(broken), *options, "--json"]) == exit_code
    out = capsys.readouterr()
    assert json.loads(out.out)["error"]["code"] == code
    assert "Traceback" not in out.err
