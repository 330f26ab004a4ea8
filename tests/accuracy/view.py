"""The view by itself, apart from any outline: how far the solved camera is off where the part lies, by truth files.

    python -m tests.accuracy.view FOLDER [--names p0064 p0095] [--each]

FOLDER has photos NAME.jpg with NAME.truth.json: the camera, where the card lies, where the part lies and how thick it
is. A grid over the part is seen by the true camera and laid back on the plane by the solved one; what an affine map
between the two says is the error of lengths there: on the card's plane, and at the part's upper edge. Columns: median
and 95th percentile of the error in 1/10000 (of the foot, 1/1000 mm), median standard deviation given, share of photos
whose error lies within 1.96 of those.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from calib.arrays import Array
from calib.finding.finding import find_reference
from calib.photo.photo import load
from calib.rectangle.refusals import Failure
from calib.view.view import View, camera_prior, project

Truth = dict[str, Any]

QUANTITIES = ("scale", "scale at the edge", "stretch", "shear", "foot")
"""Mean of both directions' relative errors at z = 0 and at the part's thickness; half their difference; the change of
the right angle; and how far the upper edge is shifted against the foot, mm."""
UNITS = {q: 1e3 if q == "foot" else 1e4 for q in QUANTITIES}


@dataclass(frozen=True)
class Judged:
    """One photo: errors (5,) of QUANTITIES and their standard deviations; empty when refused, with the code."""

    name: str
    truth: Truth
    errors: Array
    sds: Array
    refused: str = ""


def true_pixels(camera: Truth, points: Array, quarter_turns: int = 0) -> Array:
    """(n, 2) pixels of (n, 3) world points in the upright photo, or in one that lost its orientation."""
    p = points @ np.array(camera["R"]).T + camera["t"]
    q = p[:, :2] / p[:, 2:]
    q = q * (1 + camera["k1"] * (q**2).sum(1, keepdims=True))
    px = q * camera["f"] + [camera["cx"], camera["cy"]]
    w, h = camera["width"], camera["height"]
    for _ in range(quarter_turns):
        px = np.c_[px[:, 1], w - 1 - px[:, 0]]
        w, h = h, w
    return np.asarray(px)


def grid(truth: Truth) -> Array:
    """(25, 2) points over the part's extent, in the world."""
    ends = []
    for s in truth["loops"][0]["segments"]:
        if s["kind"] == "circle":
            ends += [np.array(s["centre"]) + s["radius"] * np.array(d) for d in ((1, 0), (-1, 0), (0, 1), (0, -1))]
        else:
            ends += [np.array(p, float) for p in s.get("points", [s.get("start"), s.get("end")])]
    x, y, degrees = truth["place"]
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    world = np.array(ends) @ np.array([[c, s], [-s, c]]) + [x, y]
    low, high = world.min(0), world.max(0)
    return np.stack(np.meshgrid(*(np.linspace(a, b, 5) for a, b in zip(low, high, strict=True))), 2).reshape(-1, 2)


def lies_turned(view: View, truth: Truth) -> int:
    """By how many quarter turns a photo without EXIF lies: the one for which the card is where it was found."""
    camera, (x, y, _) = truth["camera"], truth["reference"][0]["place"]
    found = project(view.parameters, np.zeros((1, 3)))[0]
    upright = [k for k in range(4) if (k % 2 == 0) == (view.size_px[0] == camera["width"])]
    return min(upright, key=lambda k: np.hypot(*(true_pixels(camera, np.array([[x, y, 0.0]]), k)[0] - found)))


