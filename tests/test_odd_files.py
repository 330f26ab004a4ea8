"""Pipes, devices, folders and endless files in the place of a file: a sentence at once, and nobody hangs."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from calib.errors import JawlineError
from calib.files import NotPlain, content_of
from calib.lens.lens import read_profile
from calib.photo.photo import check_header, load
from calib.tools.jaws import read_tools
from calib.tools.printer import read_printer
from measure.job import job
from measure.silhouette.marks_file import read_marks
from measure.steps.draw import JobOrder, draw
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trial import trial
from measure.tracing.request import Request
from tests.benches import bench, plate, width
from tests.jobs import traced

ROOT = Path(__file__).parent.parent
ODD = {"pipe": os.mkfifo, "zero": lambda p: os.symlink("/dev/zero", p), "folder": os.mkdir, "socket": None}
pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such files on this system")


def put(kind: str, path: Path) -> Path:
    """Something that is no plain file."""
    path.unlink(missing_ok=True)
    if kind == "socket":
        import socket

        before = os.getcwd()
        os.chdir(path.parent)  # a socket's name is short
        try:
            socket.socket(socket.AF_UNIX).bind(path.name)
        finally:
            os.chdir(before)
    else:
        ODD[kind](path)  # type: ignore[operator, arg-type]
    return path


@contextmanager
def at_once(limit_s: float = 8.0) -> Iterator[None]:
    """What is done within must not wait for anybody: a pipe is written to after a while, so that a test ends."""
    began = time.monotonic()
    yield
    assert time.monotonic() - began < limit_s


def in_thread(work: Callable[[], object], limit_s: float = 8.0) -> object:
    """What some work gives or raises; a failure if it hangs."""
    got: list[object] = []

    def do() -> None:
        try:
            got.append(work())
        except BaseException as why:
            got.append(why)

    thread = threading.Thread(target=do, daemon=True)
    thread.start()
    thread.join(limit_s)
    assert got, "it hangs"
    return got[0]


@pytest.mark.parametrize("kind", list(ODD))
@pytest.mark.parametrize("reader", [load, check_header, read_tools, read_profile, read_printer, read_marks])
def test_whatever_reads_a_file_reads_plain_files_only(
    tmp_path: Path, kind: str, reader: Callable[[Path], object]
) -> None:
    why = in_thread(lambda: reader(put(kind, tmp_path / "x")))
    assert isinstance(why, JawlineError), why
    assert why.text.endswith(".")


@pytest.mark.parametrize("kind", list(ODD))
@pytest.mark.parametrize("name", [job.TRACE, job.READINGS, job.MEASURED, job.TRIALS, job.MANIFEST, job.TOOLS])
def test_whatever_lies_in_a_job_no_command_hangs(tmp_path: Path, kind: str, name: str) -> None:
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60"])
    reconcile(folder)
    put(kind, folder / name)
    steps = (lambda: read(folder, ["bore D1 6"]), lambda: reconcile(folder), lambda: sketch(folder))
    for step in (*steps, lambda: trial(folder, ["tight at E2"])):
        got = in_thread(step)
        assert not isinstance(got, BaseException) or isinstance(got, JawlineError), got


@pytest.mark.parametrize("kind", list(ODD))
@pytest.mark.parametrize(
    "name", [job.TRACE, job.READINGS, job.VIEW, job.PHOTO, job.PICTURE, job.MEASURED, *job.BENCH, "revisions"]
)
def test_whatever_lies_in_a_job_the_bench_lists_the_others(tmp_path: Path, kind: str, name: str) -> None:
    plate(tmp_path, "good")
    folder = plate(tmp_path) / "plate"
    put(kind, folder / name)

    def ask() -> None:
        with bench(tmp_path) as client:
            assert {j["id"] for j in client.get("/api/jobs").json()["jobs"]} >= {"good"}
            for path in ("", "/photo.jpg", "/thumbnail.jpg", "/sketch.svg", "/revisions", f"/files/{name}"):
                assert client.get(f"/api/jobs/plate{path}").status_code < 500, path
            assert client.post("/api/jobs/plate/readings", json=width("60")).status_code < 500
            assert client.post("/api/jobs/good/readings", json=width("60")).status_code == 200

    got = in_thread(ask, 20)
    assert got is None, got


@pytest.mark.parametrize("option", ["--marks", "--lens", "--tools", "--readings"])
def test_options_that_name_a_pipe(tmp_path: Path, option: str) -> None:
    """The whole command, since the parser may open what it is given."""
    put("pipe", tmp_path / "x")
    command = "draw" if option in ("--tools", "--readings") else "trace"
    photo = ROOT / "samples" / "vent-latch" / "photo.jpg"
    words = [command, str(photo), "--thickness", "4.2", option, str(tmp_path / "x")]
    words += ["--job" if command == "trace" else "--out", str(tmp_path / "job")]
    if option == "--tools":
        words += ["--readings", str(photo.parent / "readings.csv")]
    code = "from measure.cli import main\nmain()"
    done = subprocess.run(
        [sys.executable, "-c", code, *words], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode in (1, 2), done.stderr
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert not (tmp_path / "job").exists()


def test_readings_from_a_pipe_are_no_file(tmp_path: Path) -> None:
    put("pipe", tmp_path / "x.csv")
    why = in_thread(lambda: read(traced(tmp_path / "plate"), [str(tmp_path / "x.csv")]))
    assert isinstance(why, JawlineError)
    why = in_thread(lambda: draw(JobOrder(tmp_path / "p.jpg", Request(None), tmp_path / "x.csv"), tmp_path / "job"))
    assert isinstance(why, JawlineError)


def test_a_file_is_read_up_to_its_limit_even_if_it_grows(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(bytes(1_000_001))
    with pytest.raises(NotPlain, match="larger than 1 megabytes"):
        content_of(path, 1)
    path.write_bytes(bytes(1_000_000))
    assert len(content_of(path, 1)) == 1_000_000
    if os.path.exists("/proc/self/environ"):  # says that it is empty, and is not
        assert content_of(Path("/proc/self/environ"), 1)


def test_a_name_that_no_file_can_have(tmp_path: Path) -> None:
    for name in ("a\0b", "x" * 300, "x/" * 3000):
        with pytest.raises(OSError, match=r"name|Name|no file has"):
            content_of(tmp_path / name, 1)
        for reader in (load, read_marks, read_profile):
            with pytest.raises(JawlineError):
                reader(tmp_path / name)
        if "\0" not in name:  # no system hands that to a command
            with pytest.raises(JawlineError):
                read(tmp_path / name, ["width E2 E4 60"])
