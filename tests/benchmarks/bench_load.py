"""Many owners at once: eight photos of 12 megapixels sent to the bench's owners' page, while a fixer goes on working.

    python -m tests.benchmarks.bench_load [--owners 8]

Says how long each owner waits for an answer, how much memory the server has with all of its workers (proportional set
size, which counts shared pages once; from /proc, so on Linux only), and how long the fixer's page takes meanwhile.
"""

from __future__ import annotations

import argparse
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import httpx

from tests.benches import Running, asking, plate, server, width
from tests.sample_photos import FOLDER

FIXER_PAUSE_S = 0.2


@dataclass(frozen=True, slots=True)
class Load:
    """What was measured.

    Attributes:
        answers: HTTP status and verdict of each owner.
        waited_s: for each.
        most_mb: memory of all processes, at its most; idle_mb: before the first photo.
        fixer_s: how long each of the fixer's requests took; readings_s: each reading.
    """

    answers: tuple[tuple[int, str], ...]
    waited_s: tuple[float, ...]
    idle_mb: float
    most_mb: float
    fixer_s: tuple[float, ...]
    readings_s: tuple[float, ...]


def loaded(photos: Sequence[bytes]) -> Load:
    """Send photos all at once, each by an owner of its own."""
    with TemporaryDirectory() as folder, server(plate(Path(folder)), "--intake") as running:
        return _loaded(photos, running)


def _loaded(photos: Sequence[bytes], running: Running) -> Load:
    fixer, owner = (line.split("token=")[1] for line in running.said.splitlines() if "token=" in line)
    answers: list[tuple[int, str]] = []
    waited: list[float] = []
    seen, readings = [], []
    idle = most = tree_mb(running.process.pid)
    address = running.said.split()[2]

    def send(photo: bytes) -> None:
        with asking(address) as own:
            began = time.monotonic()
            answer = own.post("/api/intake", params={"token": owner}, files={"photo": ("IMG.jpg", photo)}, timeout=300)
            waited.append(time.monotonic() - began)
            answers.append((answer.status_code, answer.json().get("verdict", answer.text)))

    with asking(address) as client:
        client.get("/", params={"token": fixer})  # the token becomes a cookie
        _reading(client)  # what a reading needs is loaded
        threads = [threading.Thread(target=send, args=(p,)) for p in photos]
        for t in threads:
            t.start()
        while any(t.is_alive() for t in threads):
            for path in ("/", "/api/jobs", "/api/jobs/plate"):
                began = time.monotonic()
                assert client.get(path).status_code == 200
                seen.append(time.monotonic() - began)
            readings.append(_reading(client))
            most = max(most, tree_mb(running.process.pid))
            time.sleep(FIXER_PAUSE_S)
    return Load(tuple(answers), tuple(waited), idle, most, tuple(seen), tuple(readings))


def _reading(client: httpx.Client) -> float:
    began = time.monotonic()
    assert client.post("/api/jobs/plate/readings", json=width("60.0")).status_code == 200
    return time.monotonic() - began


def tree_mb(pid: int) -> float:
    """Proportional set size of a process and all below it, MB."""
    total, waiting = 0, [pid]
    while waiting:
        at = waiting.pop()
        try:
            rows = Path(f"/proc/{at}/smaps_rollup").read_text().splitlines()
            total += next(int(row.split()[1]) for row in rows if row.startswith("Pss:"))
            for task in Path(f"/proc/{at}/task").iterdir():
                waiting += map(int, (task / "children").read_text().split())
        except (OSError, StopIteration):
            continue
    return total / 1000


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--owners", type=int, default=8)
    photo = (FOLDER / "photo.jpg").read_bytes()
    # each photo is another file: a comment behind its start makes it so (ITU-T T.81, B.2.4.5)
    photos = [photo[:2] + b"\xff\xfe\0\x04" + f"{k:02}".encode() + photo[2:] for k in range(parser.parse_args().owners)]
    found = loaded(photos)
    good = sum(verdict in ("good", "usable") for _, verdict in found.answers)
    print(f"{len(photos)} owners at once: {len(found.answers)} answers, {good} of them good or usable")
    print(f"answer after {min(found.waited_s):.1f} to {max(found.waited_s):.1f} s")
    print(f"memory of all processes {found.idle_mb:.0f} MB idle, {found.most_mb:.0f} MB at most")
    for what, took in (("the fixer's pages", found.fixer_s), ("a reading", found.readings_s)):
        print(f"{what}: {median(took):.2f} s, at most {max(took):.2f} s")


if __name__ == "__main__":
    main()
