"""A job that was mailed: nothing outside its folder is written, read or removed, whatever leads out of it."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from calib.errors import JawlineError, JobRefused
from measure.job import job, lock, revisions
from measure.job.history import FOLDER as HISTORY
from measure.job.links import MOST_ENTRIES, refuse_links
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import measured_record, sketch
from measure.steps.trial import trial
from tests.benches import bench, plate, width
from tests.jobs import traced

SECRET = "nobody else is to see this"


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """A person's own folder, with what a job's folders would have in it."""
    folder = tmp_path / "elsewhere"
    for place in (folder, folder / "1", folder / "5"):
        place.mkdir(exist_ok=True)
        for name in (job.READINGS, job.TRACE, revisions.RECORD, "letter.txt"):
            (place / name).write_text(SECRET)
    (folder / "7.part").mkdir()
    (folder / "7.part" / "letter.txt").write_text(SECRET)
    return folder


def content(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): p.read_text() for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize("linked", [HISTORY, revisions.FOLDER, f"{HISTORY}/5", f"{revisions.FOLDER}/1"])
def test_a_folder_that_leads_elsewhere_is_refused_by_the_bench(tmp_path: Path, elsewhere: Path, linked: str) -> None:
    folder = plate(tmp_path / "jobs") / "plate"
    (folder / linked).parent.mkdir(exist_ok=True)
    (folder / linked).symlink_to(elsewhere / linked.split("/")[1] if "/" in linked else elsewhere)
    before = content(elsewhere)
    with bench(tmp_path / "jobs") as client:
        assert client.get("/api/jobs").status_code == 200
        seen = client.get("/api/jobs/plate").json()
        for path, asked in (
            ("readings", width("60.0")),
            ("undo", {"revision": seen["revision"]}),
            ("trial", {"said": "tight", "revision": seen["revision"]}),
            ("make", {"what": "sketch"}),
        ):
            answer = client.post(f"/api/jobs/plate/{path}", json=asked)
            assert (answer.status_code, answer.json()["error"]["code"]) == (422, "job-link"), path
        assert SECRET not in client.get("/api/jobs/plate/revisions").text
        client.get("/api/jobs/plate/revisions/1.svg")
    assert content(elsewhere) == before
    assert sorted(p.name for p in elsewhere.iterdir() if p.is_dir()) == ["1", "5", "7.part"]


LINKED = [HISTORY, revisions.FOLDER, job.READINGS, job.TRACE, job.MANIFEST, job.MEASURED, lock.NAME]


@pytest.mark.parametrize("linked", LINKED)
@pytest.mark.parametrize("step", [lambda f: read(f, ["width E2 E4 60"]), reconcile, lambda f: trial(f, ["tight"])])
def test_commands_refuse_a_link_in_a_sentence(
    tmp_path: Path, elsewhere: Path, linked: str, step: Callable[[Path], object]
) -> None:
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60"])
    reconcile(folder)
    if os.path.lexists(folder / linked):
        os.rename(folder / linked, elsewhere / "own")
    (folder / linked).symlink_to(elsewhere / "own" if (elsewhere / "own").exists() else elsewhere)
    before = content(elsewhere)
    with pytest.raises(JobRefused, match="is a link, and links in a job are not followed") as why:
        step(folder)
    assert why.value.code == "job-link"
    assert content(elsewhere) == before


def test_pictures_and_photos_that_are_links_are_shown_to_nobody(tmp_path: Path, elsewhere: Path) -> None:
    folder = plate(tmp_path / "jobs") / "plate"
    for name in (job.PHOTO, job.PICTURE, "photo.png", "bench.json", job.MEASURED):
        (folder / name).symlink_to(elsewhere / "letter.txt")
    with bench(tmp_path / "jobs") as client:
        for path in ("", "/plate", "/plate/photo.jpg", "/plate/thumbnail.jpg", "/plate/files/trace.png"):
            assert SECRET not in client.get(f"/api/jobs{path}").text, path
        assert client.get("/api/jobs/plate").json()["refusal"]["code"] == "job-link"


def test_no_mark_of_a_file_elsewhere_is_compared(tmp_path: Path, elsewhere: Path) -> None:
    """What measured.json says that it was made from is never a path out of the job: the answer would tell of it."""
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60"])
    reconcile(folder)
    plain = json.loads((folder / job.MEASURED).read_text())
    plain["made_from"] |= {"../elsewhere/letter.txt": "0" * 64, str(elsewhere / "letter.txt"): "0" * 64}
    (folder / job.MEASURED).write_text(json.dumps(plain))
    assert measured_record(folder).part == "plate"


def test_a_half_written_file_is_never_written_through_a_link(tmp_path: Path, elsewhere: Path) -> None:
    """Its name can be guessed."""
    folder = traced(tmp_path / "plate")
    (folder / f".{job.READINGS}.{os.getpid()}.part").symlink_to(elsewhere / "letter.txt")
    with pytest.raises(JawlineError):
        read(folder, ["width E2 E4 60"])
    with job.beside_place(folder) as beside:
        beside(job.READINGS, b"x")
    assert (elsewhere / "letter.txt").read_text() == SECRET


def test_the_jobs_own_folder_may_be_a_link_and_what_a_person_links_beside_it_stays(
    tmp_path: Path, elsewhere: Path
) -> None:
    folder = traced(tmp_path / "plate")
    (folder / "photos").symlink_to(elsewhere)
    (tmp_path / "here").symlink_to(folder)
    read(tmp_path / "here", ["width E2 E4 60"])
    reconcile(tmp_path / "here")
    sketch(tmp_path / "here")
    assert (folder / job.SKETCHES[0]).is_file()
    assert (folder / "photos").is_symlink()


def test_more_files_than_any_job_holds_are_not_counted_to_their_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("measure.job.links.MOST_ENTRIES", 20)
    folder = traced(tmp_path / "plate")
    place = folder / revisions.FOLDER / "1"
    place.mkdir(parents=True)
    for n in range(30):
        (place / str(n)).touch()
    assert MOST_ENTRIES > 1000
    with pytest.raises(JobRefused, match="more files than any job"):
        refuse_links(folder, job.USED)
