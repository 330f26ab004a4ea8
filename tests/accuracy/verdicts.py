"""How the verdicts of `jawline check` and what a trace then achieves go together.

    python -m tests.accuracy.verdicts [FOLDER] [--only NAME …] [--spoil WORD …] [--each]

Every photo of a folder with truth files, as taken and spoiled in turn: verdict and expected uncertainty of 50 mm on one
hand; on the other the trace's boundary error and whether its dimensions hold their own uncertainty.
"""

import argparse
import json
import math
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from calib.errors import JawlineError
from calib.photo.photo import load
from measure.steps.check import check_photo
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.accuracy.score import compare
from tests.spoiled_photos import SPOILS


@dataclass
class Outcome:
    """One photo in one state: what check said, and what trace made of it (nan where it refused)."""

    name: str
    spoil: str
    verdict: str
    codes: str
    u95_50_mm: float
    refused: str
    p95_mm: float = math.nan
    off: float = math.nan  # p95 of the dimensions' errors over their u95
    u95_mm: float = math.nan  # median of the trace's own for lengths of 35 to 65 mm


def outcome(path: Path, spoil: str) -> Outcome:
    """Check and trace one spoiled photo."""
    truth = json.loads(path.read_text())
    photo = path.parent / truth["photo"]
    with tempfile.TemporaryDirectory() as d:
        if spoil != "as taken":
            im = Image.open(photo)
            kept = im.getexif()
            pixels = SPOILS[spoil](load(photo).rgb)
            if kept:
                kept[0x0112] = 1
            photo = Path(d) / photo.name
            Image.fromarray(pixels).save(photo, quality=92, exif=kept.tobytes() if kept else b"")
        said = check_photo(photo, Request(truth["thickness_mm"], truth["subject"]))
        expected = math.nan if said.u95_50_mm is None else said.u95_50_mm
        codes = " ".join(x.code for x in said.findings)
        out = Outcome(path.stem.split(".")[0], spoil, said.verdict, codes, expected, "")
        try:
            trace(photo, Path(d) / "job", Request(truth["thickness_mm"], truth["subject"]))
        except JawlineError as why:
            out.refused = why.code
            return out
        traced = json.loads((Path(d) / "job" / "trace.json").read_text())
    score = compare(truth, traced)
    out.p95_mm, out.off = score["p95_mm"], score["error_over_u95_p95"] or math.nan
    lengths = [x["u95_mm"] for x in traced["dimensions"] if 35 < x["value_mm"] < 65 and x["kind"] != "angle"]
    out.u95_mm = float(np.median(lengths)) if lengths else math.nan
    return out


def row(words: str, those: list[Outcome]) -> str:
    """A line of the table."""
    done = [o for o in those if not o.refused]
    p95 = [o.p95_mm for o in done]
    fine = sum(o.p95_mm <= 0.15 for o in done)
    fair = sum(o.p95_mm <= 0.35 for o in done)
    spread = f"{np.median(p95):6.3f}{max(p95):8.3f}" if done else f"{'':14}"
    return f"{words:10}{len(those):7}{len(those) - len(done):9}{fine:9}{fair:9}   {spread}"


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    words.add_argument("folder", type=Path, nargs="?", default=Path(__file__).with_name("photos"))
    words.add_argument("--only", nargs="*")
    words.add_argument("--spoil", nargs="*")
    words.add_argument("--each", action="store_true")
    words.add_argument("--jobs", type=int, default=1)
    asked = words.parse_args()
    paths = [p for p in sorted(asked.folder.glob("*.truth.json")) if not asked.only or p.stem[:-6] in asked.only]
    work = [(p, s) for p in paths for s in SPOILS if not asked.spoil or s in asked.spoil]
    done: list[Outcome] = []
    with ProcessPoolExecutor(asked.jobs) as pool:
        for o in pool.map(outcome, *zip(*work, strict=True)):
            done.append(o)
            if asked.each:
                traced = o.refused or f"p95 {o.p95_mm:.3f} mm, error/u95 {o.off:.2f}, u95 {o.u95_mm:.3f}"
                expected = "" if math.isnan(o.u95_50_mm) else f"± {o.u95_50_mm:.2f}"
                print(f"{o.name:26}{o.spoil:16}{o.verdict:8}{expected:8}{traced:52}{o.codes}", flush=True)
    print(f"\n{'verdict':10}{'photos':>7}{'refused':>9}{'≤ 0.15':>9}{'≤ 0.35':>9}   median, worst boundary p95, mm")
    for name in ("good", "usable", "retake"):
        print(row(name, [o for o in done if o.verdict == name]))
    ratio = [o.u95_50_mm / o.u95_mm for o in done if math.isfinite(o.u95_50_mm) and math.isfinite(o.u95_mm)]
    if ratio:
        low, middle, high = np.quantile(ratio, [0.1, 0.5, 0.9])
        print(f"\nexpected u95 of 50 mm over trace's own of 35 to 65 mm: {middle:.2f} ({low:.2f} to {high:.2f})")


if __name__ == "__main__":
    main()
