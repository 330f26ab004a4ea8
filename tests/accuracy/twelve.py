"""Twelve photos that settings were chosen on, and how misreadings are found on them: a regression, not a claim.

    python -m tests.accuracy.twelve [FOLDER] [--only NAME …] [--each] [--grain SEED]

FOLDER holds NAME.jpg with NAME.truth.json; by default the photos beside this file. Readings are the truth's own, with
the scatter of a caliper (0.015 mm) in them; then the first four of each photo are spoiled in turn, in the ways that
people misread. With --grain every pixel is a grey level lighter, darker or as it was: how much hangs on so little.
"""

import argparse
import json
import tempfile
import traceback
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
from PIL import Image

from calib.errors import JawlineError
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.accuracy import broken
from tests.accuracy.jaw_readings import SPOIL, labelled, spoiled, write
from tests.accuracy.score import compare

LIKELY = {"unit": "unit", "digits": "digits", "feature": "feature", "plus": "other", "zero": "zero"}


@dataclass
class Outcome:
    """What came of one photo; `refused` says why there is nothing else."""

    name: str
    level: str
    refused: str = ""
    trace: dict = field(default_factory=dict)
    measured: dict = field(default_factory=dict)
    good: list = field(default_factory=list)  # (was it flagged) for each good reading
    spoilt: list = field(default_factory=list)  # (how, could be checked, flagged, likely cause right)


def judged(path: Path, grain: int | None = None) -> Outcome:
    """One photo, all of it; with a seed for grain, if wanted."""
    truth = json.loads(path.read_text())
    out = Outcome(truth["photo"].removesuffix(".jpg"), truth["level"])
    with tempfile.TemporaryDirectory() as d:
        job = Path(d) / "job"
        try:
            photo = path.parent / truth["photo"]
            photo = photo if grain is None else grainy(photo, Path(d) / "grainy.png", grain)
            trace(photo, job, Request(truth["thickness_mm"], truth["subject"]))
            traced = json.loads((job / "trace.json").read_text())
            out.trace = compare(truth, traced)
            rows, numbers = labelled(truth, traced)
            clean = measured_with(job, rows)
            out.measured = compare(truth, clean)
        except JawlineError as e:
            out.refused = e.text
            return out
        except Exception:
            out.refused = "DEFECT " + traceback.format_exc(limit=-2)
            return out
        out.good = [r["verdict"] == "suspect" for r in clean["readings"]]
        for how in SPOIL:
            for index in range(1 if how == "zero" else 4):
                bad = spoiled(rows, numbers, how, index)
                if bad:
                    at = None if how == "zero" else numbers.index(index)
                    out.spoilt.append((how, *flagged(job, rows, bad, at, how, clean)))
    return out


def grainy(photo: Path, copy: Path, seed: int) -> Path:
    """A copy without loss, each value of each pixel at random one less, one more or the same."""
    with Image.open(photo) as im:
        rgb, exif = np.asarray(im.convert("RGB")), im.getexif()
    by = np.random.default_rng(seed).integers(-1, 2, rgb.shape, dtype=np.int16)
    Image.fromarray(np.clip(rgb + by, 0, 255).astype(np.uint8)).save(copy, exif=exif, compress_level=1)
    return copy


def measured_with(job: Path, rows: list) -> dict:
    """measured.json with these readings and no others."""
    readings = job.parent / "readings.csv"
    write(readings, rows)
    read(job, [str(readings)], replace=True, force=True)
    reconcile(job, force=True)
    return json.loads((job / "measured.json").read_text())


def flagged(job: Path, rows: list, bad: list, at: int | None, how: str, clean: dict) -> tuple[bool, bool, bool]:
    """Whether something else could check the spoiled reading, whether it was flagged, whether the cause is right.

    It can be checked when the smallest misreading that would be noticed there (from the clean run) is no larger than
    the one that was made.
    """
    try:
        found = measured_with(job, bad)["readings"]
    except JawlineError:  # refused altogether: nobody is misled
        return True, True, True
    if at is None:
        hit = [r for r in found if r["verdict"] == "suspect"]
        return len(rows) > 2, bool(hit), any(r["likely"] == "zero" for r in hit)
    size = abs(bad[at][2] - rows[at][2])
    least = clean["readings"][at].get("detectable_mm")
    r = found[at]
    return least is not None and least <= size, r["verdict"] == "suspect", r["likely"] == LIKELY[how]


def share(xs: list) -> str:
    """Per cent of true values, with their number."""
    return f"{100 * np.mean(xs):5.1f} % of {len(xs)}" if len(xs) else "none"


def spread(values: list) -> str:
    """Median and worst."""
    return f"median {np.median(values):.3f}, worst {np.max(values):.3f}" if values else "none"