def errors(view: View, truth: Truth) -> tuple[Array, Array]:
    """(5,) errors and standard deviations of QUANTITIES."""
    P, h, turn = grid(truth), float(truth["thickness_mm"]), lies_turned(view, truth)
    B = np.linalg.pinv(np.c_[P - P.mean(0), np.ones(len(P))])
    rows, shifts = [], []
    for z in (0.0, h):
        px = true_pixels(truth["camera"], np.c_[P, np.full(len(P), z)], turn)
        fit, by = B @ view.plane(px, z), np.einsum("an,nik->aik", B, view.plane_sensitivity(px, z))
        U, _, V = np.linalg.svd(fit[:2].T)
        R = U @ V
        S, dS = R.T @ fit[:2].T, np.einsum("ji,ajk->iak", R, by[:2])
        rows.append(
            (
                ((S[0, 0] + S[1, 1]) / 2 - 1, (dS[0, 0] + dS[1, 1]) / 2),
                ((S[0, 0] - S[1, 1]) / 2, (dS[0, 0] - dS[1, 1]) / 2),
                ((S[0, 1] + S[1, 0]) / 2, (dS[0, 1] + dS[1, 0]) / 2),
            )
        )
        shifts.append((fit[2], by[2]))
    off, by_off = (b - a for a, b in zip(*shifts, strict=True))
    far = math.hypot(*off)
    foot = (far, off @ by_off / max(far, 1e-9))
    pairs = (rows[0][0], rows[1][0], rows[0][1], rows[0][2], foot)
    return np.array([e for e, _ in pairs]), np.sqrt([g @ view.covariance @ g for _, g in pairs])


def judged(path: Path) -> Judged:
    """One photo."""
    truth = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text())
    photo = load(path)
    found = find_reference(photo.rgb, camera_prior((photo.rgb.shape[1], photo.rgb.shape[0]), photo.focal_35mm))
    if isinstance(found, Failure):
        return Judged(path.stem, truth, np.empty(0), np.empty(0), found.code)
    return Judged(path.stem, truth, *errors(found.view, truth))


def of_scene(r: Judged, key: str) -> Any:
    """What a photo's truth says of its scene."""
    return r.truth["scene"][key]


def classes(results: list[Judged]) -> Iterable[tuple[str, list[Judged]]]:
    """The photos by what they are like."""

    def by(name: str, key: Callable[[Judged], Any]) -> Iterable[tuple[str, list[Judged]]]:
        for value in sorted({str(key(r)) for r in results}):
            yield f"{name} {value}", [r for r in results if str(key(r)) == value]

    def tilt(r: Judged) -> str:
        return ("below 3°", "to 10°", "above 10°")[int(np.digitize(r.truth["camera"]["tilt_deg"], (3, 10)))]

    yield "all", results
    yield from by("level", lambda r: r.truth["level"])
    yield from by("tilt", tilt)
    for key in ("card", "sharpen", "exif", "table"):
        yield from by(key, partial(of_scene, key=key))
    yield from by("blur over 0.9:", lambda r: of_scene(r, "blur") > 0.9)


def line(name: str, results: list[Judged]) -> str:
    """A row of the table."""
    seen = [r for r in results if not r.refused]
    if not seen:
        return f"{name[:26]:26s}{len(results):4d} {len(results):3d}"
    out = f"{name[:26]:26s}{len(results):4d} {len(results) - len(seen):3d}"
    for k, q in enumerate(QUANTITIES):
        e, sd = np.abs([r.errors[k] for r in seen]), np.array([r.sds[k] for r in seen])
        inside = 100 * np.mean(e < 1.96 * sd)
        e, sd = UNITS[q] * e, UNITS[q] * sd
        out += f" | {np.median(e):6.1f} {np.quantile(e, 0.95):6.1f} {np.median(sd):5.1f} {inside:4.0f}"
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--names", nargs=2, metavar=("FIRST", "LAST"), default=("", "\uffff"))
    parser.add_argument("--each", action="store_true", help="a line for each photo, the worst first")
    given = parser.parse_args()
    first, last = given.names
    paths = [p for p in sorted(given.folder.glob("*.jpg")) if first <= p.stem <= last]
    results = [judged(p) for p in paths if p.with_suffix(".truth.json").exists()]
    print(" " * 26 + "   n out" + "".join(f" | {q:24s}" for q in QUANTITIES))
    for name, some in classes(results):
        print(line(name, some))
    if given.each:
        for r in sorted(results, key=lambda r: -max(np.abs(r.errors / np.maximum(r.sds, 1e-9)), default=99.0)):
            each = zip(UNITS.values(), r.errors, r.sds, strict=False)
            text = "  ".join(f"{u * e:+.1f} ± {1.96 * u * s:.1f}" for u, e, s in each)
            print(f"{r.name:12s} {r.refused} {text}")


if __name__ == "__main__":
    main()
