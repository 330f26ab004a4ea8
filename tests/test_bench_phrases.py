"""The page says nothing that only a command line can do; a part broken in two is traced from the page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from calib.errors import JawlineError, WrongUsage
from calib.messages import Message
from calib.reference.found import Caution
from calib.target.target import NO_BARS
from measure.bench.phrases import IN_TWO, for_owner, on_page
from measure.job import job
from measure.job.records import CautionRecord
from measure.silhouette.silhouette import NoSilhouette
from measure.steps.phrases import on_command_line
from measure.tracing.parts import BESIDE
from tests.benches import bench, plate, until

BROKEN = Path(__file__).parent / "accuracy" / "broken"


def for_a_page(text: str) -> bool:
    return "--" not in text and "`jawline" not in text


def forced(folder: Path) -> JawlineError:
    """What is said when a file would be overwritten that somebody else wrote, or changed."""
    with pytest.raises(WrongUsage) as why:
        job.write(folder, {job.MEASURED: b"{}"})
    return why.value


def test_no_sentence_of_the_page_has_an_option_in_it(tmp_path: Path) -> None:
    said = [NoSilhouette("several-parts", 2).message, NoSilhouette("one-piece").message, BESIDE, NO_BARS]
    (tmp_path / job.MEASURED).write_bytes(b"by hand")
    said.append(forced(tmp_path).message)
    job.write(tmp_path, {job.MEASURED: b"1"}, force=True)
    (tmp_path / job.MEASURED).write_bytes(b"by hand")
    said.append(forced(tmp_path).message)
    with pytest.raises(WrongUsage) as why:
        job.content(tmp_path, job.TRACE, "trace PHOTO")
    said.append(why.value.message)
    for message in said:
        assert not for_a_page(message.said(on_command_line)), "a sentence that needs no other words tests nothing"
        assert for_a_page(message.said(on_page)), message
    owner = said[0].said(for_owner)
    assert owner == "Two things of like size lie there: leave only the part and take the photo again."


def test_a_caution_of_a_job_that_a_command_made_is_said_as_the_page_says_it() -> None:
    kept = CautionRecord.of(NO_BARS, on_command_line)
    again = CautionRecord.model_validate_json(kept.model_dump_json(exclude_none=True))
    assert again.text.endswith("give them as --bar-x and --bar-y, all lengths are then much surer.")
    assert again.message() == Message(NO_BARS.code, NO_BARS.what, NO_BARS.remedies)
    assert again.message().said(on_page).endswith("take a long reading with the caliper each way, all lengths are "
                                                  "then much surer.")  # fmt: skip
    plain = CautionRecord.of(Caution("card", "A sentence that is the same for everybody."), on_command_line)
    assert plain.model_dump(exclude_none=True) == {"code": "card", "text": "A sentence that is the same for everybody."}


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
