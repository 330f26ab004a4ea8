"""Connections that dawdle: one that does not get its request's head out in time is closed, so that none are used up."""

from __future__ import annotations

import asyncio
from ipaddress import ip_address
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0
"""A request's head arrives within so long of the connection, or of its own first byte."""
MOST_EACH = 48
"""Connections from one address, this machine's own apart: behind a proxy all have that."""


class Connection(H11Protocol):
    """One connection."""

    _closing: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Too many from one address are closed at once."""
        super().connection_made(transport)
        address = self.client[0] if self.client else ""
        peers = [getattr(c, "client", None) for c in self.connections]
        if sum(bool(p and p[0] == address) for p in peers) > MOST_EACH and not _is_own(address):
            self.transport.close()
            return
        self._closing = self.loop.call_later(HEAD_S, self.transport.close)

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
