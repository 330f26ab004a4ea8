"""Who may ask the bench what."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from measure.bench.guards import HEADERS, Guards
from measure.bench.settings import Settings
from tests.benches import ORIGIN, bench, plate, width

FIXER, OWNER = "fixer-token-of-this-test", "owner-token-of-this-test"
TOKENS: dict[str, Any] = {"intake": True, "fixer_token": FIXER, "owner_token": OWNER}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with bench(plate(tmp_path_factory.mktemp("jobs"))) as found:
        yield found


@pytest.fixture(scope="module")
def closed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with bench(plate(tmp_path_factory.mktemp("jobs")), **TOKENS) as found:
        yield found


@pytest.mark.parametrize(
    "path", ["/", "/job/plate", "/api/jobs", "/api/jobs/plate", "/api/jobs/none", "/nothing", "/static/none.js"]
)
def test_every_answer_has_the_strict_headers(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert {k: answer.headers[k] for k in HEADERS} == HEADERS
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert "server" not in answer.headers


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8765", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:8765@evil.example", "",
             "10.0.0.7:8765", "localhost.evil.example:8765", "127.0.0.1:99999"],
)  # fmt: skip
def test_a_foreign_host_is_refused(client: TestClient, host: str) -> None:
    """A name that somebody has pointed at this machine (DNS rebinding) is not its own."""
    assert client.get("/api/jobs", headers={"Host": host}).status_code == 403


def test_its_own_names_are_let_in(client: TestClient) -> None:
    for host in ("127.0.0.1:8765", "localhost:8765", "[::1]:8765", "LOCALHOST:8765"):
        assert client.get("/api/jobs", headers={"Host": host}).status_code == 200, host


def test_open_to_all_it_is_known_by_numbers_but_not_by_any_name(tmp_path: Path) -> None:
    guards = Guards(None, Settings(tmp_path, host="0.0.0.0"))  # type: ignore[arg-type]
    assert guards.is_own("192.168.1.20:8765")
    assert not guards.is_own("evil.example:8765")


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "http://localhost:8765"},
        {"X-Jawline": ""},
        {"X-Jawline": "0"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_changes_from_elsewhere_are_refused(client: TestClient, headers: dict[str, str]) -> None:
    before = client.get("/api/jobs/plate").json()["revision"]
    for method, path in (
        ("POST", "/api/jobs"),
        ("POST", "/api/jobs/plate/readings"),
        ("POST", "/api/jobs/plate/undo"),
        ("DELETE", "/api/jobs/plate/readings/x"),
    ):
        answer = client.request(method, path, headers=headers, json=width("60"))
        assert answer.status_code == 403, (method, path)
    assert client.get("/api/jobs/plate").json()["revision"] == before


def test_no_answer_lets_foreign_pages_read(client: TestClient) -> None:
    answer = client.get("/api/jobs", headers={"Origin": "http://evil.example"})
    assert not [h for h in answer.headers if h.startswith("access-control")]
    assert client.options("/api/jobs", headers={"Origin": "http://evil.example"}).status_code in (403, 405)


# --------------------------------------------------------------------------------------------------------------- tokens
@pytest.mark.parametrize("path", ["/", "/job/plate", "/api/jobs", "/api/jobs/plate", "/api/jobs/plate/sketch.svg",
                                  "/intake", "/static/x.js", "/openapi.json"])  # fmt: skip
@pytest.mark.parametrize("token", [None, "", "wrong", FIXER[:-1], FIXER + "x", OWNER.upper(), "é"])
def test_without_its_token_nothing_opens(closed: TestClient, path: str, token: str | None) -> None:
    closed.cookies.clear()
    answer = closed.get(path, params={} if token is None else {"token": token})
    assert answer.status_code == 403
    assert "plate" not in answer.text


@pytest.mark.parametrize("path", ["/", "/job/plate", "/api/jobs", "/api/jobs/plate", "/api/jobs/plate/photo.jpg",
                                  "/api/jobs/plate/events", "/intake/../api/jobs", "/intake/..%2fapi/jobs",
                                  "/static/../api/jobs", "/intakes", "//api/jobs"])  # fmt: skip
def test_the_owners_token_opens_the_owners_page_only(closed: TestClient, path: str) -> None:
    closed.cookies.clear()
    answer = closed.get(path, params={"token": OWNER})
    assert answer.status_code in (403, 404)
    assert "plate" not in answer.text
    closed.cookies.set("jawline-owner-8765", OWNER)
    closed.cookies.set("jawline-fixer-8765", OWNER)
    assert closed.get(path).status_code in (403, 404)


def test_an_owner_changes_no_job(closed: TestClient) -> None:
    closed.cookies.clear()
    for path in ("/api/jobs", "/api/jobs/plate/readings", "/api/jobs/plate/make"):
        assert closed.post(path, params={"token": OWNER}, json={}).status_code == 403


def test_the_token_leaves_the_address_for_a_cookie(closed: TestClient) -> None:
    closed.cookies.clear()
    answer = closed.get("/", params={"token": FIXER})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=lax" in said
    assert closed.get("/").status_code == 200
    assert closed.get("/api/jobs").status_code == 200


def test_an_address_that_begins_with_two_slashes_leads_nowhere_else(closed: TestClient) -> None:
    closed.cookies.clear()
    answer = closed.get(f"{ORIGIN}//evil.example/", params={"token": FIXER})
    assert answer.headers.get("location", "/").startswith("/evil")
    assert closed.get(f"{ORIGIN}/%5Cevil.example/", params={"token": FIXER}).headers["location"].startswith("/evil")


def test_without_intake_there_is_no_owners_page(client: TestClient) -> None:
    assert client.get("/intake").status_code == 404
    assert client.post("/api/intake").status_code == 404
