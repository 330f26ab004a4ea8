"""Connections that dawdle or crowd: closed before they are used up, and never at the cost of the fixer's.

uvicorn's settings can't do this, so its connection is extended. `limit_concurrency` counts all connections alike and
answers 503 to the next one, the fixer's as well; no limit is by address. `timeout_keep_alive` begins after an answer,
so a head that never ends is waited for. `h11_max_incomplete_event_size` is set, and bounds the bytes of a head only.
"""

from __future__ import annotations

import asyncio
from ipaddress import ip_address
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from measure.bench.guards import HEADERS, WHO

HEAD_S = 10.0
"""A request's head arrives within so long of the connection, or of its own first byte."""
MOST_EACH = 48
"""Connections from one address, this machine's own apart: behind a proxy all have that."""
MOST = 192
"""Connections from anybody but the fixer. The fixer is let in all the same: for each more an idle one is closed."""


class Connection(H11Protocol):
    """One connection."""

    _closing: asyncio.TimerHandle | None = None
    since = 0.0

    def connection_made(self, transport: Any) -> None:
        """Of too many, from one address or in all, the one that has been idle longest is closed, or else the oldest."""
        super().connection_made(transport)
        self.since = self.loop.time()
        strangers = [c for c in self.connections if isinstance(c, Connection) and c.is_stranger]
        near = [c for c in strangers if c.address == self.address] if not _is_own(self.address) else []
        crowd = near if len(near) > MOST_EACH else strangers if len(strangers) > MOST else []
        if crowd:
            min((c for c in crowd if c is not self), key=lambda c: (not c.is_idle, c.since)).transport.close()
        self._closing = self.loop.call_later(HEAD_S, self.transport.close)

    @property
    def address(self) -> str:
        """Where it comes from."""
        return self.client[0] if self.client else ""

    @property
    def is_stranger(self) -> bool:
        """Whether nobody has shown yet, on this connection, to be the fixer; one that is being closed is none."""
        return not self.transport.is_closing() and (self.scope is None or self.scope.get(WHO) != "fixer")

    @property
    def is_idle(self) -> bool:
        """Whether no request is being answered."""
        return self.cycle is None or self.cycle.response_complete

    def send_400_response(self, msg: str) -> None:
        """What is no request is refused with the same headers as everything else."""
        lines = [("content-type", "text/plain; charset=utf-8"), ("connection", "close"), *HEADERS.items()]
        headers = [(k.encode(), v.encode()) for k, v in lines]
        try:
            events = (h11.Response(status_code=400, headers=headers), h11.Data(data=msg.encode()), h11.EndOfMessage())
            for event in events:
                self.transport.write(self.conn.send(event) or b"")
        except h11.LocalProtocolError:  # an answer has begun already
            pass
        self.transport.close()

    def data_received(self, data: bytes) -> None:
        """The clock runs while there is only a piece of a head."""
        super().data_received(data)
        awaited = self.conn.their_state is h11.IDLE
        if awaited and self._closing is None:
            self._closing = self.loop.call_later(HEAD_S, self.transport.close)
        elif not awaited:
            self._stop()

    def connection_lost(self, exc: Exception | None) -> None:
        """Gone."""
        self._stop()
        super().connection_lost(exc)

    def _stop(self) -> None:
        if self._closing is not None:
            self._closing.cancel()
            self._closing = None


def _is_own(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return True
