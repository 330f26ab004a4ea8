"""A bench for tests: the application without a socket, on a folder of its own, and the real server on loopback."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import httpx
import uvicorn
from starlette.testclient import TestClient

from measure.bench.app import application
from measure.bench.connections import Connection
from measure.bench.settings import LOOPBACK, Limits, Settings
from tests.jobs import traced

ORIGIN = "http://127.0.0.1:8765"
OWN = {"X-Jawline": "1", "Origin": ORIGIN}


@contextlib.contextmanager
def bench(folder: Path, workers: int = 0, limits: dict[str, Any] | None = None, **more: Any) -> Iterator[TestClient]:
    """The application at work, asked from its own pages; without workers no photo is looked at."""
    settings = Settings(folder, limits=Limits(workers=workers, **(limits or {})), **more)
    with TestClient(
        application(settings), ORIGIN, headers=OWN, follow_redirects=False, raise_server_exceptions=False
    ) as client:
        yield client


def plate(folder: Path, name: str = "plate") -> Path:
    """A folder of jobs with one in it that a command has traced."""
    traced(folder / name)
    return folder


def width(value: str, **more: Any) -> dict[str, Any]:
    """A reading of the plate's 60 mm."""
    return {"kind": "width", "features": ["E2", "E4"], "value": value, **more}


def until(done: Any, limit_s: float = 60.0, pause_s: float = 0.1) -> Any:
    """What a question answers as soon as that is true."""
    end = time.monotonic() + limit_s
    while not (found := done()):
        assert time.monotonic() < end, "that took too long"
        time.sleep(pause_s)
    return found


class Running(NamedTuple):
    """A server: its process, what it said at its start, and a client that asks as its own page would."""

    process: subprocess.Popen[str]
    said: str
    client: httpx.Client


@contextlib.contextmanager
def server(folder: Path, *options: str) -> Iterator[Running]:
    """The command as a process of its own on a free port.

    Args:
        folder: of jobs.
        options: of the command.
    """
    code = "from measure.cli import main\nif __name__ == '__main__': main()"
    command = [sys.executable, "-c", code, "bench", str(folder), "--port", "0", "--no-open", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            assert process.stdout is not None
            said = ""
            for line in process.stdout:
                said += line
                if "Ctrl-C" in line:
                    break
            assert said.startswith("The bench: "), said
            with asking(said.split()[2]) as client:
                yield Running(process, said, client)
        finally:
            process.kill()


@contextlib.contextmanager
def listening(folder: Path, **limits: Any) -> Iterator[httpx.Client]:
    """The server in a thread of this process, with limits of its own; a client that asks it."""
    with socket.create_server((LOOPBACK, 0)) as listener:
        port = listener.getsockname()[1]
        app = application(Settings(folder, port=port, limits=Limits(**limits)))
        serving = uvicorn.Server(uvicorn.Config(app, http=Connection, log_level="error", timeout_graceful_shutdown=1))
        thread = threading.Thread(target=serving.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        until(lambda: serving.started, 20)
        try:
            with asking(f"http://{LOOPBACK}:{port}/") as client:
                yield client
        finally:
            serving.should_exit = True
            thread.join(20)


def asking(address: str) -> httpx.Client:
    """A client of a server, asking as its own pages do."""
    origin = address[: address.index("/", 8)]
    return httpx.Client(base_url=origin, headers={"X-Jawline": "1", "Origin": origin}, timeout=60)


def awaited(coroutine: Coroutine[Any, Any, Any]) -> Any:
    """What a coroutine returns, run in a thread of its own: the browser's tests leave a loop running in this one."""
    with ThreadPoolExecutor(1) as beside:
        return beside.submit(asyncio.run, coroutine).result()
