"""What commands do to a job is taken back by a command, one change after the other; readings are listed and removed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from calib.errors import WrongUsage
from measure.cli.app import app
from measure.cli.run import run
from measure.job import history, job
from measure.steps.read import present, read, remove
from measure.steps.reconcile import reconcile
from measure.steps.trace import trace
from measure.steps.trial import trial
from measure.steps.undo import undo
from measure.tracing.request import Request
from tests.benches import bench, width
from tests.jobs import traced
from tests.sample_photos import FOLDER as SAMPLE

PLATE = ("width E2 E4 60.0", "bore D1 6.0")


@pytest.fixture
def plate(tmp_path: Path) -> Path:
    return traced(tmp_path / "plate")


def rows(folder: Path) -> list[str]:
    return [x for x in (folder / job.READINGS).read_text().splitlines()[1:] if x]


def test_readings_and_sayings_are_taken_back_in_their_order(plate: Path) -> None:
    read(plate, [PLATE[0]])
    read(plate, [PLATE[1]])
    reconcile(plate)
    trial(plate, ["tight at E2"])
    done = undo(plate)
    assert not (plate / job.TRIALS).exists()
    assert "trials.csv" in done.lines[0]
    assert len(rows(plate)) == 2
    undo(plate)
    assert rows(plate) == ["width,E2 E4,60.0,mm,caliper,"]
    assert not (plate / job.MEASURED).exists()  # made with both
    assert undo(plate).lines[-1] == "Nothing more can be undone."
    assert (plate / job.READINGS).read_bytes() == b""
    with pytest.raises(WrongUsage, match="nothing to undo"):
        undo(plate)


def test_a_command_takes_back_what_the_page_did(tmp_path: Path, plate: Path) -> None:
    with bench(tmp_path) as client:
        client.post("/api/jobs/plate/readings", json=width("60.0"))
    undo(plate)
    assert (plate / job.READINGS).read_bytes() == b""


def test_a_trace_by_a_command_is_taken_back(tmp_path: Path) -> None:
    """A photo traced into a job that had another part's trace and readings: all of it is as it was before."""
    folder = traced(tmp_path / "latch")
    before = (folder / job.TRACE).read_bytes()
    read(folder, ["width E1 E3 29.98", "width E1 E3 30.01"])
    readings = (folder / job.READINGS).read_bytes()
    trace(SAMPLE / "photo.jpg", folder, Request(4.2))
    assert (folder / job.TRACE).read_bytes() != before
    assert (folder / job.READINGS).read_bytes() != readings  # of another part, so they were set aside
    done = undo(folder)
    assert "trace.json" in done.lines[0]
    assert (folder / job.TRACE).read_bytes() == before
    assert (folder / job.READINGS).read_bytes() == readings
    assert not (folder / job.PICTURE).exists()  # there was none


def test_what_was_mended_by_hand_since_is_not_lost(plate: Path) -> None:
    read(plate, [PLATE[0]])
    with open(plate / job.READINGS, "a") as f:
        f.write("bore,D1,6.01,mm,caliper,by hand\n")
    with pytest.raises(WrongUsage, match="undoing would lose that"):
        undo(plate)
    assert len(rows(plate)) == 2


def test_a_refused_step_leaves_nothing_to_undo(plate: Path) -> None:
    with pytest.raises(Exception, match="E99"):
        read(plate, ["width E2 E99 60.0"])
    assert history.steps(plate) == []


def test_a_command_goes_on_where_no_history_can_be_kept(plate: Path) -> None:
    (plate / history.FOLDER).write_text("mine")
    read(plate, [PLATE[0]])
    assert len(rows(plate)) == 1
    assert (plate / history.FOLDER).read_text() == "mine"


def test_readings_are_listed_and_taken_out_by_number(plate: Path) -> None:
    heading, comment = "kind,features,value,unit,tool,note", "# with the old caliper"
    written = (heading, comment, "width,E2 E4,60.0,mm,caliper,worn", "bore,D1,6.0,mm,caliper,", "")
    (plate / job.READINGS).write_text("\n".join(written))
    assert present(plate).lines == ("  1  width E2 E4 60.0 mm  (worn)", "  2  bore D1 6.0 mm")
    done = remove(plate, [1])
    assert done.result == {"removed": ["width E2 E4 60.0 mm"], "readings": 1}
    assert (plate / job.READINGS).read_text().splitlines()[1:] == ["# with the old caliper", "bore,D1,6.0,mm,caliper,"]
    with pytest.raises(WrongUsage, match="no reading 2: it has 1 reading"):
        remove(plate, [2])
    undo(plate)
    assert len(present(plate).lines) == 2
    remove(plate, [2, 1])
    assert present(plate).result["readings"] == 0


def test_on_the_command_line(plate: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def said(*words: object, code: int = 0) -> str:
        capsys.readouterr()
        assert run(app, [str(w) for w in words]) == code
        return capsys.readouterr().out

    said("read", plate, *PLATE)
    assert "2  bore D1 6.0 mm" in said("read", plate)
    assert json.loads(said("read", plate, "--remove", "1", "--json"))["removed"] == ["width E2 E4 60.0 mm"]
    said("read", plate, "--remove", "1", *PLATE, code=2)
    assert json.loads(said("undo", plate, "--json"))["left"] == 1
    listed = said("jobs", tmp_path)
    assert listed.splitlines()[0].split()[:4] == ["ticket", "job", "name", "owner"]
    assert "plate" in listed
    assert "measured" in listed
    (found,) = json.loads(said("jobs", tmp_path, "--json"))["jobs"]
    assert (found["id"], found["state"], found["ticket"]) == ("plate", "measured", 0)
    assert found["least_sure"]["u95_mm"] > 0
    assert "no jobs" in said("jobs", tmp_path, "--find", "bracket")
    assert "plate" in said("jobs", tmp_path, "--find", "PLA")
    assert "jawline " in said("--version")


def test_the_shell_completes_commands() -> None:
    """As bash asks: what begins with “re”."""
    code = "from measure.cli import main; main()"
    asked = {"_JAWLINE_COMPLETE": "complete_bash", "COMP_WORDS": "jawline re", "COMP_CWORD": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, **asked}, capture_output=True, text=True, check=False
    )
    assert done.stdout.split() == ["read", "reconcile"]
