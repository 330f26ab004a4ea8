"""python -m tests.fuzz: as many cases as wanted; a table of what was tried, how often, and what happened."""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from tests.benches import bench, plate
from tests.fuzz.kills import Killed, killed_once
from tests.fuzz.targets import Tally, targets, tried


def killed(kills: int, seed: int, until: float) -> Killed:
    """Processes killed, as many as wanted."""
    tally = Killed()
    with tempfile.TemporaryDirectory() as place:
        while tally.kills < kills and time.monotonic() < until:
            killed_once(Path(place), seed, tally)
            seed += 1
    return tally


def fuzzed(cases: int, seed: int, until: float) -> dict[str, Tally]:
    """All targets, each with its share of the cases."""
    out: dict[str, Tally] = {}
    with (
        tempfile.TemporaryDirectory() as place,
        tempfile.TemporaryDirectory() as jobs,
        bench(plate(Path(jobs))) as client,
    ):
        every = list(targets(Path(place), client))
        total = sum(t.share for t in every)
        for target in every:
            tally = out[target.name] = Tally()
            for k in range(max(1, round(cases * target.share / total))):
                if time.monotonic() > until:
                    break
                tried(target, seed + k, tally)
    return out


def machine(runs: int, steps: int, seed: int) -> int:
    """Jobs to which everything is done in any order; the number of jobs. A defect is raised with the way to it."""
    from hypothesis import HealthCheck, Phase, settings
    from hypothesis import seed as seeded
    from hypothesis.stateful import run_state_machine_as_test

    from tests.fuzz.job_machine import JobMachine

    run = settings(
        max_examples=runs,
        stateful_step_count=steps,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate, Phase.shrink],
        print_blob=True,
    )
    seeded(seed)(JobMachine)
    run_state_machine_as_test(JobMachine, settings=run)
    return runs


def main() -> int:
    """Run, print, and 1 where there was a defect."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz")
    parser.add_argument("--cases", type=int, default=100_000, help="odd inputs")
    parser.add_argument("--kills", type=int, default=200, help="processes killed")
    parser.add_argument("--jobs", type=int, default=100, help="jobs to which 30 things are done in any order")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=600, help="no new case after so long")
    asked = parser.parse_args()
    until = time.monotonic() + 60 * asked.minutes
    tally = killed(asked.kills, asked.seed, until)  # first: processes are forked while there is no other thread
    what = f"{tally.acknowledged} readings acknowledged, {tally.lost} lost, {tally.left} half-written files left, "
    print(f"| processes killed | {tally.kills} | {what}{tally.damaged} jobs damaged | |")
    sys.stdout.flush()
    found = fuzzed(asked.cases, asked.seed, until)
    defects = [d for t in found.values() for d in t.defects]
    for name, t in found.items():
        became = f"{t.taken} taken, {t.refused} refused, {len(t.defects)} defects"
        print(f"| {name} | {t.taken + t.refused + len(t.defects)} | {became} | {t.slowest_s:.2f} s |")
    for d in defects[:40]:
        print(d)
    sys.stdout.flush()
    if asked.jobs and time.monotonic() < until:
        print(f"| jobs, 30 things each | {machine(asked.jobs, 30, asked.seed)} | nothing lost, no answer of 500 | |")
    return 1 if defects or tally.lost or tally.left or tally.damaged else 0


if __name__ == "__main__":
    sys.exit(main())
