"""Jobs of an evening: tickets, whose they are, found again, renamed and deleted; right with sixty of them."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from measure.bench import kept
from measure.bench.listing import listed
from measure.bench.shelf import Shelf
from measure.job import job
from tests.benches import bench, plate, width

EVENING = 60
LIST_S = 1.0
"""The list is asked for every few seconds; a disk that reads sixty small files takes a tenth of it (chosen)."""


def state(client: TestClient, id: str = "plate") -> dict[str, Any]:
    return dict(client.get(f"/api/jobs/{id}").json())


def test_a_job_is_named_and_its_owner_noted(tmp_path: Path) -> None:
    with bench(plate(tmp_path)) as client:
        said = {"name": "latch\n of the vent", "owner": "A. Nobody", "contact": "room 3", "note": "by Friday"}
        now = client.post("/api/jobs/plate", json={**said, "revision": state(client)["revision"]}).json()
        assert (now["name"], now["owner"], now["contact"], now["note"]) == (
            "latch of the vent", "A. Nobody", "room 3", "by Friday",
        )  # fmt: skip
        (found,) = client.get("/api/jobs").json()["jobs"]
        assert (found["name"], found["owner"]) == ("latch of the vent", "A. Nobody")
        assert "contact" not in found
        assert b"latch of the vent" in client.get("/api/jobs/plate/sketch.svg").content
        assert b"Nobody" not in client.get("/api/jobs/plate/sketch.svg").content
        stale = client.post("/api/jobs/plate", json={"name": "other", "revision": 1})
        assert (stale.status_code, state(client)["name"]) == (409, "latch of the vent")
        back = client.post("/api/jobs/plate/undo", json={"revision": now["revision"]}).json()
        assert (back["name"], back["owner"]) == ("plate", "")


def test_a_job_is_deleted_for_good_but_for_what_is_not_jawlines(tmp_path: Path) -> None:
    with bench(plate(plate(tmp_path, "other"))) as client:
        client.post("/api/jobs/plate/readings", json=width("60.0"))
        mine = tmp_path / "plate" / "my notes.txt"
        mine.write_text("mine")
        assert client.delete("/api/jobs/plate", params={"revision": 1}).status_code == 409
        gone = client.delete("/api/jobs/plate", params={"revision": state(client)["revision"]})
        assert gone.json() == {"removed": "plate"}
        assert [p.name for p in (tmp_path / "plate").iterdir()] == ["my notes.txt"]
        assert client.get("/api/jobs/plate").status_code == 404
        client.delete("/api/jobs/other", params={"revision": state(client, "other")["revision"]})
        assert not (tmp_path / "other").exists()
        assert client.get("/api/jobs").json()["jobs"] == []


def test_tickets_are_never_given_twice(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    made = [shelf.new("part", kept.Kept(name="part")) for _ in range(3)]
    assert [of.kept().ticket for of in made if of.kept()] == [1, 2, 3]  # type: ignore[union-attr]
    shelf.remove(made[2])
    after = Shelf(tmp_path).new("part", kept.Kept(name="part")).kept()
    assert after is not None
    assert after.ticket == 4
    (tmp_path / ".tickets").write_text("rubbish")
    again = Shelf(tmp_path).new("part", kept.Kept(name="part")).kept()
    assert again is not None
    assert again.ticket == 5


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sixty jobs, every third traced, in no order of their names."""
    folder = tmp_path_factory.mktemp("evening")
    shelf = Shelf(folder)
    for n in range(EVENING):
        of = shelf.new(f"part {n * 7 % EVENING}", kept.Kept(name=f"part {n * 7 % EVENING}", owner=f"owner {n % 11}"))
        if n % 3 == 0:
            plate(folder, of.id)
    return folder


def test_a_list_of_sixty_is_whole_quick_and_in_order(evening: Path) -> None:
    with bench(evening) as client:
        client.get("/api/jobs")
        began = time.perf_counter()
        jobs = client.get("/api/jobs").json()["jobs"]
        assert time.perf_counter() - began < LIST_S
    assert len(jobs) == len({j["id"] for j in jobs}) == EVENING
    assert sorted(j["ticket"] for j in jobs) == list(range(1, EVENING + 1))
    assert [j["changed"] for j in jobs] == sorted((j["changed"] for j in jobs), reverse=True)
    assert sum(j["state"] == "traced" for j in jobs) == EVENING / 3


def test_a_job_is_found_by_ticket_name_or_owner(evening: Path) -> None:
    found = listed(evening, "57 OWNER")
    assert {j.ticket for j in found if j.name != "part 57"} == {57}
    assert len(found) == 2
    assert sum(j.owner == "owner 7" for j in listed(evening, "owner 7")) == 5  # 7, 18, 29, 40 and 51
    (one,) = listed(evening, "part-59")
    assert one.name == "part 59"
    assert listed(evening, "no such thing") == []
    assert (evening / one.id / job.TRACE).exists() is (one.state == "traced")
