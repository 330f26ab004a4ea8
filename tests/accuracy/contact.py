"""A contact sheet of what is worst: the photo with the true outline (green) and the one that was found (magenta).

    python -m tests.accuracy.contact DIR OUT.webp [--worst 10] [--refused]

DIR is what `python -m tests.accuracy --keep DIR` wrote. Left the whole part, right the place where the two are
farthest apart, enlarged. Both lie at the height of the part's face, as the camera sees it; an opening's at its rim.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageOps

from tests.accuracy import shapes as sh
from tests.accuracy.lab.camera import Camera
from tests.accuracy.laying import Loop, lines_of, loops_of, moved, points_of, register, spaced
from tests.accuracy.score import distances

Picture = NDArray[np.uint8]

SIDE_PX, TITLE_PX = 560, 44
ROUND_WORST_MM = 4.0
"""How much is shown on either side of the worst place."""
TRUE, FOUND = (60, 220, 60), (255, 40, 220)


@dataclass(frozen=True)
class Case:
    """One photo of the sheet; distances are mm, `found` is laid on the truth."""

    name: str
    photo: Path
    truth: dict[str, Any]
    found: list[Loop]
    words: str
    p95_mm: float

    @property
    def true(self) -> list[Loop]:
        """The truth's loops."""
        return [loop["segments"] for loop in self.truth["loops"]]


def case_of(truth_path: Path) -> Case:
    """From the files of one photo."""
    truth = json.loads(truth_path.read_text())
    name = truth_path.name.removesuffix(".truth.json")
    scene = truth.get("scene", {})
    about = f"{truth['level']}, {scene.get('table', '')}, rim {truth.get('rim_mm', 0.0):.2f}"
    traced = truth_path.with_name(f"{name}.trace.json")
    photo = truth_path.with_name(truth["photo"])
    if not traced.exists():
        return Case(name, photo, truth, [], f"{about}: refused", np.inf)
    result = json.loads(traced.read_text())
    true = [loop["segments"] for loop in truth["loops"]]
    laid, _ = register(loops_of(result), true)
    found = [[moved(s, laid) for s in loop] for loop in loops_of(result)]
    p95 = float(np.quantile(distances(found, true), 0.95))
    codes = ", ".join(c["code"] for c in result.get("warnings", [])) or "silent"
    return Case(name, photo, truth, found, f"{about}: p95 {p95:.2f} mm, {codes}", p95)


def worst_place(case: Case) -> NDArray[np.float64]:
    """The point, in the part's frame, where truth and what was found are farthest apart; without a find, its middle."""
    true = lines_of(case.true)
    if not case.found:
        return np.array(true.envelope.centroid.coords[0])
    found = lines_of(case.found)
    here, there = spaced(true, 0.1), spaced(found, 0.1)
    points = np.r_[here, there]
    off = np.r_[shapely.distance(shapely.points(here), found), shapely.distance(shapely.points(there), true)]
    return points[int(np.argmax(off))]


def panel(case: Case) -> Picture:
    """Both views of a case side by side under a title."""
    with Image.open(case.photo) as im:
        photo = np.asarray(ImageOps.exif_transpose(im).convert("RGB"))
    around = np.concatenate([_seen(case, points_of(s)) for s in case.true[0]])
    at = worst_place(case)
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * ROUND_WORST_MM
    title = np.full((TITLE_PX, 2 * SIDE_PX, 3), 255, np.uint8)
    for i, text in enumerate((case.name, case.words)):
        cv2.putText(title, text, (6, 16 + 20 * i), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1, cv2.LINE_AA)
    views = [_view(case, photo, around, 0.06), _view(case, photo, _seen(case, at + square), 0.0)]
    return np.vstack([title, np.hstack(views)])


def sheet(folder: Path, worst: int, refused: bool) -> Picture | None:
    """The worst cases of a folder, two in a row; None of none."""
    cases = [case_of(p) for p in sorted(folder.glob("*.truth.json"))]
    cases = sorted((c for c in cases if refused or c.found), key=lambda c: -c.p95_mm)[:worst]
    panels = [panel(c) for c in cases]
    if not panels:
        return None
    if len(panels) % 2:
        panels.append(np.full_like(panels[0], 255))
    return np.vstack([np.hstack(panels[i : i + 2]) for i in range(0, len(panels), 2)])


def _seen(case: Case, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points of the part's frame in the upright photo, px."""
    x, y, turn = case.truth["place"]
    world = np.array([sh.move([{"centre": p}], x, y, turn)[0]["centre"] for p in points])
    height = np.full(len(world), float(case.truth["thickness_mm"]))
    return Camera.of(case.truth["camera"]).project(np.c_[world, height])


def _view(case: Case, photo: Picture, around: NDArray[np.float64], margin: float) -> Picture:
    """A square crop round some pixels, scaled, with both outlines."""
    lo, hi = around.min(0), around.max(0)
    side = float((hi - lo).max()) * (1 + 2 * margin)
    k, corner = SIDE_PX / side, (lo + hi) / 2 - side / 2
    M = np.array([[k, 0, -corner[0] * k], [0, k, -corner[1] * k]])
    how = cv2.INTER_AREA if k < 1 else cv2.INTER_CUBIC
    view = cv2.warpAffine(photo, M, (SIDE_PX, SIDE_PX), flags=how, borderMode=cv2.BORDER_REPLICATE)
    for loops, colour in ((case.found, FOUND), (case.true, TRUE)):
        for segment in (s for loop in loops for s in loop):
            p = (_seen(case, points_of(segment)) - corner) * k
            cv2.polylines(view, [np.round(p * 16).astype(np.int32)], False, colour, 1, cv2.LINE_AA, shift=4)
    return view


def main() -> None:
    """Write the sheet."""
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("folder", type=Path)
    a.add_argument("out", type=Path)
    a.add_argument("--worst", type=int, default=10)
    a.add_argument("--refused", action="store_true", help="those without an outline first")
    a = a.parse_args()
    found = sheet(a.folder, a.worst, a.refused)
    if found is None:
        raise SystemExit(f"{a.folder} has no photo with a truth file and an outline.")
    Image.fromarray(found).save(a.out, quality=85)


if __name__ == "__main__":
    main()
