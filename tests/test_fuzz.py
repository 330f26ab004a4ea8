"""A small part of `tests.fuzz`, by its seed the same in every run."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from calib.errors import JobRefused, ReadingsRefused
from measure.job import job
from measure.job.history import FOLDER as HISTORY
from measure.job.history import LEFT
from measure.steps.reconcile import reconcile
from measure.trial.sayings import parse
from tests.benches import bench, plate, width
from tests.fuzz.__main__ import fuzzed, killed, machine
from tests.fuzz.kills import Killed

LATER = float("inf")


@pytest.mark.skipif(not hasattr(sys, "getdlopenflags"), reason="processes are forked, which Windows has not")
def test_processes_killed_in_the_middle_lose_nothing() -> None:
    found = killed(8, 7, LATER)
    assert found.kills >= 8
    assert found.acknowledged > 0
    assert (found.lost, found.left, found.damaged) == (0, 0, 0)
    assert isinstance(found, Killed)


def test_odd_inputs_are_taken_or_refused_in_a_sentence() -> None:
    found = fuzzed(3000, 11, LATER)
    assert not [d for t in found.values() for d in t.defects]
    assert sum(t.taken for t in found.values()) > 300, "hardly anything good is left in what is tried"
    assert sum(t.refused for t in found.values()) > 300


@pytest.mark.skipif(not hasattr(sys, "getdlopenflags"), reason="processes are forked, which Windows has not")
def test_a_job_survives_whatever_is_done_to_it_in_any_order(tmp_path: Path) -> None:
    assert machine(6, 15, 3) == 6


# ------------------------------------------------------------------------------------- what longer runs have found
def test_a_saying_with_a_number_of_many_digits() -> None:
    with pytest.raises(ReadingsRefused, match="no matter of fit"):
        parse([f"gap 0.{'3' * 100} at E1"])


def test_an_undo_whose_record_is_gone_takes_no_line_with_it(tmp_path: Path) -> None:
    folder = plate(tmp_path) / "plate"
    with bench(tmp_path) as client:
        client.post("/api/jobs/plate/readings", json=width("60.0"))
        with open(folder / job.READINGS, "a") as f:
            f.write("width,E2 E4,60.01,mm,caliper,by hand\n")
        next((folder / HISTORY).rglob(f"*{LEFT}")).unlink()
        revision = client.get("/api/jobs/plate").json()["revision"]
        answer = client.post("/api/jobs/plate/undo", json={"revision": revision})
        assert (answer.status_code, answer.json()["error"]["code"]) == (409, "readings-since")
    assert "60.01" in (folder / job.READINGS).read_text()


def test_a_file_in_the_place_of_the_history_is_said_with_a_way_out(tmp_path: Path) -> None:
    folder = plate(tmp_path) / "plate"
    (folder / HISTORY).write_bytes(b"mine")
    with bench(tmp_path) as client:
        answer = client.post("/api/jobs/plate/readings", json=width("60.0"))
        assert (answer.status_code, answer.json()["error"]["code"]) == (409, "no-history")
        assert "move it away" in answer.json()["error"]["text"]
        (folder / HISTORY).rename(tmp_path / "mine")
        assert client.post("/api/jobs/plate/readings", json=width("60.0")).status_code == 200


def test_a_covariance_that_no_photo_gives_is_refused(tmp_path: Path) -> None:
    folder = plate(tmp_path) / "plate"
    plain = json.loads((folder / job.TRACE).read_text())
    plain["adjustment"]["shared"] = [[1e14, 0], [0, 1e14]]
    (folder / job.TRACE).write_text(json.dumps(plain))
    with pytest.raises(JobRefused, match="no covariance that a photo gives"):
        reconcile(folder)
