"""The owners' page: their photos are judged, good ones kept as waiting jobs, and nothing of other jobs is told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.benches import bench, plate
from tests.sample_photos import middle, save, scene, without
from tests.test_bench_photos import traced
from tests.test_privacy import MARKS, PLACE, marked

__all__ = ["marked"]
FIXER, OWNER = "fixer-token-of-this-test", "owner-token-of-this-test"


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = plate(tmp_path_factory.mktemp("jobs"), "secret-plate")
    more: dict[str, Any] = {"intake": True, "fixer_token": FIXER, "owner_token": OWNER}
    with bench(folder, workers=1, limits={"waiting": 2}, **more) as found:
        yield found


def sent(client: TestClient, photo: Path, token: str = OWNER, **fields: str) -> Any:
    with open(photo, "rb") as f:
        return client.post("/api/intake", params={"token": token}, files={"photo": (photo.name, f)}, data=fields)


@pytest.fixture(scope="module")
def good(client: TestClient, marked: Path) -> dict[str, Any]:
    answer = sent(client, marked, name="../<i>Latch</i>\n of Ms X", note="it broke\x07 yesterday")
    assert answer.status_code == 200
    return dict(answer.json())


def fixer(client: TestClient, path: str) -> Any:
    return client.get(path, params={"token": FIXER}).json()


def test_a_good_photo_is_kept_for_the_fixer(client: TestClient, good: dict[str, Any]) -> None:
    assert good["verdict"] in ("good", "usable")
    assert good["kept"]
    assert good["reply"].startswith("Thank you")
    job = next(j for j in fixer(client, "/api/jobs")["jobs"] if j["id"] != "secret-plate")
    assert (job["state"], job["name"]) == ("waiting", "../<i>Latch</i> of Ms X")
    assert (job["id"], job["note"]) == ("i-latch-i-of-ms-x", "it broke yesterday")


def test_an_owner_is_told_of_the_own_photo_only(client: TestClient, good: dict[str, Any]) -> None:
    assert set(good) == {"verdict", "reasons", "reply", "kept", "ticket"}
    assert "latch" not in str(good).lower().replace("latch.jpg", "")
    page = client.get("/intake", headers={"Cookie": f"jawline-owner-8765={OWNER}"})
    assert page.status_code == 200
    assert "secret" not in page.text
    assert "Latch" not in page.text


def test_what_is_kept_of_it_has_no_marks(client: TestClient, good: dict[str, Any]) -> None:
    desk = client.app.state.desk  # type: ignore[attr-defined]
    kept = [p for p in Path(desk.settings.folder).rglob("*") if p.is_file() and "latch" in str(p)]
    assert {"bench.json", "photo.png", "trace-photo.jpg"} <= {p.name for p in kept}
    for path in kept:
        data = path.read_bytes()
        assert not [m for m in (*MARKS.values(), *PLACE) if m.encode() in data], path.name
    assert not [p for p in desk.session.folder.rglob("*") if p.is_file()]


def test_the_fixer_traces_it(client: TestClient, good: dict[str, Any]) -> None:
    client.cookies.set("jawline-fixer-8765", FIXER)
    now = client.get("/api/jobs/i-latch-i-of-ms-x").json()
    asked = {"thickness": "4.2", "revision": now["revision"]}
    assert client.post("/api/jobs/i-latch-i-of-ms-x/trace", json=asked).status_code == 202
    found = traced(client, "i-latch-i-of-ms-x")
    assert (found["state"], found["refusal"]) == ("traced", None)
    client.cookies.clear()


def test_a_photo_that_won_t_do_is_not_kept(client: TestClient, tmp_path: Path) -> None:
    before = fixer(client, "/api/jobs")
    answer = sent(client, save(without(scene().rgb, scene().card_px), tmp_path / "bare.jpg")).json()
    assert (answer["verdict"], answer["kept"]) == ("retake", False)
    assert answer["reasons"][0]["code"] in ("no-card", "unclear", "wrong-shape")
    assert "Please" in answer["reply"] or "again" in answer["reply"]
    assert fixer(client, "/api/jobs") == before


def test_with_too_many_waiting_the_page_is_closed(client: TestClient, tmp_path: Path) -> None:
    desk = client.app.state.desk  # type: ignore[attr-defined]
    from measure.bench import kept

    made = [desk.shelf.new("waits", kept.Kept(name="waits")) for _ in range(2)]
    answer = sent(client, save(middle().rgb, tmp_path / "one.jpg"))
    assert (answer.status_code, answer.json()["error"]["code"]) == (503, "full")
    assert [m.id for m in made] == ["waits", "waits-2"]
