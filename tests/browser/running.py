"""A bench as a process of its own, and how a headless Chromium is started."""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
START_S = 30.0


@contextlib.contextmanager
def running(folder: Path, *options: str) -> Iterator[str]:
    """A bench of a folder; what it said when it began."""
    code = "from measure.cli import main; main()"
    command = [sys.executable, "-c", code, "bench", str(folder), "--port", "0", "--no-open", *options]
    log = folder.parent / f"{folder.name}.log"
    with log.open("w") as out:
        process = subprocess.Popen(command, cwd=ROOT, stdout=out, stderr=out)
    try:
        until = time.monotonic() + START_S
        while "Ctrl-C" not in (said := log.read_text()):
            if process.poll() is not None or time.monotonic() > until:
                raise AssertionError(f"the bench did not start: {said}")
            time.sleep(0.05)
        yield said
    finally:
        process.terminate()
        process.wait(20)


def address(said: str, path: str = "") -> str:
    """The first address in what a bench said that has this path in it."""
    return re.findall(rf"http://[\w.:]+{path}\S*", said)[0].rstrip("/")
