"""What killed processes leave: half-written files in a job, photos in the temporary folder. The next clears it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from measure.bench import session
from measure.bench.session import Session
from measure.cli.app import app
from measure.cli.run import run
from measure.job import job, revisions
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.trial import trial
from tests.jobs import traced

ROOT = Path(__file__).parent.parent
KILLED_WRITING = """
import os, signal, sys
from pathlib import Path
from measure.job import job
real = os.replace
def replace(a, b):
    if str(b).endswith(sys.argv[2]):
        os.kill(os.getpid(), signal.SIGKILL)
    real(a, b)
os.replace = replace
job.write(Path(sys.argv[1]), {job.READINGS: b"x", job.MEASURED: b"y"}, force=True)
"""
KILLED_AT_PHOTOS = """
import os, signal
from measure.bench.session import Session
with Session() as s:
    (s.place() / "The photo").write_bytes(b"a face")
    print(s.folder, flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
"""


def killed(code: str, *arguments: object) -> str:
    command = [sys.executable, "-c", code, *map(str, arguments)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    return done.stdout.strip()


@pytest.mark.parametrize("at", [job.MANIFEST, job.READINGS, job.MEASURED])
def test_half_written_files_go_with_the_next_command(tmp_path: Path, at: str) -> None:
    folder = traced(tmp_path / "plate")
    killed(KILLED_WRITING, folder, at)
    assert list(folder.glob(".*.part"))
    if at != job.MANIFEST:
        (folder / job.READINGS).unlink(missing_ok=True)
    read(folder, ["width E2 E4 60"])
    assert not list(folder.glob(".*.part"))


def test_half_kept_revisions_go_with_the_next_one_and_a_persons_own_files_stay(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60"])
    reconcile(folder)
    place = folder / revisions.FOLDER
    for name in (".1.99999.part", ".mine.part", "mine"):
        (place / name).mkdir(parents=True)
        (place / name / "x").touch()
    trial(folder, ["tight at E2"])
    assert {p.name for p in place.iterdir()} == {"1", "2", ".mine.part", "mine"}


def test_photos_of_a_killed_bench_go_with_the_next_command_of_any_kind(tmp_path: Path) -> None:
    left = Path(killed(KILLED_AT_PHOTOS))
    assert list(left.rglob("The photo"))
    assert run(app, ["reconcile", str(tmp_path / "none")]) == 2
    assert not left.exists()
    assert not left.with_suffix(session.LOCK).exists()


def test_those_of_a_living_one_stay(tmp_path: Path) -> None:
    with Session() as living:
        (living.place() / "The photo").write_bytes(b"a face")
        run(app, ["reconcile", str(tmp_path / "none")])
        assert list(living.folder.rglob("The photo"))
        assert living.folder.stat().st_mode & 0o077 == 0
    assert not living.folder.exists()


def test_nothing_that_somebody_else_put_there_is_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "letter").touch()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    (tmp_path / f"{session.PREFIX}x").symlink_to(tmp_path / "own")
    os.mkfifo(tmp_path / f"{session.PREFIX}y")
    session.forget_dead_sessions()
    assert (tmp_path / "own" / "letter").exists()
