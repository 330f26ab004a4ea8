"""The page says nothing that only a command line can do; a part broken in two is traced from the page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from calib.errors import WrongUsage
from calib.target.target import NO_BARS
from measure.bench.words import IN_TWO, for_owner, for_page
from measure.job import job
from measure.silhouette.silhouette import TWO_PIECES, NoSilhouette
from measure.tracing.parts import BESIDE
from tests.benches import bench, plate, until

BROKEN = Path(__file__).parent / "accuracy" / "broken"


def is_for_a_page(text: str) -> bool:
    return "--" not in text and "`jawline" not in text


def forced(folder: Path) -> str:
    """What is said when a file would be overwritten that somebody else wrote, or changed."""
    with pytest.raises(WrongUsage) as why:
        job.write(folder, {job.MEASURED: b"{}"})
    return why.value.text


def test_no_sentence_of_the_page_has_an_option_in_it(tmp_path: Path) -> None:
    texts = [TWO_PIECES, BESIDE, NO_BARS, NoSilhouette("one-piece").text]
    (tmp_path / job.MEASURED).write_bytes(b"by hand")
    texts.append(forced(tmp_path))
    job.write(tmp_path, {job.MEASURED: b"1"}, force=True)
    (tmp_path / job.MEASURED).write_bytes(b"by hand")
    texts.append(forced(tmp_path))
    with pytest.raises(WrongUsage) as why:
        job.content(tmp_path, job.TRACE, "trace PHOTO")
    texts.append(why.value.text)
    assert not any(is_for_a_page(x) for x in texts), "a sentence that needs no other words tests nothing"
    for text in map(for_page, texts):
        assert is_for_a_page(text), text
    owner = for_owner(TWO_PIECES)
    assert owner == "Two pieces of like size lie beside the card: leave only the part and take the photo again."


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with bench(tmp_path_factory.mktemp("jobs"), workers=1) as found:
        yield found


def settled(client: TestClient, id: str) -> dict[str, Any]:
    def done() -> dict[str, Any] | None:
        found: dict[str, Any] = client.get(f"/api/jobs/{id}").json()
        return None if found["state"] == "tracing" else found

    return dict(until(done))


def test_a_part_broken_in_two_is_joined_from_the_page(client: TestClient) -> None:
    photo = BROKEN / "gate-hook-two.jpg"
    with open(photo, "rb") as f:
        id = client.post("/api/jobs", files={"photo": (photo.name, f)}, data={"thickness": "6"}).json()["id"]
    apart = settled(client, id)
    said = [c["text"] for c in apart["cautions"]] + [apart["refusal"]["text"] if apart["refusal"] else ""]
    assert any(IN_TWO in text for text in said)
    asked = {"thickness": 6, "fragments": 2, "revision": apart["revision"]}
    painted = {"away": [[[1, 1], [9, 9]]]}
    refused = client.post(f"/api/jobs/{id}/trace", json={**asked, "strokes": painted})
    assert (refused.status_code, refused.json()["error"]["code"]) == (422, "fragments")
    assert client.post(f"/api/jobs/{id}/trace", json=asked).status_code == 202
    joined = settled(client, id)
    assert joined["state"] == "traced", joined["refusal"]
    assert joined["fragments"] == 2
    assert "joined" in [c["code"] for c in joined["cautions"]]


def test_an_opening_has_no_pieces(tmp_path: Path) -> None:
    with bench(plate(tmp_path)) as client:
        revision = client.get("/api/jobs/plate").json()["revision"]
        asked = {"subject": "opening", "fragments": 2, "revision": revision}
        answer = client.post("/api/jobs/plate/trace", json=asked)
        assert (answer.status_code, answer.json()["error"]["code"]) == (422, "fragments")
