"""The bench extends uvicorn's own connection, which promises nobody that it stays as it is: why its version is capped.

With a new version the cap in pyproject.toml is raised by hand, once these tests pass with it, those of
`test_bench_uploads.py`, and `test_bench_killed.py`, which sees the server let go of its listeners (`handle_exit`).
"""

from __future__ import annotations

import asyncio
import tomllib
from importlib.metadata import version
from pathlib import Path
from typing import Any

import h11
import uvicorn
from packaging.requirements import Requirement
from packaging.version import Version
from uvicorn.server import ServerState

from measure.bench import connections
from measure.bench.connections import MOST_EACH, Connection
from tests.benches import awaited

ROOT = Path(__file__).parent.parent


class Wire(asyncio.Transport):
    """A connection's other end, as far as a protocol sees it."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address, self.closed = address, False

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        return {"peername": (self.address, 50000), "sockname": ("127.0.0.1", 8000)}.get(name, default)

    def close(self) -> None:
        self.closed = True

    def is_closing(self) -> bool:
        return self.closed

    def write(self, data: Any) -> None:
        pass


def connected(address: str, state: ServerState) -> tuple[Connection, Wire]:
    async def nothing(scope: Any, receive: Any, send: Any) -> None:
        await asyncio.sleep(60)

    wire = Wire(address)
    made = Connection(config=uvicorn.Config(nothing, ws="none", lifespan="off"), server_state=state, app_state={})
    made.connection_made(wire)
    return made, wire


def test_the_installed_version_is_one_that_was_tried() -> None:
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    needed = next(r for r in map(Requirement, declared) if r.name == "uvicorn")
    assert any(s.operator == "<" for s in needed.specifier), "no cap"
    assert Version(version("uvicorn")) in needed.specifier


def test_what_is_used_of_its_insides_is_there(monkeypatch: Any) -> None:
    """`connections`, `client`, `transport`, `loop` and `conn`, and that its state is idle until a head is whole."""
    monkeypatch.setattr(connections, "HEAD_S", 0.05)

    async def tried() -> None:
        state = ServerState()
        made, wire = connected("192.0.2.7", state)  # an address for documentation, RFC 5737
        assert state.connections == {made}
        assert made.client == ("192.0.2.7", 50000)
        assert made.conn.their_state is h11.IDLE
        made.data_received(b"GET / HTTP/1.1\r\n")
        assert made.conn.their_state is h11.IDLE
        made.data_received(b"Host: bench\r\n\r\n")
        assert made.conn.their_state is not h11.IDLE
        await asyncio.sleep(0.15)
        assert not wire.closed, "a head that came in time was hung up on"
        made.connection_lost(None)
        _, dawdling = connected("192.0.2.7", state)
        await asyncio.sleep(0.15)
        assert dawdling.closed

    awaited(tried())


def test_one_address_has_only_so_many_connections_but_this_machine_any_number() -> None:
    async def tried() -> None:
        for address, closed in (("192.0.2.7", [True] + [False] * MOST_EACH), ("127.0.0.1", [False] * (MOST_EACH + 1))):
            state = ServerState()
            wires = [connected(address, state)[1] for _ in range(MOST_EACH + 1)]
            assert [wire.closed for wire in wires] == closed, "the oldest makes room"

    awaited(tried())
