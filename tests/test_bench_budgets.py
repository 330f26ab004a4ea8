"""Owners can't use up what the fixer needs: memory, workers, uploads, and what a mailed job costs to look at."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from calib.errors import Untrustworthy
from measure.bench import kept
from measure.bench.settings import Limits
from measure.bench.uploads import Gate, NotTaken
from measure.job import job
from measure.steps.workers import Workers
from tests import odd_work
from tests.benches import bench, plate, until
from tests.test_photo_header import pages


@pytest.fixture
def two() -> Iterator[Workers]:
    with Workers(2) as found:
        yield found


def test_guests_never_have_all_workers_and_others_go_first(two: Workers, tmp_path: Path) -> None:
    go = str(tmp_path / "go")
    held = [two.do(odd_work.wait_for, go, 60, guest=True) for _ in range(5)]
    assert two.do(odd_work.double, 4, 30).result(30) == 8, "while guests wait"
    order: list[str] = []
    first = two.do(odd_work.wait_for, str(tmp_path / "first"), 60)
    last = two.do(odd_work.double, 5, 30, lambda said: order.append("guest"), guest=True)
    own = two.do(odd_work.double, 6, 30, lambda said: order.append("own"))
    (tmp_path / "first").touch()
    assert (first.result(30), own.result(30)) == (str(tmp_path / "first"), 12)
    (tmp_path / "go").touch()
    assert [f.result(30) for f in held] == [go] * 5
    assert last.result(30) == 10
    assert order == ["own", "guest"]


def test_of_large_photos_one_is_looked_at_at_a_time_and_small_ones_beside_it(two: Workers, tmp_path: Path) -> None:
    begun: list[int] = []
    names = [str(tmp_path / str(k)) for k in range(3)]
    held = [
        two.do(odd_work.wait_for, name, 60, lambda said, k=k: begun.append(k), large=True)  # type: ignore[misc]
        for k, name in enumerate(names)
    ]
    assert [two.do(odd_work.double, k, 30).result(30) for k in range(3)] == [0, 2, 4]
    until = time.monotonic() + 20
    while not begun and time.monotonic() < until:  # a worker that starts says so when it is up
        time.sleep(0.02)
    assert begun == [0]
    for k, name in enumerate(names):
        Path(name).touch()
        held[k].result(30)
    assert begun == [0, 1, 2]


def test_whoever_no_longer_waits_for_a_task_takes_no_worker_along(tmp_path: Path) -> None:
    with Workers(1) as one:
        first = one.do(odd_work.wait_for, str(tmp_path / "go"), 60)
        assert one.do(odd_work.double, 3, 30).cancel()
        (tmp_path / "go").touch()
        first.result(30)
        assert one.do(odd_work.double, 4, 30).result(30) == 8


@pytest.mark.skipif(sys.platform != "linux", reason="no other system holds a process to it")
def test_a_worker_gets_no_more_memory_than_its_share() -> None:
    with Workers(1, memory_gb=1.0) as one:
        assert one.do(odd_work.fill, 300, 60).result(60) == 300_000_000
        with pytest.raises(Untrustworthy, match="takes more memory than there is"):
            one.do(odd_work.fill, 1500, 60).result(60)
        assert one.do(odd_work.double, 4, 30).result(30) == 8


def test_owners_waiting_are_limited() -> None:
    gate = Gate(Limits(looking=2))
    with gate.looking(), gate.looking():
        with pytest.raises(NotTaken) as why, gate.looking():
            pass
        assert (why.value.status, why.value.code) == (503, "busy")
    with gate.looking():
        pass


def test_when_owners_fill_every_limit_the_fixer_is_still_served(tmp_path: Path) -> None:
    """Their uploads, their addresses and their turns are used up; all from the fixer's own address, as by a proxy."""
    limits = {"receiving": 2, "each_receiving": 2, "burst": 2, "refill_s": 1000.0, "looking": 1}
    plate(tmp_path)
    photo = tmp_path / "x.png"
    Image.new("RGB", (900, 700)).save(photo)

    def sent(path: str) -> tuple[int, str]:
        with open(photo, "rb") as f:
            answer = client.post(path, files={"photo": ("x.png", f)}, data={"thickness": "4"})
        return answer.status_code, answer.json().get("error", {}).get("code", "")

    with bench(tmp_path, limits=limits, intake=True) as client:
        gate: Gate = client.app.state.owners_gate  # type: ignore[attr-defined]
        with gate.passing("testclient"), gate.passing("testclient"), gate.looking():
            assert sent("/api/intake") == (429, "too-often")
            assert client.get("/api/jobs").status_code == 200
            assert sent("/api/jobs")[0] == 202
        assert client.get("/api/jobs/plate").json()["state"] == "traced"


