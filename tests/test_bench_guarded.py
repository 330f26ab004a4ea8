"""What gets past an ordinary guard: foreign cookies, the framework's own refusals, bursts, crowds."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from uvicorn.server import ServerState

from measure.bench import connections
from measure.bench.guards import HEADERS, MOST_PARAMETERS
from tests.benches import OWN, awaited, bench, listening, plate
from tests.test_bench_connections import connected

FIXER, OWNER = "fixer-token-of-this-test", "owner-token-of-this-test"


@pytest.fixture(scope="module")
def closed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    folder = plate(tmp_path_factory.mktemp("jobs"))
    with bench(folder, intake=True, fixer_token=FIXER, owner_token=OWNER) as found:
        yield found


# -------------------------------------------------------------------------------------------------------------- cookies
OWN_COOKIE = f"jawline-fixer-8765={FIXER}"


@pytest.mark.parametrize(
    "foreign",
    [
        "a{b}=1", "a b=1", "=", ";;;", "a=\"unfinished", "ä=ö", "a=b=c", "expires=Thu, 01 Jan 1970", "[x]=y", "a\tb=1",
        "$Version=1", "path=/", 'json={"a": [1, 2]}', "x" * 5000, "jawline-fixer-9999=other", "a=(b)", "a@b=c",
    ],
)  # fmt: skip
def test_no_foreign_cookie_locks_the_fixer_out(closed: TestClient, foreign: str) -> None:
    """Whatever other pages of this host have set, before ours or behind it."""
    for line in (f"{foreign}; {OWN_COOKIE}", f"{OWN_COOKIE}; {foreign}", f"{foreign};{OWN_COOKIE};{foreign}"):
        closed.cookies.clear()
        answer = closed.get("/api/jobs", headers={"Cookie": line.encode()})  # type: ignore[dict-item]
        assert answer.status_code == 200, line
    assert closed.get("/api/jobs", headers={"Cookie": foreign.encode()}).status_code == 403  # type: ignore[dict-item]


def test_a_cookie_that_is_called_nearly_like_ours_opens_nothing(closed: TestClient) -> None:
    for line in (f"x{OWN_COOKIE}", f"{OWN_COOKIE}x", f"jawline-owner-8765={FIXER[:-1]}", f"a={OWN_COOKIE}"):
        closed.cookies.clear()
        assert closed.get("/api/jobs", headers={"Cookie": line}).status_code == 403, line


# -------------------------------------------------------------------------------------------------------------- headers
def asked(path: str, method: str = "GET", **more: Any) -> tuple[str, str, dict[str, Any]]:
    return method, path, more


@pytest.mark.parametrize(
    ("method", "path", "more"),
    [
        asked("/?" + "&".join(f"a{n}=1" for n in range(2 * MOST_PARAMETERS))),
        asked("/?token=" + "x" * 5000),
        asked("/api/jobs/plate/revisions/" + "9" * 5000 + ".svg"),
        asked("/api/jobs", "POST", content=b"--b", headers={"Content-Type": "multipart/form-data; boundary=b"}),
        asked("/api/jobs", "PUT"),
        asked("/api/jobs", "BREW"),
        asked("/", "HEAD"),
        asked("/static/../../pyproject.toml"),
        asked("/static/%00"),
        asked("/%00"),
        asked("/" + "x" * 4000),
        asked("/job/%ff%fe"),
        asked("/api/jobs/plate/offers?features=" + "E1," * 1000),
        asked("/api/jobs/plate/readings", "POST", content=b'{"note": "\xff"}'),
        asked("/api/jobs/plate/readings", "POST", content=b"[" * 100_000),
        asked("/api/jobs/plate/readings/x?revision=" + "9" * 5000, "DELETE"),
        asked("/api/jobs", headers={"Host": "[::1"}),
        asked("/api/jobs", headers={"Range": "bytes=0-,1-,2-"}),
        asked("/static/job.js", headers={"Range": "bytes=" + ",".join(f"{n}-{n}" for n in range(500))}),
        asked("/static/job.js", headers={"If-Modified-Since": "never", "If-None-Match": '"' * 500}),
    ],
)
def test_every_refusal_has_the_strict_headers(closed: TestClient, method: str, path: str, more: dict[str, Any]) -> None:
    for cookie in (OWN_COOKIE, f"jawline-owner-8765={OWNER}", ""):
        closed.cookies.clear()
        headers = {**OWN, "Cookie": cookie, **more.get("headers", {})}
        answer = closed.request(method, path, **{**more, "headers": headers})
        assert {k: answer.headers.get(k) for k in HEADERS} == HEADERS, answer.status_code
        assert answer.status_code < 500


def test_a_defect_of_our_own_has_them_too(closed: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(self: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("measure.bench.desk.Desk.listing", broken)
    answer = closed.get("/api/jobs", headers={"Cookie": OWN_COOKIE})
    assert answer.status_code == 500
    assert {k: answer.headers.get(k) for k in HEADERS} == HEADERS
    monkeypatch.setattr("measure.bench.guards.Guards.refusal", broken)
    answer = closed.get("/api/jobs", headers={"Cookie": OWN_COOKIE})
    assert answer.status_code == 500
    assert {k: answer.headers.get(k) for k in HEADERS} == HEADERS


@pytest.mark.parametrize(
    "sent",
    [b"GET / HTTP/1.1\r\n\r\n", b"nonsense\r\n\r\n", b"GET / HTTP/9\r\nHost: x\r\n\r\n", b"\0" * 99 + b"\r\n\r\n",
     b"GET / HTTP/1.1\r\nHost: x\r\nContent-Length: " + b"9" * 5000 + b"\r\n\r\n",
     b"GET /\xff HTTP/1.1\r\nHost: x\r\n\r\n", b"GET / HTTP/1.1\r\nHost: x\r\nA: " + b"x" * 70_000],
)  # fmt: skip
def test_what_is_no_request_is_refused_with_them(tmp_path: Path, sent: bytes) -> None:
    """The server's own answer, before any application is asked."""
    with listening(plate(tmp_path), workers=0) as client:
        host, port = str(client.base_url.host), client.base_url.port
        assert port
        with socket.create_connection((host, port)) as s:
            s.settimeout(5)
            s.sendall(sent)
            answer = b""
            while chunk := s.recv(65536):
                answer += chunk
        head = answer.split(b"\r\n\r\n")[0].decode().lower()
        assert head.startswith("http/1.1 4"), head
        for name, value in HEADERS.items():
            assert f"{name}: {value}".lower() in head