def coverage(done: list[Outcome], stage: str) -> str:
    """Share of all dimensions whose truth lies inside ± u95."""
    n = [(getattr(o, stage)["dimensions"], getattr(o, stage)["coverage"] or 0) for o in done]
    total = sum(k for k, _ in n)
    return f"{100 * sum(k * c for k, c in n) / max(total, 1):.1f} % of {total}"


def table(outcomes: list[Outcome]) -> str:
    """The figures, photo alone beside photo with readings."""
    done = [o for o in outcomes if not o.refused]
    plain = [o for o in done if o.level != "hard"]
    hard = [o for o in done if o.level == "hard"]
    rows = [("", "photo alone", "with the readings")]

    def both(words: str, f) -> None:
        rows.append((words, f("trace"), f("measured")))

    both("boundary p95, easy and ordinary, mm", lambda s: spread([getattr(o, s)["p95_mm"] for o in plain]))
    both(
        "dimensions up to 60 mm, p95, mm",
        lambda s: spread([v for o in plain if (v := getattr(o, s)["dimension_p95_mm"]) is not None]),
    )
    both("truth inside ± u95", lambda s: coverage(done, s))
    both("median u95, mm", lambda s: f"{np.median([getattr(o, s)['u95_median_mm'] or 0 for o in done]):.3f}")
    both("boundary p95, hard, mm", lambda s: spread([getattr(o, s)["p95_mm"] for o in hard]))
    both("mirrored", lambda s: str(sum(getattr(o, s)["mirrored"] for o in done)))
    both(
        "holes missing or invented",
        lambda s: str(sum(getattr(o, s)["loops_true"] != getattr(o, s)["loops_found"] for o in done)),
    )
    width = [max(len(r[i]) for r in rows) for i in range(3)]
    lines = ["  ".join(c.ljust(w) for c, w in zip(r, width, strict=True)).rstrip() for r in rows]
    lines.append("")
    spoilt = [s for o in done for s in o.spoilt]
    for how in SPOIL:
        mine = [s for s in spoilt if s[0] == how]
        checkable = [s for s in mine if s[1]]
        hits = [s for s in checkable if s[2]]
        lines.append(
            f"spoiled: {how:8} {len(mine):3} in all, {len(checkable):3} could be checked; flagged "
            f"{share([s[2] for s in checkable])}; cause right in {share([s[3] for s in hits])}"
        )
    checkable = [s for s in spoilt if s[1]]
    lines.append(
        f"all spoiled: flagged {share([s[2] for s in checkable])}; cause right in "
        f"{share([s[3] for s in checkable if s[2]])}"
    )
    lines.append(f"good readings flagged: {share([g for o in done for g in o.good])}")
    refused = [o for o in outcomes if o.refused]
    lines.append(f"photos: {len(outcomes)}, refused {len(refused)}")
    lines += [f"  {o.name} ({o.level}): {o.refused}" for o in refused]
    return "\n".join(lines)


def main() -> None:
    """Print the table."""
    a = argparse.ArgumentParser(description="Accuracy on photos with exact truth.")
    a.add_argument("folder", type=Path, nargs="?", default=Path(__file__).parent / "photos")
    a.add_argument("--only", nargs="*")
    a.add_argument("--each", action="store_true", help="a line for every photo too")
    a.add_argument("--grain", type=int, metavar="SEED", help="add noise of one grey level to the photos first")
    a = a.parse_args()
    paths = sorted(a.folder.glob("*.truth.json"))
    if a.only:
        paths = [p for p in paths if p.name.split(".")[0] in a.only]
    with ProcessPoolExecutor(2) as pool:
        outcomes = []
        for o in pool.map(partial(judged, grain=a.grain), paths):
            outcomes.append(o)
            if a.each:
                print(line(o), flush=True)
    print(table(outcomes))
    if not a.only and a.grain is None:
        print(f"\n{broken.section()}")


def line(o: Outcome) -> str:
    """One photo in a line."""
    if o.refused:
        return f"{o.name:26} {o.refused}"
    parts = [f"{o.name:26}"]
    for s in (o.trace, o.measured):
        parts.append(
            f"p95 {s['p95_mm']:.3f} max {s['max_mm']:.3f} dim {s['dimension_p95_mm'] or 0:.3f} "
            f"inside {s['coverage'] or 0:.2f} of {s['dimensions']} u95 {s['u95_median_mm'] or 0:.3f} "
            f"segments {s['segments_found']}/{s['segments_true']} of {s['features']}"
        )
    bad = [s[0] for s in o.spoilt if s[1] and not (s[2] and s[3])]
    parts.append(f"good flagged {sum(o.good)}/{len(o.good)} spoiled missed {bad}")
    return " | ".join(parts)


if __name__ == "__main__":
    main()
