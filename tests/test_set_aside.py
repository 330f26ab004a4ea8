"""A photo of another part traced into a job with readings: they are set aside, said, and can be taken back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from measure.geometry.features import Line
from measure.job import job, records
from measure.steps.read import read
from measure.steps.set_aside import set_aside
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.jobs import estimate, plate, record, traced
from tests.sample_photos import FOLDER as SAMPLE

READ = ["width E2 E4 60.02", "width E1 E3 29.98", "bore D1 6.0", "thickness 4.2"]


def other(width_mm: float = 45.0) -> tuple:  # type: ignore[type-arg]
    """The plate at another width, the rest where it was."""
    moved = [(x if x == 0 else width_mm, y) for x, y in [(0.0, 0.0), (60.0, 0.0), (60.0, 30.0), (0.0, 30.0)]]
    sides = [Line(f"E{i + 1}", 0, moved[i], moved[(i + 1) % 4]) for i in range(4)]
    return (*sides, *plate()[4:])


def job_with(folder: Path, words: list[str]) -> Path:
    traced(folder)
    read(folder, words)
    return folder


def test_the_same_part_keeps_its_readings(tmp_path: Path) -> None:
    folder = job_with(tmp_path / "plate", READ)
    assert set_aside(folder, estimate(), "part") is None
    again = estimate(other(59.7))  # a photo that is a little off: for the adjustment to judge
    assert set_aside(folder, again, "part") is None


def test_a_misreading_is_no_sign_of_another_part(tmp_path: Path) -> None:
    """It did not fit the outline before either: an inch for a millimetre, two digits swapped."""
    folder = job_with(tmp_path / "plate", ["width E2 E4 2.36", "width E1 E3 92.8"])
    assert set_aside(folder, estimate(other()), "part") is None


def test_without_readings_or_with_what_nobody_understands_nothing_is_done(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    assert set_aside(folder, estimate(other()), "part") is None
    for content in (b"", b"kind,features,value\n", b"nonsense", b"kind,features,value\nthickness,,4.2\n"):
        (folder / job.READINGS).write_bytes(content)
        assert set_aside(folder, estimate(other()), "part") is None


@pytest.mark.parametrize("by_hand", [False, True])
def test_readings_of_another_part_are_set_aside_as_they_stand(tmp_path: Path, by_hand: bool) -> None:
    folder = job_with(tmp_path / "plate", ["width E2 E4 60.02", "width E1 E3 29.98", "thickness 4.2"])
    if by_hand:
        with open(folder / job.READINGS, "a") as f:
            f.write("# mine\nwidth,E2 E4,60.01,mm,caliper,by hand\n")
    before = (folder / job.READINGS).read_bytes()
    shifted = [replace(f, label=f"X{f.label[1:]}") if f.label[0] == "E" else f for f in plate()]
    found = set_aside(folder, estimate(tuple(shifted)), "part")
    assert found
    assert "readings that do not fit this outline" in found.caution.text
    assert f"jawline read {folder} {folder / 'readings-aside-1.csv'}" in found.caution.text
    job.write(folder, found.files, merged=(job.READINGS,))
    assert (folder / "readings-aside-1.csv").read_bytes() == before
    # the way back that is named, for the part that it was after all
    assert len(read(folder, [str(folder / "readings-aside-1.csv")]).result["taken"]) == (4 if by_hand else 3)
    again = set_aside(folder, estimate(tuple(shifted)), "part")
    assert again
    assert "readings-aside-2.csv" in again.files


def test_a_photo_traced_into_another_parts_job_says_so(tmp_path: Path) -> None:
    folder = job_with(tmp_path / "plate", READ)
    before = (folder / job.READINGS).read_bytes()
    done = trace(SAMPLE / "photo.jpg", folder, Request(4.2))
    assert "readings-aside" in [c.code for c in done.cautions]
    assert (folder / "readings-aside-1.csv").read_bytes() == before
    assert records.from_text((folder / job.TRACE).read_text(), job.TRACE).part != record().part
