"""One at a time in a job: no reading is lost between processes, and nobody waits for the dead."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from calib.errors import WrongUsage
from measure.cli.app import app
from measure.cli.run import run
from measure.job import job
from measure.job import lock as job_lock
from measure.job.history import FOLDER as HISTORY
from measure.job.lock import held
from measure.steps.read import read
from tests.benches import bench, plate, width
from tests.jobs import traced

ROOT = Path(__file__).parent.parent
HOLDS = """
import sys, time
from pathlib import Path
from measure.job.lock import held
with held(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(60)
"""
READS = """
import sys
from pathlib import Path
from measure.steps.read import read
print("ready", flush=True)
sys.stdin.readline()
for n in range(int(sys.argv[2])):
    read(Path(sys.argv[1]), [f"width E2 E4 {sys.argv[3]}.{n:03}"])
"""
READS_SLOWLY = """
import sys, time
from pathlib import Path
from measure.job import job
from measure.job.lock import alone

@alone
def slowly(folder):
    before = (folder / job.READINGS).read_bytes()
    print("read", flush=True)
    time.sleep(1)
    job.write(folder, {job.READINGS: before + b"width,E2 E4,60.0,mm,caliper,\\n"}, merged=(job.READINGS,))

slowly(Path(sys.argv[1]))
"""


@contextmanager
def python(code: str, *arguments: object) -> Iterator[subprocess.Popen[str]]:
    """Another process, ended when the test is."""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


@contextmanager
def reader(folder: Path, count: int, whole_mm: int) -> Iterator[subprocess.Popen[str]]:
    """Another process that takes in readings one by one, from the moment that it is told a line."""
    with python(READS, folder, count, whole_mm) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield process


def go(process: subprocess.Popen[str]) -> None:
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()


@contextmanager
def holder(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that has the job to itself."""
    with python(HOLDS, folder) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process


def values(folder: Path) -> list[str]:
    """What the readings say, in the order of the file."""
    return [line.split(",")[2] for line in (folder / job.READINGS).read_text().splitlines()[1:]]


def test_two_commands_at_once_lose_no_reading(tmp_path: Path) -> None:
    folder, n = traced(tmp_path / "plate"), 12
    with reader(folder, n, 59) as one, reader(folder, n, 60) as two:
        go(one)
        go(two)
        assert (one.wait(60), two.wait(60)) == (0, 0)
    assert sorted(values(folder)) == [f"{w}.{k:03}" for w in (59, 60) for k in range(n)]


def test_a_bench_and_a_slow_command_lose_no_reading(tmp_path: Path) -> None:
    """The bench is asked between the command's reading of the file and its writing."""
    folder = plate(tmp_path) / "plate"
    read(folder, ["width E2 E4 59.9"])
    with bench(tmp_path) as client, python(READS_SLOWLY, folder) as command:
        assert command.stdout is not None
        assert command.stdout.readline() == "read\n"
        answer = client.post("/api/jobs/plate/readings", json=width("60.1"))
        assert command.wait(10) == 0
    assert [r["words"].split()[3] for r in answer.json()["readings"]] == ["59.9", "60.0", "60.1"]
    assert values(folder) == ["59.9", "60.0", "60.1"]


def test_what_a_bench_has_worked_out_before_a_command_came_does_not_count(tmp_path: Path) -> None:
    with bench(plate(tmp_path)) as client:
        seen = client.post("/api/jobs/plate/readings", json=width("60.0")).json()
        read(tmp_path / "plate", ["width E2 E4 60.01"])
        now = client.post("/api/jobs/plate/readings", json=width("60.02")).json()
        assert [r["words"].split()[3] for r in now["readings"]] == ["60.0", "60.01", "60.02"]
        first = f"/api/jobs/plate/readings/{seen['readings'][0]['key']}"
        assert client.delete(first, params={"revision": seen["revision"]}).status_code == 409


def test_an_undo_takes_no_reading_of_a_command_with_it(tmp_path: Path) -> None:
    folder = plate(tmp_path) / "plate"
    with bench(tmp_path) as client:
        client.post("/api/jobs/plate/readings", json=width("60.0"))
        read(folder, ["width E2 E4 60.01"])
        seen = client.get("/api/jobs/plate").json()
        refused = client.post("/api/jobs/plate/undo", json={"revision": seen["revision"]})
        assert (refused.status_code, refused.json()["error"]["code"]) == (409, "readings-since")
        assert values(folder) == ["60.0", "60.01"]
        own = client.post("/api/jobs/plate/readings", json=width("60.02")).json()
        client.post("/api/jobs/plate/undo", json={"revision": own["revision"]})
        assert values(folder) == ["60.0", "60.01"]  # its own last one goes


def test_a_killed_process_leaves_the_job_free_at_once(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    with holder(folder) as process:
        process.send_signal(signal.SIGKILL)
        process.wait(10)
        began = time.monotonic()
        read(folder, ["width E2 E4 60"])
        assert time.monotonic() - began < 1
    assert sorted(os.listdir(folder)) == [HISTORY, job.MANIFEST, job.READINGS, job.TRACE], "the lock leaves a file"


def test_waiting_in_vain_ends_in_one_sentence_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = traced(tmp_path / "plate")
    monkeypatch.setattr(job_lock, "WAIT_S", 0.3)
    with holder(folder):
        assert run(app, ["read", str(folder), "width E2 E4 60", "--json"]) == 2
    said = capsys.readouterr()
    assert '"code": "busy"' in said.out
    assert said.err.strip() == (
        "Another jawline is changing this job just now: wait until it is done, then do this again."
    )
    assert not (folder / job.READINGS).exists()


def test_a_bench_that_waits_in_vain_says_so_and_goes_on_showing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plate(tmp_path)
    monkeypatch.setattr(job_lock, "WAIT_S", 2.0)
    with bench(tmp_path) as client, holder(tmp_path / "plate"):
        answers = []
        asking = threading.Thread(
            target=lambda: answers.append(client.post("/api/jobs/plate/readings", json=width("60")))
        )
        asking.start()
        time.sleep(0.2)
        began = time.monotonic()
        assert client.get("/api/jobs/plate").json()["state"] == "traced"
        assert time.monotonic() - began < 1, "looking waits for the lock"
        asking.join()
    assert answers[0].status_code == 409
    assert answers[0].json()["error"]["code"] == "busy"
    assert not (tmp_path / "plate" / job.READINGS).exists()


def test_threads_take_turns_and_a_step_within_a_step_does_not_wait_for_itself(tmp_path: Path) -> None:
    with held(tmp_path), held(tmp_path / ".." / tmp_path.name):
        refused: list[WrongUsage] = []

        def other() -> None:
            try:
                with held(tmp_path, 0.05):
                    pass
            except WrongUsage as why:
                refused.append(why)

        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
        assert [why.code for why in refused] == ["busy"]
    thread = threading.Thread(target=other)
    thread.start()
    thread.join()
    assert len(refused) == 1


def test_without_a_lock_work_goes_on(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    (folder / job_lock.NAME).mkdir()  # it can't be locked, as on a disk without locks
    read(folder, ["width E2 E4 60"])
    assert values(folder) == ["60"]
