"""How long `jawline check` takes over a folder of 12-megapixel photos, with one worker and with two, and its memory.

    python -m tests.benchmarks.check_speed [--photos 50] [--rounds 1]

The photos are those of the accuracy table, each a few times over; a byte after the picture's end makes every file
another one, so that none is left out as a copy. One worker and two run in turn. Times are whole processes; memory is
the largest sum of the resident sizes of all processes of a run (Linux only), pages that they share counted in each.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

PHOTOS = Path(__file__).parent.parent / "accuracy" / "photos"
JAWLINE = [sys.executable, "-c", "from measure.cli import main; main()"]
PAGE_MB = os.sysconf("SC_PAGE_SIZE") / 2**20


@dataclass(frozen=True, slots=True)
class Run:
    """Wall-clock and processor seconds, and peak memory in megabytes, of a command with all its workers."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    files: int


def resident_mb(group: int) -> float:
    """Resident memory of all processes of a process group."""
    total = 0.0
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
            if int(fields[2]) == group:
                total += int(fields[21]) * PAGE_MB
        except (OSError, IndexError, ValueError):  # it has ended meanwhile
            continue
    return total


def timed(folder: Path, jobs: int) -> Run:
    """Check a folder."""
    before = os.times()
    start = time.perf_counter()
    command = [*JAWLINE, "check", str(folder), "--json", "--jobs", str(jobs)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True)
    peak = [0.0]
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(0.1):
            peak[0] = max(peak[0], resident_mb(process.pid))

    watcher = threading.Thread(target=watch)
    watcher.start()
    out, _ = process.communicate()
    wall = time.perf_counter() - start
    ended.set()
    watcher.join()
    after = os.times()
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return Run(wall, cpu, peak[0], len(json.loads(out)["photos"]))


def filled(folder: Path, count: int) -> Path:
    """A folder of so many photos, no two the same."""
    sources = sorted(PHOTOS.glob("*.jpg"))
    for k in range(count):
        source = sources[k % len(sources)]
        (folder / f"{k:03d} {source.name}").write_bytes(source.read_bytes() + k.to_bytes(4, "big"))
    return folder


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    words.add_argument("--photos", type=int, default=50)
    words.add_argument("--rounds", type=int, default=1)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as few, tempfile.TemporaryDirectory() as many:
        folder, short = filled(Path(many), asked.photos), filled(Path(few), max(4, asked.photos // 5))
        runs = {1: [timed(folder, 1)], 2: [timed(folder, 2)]}
        for _ in range(asked.rounds - 1):
            for jobs in runs:
                runs[jobs].append(timed(folder, jobs))
        fewer = timed(short, 2)
    print(f"{asked.photos} photos of 12 megapixels, {asked.rounds} rounds")
    print(f"{'workers':10}{'whole':>10}{'processor':>12}{'a photo':>10}{'memory':>10}")
    for jobs, each in runs.items():
        wall, cpu = median(r.wall_s for r in each), median(r.cpu_s for r in each)
        print(f"{jobs:<10}{wall:8.1f} s{cpu:10.1f} s{cpu / asked.photos:8.2f} s{max(r.peak_mb for r in each):7.0f} MB")
    gain = median(a.wall_s / b.wall_s for a, b in zip(runs[1], runs[2], strict=True))
    print(f"\ntwo workers over one: {gain:.2f} times as fast   ≥ 1.7")
    grown = max(r.peak_mb for r in runs[2]) / fewer.peak_mb
    print(f"memory with {asked.photos} photos over that with {fewer.files}, two workers: {grown:.2f}   ≤ 1.25")


if __name__ == "__main__":
    main()
