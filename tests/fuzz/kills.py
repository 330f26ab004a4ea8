"""Processes that are killed in the middle of a change, alone and two at a time: nothing acknowledged is lost."""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import time
from dataclasses import dataclass
from pathlib import Path

from calib.errors import JawlineError
from measure.bench.changes import add_reading
from measure.bench.live import live
from measure.bench.shelf import Shelf
from measure.job import job, lock, records, revisions
from measure.job.history import FOLDER as HISTORY
from measure.steps.read import in_job, read, tools_of
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trial import trial
from tests.jobs import traced


@dataclass(slots=True)
class Killed:
    """Processes killed; readings acknowledged, and lost; files half-written after the next command; jobs damaged."""

    kills: int = 0
    acknowledged: int = 0
    lost: int = 0
    left: int = 0
    damaged: int = 0


def killed_once(folder: Path, seed: int, tally: Killed) -> None:
    """A job, one or two processes at it, and their end at some moment; then the next command.

    Args:
        folder: an empty one to work in.
        seed: of the moments and of what is done.
        tally: is added to.
    """
    rng = random.Random(seed)
    jobs = folder / str(seed)
    place = traced(jobs / "plate")
    children = [_begun(place, seed, k) for k in range(rng.choice((1, 1, 2)))]
    time.sleep(rng.random() ** 2 * 1.2)
    said = ""
    for pid, _ in children:
        os.kill(pid, signal.SIGKILL)
    for pid, pipe in children:
        os.waitpid(pid, 0)
        with os.fdopen(pipe) as f:
            said += f.read()
        tally.kills += 1
    acknowledged = said.split()
    tally.acknowledged += len(acknowledged)
    there = _values(place)
    tally.lost += len(set(acknowledged) - set(there))
    read(place, ["width E2 E4 60.9"])  # whoever comes next
    with contextlib.suppress(JawlineError):
        trial(place, ["tight at E2"])
    Shelf(jobs).tidy()
    tally.left += len([p for p in place.rglob("*.part") if p.parent.name in (place.name, revisions.FOLDER, HISTORY)])
    for name in (job.TRACE, job.MEASURED, job.MANIFEST, "bench.json"):
        if (place / name).exists():
            try:
                json.loads((place / name).read_text())
            except ValueError:
                tally.damaged += 1
    if "60.9" not in _values(place) or (place / lock.NAME).exists():
        tally.damaged += 1
    shutil.rmtree(jobs)


def _values(place: Path) -> list[str]:
    content = (place / job.READINGS).read_bytes() if (place / job.READINGS).exists() else b""
    return [r.written for r in in_job(content, job.READINGS, tools_of(place, None))]


def _begun(place: Path, seed: int, number: int) -> tuple[int, int]:
    """A process that works on the job until it is ended; what it says are the readings that it was told are in."""
    near, far = os.pipe()
    pid = os.fork()
    if pid:
        os.close(far)
        return pid, near
    try:
        _work(place, random.Random(f"{seed} {number}"), number, far)
    finally:
        os._exit(0)


def _work(place: Path, rng: random.Random, number: int, pipe: int) -> None:
    of = next(iter(Shelf(place.parent).all()))
    for n in range(400):
        value = f"59.{number}{n:03}"
        with contextlib.suppress(JawlineError):
            if rng.random() < 0.5:
                read(place, [f"width E2 E4 {value}"])
                os.write(pipe, f"{value}\n".encode())
            else:
                with of.alone():
                    asked = {"kind": "width", "features": ["E2", "E4"], "value": value}
                    add_reading(of, live(place), asked)
                os.write(pipe, f"{value}\n".encode())
        with contextlib.suppress(JawlineError):
            what = rng.random()
            if what < 0.15:
                reconcile(place)
            elif what < 0.2:
                reconcile(place)
                sketch(place)
            elif what < 0.25:
                reconcile(place)
                trial(place, [rng.choice(("tight at E2", "loose at D1", "fits at E1"))])
            elif what < 0.3:
                text = records.to_text(records.from_text((place / job.TRACE).read_text(), job.TRACE))
                job.write(place, {job.TRACE: text.encode()}, force=True)
