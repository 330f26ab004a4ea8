"""Broken parts in photos with exact truth: completed over the stretch that is missing, and pieces joined.

    python -m tests.accuracy.broken

The photos lie in `broken/` beside this file, and one among the others; `python -m tests.accuracy` prints the same.
"""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from calib.errors import JawlineError
from measure.steps.complete import complete
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.accuracy.laying import lines_of, loops_of, moved, points_of, register, spaced
from tests.accuracy.score import compare

HERE = Path(__file__).parent
COMPLETED = (
    HERE / "broken/drawer-pull-broken.jpg",
    HERE / "broken/tap-knob-broken.jpg",
)
JOINED = (HERE / "broken/fan-grille-two.jpg", HERE / "broken/gate-hook-two.jpg")
MISSING_MM = 0.2
"""The true boundary is missing where nothing of the broken part's boundary lies so near."""


@dataclass(frozen=True)
class Figures:
    """What came of one photo; `refused` says why there is nothing else."""

    name: str
    p95_mm: float = float("nan")
    refused: str = ""
    way: str = ""
    inside: int = 0
    dimensions: int = 0


def _truth(photo: Path) -> dict:
    return json.loads(photo.with_suffix(".truth.json").read_text())


def marked(truth: dict, found: dict) -> str:
    """The broken features, first and last, as a person would mark them who sees the part: those along the fracture."""
    broken = [loop["segments"] for loop in truth["loops"]]
    laid_so, _ = register(loops_of(found), broken)
    curve = shapely.LineString(next(s for s in broken[0] if s["kind"] == "curve")["points"])
    loop = [f for f in found["features"] if f["loop"] == 0]
    lines = [shapely.LineString(points_of(moved(f, laid_so))) for f in loop]
    middles = [g.interpolate(0.5, normalized=True) for g in lines]
    along = [
        curve.distance(m) < 0.8 and (f["kind"] == "curve" or curve.distance(shapely.Point(g.coords[0])) < 1.5)
        for f, m, g in zip(loop, middles, lines, strict=True)
    ]
    n = len(loop)
    first = next(i for i in range(n) if along[i] and not along[i - 1])
    last = next(i for i in range(first, first + n) if not along[(i + 1) % n])
    ends = loop[first]["label"], loop[last % n]["label"]
    return ends[0] if last == first else "-".join(ends)


def of_completed(photo: Path) -> Figures:
    """How far the invented stretch lies from what was there before the part broke."""
    truth = _truth(photo)
    with tempfile.TemporaryDirectory() as d:
        job = Path(d) / "job"
        try:
            trace(photo, job, Request(truth["thickness_mm"]))
            done = complete(job, broken=marked(truth, json.loads((job / "trace.json").read_text())))
        except JawlineError as why:
            return Figures(photo.stem, refused=why.text)
        if not any(b["by"] != "open" for b in done.result["breaks"]):
            return Figures(photo.stem, refused=done.lines[0])
        found = json.loads((job / "trace.json").read_text())
    intact, broken = ([loop["segments"] for loop in truth[k]] for k in ("intact_loops", "loops"))
    laid_so, _ = register(loops_of(found), intact)
    laid = lines_of([[moved(s, laid_so) for s in loop] for loop in loops_of(found)][:1])
    left = shapely.MultiLineString([points_of(s) for s in broken[0] if s["kind"] != "curve"])
    points = shapely.points(spaced(lines_of(intact[:1]), 0.1))
    missing = points[shapely.distance(points, left) > MISSING_MM]
    p95 = float(np.quantile(shapely.distance(missing, laid), 0.95))
    return Figures(photo.stem, p95, way=done.result["breaks"][0]["by"])


def of_joined(photo: Path) -> Figures:
    """How far the joined outline lies from the whole part's, everywhere; and dimensions inside their ± u95."""
    truth = _truth(photo)
    with tempfile.TemporaryDirectory() as d:
        job = Path(d) / "job"
        try:
            trace(photo, job, Request(truth["thickness_mm"], in_two=True))
        except JawlineError as why:
            return Figures(photo.stem, refused=why.text)
        s = compare(truth, json.loads((job / "trace.json").read_text()))
    n = s["dimensions"]
    return Figures(photo.stem, s["p95_mm"], way="joined", inside=round(n * (s["coverage"] or 0)), dimensions=n)


def section() -> str:
    """The part of the accuracy table that is on broken parts."""
    done = [of_completed(p) for p in COMPLETED]
    joined = [of_joined(p) for p in JOINED]
    rows = []
    for words, figures in (
        ("broken, completed: missing stretch p95, mm", done),
        ("broken in two, joined: boundary p95, mm", joined),
    ):
        good = [f for f in figures if not f.refused]
        values = ", ".join(f"{f.p95_mm:.3f} ({f.way})" for f in good)
        rows.append(f"{words:44} {values}")
        rows += [f"  {f.name}: {f.refused}" for f in figures if f.refused]
    inside, of = sum(f.inside for f in joined), sum(f.dimensions for f in joined)
    rows.append(f"{'broken in two, joined: truth inside ± u95':44} {100 * inside / max(of, 1):.1f} % of {of}")
    return "\n".join(rows)


if __name__ == "__main__":
    print(section())
