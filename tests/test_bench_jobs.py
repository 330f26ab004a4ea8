"""Jobs on the bench page: read, changed, undone, by several at once and by the commands meanwhile."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
from starlette.testclient import TestClient

from measure.bench.shelf import plain_name, slug
from measure.drawing.outline_dxf import outline_dxf
from measure.job import job, records
from measure.steps.next import next_readings
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trial import trial
from tests.benches import bench, plate, width
from tests.broken_parts import bridge, tear
from tests.jobs import record

READINGS = "/api/jobs/plate/readings"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return plate(tmp_path / "jobs")


@pytest.fixture
def client(folder: Path) -> Iterator[TestClient]:
    with bench(folder) as found:
        yield found


def state(client: TestClient) -> dict[str, Any]:
    return dict(client.get("/api/jobs/plate").json())


# ----------------------------------------------------------------------------------------------------- one and the same
def test_a_job_of_the_commands_opens(client: TestClient) -> None:
    found = state(client)
    assert (found["state"], found["name"], found["thickness_mm"]) == ("traced", "plate", 4.2)
    assert {f["label"] for f in found["features"]} == {"E1", "E2", "E3", "E4", "E5", "E6", "R1", "R2", "D1"}
    assert found["photo"]["url"] is None  # no photo was kept: the outline is drawn on a plain ground
    for f in found["features"]:
        x, y = f["label_at"]
        assert -40 < x < found["photo"]["width"] + 40
        assert -40 < y < found["photo"]["height"] + 40
    assert [j["id"] for j in client.get("/api/jobs").json()["jobs"]] == ["plate"]
    assert found["next"]["kind"]
    assert client.get("/job/plate").status_code == 200


def test_the_outline_is_drawn_as_it_is_seen(client: TestClient) -> None:
    """x to the right, y up in the part; y down in the picture: the lower edge E1 lies below the upper one E3."""
    paths = {f["label"]: f["path"] for f in state(client)["features"]}
    ends = {k: [tuple(map(float, p.split(","))) for p in v[1:].rstrip("Z").split("L")] for k, v in paths.items()}
    assert ends["E1"][0][1] > ends["E3"][0][1]
    assert ends["E1"][0][0] < ends["E1"][-1][0]
    assert paths["D1"].endswith("Z")


def test_what_the_page_writes_the_commands_read(client: TestClient, folder: Path) -> None:
    client.post(READINGS, json=width("60,03"))
    client.post(READINGS, json={"kind": "bore", "features": ["d1"], "value": 6.01, "tool": "vernier"})
    text = (folder / "plate" / job.READINGS).read_text()
    assert text == "kind,features,value,unit,tool,note\nwidth,E2 E4,60.03,mm,caliper,\nbore,D1,6.01,mm,vernier,\n"
    read(folder / "plate", ["web D1 E1 9.0"])
    done = reconcile(folder / "plate")
    assert [r["kind"] for r in done.result["readings"]] == ["width", "bore", "web"]
    sketch(folder / "plate")
    next_readings(folder / "plate")


def test_page_and_commands_come_to_the_same_figures(client: TestClient, folder: Path) -> None:
    shown = client.post(READINGS, json=width("60.03")).json()
    done = reconcile(folder / "plate")
    figures = [{k: d[k] for k in ("kind", "features", "value_mm", "u95_mm", "basis")} for d in shown["dimensions"]]
    assert figures == done.result["dimensions"]
    sketch(folder / "plate")
    drawn = (folder / "plate" / "sketch.svg").read_bytes()
    assert client.get("/api/jobs/plate/sketch.svg").content == drawn


def test_a_change_by_a_command_is_noticed(client: TestClient, folder: Path) -> None:
    before = state(client)
    read(folder / "plate", ["width E2 E4 60.0"])
    after = state(client)
    assert after["revision"] > before["revision"]
    assert [r["words"] for r in after["readings"]] == ["width E2 E4 60.0 mm"]


# -------------------------------------------------------------------------------------------------------------- changes
def test_readings_are_judged_and_advice_is_given(client: TestClient) -> None:
    client.post(READINGS, json=width("60.0"))
    found = client.post(READINGS, json={"kind": "width", "features": ["E1", "E3"], "value": "1.181"}).json()
    kept, suspect = found["readings"]
    assert (kept["verdict"], kept["advice"]) == ("kept", None)
    assert (suspect["verdict"], suspect["likely"]) == ("suspect", "unit")  # 30 mm is 1.181 inches
    assert "inches" in suspect["advice"]
    assert found["state"] == "measured"


@pytest.mark.parametrize(
    ("reading", "code"),
    [
        ({"kind": "width", "features": ["E2", "E9"], "value": "60"}, "reading-label"),
        ({"kind": "gap", "features": ["E2", "E4"], "value": "60"}, "reading-geometry"),
        ({"kind": "width", "features": ["E2", "E4"], "value": "sixty"}, "reading-number"),
        ({"kind": "width", "features": ["E2", "E4"], "value": "-1"}, "reading-range"),
        ({"kind": "width", "features": ["E2", "E4"], "value": "60", "unit": "furlong"}, "reading-unit"),
        ({"kind": "width", "features": ["E2", "E4"], "value": "60", "tool": "../../etc"}, "reading-tool"),
        ({"kind": "width", "features": ["/etc/passwd", "x.csv"], "value": "60"}, "reading-label"),
        ({"kind": "/etc/passwd", "value": "60"}, "reading-kind"),
    ],
)
def test_a_reading_that_makes_no_sense_changes_nothing(
    client: TestClient, folder: Path, reading: dict[str, Any], code: str
) -> None:
    answer = client.post(READINGS, json=reading)
    assert (answer.status_code, answer.json()["error"]["code"]) == (422, code)
    assert not (folder / "plate" / job.READINGS).exists()


@pytest.mark.parametrize(
    "content",
    [b"{", b"[]", b"null", b'{"kind": 3}', b"{}" * 9, b"\xff", b'{"value": 1e999, "kind": "bore"}', b"[" * 100_000,
     b'"' + b"x" * 300_000 + b'"'],
)  # fmt: skip
def test_what_is_no_request_is_said_so(client: TestClient, content: bytes) -> None:
    answer = client.post(READINGS, content=content)
    assert answer.status_code in (400, 413)
    assert answer.json()["error"]["text"].endswith(".")


def test_a_reading_is_taken_out_and_brought_back(client: TestClient, folder: Path) -> None:
    path = folder / "plate" / job.READINGS
    path.write_text("# by hand\nkind,features,value,unit,tool,note\nwidth,E2 E4,60.0,mm,caliper,first\n")
    now = client.post(READINGS, json=width("60.1")).json()
    first, second = now["readings"]
    now = client.delete(f"{READINGS}/{second['key']}", params={"revision": now["revision"]}).json()
    assert [r["key"] for r in now["readings"]] == [first["key"]]
    assert path.read_text() == "# by hand\nkind,features,value,unit,tool,note\nwidth,E2 E4,60.0,mm,caliper,first\n"
    now = client.delete(f"{READINGS}/{first['key']}", params={"revision": now["revision"]}).json()
    assert (now["readings"], now["state"]) == ([], "traced")
    for count in (1, 2, 1):
        now = client.post("/api/jobs/plate/undo", json={"revision": now["revision"]}).json()
        assert len(now["readings"]) == count
    assert "first" in path.read_text()


def test_two_equal_readings_have_keys_of_their_own(client: TestClient) -> None:
    for _ in range(2):
        now = client.post(READINGS, json=width("60.0")).json()
    keys = [r["key"] for r in now["readings"]]
    assert len(set(keys)) == 2
    now = client.delete(f"{READINGS}/{keys[1]}", params={"revision": now["revision"]}).json()
    assert [r["key"] for r in now["readings"]] == keys[:1]


def test_undo_ends_where_the_job_began(client: TestClient, folder: Path) -> None:
    now = client.post(READINGS, json=width("60.0")).json()
    assert now["can_undo"]
    now = client.post("/api/jobs/plate/undo", json={"revision": now["revision"]}).json()
    assert (now["readings"], now["can_undo"]) == ([], False)
    answer = client.post("/api/jobs/plate/undo", json={"revision": now["revision"]})
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "nothing-to-undo")
    reconcile(folder / "plate")


def test_readings_that_no_longer_fit_hold_up_no_others(client: TestClient, folder: Path) -> None:
    (folder / "plate" / job.READINGS).write_text("kind,features,value\nwidth,E2 E44,60\nwidth,E2 E4,60.02\n")
    found = state(client)
    assert [r["verdict"] for r in found["readings"]] == ["suspect", "kept"]
    assert "E44" in found["readings"][0]["reason"]
    answer = client.post("/api/jobs/plate/make", json={"what": "sketch"})
    assert answer.status_code == 422
    assert not (folder / "plate" / "sketch.pdf").exists()


def test_readings_that_nobody_understands_are_named(client: TestClient, folder: Path) -> None:
    (folder / "plate" / job.READINGS).write_text("what is this\n")
    found = state(client)
    assert found["cautions"][0]["code"] == "readings-heading"
    assert client.post(READINGS, json=width("60")).status_code == 422
    assert (folder / "plate" / job.READINGS).read_text() == "what is this\n"


def test_a_damaged_job_says_so_and_stops_no_other(client: TestClient, folder: Path) -> None:
    (folder / "broken").mkdir()
    (folder / "broken" / job.TRACE).write_text('{"schema": "jawline/1", "features": [')
    found = client.get("/api/jobs/broken").json()
    assert (found["state"], found["refusal"]["code"]) == ("refused", "job-damaged")
    assert str(folder) not in found["refusal"]["text"]
    assert len(client.get("/api/jobs").json()["jobs"]) == 2


# ----------------------------------------------------------------------------------------------------------------- tabs
def test_two_tabs_append_at_once_and_nothing_is_lost(client: TestClient, folder: Path) -> None:
    stale = state(client)["revision"]
    answers: list[int] = []

    def tab(n: int) -> None:
        for k in range(5):
            body = width(f"60.{n}{k}", revision=stale)
            answers.append(client.post(READINGS, json=body).status_code)

    tabs = [threading.Thread(target=tab, args=(n,)) for n in range(2)]
    for t in tabs:
        t.start()
    for t in tabs:
        t.join()
    assert answers == [200] * 10
    rows = (folder / "plate" / job.READINGS).read_text().splitlines()[1:]
    assert sorted(r.split(",")[2] for r in rows) == [f"60.{n}{k}" for n in range(2) for k in range(5)]


@pytest.mark.parametrize("revision", [None, 0, 17])
def test_what_an_outdated_tab_changes_is_refused_with_the_state(client: TestClient, revision: int | None) -> None:
    now = client.post(READINGS, json=width("60.0")).json()
    key = now["readings"][0]["key"]
    for answer in (
        client.delete(f"{READINGS}/{key}", params={} if revision is None else {"revision": revision}),
        client.post("/api/jobs/plate/undo", json={"revision": revision}),
        client.post("/api/jobs/plate/complete", json={"by": "open", "revision": revision}),
        client.post("/api/jobs/plate/trace", json={"thickness": "4", "revision": revision}),
    ):
        found = answer.json()
        assert (answer.status_code, found["error"]["code"]) == (409, "stale")
        assert (found["revision"], len(found["readings"])) == (now["revision"], 1)


def test_revisions_only_grow(client: TestClient, folder: Path) -> None:
    seen = [state(client)["revision"]]
    for _ in range(6):
        seen.append(client.post(READINGS, json=width("60.0")).json()["revision"])
    for _ in range(6):
        seen.append(client.post("/api/jobs/plate/undo", json={"revision": seen[-1]}).json()["revision"])
    assert seen == sorted(set(seen))
    assert seen[-1] < 2**53  # as far as numbers in a browser are exact


# ---------------------------------------------------------------------------------------------------------------- files
def test_files_are_made_and_downloaded(client: TestClient) -> None:
    client.post(READINGS, json=width("60.0"))
    for what, options, names in (
        ("sketch", {}, {"sketch.dxf", "sketch.svg", "sketch.pdf"}),
        ("fit", {"as": "snug"}, {"fit.dxf", "fit.svg", "fit.pdf"}),
        ("gauge", {"as": "sliding", "around": ["D1"]}, {"gauge.3mf", "gauge.stl"}),
        ("solid", {}, {"solid.3mf", "solid.stl"}),
    ):
        made = client.post("/api/jobs/plate/make", json={"what": what, "options": options}).json()["files"]
        assert {f["name"] for f in made} - {job.STEP} == names
        for f in made:
            answer = client.get(f["url"])
            assert answer.status_code == 200
            assert answer.headers["content-disposition"].startswith("attachment")
    listed = {f["name"] for f in state(client)["files"]}
    assert {"readings.csv", "measured.json", "sketch.pdf", "solid.stl"} <= listed
    client.post(READINGS, json=width("60.01"))
    made = client.post("/api/jobs/plate/make", json={"what": "sketch"}).json()["files"]
    assert len(made) == 3


def test_what_the_commands_refuse_the_page_refuses(client: TestClient) -> None:
    for options, code in (({"as": "tight"}, "fit"), ({"printer": "../../etc/passwd"}, None)):
        answer = client.post("/api/jobs/plate/make", json={"what": "fit", "options": options})
        assert answer.status_code == 422
        assert code in (None, answer.json()["error"]["code"])
    assert client.post("/api/jobs/plate/make", json={"what": "coffee"}).status_code == 422


def test_a_file_changed_by_hand_is_not_overwritten(client: TestClient, folder: Path) -> None:
    client.post("/api/jobs/plate/make", json={"what": "sketch"})
    (folder / "plate" / "sketch.svg").write_text("mine")
    answer = client.post("/api/jobs/plate/make", json={"what": "sketch"})
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "not-overwritten")
    assert (folder / "plate" / "sketch.svg").read_text() == "mine"


@pytest.mark.parametrize(
    "id", ["..", "../plate", "..%2f..%2fetc", "%2e%2e", "/etc", "plate%00", ".history", "secret", "link", "plain"]
)
def test_no_name_leads_out_of_the_folder(client: TestClient, folder: Path, id: str) -> None:
    plate(folder.parent, "secret")
    (folder / "link").symlink_to(folder.parent / "secret")
    (folder / "plain").mkdir()
    for rest in ("", "/sketch.svg", "/photo.jpg", "/files/trace.json", "/events", "/offers"):
        answer = client.get(f"/api/jobs/{id}{rest}")
        assert answer.status_code == 404, rest
    assert client.post(f"/api/jobs/{id}/readings", json=width("60")).status_code in (404, 405)


@pytest.mark.parametrize(
    "name",
    [
        "../trace.json",
        "..%2ftrace.json",
        ".jawline.json",
        "bench.json",
        "photo.png",
        "%2fetc%2fpasswd",
        "trace.json%00",
        "x",
    ],
)
def test_only_listed_files_are_given_out(client: TestClient, folder: Path, name: str) -> None:
    (folder / "plate" / "photo.png").write_bytes(b"private")
    assert client.get(f"/api/jobs/plate/files/{name}").status_code == 404


def test_a_link_among_the_files_is_not_followed(client: TestClient, folder: Path) -> None:
    (folder.parent / "private").write_text("private")
    (folder / "plate" / "sketch.svg").symlink_to(folder.parent / "private")
    assert client.get("/api/jobs/plate/files/sketch.svg").status_code == 404


# ---------------------------------------------------------------------------------------------------------------- names
SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"


def test_a_name_is_text_and_nothing_else(tmp_path: Path) -> None:
    folder = plate(tmp_path, SCRIPT.replace("/", "∕"))
    with bench(folder) as client:
        found = client.get("/api/jobs").json()["jobs"][0]
        id = quote(found["id"], safe="")
        page = client.get(f"/job/{id}")
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert "<img" not in page.text
        svg = client.get(f"/api/jobs/{id}/sketch.svg")
        assert b"<script" not in svg.content
        assert "script-src" not in svg.headers["content-security-policy"]
        assert "default-src 'none'" in svg.headers["content-security-policy"]


def test_names_of_folders_are_plain() -> None:
    assert slug("../../etc/passwd") == "etc-passwd"
    assert slug(SCRIPT) == "script-alert-1-script-img-src-x-onerror"
    assert slug("Stuhl-Füßchen №2") == "stuhl-fuchen-no2"
    assert slug("日本") == slug("") == slug("...") == "job"
    assert len(slug("x" * 500)) == 40
    assert plain_name("a\x1b[31m\nb\u202e" + "c" * 500).startswith("a [31m b c")


def test_offers_are_what_jaws_can_take(client: TestClient) -> None:
    def asked(features: str) -> dict[str, float]:
        answer = client.get("/api/jobs/plate/offers", params={"features": features}).json()
        return {o["kind"]: o["expected_mm"] for o in answer["offers"]}

    assert asked("E2,E4") == {"width": pytest.approx(60.0, abs=0.01)}
    assert asked("E5,E6") == {"gap": pytest.approx(5.0, abs=0.01)}
    assert asked("d1") == {"bore": pytest.approx(6.0, abs=0.01)}
    assert set(asked("R1")) == {"bore", "radius"}
    assert asked("D1,E1") == {"web": pytest.approx(9.0, abs=0.01)}
    assert asked("E1,E2") == {}
    assert set(asked("")) == {"thickness"}
    assert client.get("/api/jobs/plate/offers", params={"features": "E99"}).status_code == 422


# -------------------------------------------------------------------------------------------------------------- broken
def test_a_broken_part_is_completed_opened_and_undone(client: TestClient, folder: Path) -> None:
    e = tear(bridge(), (0.15, 0.26), np.random.default_rng(5), depth=1.0).estimate
    features = tuple(records.feature_record(f) for f in e.features)
    given = {"features": features, "dimensions": (), "adjustment": records.adjustment_record(e)}
    text = records.to_text(record("bridge").model_copy(update=given)).encode()
    job.write(folder / "bridge", {job.TRACE: text, job.OUTLINE: outline_dxf(e.features)})
    seen = client.get("/api/jobs/bridge").json()
    assert seen["completion"] is None

    def post(what: str, **body: Any) -> dict[str, Any]:
        return dict(client.post(f"/api/jobs/bridge/{what}", json=body).json())

    now = post("complete", by=None, broken=None, revision=seen["revision"])
    assert now["completion"]["broken"] == ["C1"]
    assert "completed" in {f["origin"] for f in now["features"]}
    (filled,) = now["completion"]["breaks"]
    made_up = [f["label"] for f in now["features"] if f["origin"] == "completed"]
    assert (filled["broken"], filled["features"], filled["kept"]) == ("C1", made_up, False)
    assert filled["words"].endswith(".")
    now = post("complete", by="keep", broken="C1", revision=now["revision"])
    assert now["completion"]["breaks"][0]["kept"]
    now = post("undo", revision=now["revision"])
    assert not now["completion"]["breaks"][0]["kept"]
    now = post("complete", by="keep", revision=now["revision"])
    assert client.get("/api/jobs/bridge/offers", params={"features": made_up[0]}).json()["offers"] == []
    now = post("complete", by="open", revision=now["revision"])
    assert (now["completion"], (folder / "bridge" / job.TRACE).read_bytes()) == (None, text)
    now = post("complete", by=filled["by"], broken="C1", revision=now["revision"])
    assert not now["completion"]["breaks"][0]["kept"]  # filled in anew it has to be looked at again
    for kept in (None, True, False):
        now = post("undo", revision=now["revision"])
        assert (now["completion"] and now["completion"]["breaks"][0]["kept"]) is kept
    assert post("complete", by="keep", broken="E1", revision=now["revision"])["error"]["code"] == "not-completed"
    now = post("undo", revision=now["revision"])
    assert (folder / "bridge" / job.TRACE).read_bytes() == text
    assert not now["can_undo"]
    assert post("complete", by="magic", revision=now["revision"])["error"]["code"] == "by"
    assert post("complete", broken="E99-E1", revision=now["revision"])["error"]["text"].endswith(".")
    assert not client.get("/api/jobs/bridge").json()["can_undo"]  # what failed is nothing to undo


# ----------------------------------------------------------------------------------------------------------- revisions
def test_a_reading_is_changed_in_its_own_line(client: TestClient, folder: Path) -> None:
    path = folder / "plate/readings.csv"
    path.write_text(
        "kind,features,value,unit,tool,note\n# by hand\nwidth,E2 E4,2.362,mm,vernier,worn\nbore,D1,6.0,mm,caliper,\n"
    )
    first, second = state(client)["readings"]
    assert (first["verdict"], first["likely"]) == ("suspect", "unit")  # 2.362 in are 59.99 mm; the plate has 60
    change = f"{READINGS}/{first['key']}"
    now = client.post(change, json={"unit": "in", "revision": state(client)["revision"]}).json()
    assert path.read_text().splitlines()[1:3] == ["# by hand", "width,E2 E4,2.362,in,vernier,worn"]
    assert now["readings"][0]["verdict"] == "kept"
    assert now["readings"][0]["value_mm"] == pytest.approx(2.362 * 25.4)
    assert now["readings"][1]["key"] == second["key"]
    gone = client.post(change, json={"unit": "in", "revision": now["revision"]})
    assert (gone.status_code, gone.json()["error"]["code"]) == (404, "no-reading")
    key = now["readings"][1]["key"]
    bad = client.post(f"{READINGS}/{key}", json={"value": "abc", "revision": now["revision"]})
    assert "not a number" in bad.json()["error"]["text"]
    back = client.post("/api/jobs/plate/undo", json={"revision": now["revision"]}).json()
    assert back["readings"][0]["unit"] == "mm"


def test_the_files_of_a_drawing_that_was_printed_can_be_had_again(client: TestClient, folder: Path) -> None:
    made = client.post("/api/jobs/plate/make", json={"what": "gauge", "options": {"as": "sliding"}}).json()["files"]
    gauge = client.get(made[0]["url"]).content
    told = client.post(
        "/api/jobs/plate/trial", json={"said": "tight at E2", "revision": state(client)["revision"]}
    ).json()
    assert told["trial"]["drawn"] == "gauge"
    first, second = told["revisions"]
    assert {f["name"] for f in first["files"]} >= {"sketch.pdf", "gauge.3mf", "gauge.stl"}
    assert {f["name"] for f in second["files"]} == {"sketch.dxf", "sketch.svg", "sketch.pdf"}
    kept = next(f for f in first["files"] if f["name"] == "gauge.3mf")
    answer = client.get(kept["url"])
    assert answer.content == gauge
    assert "plate-1-gauge.3mf" in answer.headers["content-disposition"]
    for bad in ("1/revision.json", "1/gauge.txt", "3/gauge.3mf", "0/gauge.3mf", "x/gauge.3mf", "9" * 40 + "/gauge.3mf"):
        assert client.get(f"/api/jobs/plate/revisions/{bad}").status_code == 404, bad


def test_the_drawings_of_trial_prints_are_listed_and_shown(client: TestClient, folder: Path) -> None:
    client.post(READINGS, json=width("60.0"))
    assert client.get("/api/jobs/plate/revisions").json() == {"revisions": []}
    before = client.get("/api/jobs/plate/sketch.svg").content
    reconcile(folder / "plate")
    trial(folder / "plate", ["too long 0.3 at E2"])
    found = client.get("/api/jobs/plate/revisions").json()["revisions"]
    assert [r["n"] for r in found] == [1, 2]
    assert "E2" in found[1]["words"]
    assert state(client)["revisions"] == found
    first, second = (client.get(f"/api/jobs/plate/revisions/{n}.svg") for n in (1, 2))
    assert first.headers["content-type"].startswith("image/svg+xml")
    assert first.content != second.content
    after = client.get("/api/jobs/plate/sketch.svg")
    assert after.content != before  # the drawing has what the trial print asked for
    for n in ("3", "0", "x", "../1", "-1"):
        assert client.get(f"/api/jobs/plate/revisions/{n}.svg").status_code == 404
