"""What is sent to the bench: too large, too slow, too often, no photo at all, and bombs."""

from __future__ import annotations

import io
import socket
import struct
import time
import zlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from measure.bench import connections
from measure.bench.settings import Limits
from measure.bench.uploads import Gate, NotTaken
from tests.benches import bench, listening, plate

PART, END = b'--b\r\nContent-Disposition: form-data; name="%s"\r\n\r\n', b"\r\n--b--\r\n"
SMALL = {"upload_mb": 1.0, "burst": 1000, "upload_s": 3.0, "pause_s": 1.0}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with bench(tmp_path_factory.mktemp("jobs"), limits=SMALL, intake=True) as found:
        yield found


def sent(
    client: TestClient, data: bytes, path: str = "/api/jobs", name: str = "x.jpg", **fields: str
) -> tuple[int, str]:
    answer = client.post(path, files={"photo": ("x.jpg", data)}, data={"thickness": "4", **fields})
    return answer.status_code, answer.json()["error"]["code"]


def png(width: int, height: int, body: bytes = b"") -> bytes:
    """A PNG that claims a size (ISO/IEC 15948, 11.2.2), with as much behind it as is given."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@cache
def bombs() -> dict[str, bytes]:
    """Small files that would fill memory if they were decoded."""
    zeros = zlib.compress(bytes(200_000_000), 9)
    gif = io.BytesIO()
    frames = [Image.new("P", (500, 500), k) for k in range(3)]
    frames[0].save(gif, "GIF", save_all=True, append_images=frames[1:])
    return {
        "claims": png(60_000, 60_000),
        "holds": png(20_000, 10_000, zeros[:900_000]),
        "gif": gif.getvalue(),
        "zip": b"PK\3\4" + bytes(1000),
        "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        "xml": b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>',
        "empty": b"",
        "nothing": b"\0" * 5000,
        "page": b"<!doctype html><script>alert(1)</script>",
    }


@pytest.mark.parametrize("path", ["/api/jobs", "/api/intake"])
@pytest.mark.parametrize("kind", list(bombs()))
def test_what_is_no_photo_is_refused_before_it_is_decoded(client: TestClient, kind: str, path: str) -> None:
    """There are no workers here: all of it is refused by its header."""
    began = time.process_time()
    status, code = sent(client, bombs()[kind], path)
    assert (status, code) in {
        (413, "photo-too-large"),
        (422, "not-a-photo"),
        (422, "photo-empty"),
        (422, "photo-damaged"),
    }
    assert time.process_time() - began < 3
    assert client.get("/api/jobs").json() == {"jobs": []}


def test_a_photo_too_large_is_cut_off(client: TestClient) -> None:
    assert sent(client, b"\xff\xd8" + bytes(1_500_000)) == (413, "photo-too-large")

    def endless() -> Iterator[bytes]:
        yield b'--b\r\nContent-Disposition: form-data; name="photo"; filename="x.jpg"\r\n\r\n'
        for _ in range(200):
            yield bytes(100_000)

    head = {"Content-Type": "multipart/form-data; boundary=b"}
    answer = client.post("/api/jobs", content=endless(), headers=head)  # it does not say how long it is
    assert (answer.status_code, answer.json()["error"]["code"]) == (413, "photo-too-large")


def test_nothing_of_what_was_refused_stays(client: TestClient) -> None:
    session: Path = client.app.state.desk.session.folder  # type: ignore[attr-defined]
    sent(client, b"not a photo")
    assert list(session.iterdir()) == []


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("application/json", b"{}"),
        ("text/plain", b"photo"),
        ("multipart/form-data", b"--b--"),
        ("multipart/form-data; boundary=b", b"garbage"),
        ("multipart/form-data; boundary=b", b"--b\r\n\r\n\r\n--b--\r\n"),
        ("multipart/form-data; boundary=b", PART % b"photo" + b"text" + END),
        ("multipart/form-data; boundary=b", b"\r\n".join(PART % b"f" + b"x" for _ in range(500)) + END),
        ("multipart/form-data; boundary=b", PART % b"name" + b"x" * 600_000 + END),
    ],
)  # fmt: skip
def test_odd_forms_are_refused(client: TestClient, kind: str, content: bytes) -> None:
    answer = client.post("/api/jobs", content=content, headers={"Content-Type": kind})
    assert answer.status_code in (400, 413, 415), answer.text
    assert answer.json()["error"]["text"].endswith(".")


def test_a_thickness_that_is_none_is_said_so(client: TestClient) -> None:
    data = io.BytesIO()
    Image.new("RGB", (900, 700)).save(data, "JPEG")
    for thickness, code in (("thick", "thickness"), ("61", "thickness"), ("", "thickness")):
        assert sent(client, data.getvalue(), thickness=thickness) == (422, code)
    assert sent(client, data.getvalue(), subject="whole") == (422, "subject")
    assert client.get("/api/jobs").json() == {"jobs": []}


# --------------------------------------------------------------------------------------------------------------- limits
def test_an_address_that_sends_too_often_waits() -> None:
    gate = Gate(Limits(burst=3, refill_s=1000))
    for _ in range(3):
        with gate.passing("10.0.0.1"):
            pass
    with pytest.raises(NotTaken) as why, gate.passing("10.0.0.1"):
        pass
    assert (why.value.status, why.value.code) == (429, "too-often")
    with gate.passing("10.0.0.2"):
        pass


def test_drops_fall_again() -> None:
    gate = Gate(Limits(burst=1, refill_s=0.05))
    for _ in range(3):
        with gate.passing("10.0.0.1"):
            pass
        time.sleep(0.06)


def test_only_so_many_at_once() -> None:
    gate = Gate(Limits(receiving=2, each_receiving=1))
    with gate.passing("a"), pytest.raises(NotTaken) as own, gate.passing("a"):
        pass
    with gate.passing("a"), gate.passing("b"), pytest.raises(NotTaken) as all_, gate.passing("c"):
        pass
    assert {own.value.status, all_.value.status} == {503}
    with gate.passing("c"):
        pass


def test_a_slow_drip_is_cut_and_others_are_served_meanwhile(tmp_path: Path) -> None:
    plate(tmp_path)
    with listening(tmp_path, upload_s=2.0, pause_s=1.0, workers=0) as client:
        host, port = str(client.base_url.host), client.base_url.port
        assert port
        head = (
            f"POST /api/jobs HTTP/1.1\r\nHost: {host}:{port}\r\nX-Jawline: 1\r\nContent-Length: 100000\r\n"
            "Content-Type: multipart/form-data; boundary=b\r\n\r\n--b\r\n"
        ).encode()
        pausing, dripping = (socket.create_connection((host, port)) for _ in range(2))
        for s in (pausing, dripping):
            s.sendall(head)
            s.settimeout(0.2)
        answers = {pausing: b"", dripping: b""}
        end = time.monotonic() + 8
        while time.monotonic() < end and not all(b"too-slow" in a for a in answers.values()):
            assert client.get("/api/jobs/plate").status_code == 200
            for s in answers:
                try:
                    if s is dripping and not answers[s]:
                        s.sendall(b"x")
                    answers[s] += s.recv(4096)
                except TimeoutError:
                    pass
                except OSError:
                    break
        for s, answer in answers.items():
            assert b"HTTP/1.1 408" in answer, "the drip" if s is dripping else "the pause"
            assert b"too-slow" in answer
            s.close()


def test_a_request_that_never_comes_to_its_end_is_hung_up_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEAD_S", 0.5)
    with listening(plate(tmp_path), workers=0) as client:
        host, port = str(client.base_url.host), client.base_url.port
        assert port
        with socket.create_connection((host, port)) as silent, socket.create_connection((host, port)) as halting:
            halting.sendall(f"GET /api/jobs HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode())
            halting.settimeout(5)
            assert b"200 OK" in halting.recv(65536)
            halting.sendall(b"GET /api/jobs HTTP/1.1\r\nX-Slow: ")
            began = time.monotonic()
            for s in (silent, halting):
                s.settimeout(5)
                while s.recv(65536):
                    pass
            assert time.monotonic() - began < 4
        assert client.get("/api/jobs/plate").status_code == 200
