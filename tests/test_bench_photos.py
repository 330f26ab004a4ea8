"""Photos on the bench page: traced by workers, kept without the card's face and EXIF, good for a second trace."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from calib.errors import Untrustworthy
from calib.finding.finding import find_reference
from calib.photo.photo import load
from calib.reference.found import Found
from measure.bench import kept, tasks
from measure.bench.photo_copy import as_png, blurred, cleaned
from measure.drawing.framing import PHOTO_PX
from measure.job import job
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.workers import Workers
from measure.tracing.parts import prior_of
from tests.benches import bench, until
from tests.odd_work import crash, double, fail, hang
from tests.sample_photos import FOLDER, HALF, LEFT, TOP, middle, save, scene, without
from tests.test_privacy import MARKS, PLACE, likeness, marked, number_of_card

__all__ = ["marked"]
NAME = "Vent latch <b>"


def post(client: TestClient, photo: Path, **fields: str) -> Any:
    with open(photo, "rb") as f:
        return client.post("/api/jobs", files={"photo": (f"../../{photo.name}", f)}, data={"name": NAME, **fields})


def traced(client: TestClient, id: str) -> dict[str, Any]:
    """The state as soon as the trace is done."""

    def done() -> dict[str, Any] | None:
        found: dict[str, Any] = client.get(f"/api/jobs/{id}").json()
        return None if found["state"] == "tracing" else found

    return dict(until(done))


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with bench(tmp_path_factory.mktemp("jobs"), workers=1) as found:
        yield found


@pytest.fixture(scope="module")
def folder(client: TestClient) -> Path:
    found: Path = client.app.state.desk.settings.folder  # type: ignore[attr-defined]
    return found


@pytest.fixture(scope="module")
def latch(client: TestClient, marked: Path) -> dict[str, Any]:
    """A photo with marks all over, sent and traced; and the words that were said of the progress."""
    answer = post(client, marked, thickness="4,2")
    assert answer.status_code == 202
    id = answer.json()["id"]
    said = set()
    while (now := client.get(f"/api/jobs/{id}").json())["state"] == "tracing":
        said.add(now["progress"]["step"])
        time.sleep(0.05)
    return {**now, "said": said}


def test_a_photo_becomes_a_job(latch: dict[str, Any], folder: Path) -> None:
    assert (latch["id"], latch["name"], latch["state"], latch["thickness_mm"]) == ("vent-latch-b", NAME, "traced", 4.2)
    assert {"looking for the card", "finding the part"} & latch["said"]
    assert latch["photo"]["width"] == PHOTO_PX
    assert latch["card"]["name"] == "id-1"
    assert len(latch["features"]) > 15
    record = json.loads((folder / "vent-latch-b" / job.TRACE).read_text())
    assert record["part"] == NAME
    assert record["photo"] == "latch.jpg"


def test_outline_and_card_lie_where_they_are_in_the_picture(latch: dict[str, Any]) -> None:
    """Within a millimetre of the sample's truth, by hand the other way: `middle` is cut out of the whole photo."""
    scale = latch["photo"]["scale"]
    card = np.array(latch["card"]["corners"])
    true = (scene().card_px[:4] / HALF - [LEFT, TOP]) * scale
    assert max(np.hypot(*(true - c).T).min() for c in card) < 8
    points = [p.split(",") for f in latch["features"] if f["loop"] == 0 for p in f["path"][1:].rstrip("Z").split("L")]
    part = (scene().part_px / HALF - [LEFT, TOP]) * scale
    seen = np.array(points, float)
    assert np.abs(seen.min(0) - part.min(0)).max() < 15
    assert np.abs(seen.max(0) - part.max(0)).max() < 15


def test_the_commands_take_the_job_over(latch: dict[str, Any], client: TestClient, folder: Path) -> None:
    place = folder / latch["id"]
    offered = client.get(f"/api/jobs/{latch['id']}/offers", params={"features": "D1"}).json()["offers"][0]
    read(place, [f"{offered['kind']} D1 {offered['expected_mm']}"])
    assert reconcile(place).files
    assert sketch(place).files


