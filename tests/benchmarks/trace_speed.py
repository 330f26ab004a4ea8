"""How long the commands take as whole processes, how much memory they need, and trace against plain OpenCV.

    python -m tests.benchmarks.trace_speed [PHOTO [THICKNESS_MM]] [--rounds 5]

`trace` and the plain script (plain_opencv.py) run in turn, so that whatever else the machine does hits both alike.
Medians are printed; limits stand beside them.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from measure.job import sample

JAWLINE = [sys.executable, "-c", "from measure.cli import main; main()"]
PLAIN = [sys.executable, str(Path(__file__).with_name("plain_opencv.py"))]


@dataclass(frozen=True, slots=True)
class Run:
    """One process: wall-clock and processor seconds, peak memory in megabytes."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def timed(command: list[str]) -> Run:
    """Run a command to its end, its output unseen."""
    start = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert process.stderr is not None
    said = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status) != 0:
        raise SystemExit(f"{' '.join(command[-4:])} failed: {said.decode(errors='replace')}")
    return Run(time.perf_counter() - start, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def row(name: str, runs: list[Run], limit: str) -> str:
    """A line of the table."""
    wall, cpu = median(r.wall_s for r in runs), median(r.cpu_s for r in runs)
    return f"{name:22}{wall:8.2f} s{cpu:8.2f} s{max(r.peak_mb for r in runs):8.0f} MB   {limit}"


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    words.add_argument("photo", type=Path, nargs="?", default=sample.photo())
    words.add_argument("thickness", nargs="?", default=str(sample.THICKNESS_MM))
    words.add_argument("--rounds", type=int, default=5)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        trace = [*JAWLINE, "trace", str(asked.photo), "--thickness", asked.thickness, "--job", folder]
        commands = {
            "trace": trace,
            "plain OpenCV": [*PLAIN, str(asked.photo)],
            "reconcile": [*JAWLINE, "reconcile", folder],
            "sketch": [*JAWLINE, "sketch", folder],
            "--help": [*JAWLINE, "--help"],
        }
        for command in commands.values():  # once for the disk's and the interpreter's caches
            timed(command)
        if asked.photo == sample.photo():
            subprocess.run([*JAWLINE, "read", folder, str(sample.readings())], check=False, stdout=subprocess.DEVNULL)
        runs: dict[str, list[Run]] = {name: [] for name in commands}
        for _ in range(asked.rounds):
            for name, command in commands.items():
                runs[name].append(timed(command))
    limits = {"trace": "≤ 2 s, ≤ 700 MB", "reconcile": "≤ 1 s", "sketch": "≤ 1 s", "--help": "≤ 0.3 s"}
    print(f"{asked.photo.name}, {asked.rounds} rounds\n{'':22}{'whole':>8}  {'processor':>9}  {'memory':>8}")
    for name in commands:
        print(row(name, runs[name], limits.get(name, "")))
    ratios = [a.wall_s / b.wall_s for a, b in zip(runs["trace"], runs["plain OpenCV"], strict=True)]
    print(f"\ntrace / plain OpenCV, run in turn: {median(ratios):.2f}   ≤ 3")


if __name__ == "__main__":
    main()