def test_a_photo_with_a_third_of_a_million_pages_holds_nobody_up(tmp_path: Path) -> None:
    with bench(plate(tmp_path), intake=True) as client:
        began = time.process_time()
        for path in ("/api/jobs", "/api/intake"):
            answer = client.post(path, files={"photo": ("x.tif", pages(330_000))}, data={"thickness": "4"})
            assert answer.json()["error"]["code"] == "photo-animated"
        assert time.process_time() - began < 3


@pytest.mark.parametrize("name", [job.PICTURE, job.PHOTO])
def test_a_picture_in_a_mailed_job_that_claims_a_thousand_megapixels_is_not_decoded(tmp_path: Path, name: str) -> None:
    folder = plate(tmp_path) / "plate"
    before, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
    Image.new("1", (32_000, 32_000)).save(folder / name, "PNG")
    Image.MAX_IMAGE_PIXELS = before
    with bench(tmp_path) as client:
        began = time.process_time()
        assert client.get("/api/jobs/plate/thumbnail.jpg").status_code == 404
        assert client.get("/api/jobs").status_code == 200
        assert client.get("/api/jobs/plate").status_code == 200
        assert time.process_time() - began < 2


def test_the_list_answers_while_owners_photos_are_looked_at(tmp_path: Path) -> None:
    """No thread that the fixer's requests need is held by those who wait for a worker."""
    plate(tmp_path)
    photo = tmp_path / "x.png"
    Image.new("RGB", (900, 700)).save(photo)
    most = {"burst": 100, "looking": 60, "receiving": 60, "each_receiving": 60}
    with bench(tmp_path, intake=True, limits=most) as client:  # no workers: all of them wait

        def send() -> None:
            with open(photo, "rb") as f:
                client.post("/api/intake", files={"photo": ("x.png", f)})

        waiting = [threading.Thread(target=send, daemon=True) for _ in range(50)]
        for thread in waiting:
            thread.start()
        app: Any = client.app
        try:
            until(lambda: app.state.owners_gate._looking == 50, 20)
            began = time.monotonic()
            assert client.get("/api/jobs").status_code == 200
            assert time.monotonic() - began < 2
        finally:
            while any(thread.is_alive() for thread in waiting):
                for task in app.state.desk.workers._tasks._tasks:
                    if not task.done.done():
                        task.done.set_exception(Untrustworthy("The test is over.", "over"))
                time.sleep(0.05)


def test_files_of_a_mailed_job_that_claim_more_than_the_disk_has_are_not_copied(tmp_path: Path) -> None:
    """Sparse files: a terabyte that takes no room until somebody copies it."""
    folder = plate(tmp_path) / "plate"
    first = kept.Kept(name="x", photo=kept.KeptPhoto(width=100, height=80, scale=0.5))
    (folder / kept.FILE).write_bytes(kept.to_bytes(first))
    for name in (kept.PHOTO, job.PICTURE):
        with open(folder / name, "wb") as f:
            f.truncate(10**12)
    with bench(tmp_path) as client:
        revision = client.get("/api/jobs/plate").json()["revision"]
        asked = {"thickness": "4", "revision": revision}
        answer = client.post("/api/jobs/plate/trace", json=asked)
        assert answer.status_code == 409, answer.text
        assert "larger than 400 megabytes" in answer.json()["error"]["text"]
        assert client.get("/api/jobs/plate/thumbnail.jpg").status_code == 404