def test_a_second_trace_needs_no_original_and_says_the_same(
    latch: dict[str, Any], client: TestClient, folder: Path
) -> None:
    before = (folder / latch["id"] / job.TRACE).read_bytes()
    now = client.get(f"/api/jobs/{latch['id']}").json()
    asked = {"thickness": "4,2", "subject": "part", "revision": now["revision"]}
    assert client.post(f"/api/jobs/{latch['id']}/trace", json=asked).status_code == 202
    assert traced(client, latch["id"])["refusal"] is None
    assert (folder / latch["id"] / job.TRACE).read_bytes() == before


def test_the_drawing_has_the_parts_name_as_text(latch: dict[str, Any], client: TestClient) -> None:
    svg = client.get(f"/api/jobs/{latch['id']}/sketch.svg").content
    root = ElementTree.fromstring(svg)
    assert NAME in [e.text for e in root.iter() if e.text]
    assert not [e.tag for e in root.iter() if e.tag.endswith(("}b", "script"))]


# -------------------------------------------------------------------------------------------------------------- privacy
def everything(client: TestClient, folder: Path, id: str) -> dict[str, bytes]:
    """All that is kept of a job, its history too, and all that is served of it."""
    out = {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    for path in ("", "/sketch.svg", "/photo.jpg", "/thumbnail.jpg", "/files/trace.png", "/files/trace.json"):
        answer = client.get(f"/api/jobs/{id}{path}")
        assert answer.status_code == 200, path
        out[path or "state"] = answer.content
    return out


def test_no_mark_of_the_photo_is_kept_or_served(latch: dict[str, Any], client: TestClient, folder: Path) -> None:
    for name, data in everything(client, folder, latch["id"]).items():
        for mark in (*MARKS.values(), *PLACE):
            assert mark.encode() not in data, f"{mark} in {name}"
        if data[:2] == b"\xff\xd8" or data[:4] == b"\x89PNG":
            with Image.open(io.BytesIO(data)) as im:
                assert not im.getexif(), name
                assert not {"xmp", "comment", "icc_profile"} & set(im.info), name


def test_the_original_is_gone(latch: dict[str, Any], client: TestClient) -> None:
    session: Path = client.app.state.desk.session.folder  # type: ignore[attr-defined]
    assert not [p for p in session.rglob("*") if p.is_file()]


@pytest.mark.parametrize(("path", "scale"), [("photo.png", 1.0), ("trace-photo.jpg", PHOTO_PX / 2232)])
def test_the_cards_number_is_in_no_picture(latch: dict[str, Any], folder: Path, path: str, scale: float) -> None:
    patch = number_of_card()
    with Image.open(folder / latch["id"] / path) as im:
        seen = np.asarray(im.convert("RGB"))
    widths = patch.shape[1] * scale * np.array([0.985, 1.0, 1.015])
    size = (round(2232 * scale), round(1200 * scale))
    original = cv2.resize(middle().rgb, size, interpolation=cv2.INTER_AREA)
    assert likeness(original, patch, widths) > 0.75  # where it is not hidden it is found
    assert likeness(seen, patch, widths) < 0.5


def test_the_copy_gives_the_same_view() -> None:
    """Scale within a thousandth of its own uncertainty."""
    photo = middle()
    first = find_reference(photo.rgb, prior_of(photo, None))
    assert isinstance(first, Found)
    again = find_reference(cleaned(photo.rgb, first.faces_px), prior_of(photo, None))
    assert isinstance(again, Found)
    a, b = (x.view.mm_per_px(np.zeros(2)) for x in (first, again))
    assert abs(a / b - 1) < 1e-3 * 0.004


def test_a_card_that_was_not_found_is_nowhere_to_be_read(client: TestClient, folder: Path, tmp_path: Path) -> None:
    """The frame cuts the card off, but not its number."""
    path = save(np.ascontiguousarray(middle().rgb[:, :2050]), tmp_path / "cut.jpg")
    id = post(client, path, thickness="4.2", name="cut off").json()["id"]
    found = traced(client, id)
    assert found["state"] == "refused"
    assert found["refusal"]["code"] == "cut-off"
    assert found["photo"]["blurred"]
    assert not (folder / id / kept.PHOTO).exists()
    assert not (folder / id / job.PHOTO).exists()
    patch = number_of_card()
    widths = patch.shape[1] * found["photo"]["scale"] * np.array([0.985, 1.0, 1.015])
    seen = np.asarray(Image.open(io.BytesIO(client.get(found["photo"]["url"]).content)))
    assert likeness(seen, patch, widths) < 0.5


def test_a_blurred_picture_keeps_no_digits() -> None:
    """A card as wide as the frame, with stripes as far apart as its digits: they are gone but for a grey level."""
    stripes = np.zeros((2500, 4000, 3), np.uint8)
    px_per_mm = 4000 / 85.6
    stripes[:] = (127 + 120 * np.sin(np.arange(4000) * 2 * np.pi / (3.63 * px_per_mm)))[None, :, None].astype(np.uint8)
    assert float(np.std(blurred(stripes)[800:1600, 800:3200])) < 2


# ------------------------------------------------------------------------------------------------------ what goes wrong
def test_a_photo_without_a_card_is_refused_and_the_next_is_traced(client: TestClient, tmp_path: Path) -> None:
    bare = save(without(scene().rgb, scene().card_px), tmp_path / "bare.jpg")
    id = post(client, bare, thickness="4.2", name="bare").json()["id"]
    found = traced(client, id)
    assert (found["state"], found["features"]) == ("refused", [])
    assert found["refusal"]["text"].endswith(".")
    listed = {j["id"]: j for j in client.get("/api/jobs").json()["jobs"]}
    assert (listed[id]["state"], listed[id]["note"]) == ("refused", found["refusal"]["text"])


def test_whatever_becomes_of_a_worker_the_others_are_served() -> None:
    said: list[Any] = []
    with Workers(1) as workers:
        bad = [workers.do(work, None, 1.0, said.append) for work in (crash, hang, fail)]
        good = workers.do(double, 21, 30.0, said.append)
        assert good.result(60) == 42
        codes = []
        for b in bad:
            with pytest.raises(Untrustworthy) as why:
                b.result(1)
            codes.append(why.value.code)
    assert codes == ["crashed", "too-long", "unexpected"]
    assert said == ["I hang", "at it"]


def test_the_sample_is_the_photo_that_the_tests_think_it_is() -> None:
    assert load(FOLDER / "photo.jpg").rgb.shape == (3024, 4032, 3)


# ------------------------------------------------------------------------------------------------------------- by hand
def test_what_is_marked_by_hand_goes_along(latch: dict[str, Any], client: TestClient, folder: Path) -> None:
    """A stroke that calls the middle of a hole part fills it; the corners, marked roughly, say where the card is."""
    now = client.get(f"/api/jobs/{latch['id']}").json()
    hole = next(f for f in now["features"] if f["kind"] == "circle")
    points = np.array([p.split(",") for p in hole["path"][1:].rstrip("Z").split("L")], float)
    middle_of, r = points.mean(0), np.ptp(points[:, 0]) / 2
    stroke = [[float(middle_of[0] + dx * r), float(middle_of[1] + dy * r)] for dx, dy in ((-1.3, 0), (1.3, 0.0))]
    corners = [[x + 6, y - 5] for x, y in now["card"]["corners"]]
    asked = {
        "thickness": "4.2",
        "strokes": {"part": [stroke], "away": []},
        "card_corners": corners,
        "revision": now["revision"],
    }
    assert client.post(f"/api/jobs/{latch['id']}/trace", json=asked).status_code == 202
    after = traced(client, latch["id"])
    assert after["refusal"] is None
    holes = [sum(f["loop"] > 0 for f in s["features"]) for s in (now, after)]
    assert holes[1] < holes[0]
    assert after["strokes"]["part"] == [stroke]
    assert after["card_corners"] == corners
    back = client.post(f"/api/jobs/{latch['id']}/undo", json={"revision": after["revision"]}).json()
    assert [f["label"] for f in back["features"]] == [f["label"] for f in now["features"]]
    assert back["strokes"]["part"] == []


def test_what_is_said_of_the_upper_edge_is_traced_with_kept_and_undone(
    latch: dict[str, Any], client: TestClient, folder: Path
) -> None:
    place = folder / latch["id"]
    now = client.get(f"/api/jobs/{latch['id']}").json()
    asked = {"thickness": "4.2", "rim": "clear", "revision": now["revision"]}
    assert client.post(f"/api/jobs/{latch['id']}/trace", json=asked).status_code == 202
    after = traced(client, latch["id"])
    known = kept.from_bytes((place / kept.FILE).read_bytes())
    assert known is not None
    assert (now["rim"], after["rim"], known.asked.rim) == ("unknown", "clear", "clear")
    assert json.loads((place / job.TRACE).read_text())["rim"]["told"] == "clear"
    back = client.post(f"/api/jobs/{latch['id']}/undo", json={"revision": after["revision"]}).json()
    assert back["rim"] == "unknown"
    assert json.loads((place / job.TRACE).read_text())["rim"]["told"] == "unknown"


def test_another_word_for_the_upper_edge_is_refused(client: TestClient, marked: Path) -> None:
    answer = post(client, marked, thickness="4,2", rim="blunt")
    assert answer.status_code == 422
    assert answer.json()["error"]["code"] == "rim"


def test_corners_on_a_photo_that_was_refused(client: TestClient, folder: Path, tmp_path: Path) -> None:
    """They help nothing where there is no card; the photo stays in the session, and may be tried again."""
    bare = save(without(scene().rgb, scene().card_px), tmp_path / "bare.jpg")
    id = post(client, bare, thickness="4.2", name="by hand").json()["id"]
    for _ in range(2):
        found = traced(client, id)
        assert (found["state"], found["photo"]["blurred"]) == ("refused", True)
        card = [[float(v) * found["photo"]["scale"] for v in c] for c in scene().card_px[:4]]
        asked = {"thickness": "4.2", "card_corners": card, "revision": found["revision"]}
        assert client.post(f"/api/jobs/{id}/trace", json=asked).status_code == 202
    traced(client, id)
    assert not (folder / id / kept.PHOTO).exists()


def test_as_soon_as_the_card_is_known_the_face_is_hidden_and_the_copy_may_be_kept(tmp_path: Path) -> None:
    """A photo that lay in the session since nobody could hide its card, and corners that are marked now."""
    photo = middle()
    path = tmp_path / "The photo"
    path.write_bytes(as_png(photo.rgb))
    scale = PHOTO_PX / photo.rgb.shape[1]
    known = kept.KeptPhoto(focal_35mm=photo.focal_35mm, width=PHOTO_PX, height=1075, scale=scale)
    card = (scene().card_px[:4] / HALF - [LEFT, TOP] + 0.5) * scale
    asked = kept.TraceChoices(thickness_mm=4.2, card_corners=tuple((float(x), float(y)) for x, y in card))
    out = tmp_path / "out"
    out.mkdir()
    said: list[Any] = []
    answer = tasks.trace(tasks.TraceOrder(path, out, "latch", asked, known, False, "latch.jpg"), said.append)
    assert [x.may_be_kept for x in said if isinstance(x, tasks.Copied)] == [True]
    assert set(answer.files) == set(job.TRACED)
    seen = np.asarray(Image.open(out / kept.PHOTO))
    patch = number_of_card()
    assert likeness(seen, patch, np.array([patch.shape[1] * 1.0])) < 0.5
