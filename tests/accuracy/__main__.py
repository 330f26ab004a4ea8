"""The census: what the program makes of photos that nobody chose.

    python -m tests.accuracy --render SEED N [--jobs 2]     draws photos SEED … SEED + N - 1 and judges them
    python -m tests.accuracy --photos DIR                   judges a folder of NAME.jpg with NAME.truth.json
    python -m tests.accuracy                                judges the sample of small photos that the tests judge
    python -m tests.accuracy --table LINES …                prints the table of rows that --lines wrote, again

--rim traces everything once more, told what the rim is like. --lines FILE keeps a row for every photo as it comes,
--keep DIR what was refused or is off, for `python -m tests.accuracy.contact DIR OUT.webp`. --program judges another
program. Drawing needs `pip install -e '.[render]'` and Debian's libllvm19; with MI_VARIANT=cuda_ad_rgb it runs on a
graphics processor.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import partial
from pathlib import Path

from tests.accuracy.census import How, Row, drawn_and_judged, judged, whatever_happens
from tests.accuracy.table import report

OWN = (sys.executable, "-c", "from measure.cli import main; main()")
SAMPLE = Path(__file__).with_name("sample")


def main() -> None:
    """Judge and print the table."""
    a = _arguments()
    if a.table:
        print(report([json.loads(line) for path in a.table for line in path.read_text().splitlines()]))
        return
    how = How(tuple(a.program or OWN), a.rim, a.keep)
    rows = []
    for row in _all(_work(a, how), a.jobs, a.stop_after):
        rows.append(row)
        if a.lines:
            with open(a.lines, "a") as f:
                f.write(json.dumps(row) + "\n")
    print(report(rows), flush=True)


def _arguments() -> argparse.Namespace:
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--render", nargs=2, type=int, metavar=("SEED", "N"))
    a.add_argument("--width", type=int, default=4032, help="of drawn photos, pixels")
    a.add_argument("--photos", type=Path, default=SAMPLE)
    a.add_argument("--only", nargs="+", metavar="NAME")
    a.add_argument("--rim", action="store_true")
    a.add_argument("--jobs", type=int, default=2)
    a.add_argument("--lines", type=Path)
    a.add_argument("--keep", type=Path)
    a.add_argument("--table", nargs="+", type=Path, metavar="LINES")
    a.add_argument("--program", nargs="+")
    a.add_argument("--stop-after", type=float, metavar="S", help="print what there is after so many seconds")
    return a.parse_args()


def _work(a: argparse.Namespace, how: How) -> dict[str, Callable[[], Row]]:
    """What is to be judged, by name."""
    if a.render:
        first, count = a.render
        return {f"c{s:04d}": partial(drawn_and_judged, s, how, a.width) for s in range(first, first + count)}
    photos = [p for p in sorted(a.photos.glob("*.jpg")) if p.with_suffix(".truth.json").exists()]
    return {p.stem: partial(judged, p.absolute(), how) for p in photos if not a.only or p.stem in a.only}


def _all(work: dict[str, Callable[[], Row]], jobs: int, stop_after: float | None):
    """Rows as they come; what has not come in time is left out, and what still runs then is ended."""
    start = time.monotonic()
    with ProcessPoolExecutor(jobs) as pool:
        waiting = [pool.submit(whatever_happens, judge, name) for name, judge in work.items()]
        try:
            for n, done in enumerate(as_completed(waiting, timeout=stop_after), 1):
                if sys.stderr.isatty():
                    print(f"\r{n} of {len(waiting)}, {time.monotonic() - start:.0f} s ", end="", file=sys.stderr)
                yield done.result()
        except TimeoutError:
            for process in list(pool._processes.values()):
                process.kill()
    if sys.stderr.isatty():
        print(file=sys.stderr)


if __name__ == "__main__":
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    main()
