"""Make the samples' readings and outputs anew from their photos and truth: `python -m tests.make_samples [NAME …]`.

The readings in a truth file name true segments; here they get the labels that trace gives, by where both are seen.
"""

from __future__ import annotations

import csv
import io
import json
import shutil
import sys
from pathlib import Path
from typing import Any

import numpy as np

from calib.arrays import Array
from calib.photo.photo import load
from measure.geometry.features import flatten
from measure.job import job
from measure.readings.readings import COLUMNS
from measure.steps.draw import JobOrder, draw
from measure.tracing.request import Request
from measure.tracing.tracing import trace
from measure.tracing.values import Trace
from tests.sample_photos import project, turned
from tests.true_features import true_feature

SAMPLES = Path(__file__).resolve().parent.parent / "samples"
NEAR_PX = 25.0


def seen(truth: dict[str, Any], segment: dict[str, Any], loop: int) -> list[Array]:
    """(n, 2) pixels along the inner part of a true segment, at its lower and at its upper edge."""
    f = true_feature(segment, loop)
    points = flatten(f, 0.01)
    ends = np.linspace(0.2, 0.8, 9) if f.kind != "circle" else np.linspace(0, 1, 17)
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    inner = np.stack([np.interp(ends * along[-1], along, points[:, k]) for k in (0, 1)], 1)
    placed = turned(inner, truth["place"])
    return [project(truth["camera"], placed, z) for z in (0.0, truth["thickness_mm"])]


def labels(found: Trace, truth: dict[str, Any]) -> dict[str, str]:
    """The label of the feature that is seen where each true segment is."""
    out = {}
    for loop in truth["loops"]:
        for segment in loop["segments"]:
            best = (NEAR_PX, "")
            for f, line in zip(found.estimate.features, found.seen_px, strict=True):
                if f.kind == segment["kind"]:
                    apart = min(_apart(points, line) for points in seen(truth, segment, loop["loop"]))
                    best = min(best, (apart, f.label))
            out[segment["id"]] = best[1]
    return out


def _apart(points: Array, line: Array) -> float:
    """Mean distance of points from the points of a densely drawn line."""
    t = np.linspace(0, len(line) - 1, 400)
    dense = np.stack([np.interp(t, np.arange(len(line)), line[:, k]) for k in (0, 1)], 1)
    return float(np.hypot(*(points[:, None] - dense[None]).transpose(2, 0, 1)).min(1).mean())


def readings(truth: dict[str, Any], label_of: dict[str, str]) -> str:
    """The readings file."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for r in truth["readings"]:
        features = [label_of[s] for s in r["segments"]]
        if not all(features):
            raise SystemExit(f"{r['kind']} {r['segments']}: no feature is seen there")
        rows.writerow([r["kind"], " ".join(features), r["written"], "mm", r["tool"], r["note"]])
    return out.getvalue()


def make(folder: Path) -> None:
    """One sample: readings and outputs beside its photo."""
    truth = json.loads((folder / "truth.json").read_text())
    photo = folder / "photo.jpg"
    found = trace(load(photo), Request(truth["thickness_mm"], truth["subject"]))
    (folder / job.READINGS).write_text(readings(truth, labels(found, truth)))
    name = truth["words"].split(" with ")[0]
    wanted = JobOrder(
        photo, Request(truth["thickness_mm"], truth["subject"]), readings=folder / job.READINGS, name=name
    )
    done = draw(wanted, folder, force=True, say=print)
    shutil.rmtree(folder / ".history", ignore_errors=True)  # nobody undoes a sample
    print("\n".join(done.lines))


def main() -> None:
    names = sys.argv[1:] or sorted(p.parent.name for p in SAMPLES.glob("*/photo.jpg"))
    for name in names:
        print(f"\n{name}")
        make(SAMPLES / name)


if __name__ == "__main__":
    main()
