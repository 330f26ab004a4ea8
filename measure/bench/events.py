"""Server-sent events: every open page of a job is told when something about it changes, whoever changed it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from calib.languages import all_said_in
from measure.bench.answers import ASKED

LOOK_S = 1.5
"""How often the job's files are looked at, for changes by commands."""
ALIVE_S = 15.0
"""After so long without a word a comment is sent, so that a listener who has gone is noticed."""


class Bell:
    """Wakes the listeners of a job; may be rung from any thread."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: dict[str, set[asyncio.Event]] = {}
        self.closed = False

    def open(self) -> None:
        """From now on rings are passed on to the running loop."""
        self._loop = asyncio.get_running_loop()

    def close(self) -> None:
        """Let all listeners go."""
        self.closed = True
        for events in self._waiting.values():
            for event in events:
                event.set()

    def ring(self, id: str) -> None:
        """Wake the listeners of a job."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._wake, id)

    def _wake(self, id: str) -> None:
        for event in self._waiting.get(id, ()):
            event.set()

    @property
    def listeners(self) -> int:
        """How many there are."""
        return sum(map(len, self._waiting.values()))

    def join(self, id: str) -> asyncio.Event:
        """A place among the listeners of a job, held from now on; `leave` gives it back."""
        rung = asyncio.Event()
        self._waiting.setdefault(id, set()).add(rung)
        return rung

    def leave(self, id: str, rung: asyncio.Event) -> None:
        """Give a place back."""
        self._waiting[id].discard(rung)
        if not self._waiting[id]:
            del self._waiting[id]

    async def stream(self, rung: asyncio.Event, look: Callable[[], Mapping[str, Any]]) -> AsyncIterator[str]:
        """The events of a job, the first at once, in the language of whoever listens.

        Args:
            rung: the place among its listeners.
            look: what there is to tell, from a thread.
        """
        told, quiet = "", 0.0
        while not self.closed:
            now = json.dumps(all_said_in(ASKED.get(), await run_in_threadpool(look)), ensure_ascii=False)
            if now != told:
                told, quiet = now, 0.0
                yield f"data: {now}\n\n"
            elif quiet >= ALIVE_S:
                quiet = 0.0
                yield ": still here\n\n"
            try:
                async with asyncio.timeout(LOOK_S):
                    await rung.wait()
            except TimeoutError:
                quiet += LOOK_S
            rung.clear()


class Stream(StreamingResponse):
    """An answer that goes on for as long as somebody listens; the place is given back even if nobody ever did."""

    media_type = "text/event-stream"

    def __init__(self, bell: Bell, id: str, look: Callable[[], Mapping[str, Any]]) -> None:
        self._bell, self._id, self._rung = bell, id, bell.join(id)
        super().__init__(bell.stream(self._rung, look), headers={"X-Accel-Buffering": "no"})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._bell.leave(self._id, self._rung)
