"""The job folder: all or nothing is written, and never over what a person wrote."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from calib.errors import JobRefused, WrongUsage
from calib.messages import Remedy
from measure.job import job


def files(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.name != job.MANIFEST}


def test_a_step_is_written_and_written_again(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "job"
    job.write(folder, {"trace.json": b"1", "trace.png": b"2"})
    job.write(folder, {"trace.json": b"3"})
    assert files(folder) == {"trace.json": b"3", "trace.png": b"2"}


def test_a_file_that_was_there_before_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "trace.json").write_bytes(b"mine")
    with pytest.raises(WrongUsage, match="was not written by jawline") as why:
        job.write(tmp_path, {"trace.png": b"2", "trace.json": b"1"})
    assert why.value.exit_code == 2
    assert files(tmp_path) == {"trace.json": b"mine"}
    job.write(tmp_path, {"trace.json": b"1"}, force=True)
    assert files(tmp_path) == {"trace.json": b"1"}


def test_a_file_that_was_changed_since_is_never_overwritten(tmp_path: Path) -> None:
    job.write(tmp_path, {"measured.json": b"1"})
    (tmp_path / "measured.json").write_bytes(b"mended by hand")
    with pytest.raises(WrongUsage, match="has been changed since"):
        job.write(tmp_path, {"measured.json": b"2"})
    assert files(tmp_path) == {"measured.json": b"mended by hand"}


def test_merged_files_are_replaced_but_stay_the_persons_own(tmp_path: Path) -> None:
    job.write(tmp_path, {"readings.csv": b"a\n"})
    (tmp_path / "readings.csv").write_bytes(b"a\nb by hand\n")
    job.write(tmp_path, {"readings.csv": b"a\nb by hand\nc\n"}, merged=["readings.csv"])
    with pytest.raises(WrongUsage, match="changed"):
        job.write(tmp_path, {"readings.csv": b"all new"})


def test_files_of_later_steps_go_unless_a_person_changed_them(tmp_path: Path) -> None:
    job.write(tmp_path, {"trace.json": b"1", "measured.json": b"2", "sketch.pdf": b"3"})
    (tmp_path / "sketch.pdf").write_bytes(b"with my notes")
    job.write(tmp_path, {"trace.json": b"4"}, outdated=["measured.json", "sketch.pdf", "sketch.svg"])
    assert files(tmp_path) == {"trace.json": b"4", "sketch.pdf": b"with my notes"}


def test_without_a_manifest_nothing_counts_as_jawlines_own(tmp_path: Path) -> None:
    job.write(tmp_path, {"trace.json": b"1"})
    for content in (b"", b"{", b"[]", b'{"files": 3}', b'{"files": {"trace.json": 7}}'):
        (tmp_path / job.MANIFEST).write_bytes(content)
        with pytest.raises(WrongUsage):
            job.write(tmp_path, {"trace.json": b"2"})


@pytest.mark.parametrize("fails_at", [0, 1, 2, 3])
def test_a_full_disk_leaves_nothing_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails_at: int
) -> None:
    folder = tmp_path / "job"
    calls = []

    def full(handle: int) -> None:
        calls.append(handle)
        if len(calls) > fails_at:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(WrongUsage, match="no space left on device"):
        job.write(folder, {"trace.json": b"1", "trace.png": b"2"})
    if fails_at < 3:
        assert not folder.exists()
    assert not [p for p in tmp_path.rglob("*") if p.name.endswith(".part")]


def test_interrupted_between_two_files_the_next_run_goes_through(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job.write(tmp_path, {"a.json": b"1", "b.json": b"1"})
    real, moves = os.replace, []

    def stops(a: Path, b: Path) -> None:
        moves.append(b)
        if len(moves) == 3:
            raise KeyboardInterrupt
        real(a, b)

    monkeypatch.setattr(os, "replace", stops)
    with pytest.raises(KeyboardInterrupt):
        job.write(tmp_path, {"a.json": b"2", "b.json": b"2"})
    monkeypatch.setattr(os, "replace", real)
    assert files(tmp_path) == {"a.json": b"2", "b.json": b"1"}
    job.write(tmp_path, {"a.json": b"3", "b.json": b"3"})
    assert files(tmp_path) == {"a.json": b"3", "b.json": b"3"}


def test_a_folder_that_cannot_be_written_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(WrongUsage, match="choose another folder"):
        job.check_writable(tmp_path / "job", ["trace.json"], force=False)
    assert not (tmp_path / "job").exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(WrongUsage, match="choose another folder"):
            job.write(tmp_path, {"trace.json": b"1"})
    finally:
        tmp_path.chmod(0o700)


def test_a_file_in_the_folders_place(tmp_path: Path) -> None:
    (tmp_path / "job").write_bytes(b"")
    for path in (tmp_path / "job", tmp_path / "job" / "below"):
        with pytest.raises(WrongUsage):
            job.check_writable(path, [], force=False)
    with pytest.raises(WrongUsage, match="not a job folder"):
        job.content(tmp_path / "job", "trace.json", "trace")


def test_a_folder_in_a_files_place(tmp_path: Path) -> None:
    (tmp_path / "trace.json").mkdir()
    with pytest.raises(WrongUsage, match="stands in the way"):
        job.write(tmp_path, {"trace.json": b"1"})


def test_missing_steps_and_damaged_text(tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match="There is no job folder"):
        job.text(tmp_path / "none", "trace.json", "trace PHOTO")
    with pytest.raises(WrongUsage, match=r"has no measured\.json yet") as why:
        job.text(tmp_path, "measured.json", "reconcile")
    assert why.value.message.remedies == (Remedy("run-first", "reconcile"),)
    (tmp_path / "trace.json").write_bytes(b"\xff\xfe\x00\xd8")
    with pytest.raises(JobRefused, match="damaged"):
        job.text(tmp_path, "trace.json", "trace PHOTO")