# --------------------------------------------------------------------------------------------------------------- bursts
def test_the_limit_of_listeners_holds_in_a_burst(tmp_path: Path) -> None:
    with listening(plate(tmp_path), workers=0, listeners=5) as client:
        host, port = str(client.base_url.host), client.base_url.port
        assert port
        head = f"GET /api/jobs/plate/events HTTP/1.1\r\nHost: {host}:{port}\r\n\r\n".encode()
        lines = [socket.create_connection((host, port)) for _ in range(40)]
        try:
            together = threading.Barrier(len(lines))

            def ask(s: socket.socket) -> None:
                together.wait()
                s.sendall(head)

            threads = [threading.Thread(target=ask, args=(s,)) for s in lines]
            for t in threads:
                t.start()
            for t in threads:
                t.join()
            answers = []
            for s in lines:
                s.settimeout(10)
                answers.append(s.recv(12).decode())
            assert answers.count("HTTP/1.1 200") == 5
            assert answers.count("HTTP/1.1 503") == 35
        finally:
            for s in lines:
                s.close()
        for _ in range(50):  # whoever has gone makes room
            with client.stream("GET", "/api/jobs/plate/events") as answer:
                if answer.status_code == 200:
                    return
            threading.Event().wait(0.2)
        pytest.fail("nobody's place was given back")


def test_a_crowd_of_strangers_does_not_keep_the_fixer_out(tmp_path: Path) -> None:
    """All the connections that there are, idle and half-asking; whoever comes next is answered."""
    crowd = connections.MOST + 60
    with listening(plate(tmp_path), workers=0) as client:
        host, port = str(client.base_url.host), client.base_url.port
        assert port
        lines = [socket.create_connection((host, port)) for _ in range(crowd)]
        try:
            for s in lines[::2]:
                s.sendall(b"GET / HTTP/1.1\r\nHost: ")
            assert client.get("/api/jobs").status_code == 200
            assert client.get("/api/jobs/plate").status_code == 200
        finally:
            for s in lines:
                s.close()


def test_the_fixers_connections_are_never_the_ones_that_are_closed() -> None:
    async def tried() -> None:
        state = ServerState()
        fixer, wire = connected("192.0.2.1", state)  # an address for documentation, RFC 5737
        fixer.scope = {"jawline.who": "fixer"}  # type: ignore[typeddict-item, typeddict-unknown-key]
        others = [connected("192.0.2.2", state)[1] for _ in range(connections.MOST_EACH + 10)]
        assert not wire.closed
        assert [w.closed for w in others].count(True) == 10
        assert not others[-1].closed, "who comes last is let in, so that it can say who it is"
        for made in list(state.connections):
            made.connection_lost(None)

    awaited(tried())
