"""A bench for tests: the application without a socket, on a folder of its own, and the real server on loopback."""

from __future__ import annotations

import contextlib
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
from starlette.testclient import TestClient

from bench.app import application
from bench.settings import Limits, Settings
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


@contextlib.contextmanager
def server(folder: Path, *options: str, code: str = "") -> Iterator[tuple[subprocess.Popen[str], httpx.Client]]:
    """The command as a process of its own on a free port, and a client that asks as its own page would.

    Args:
        folder: of jobs.
        options: of the command.
        code: is run in the process before it.
    """
    start = "from measure.cli import main\nif __name__ == '__main__': main()"
    run = f"import sys; sys.argv[1:1] = ['bench']\n{code}\n{start}"
    command = [sys.executable, "-c", run, str(folder), "--port", "0", "--no-open", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as p:
        try:
            assert p.stdout is not None
            said = p.stdout.readline()
            assert said.startswith("The bench: "), said + p.stdout.read()
            address = said.split()[2]
            origin = address[: address.index("/", 8)]
            with httpx.Client(base_url=origin, headers={"X-Jawline": "1", "Origin": origin}, timeout=60) as client:
                yield p, client
        finally:
            p.kill()
