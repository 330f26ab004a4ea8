"""How long it takes in a warm process until a reading shows: on a comb of sixty features, step by step.

    python -m tests.benchmarks.live_speed [--rounds 5]

Processor time, medians, in milliseconds. A person does not notice 300.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from measure.bench.changes import add_reading
from measure.bench.live import live, sketch_svg
from measure.bench.shelf import Job
from measure.bench.state import plain_state
from measure.geometry.dimensions import list_dimensions
from measure.job import job, records
from tests.jobs import estimate, record
from tests.test_bench_live import comb


def sixty(folder: Path) -> Job:
    """A job of sixty features, as trace would have written it."""
    e = estimate(comb())
    given = {
        "features": tuple(records.feature_record(f) for f in e.features),
        "dimensions": tuple(records.dimension_record(d) for d in list_dimensions(e)),
        "adjustment": records.adjustment_record(e),
    }
    job.write(folder, {job.TRACE: records.to_text(record("comb").model_copy(update=given)).encode()})
    return Job("comb", folder)


def timed(took: dict[str, list[float]], name: str, work: Callable[[], Any]) -> Any:
    """What some work gives; its processor time goes under its name."""
    began = time.process_time()
    out = work()
    took.setdefault(name, []).append(1000 * (time.process_time() - began))
    return out


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    words.add_argument("--rounds", type=int, default=5)
    rounds = words.parse_args().rounds
    took: dict[str, list[float]] = {}
    with TemporaryDirectory() as place:
        of = sixty(Path(place) / "comb")
        now = live(of.folder)
        sketch_svg(now, of.folder, None)
        for k in range(rounds):
            reading = {"kind": "bore", "features": [f"D{1 + k % 12}"], "value": f"4.{k:02}"}
            timed(took, "reading written", lambda reading=reading, now=now: add_reading(of, now, reading))
            now = timed(took, "reconciled, next advised", lambda: live(of.folder))
            timed(took, "whole state", lambda now=now: plain_state(of, None, now, None))
            timed(took, "sheet and SVG", lambda now=now: sketch_svg(now, of.folder, None))
    for name, each in took.items():
        print(f"{name:26}{median(each):7.0f} ms")
    print(f"{'together':26}{median(map(sum, zip(*took.values(), strict=True))):7.0f} ms   ≤ 300 ms")


if __name__ == "__main__":
    main()
