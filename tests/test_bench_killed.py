"""The real server: killed at any moment it has every reading that it acknowledged; Ctrl-C ends it in order."""

from __future__ import annotations

import signal
import threading
import time
from pathlib import Path

import httpx
import pytest

from measure.bench import kept
from measure.bench.shelf import Shelf
from measure.cli.app import app
from measure.cli.run import run
from measure.job import job
from measure.job.history import FOLDER as HISTORY
from measure.steps.reconcile import reconcile
from tests.benches import bench, plate, server, width


@pytest.mark.parametrize("after_s", [0.0, 0.6])
def test_killed_it_has_every_reading_that_it_acknowledged(tmp_path: Path, after_s: float) -> None:
    plate(tmp_path)
    acknowledged: list[str] = []

    def read(client: httpx.Client) -> None:
        n = 0
        while True:
            n += 1
            try:
                answer = client.post("/api/jobs/plate/readings", json=width(f"60.{n:03}"))
            except httpx.HTTPError:
                return
            if answer.status_code == 200:
                acknowledged.append(f"60.{n:03}")

    with server(tmp_path) as (process, _, client):
        reader = threading.Thread(target=read, args=(client,))
        reader.start()
        end = time.monotonic() + 20
        while not acknowledged and time.monotonic() < end:
            time.sleep(0.01)
        time.sleep(after_s)
        process.send_signal(signal.SIGKILL)
        reader.join(10)
    assert acknowledged
    with bench(tmp_path) as again:
        found = again.get("/api/jobs/plate").json()
        values = [r["words"].split()[3] for r in found["readings"]]
        assert values[: len(acknowledged)] == acknowledged
        assert len(values) <= len(acknowledged) + 1  # one may be written and its answer lost
        now = again.post("/api/jobs/plate/readings", json=width("60.5")).json()
        assert len(now["readings"]) == len(values) + 1
        again.post("/api/jobs/plate/undo", json={"revision": now["revision"]})
    assert not list((tmp_path / "plate").glob(".*.part"))
    assert len(reconcile(tmp_path / "plate").result["readings"]) == len(values)


def test_what_a_killed_bench_could_not_keep_is_said(tmp_path: Path) -> None:
    """A photo that was waiting for its trace, of which the job has nothing yet."""
    Shelf(tmp_path).new("latch", kept.Kept(name="Latch"))
    with bench(tmp_path) as client:
        found = client.get("/api/jobs/latch").json()
        assert (found["state"], found["refusal"]["code"]) == ("refused", "photo-gone")
        assert (
            client.post("/api/jobs/latch/trace", json={"thickness": 4, "revision": found["revision"]}).status_code
            == 409
        )


def test_a_second_bench_leaves_alone_what_the_first_is_at(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A photo that waits for its trace, and a step of the history that is being written."""
    plate(tmp_path)
    with server(tmp_path) as (_, _, first):
        Shelf(tmp_path).new("latch", kept.Kept(name="Latch"))
        under_way = tmp_path / "plate" / HISTORY / "7.part"
        under_way.mkdir(parents=True)
        assert run(app, ["bench", str(tmp_path), "--port", "0", "--no-open"]) == 2
        assert "Another bench has the folder" in capsys.readouterr().err
        assert under_way.is_dir()
        assert first.get("/api/jobs/latch").json()["state"] != "refused"
    with bench(tmp_path) as later:
        assert later.get("/api/jobs/latch").json()["refusal"]["code"] == "photo-gone"
        assert not under_way.exists()


def test_a_second_tab_is_told_and_ctrl_c_ends_in_order(tmp_path: Path) -> None:
    plate(tmp_path)
    with server(tmp_path) as (process, _, client):
        heard: list[str] = []
        with client.stream("GET", "/api/jobs/plate/events") as stream:
            assert stream.headers["content-type"].startswith("text/event-stream")
            lines = stream.iter_lines()
            heard.append(next(x for x in lines if x))
            revision = client.post("/api/jobs/plate/readings", json=width("60.0")).json()["revision"]
            heard.append(next(x for x in lines if x))
            assert f'"revision": {revision}' in heard[1]
            assert '"state": "measured"' in heard[1]
            process.send_signal(signal.SIGINT)  # while a page is open
            assert process.wait(10) == 0
        assert process.stdout is not None
        said = process.stdout.read()
        assert "The bench is closed" in said
        assert "Traceback" not in said
    assert (tmp_path / "plate" / job.READINGS).read_text().count("60.0") == 1


def test_two_benches_don_t_share_a_folder_and_owners_get_an_address(tmp_path: Path) -> None:
    plate(tmp_path)
    with server(tmp_path, "--intake") as (_, said, client):
        assert client.get("/api/jobs").status_code == 403
        owners = next(line for line in said.splitlines() if "/intake?token=" in line)
        assert "█" in said or "▄" in said  # the address as a QR code
        with pytest.raises(AssertionError, match="Another bench"), server(tmp_path):
            pass
        tokens = [line.split("token=")[1] for line in said.splitlines() if "token=" in line]
        assert len(set(tokens)) == 2
        assert min(map(len, tokens)) >= 32
        assert client.get("/intake", params={"token": owners.split("token=")[1]}).status_code == 303
        assert client.get("/", params={"token": owners.split("token=")[1]}).status_code == 403
