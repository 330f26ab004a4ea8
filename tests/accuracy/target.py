"""How exactly a part on the printed sheet is measured: photos rendered on the spot, traced, compared with the truth.

    python -m tests.accuracy.target [--random 32]

Unknown lens, office printer, paper a little bowed; bars measured with a caliper's scatter. Two minutes of work for the
six photos of the table. With --random so many more are drawn at random, each with a camera, a printer, readings and a
part of its own: is the truth inside ± u95 in 19 cases of 20?
"""

import argparse
import json
import math
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calib.errors import Untrustworthy
from calib.reference.wanted import Bars, Wanted
from calib.target.layout import BAR_MM
from calib.target.target import BAR_SD_MM
from measure.steps.trace import NO_LENS, trace
from measure.tracing.parts import THICKNESS_SD_MM
from measure.tracing.request import Request
from tests.accuracy.score import compare, quantile
from tests.accuracy.shapes import flatten_segment
from tests.rendered_sheet import Shot, render, save
from tests.simulated_parts import circle, polygon

SIZE_PX = (3200, 2400)
THICKNESS_MM = 4.2
PARTS = {
    "bracket": [
        polygon([(0, 0, 3), (62, 0, 3), (62, 14, 4), (24, 14, 5), (24, 44, 3), (0, 44, 3)]),
        circle(12, 34, 3.2),
        circle(50, 7, 2.6),
    ],
    "plate": [polygon([(0, 0, 4), (50, 0, 4), (50, 36, 4), (0, 36, 4)]), circle(10, 18, 4.1), circle(40, 18, 4.1)],
}
LIGHT, DARK = (0.62, 0.60, 0.55), (0.08, 0.12, 0.30)
BLUE = (0.106, 0.214, 0.296)
SHOTS = {
    "k1 0.03, printer 0.3 % out": ("bracket", (5.0, -15.0), {"radial": 0.03, "stretch": (0.997, 1.002)}),
    "k1 -0.03, tilt 14": ("plate", (-25.0, 40.0), {"radial": -0.03, "tilt_deg": 14.0, "towards_deg": 200.0}),
    "light part, dark field": ("bracket", (-10.0, 20.0), {"radial": 0.015, "tint": BLUE, "face": LIGHT}),
    "sheet bowed by 0.2 mm": ("plate", (20.0, -50.0), {"radial": 0.02, "bow_mm": 0.2, "stretch": (1.004, 0.998)}),
    "a5, near": ("plate", (0.0, 8.0), {"layout": "a5", "height_mm": 230.0, "radial": 0.03}),
    "letter, a corner covered": ("bracket", (10.0, 0.0), {"layout": "letter", "covered_mm": ((50, 60, 140, 150),)}),
}


def placed(loops: list, at: tuple[float, float], turn_deg: float) -> list:
    """Outlines (n, 2) of a part's loops on the sheet."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    points = [np.concatenate([flatten_segment(x, 0.001, k > 0) for x in loop]) for k, loop in enumerate(loops)]
    middle = (points[0].min(0) + points[0].max(0)) / 2
    return [(p - middle) @ np.array([[c, s], [-s, c]]) + at for p in points]


def truth_of(name: str) -> dict:
    """As a truth file has it."""
    loops = [
        {"segments": [{"id": f"{k}.{i}", **segment} for i, segment in enumerate(loop)]}
        for k, loop in enumerate(PARTS[name])
    ]
    return {"photo": name, "loops": loops, "dimensions": []}


@dataclass(frozen=True)
class Case:
    """A photo to be judged: which part, the shot, and what a person measured of sheet and part."""

    part: str
    shot: Shot
    bars: Bars
    thickness_mm: float


def case_of(title: str) -> Case:
    """One of the table's photos."""
    part, at, changes = SHOTS[title]
    scale = SIZE_PX[0] / 4000
    plain = {"outline_mm": placed(PARTS[part], at, 21.0), "thickness_mm": THICKNESS_MM, "face": DARK}
    plain |= {"seed": len(title), "size_px": SIZE_PX, "focal_px": 2900.0 * scale, "blur_px": 1.3 * scale}
    shot = Shot(**{**plain, **changes})
    return Case(part, shot, _bars(shot, np.random.default_rng(len(title))), THICKNESS_MM)


def case_at_random(seed: int) -> Case:
    """All that is not known of a photo as uncertain as it is said to be; parts of any height and colour, on A4."""
    rng = np.random.default_rng(1000 + seed)
    scale = SIZE_PX[0] / 4000
    part = list(PARTS)[rng.integers(len(PARTS))]
    thickness = float(rng.uniform(2, 8))
    dark = rng.random() < 0.6
    face = tuple(rng.uniform(0.02, 0.30, 3) if dark else rng.uniform(0.45, 0.75, 3))
    shot = Shot(
        size_px=SIZE_PX,
        focal_px=2946 * scale * (1 + rng.normal(0, 0.022)),
        radial=float(rng.normal(0, 0.02)),
        height_mm=float(rng.uniform(300, 360)),
        tilt_deg=float(min(abs(rng.normal(0, 6)), 14)),
        towards_deg=float(rng.uniform(0, 360)),
        turn_deg=90 + float(rng.uniform(-12, 12)),
        aim_mm=tuple(rng.uniform(-10, 10, 2)),
        stretch=tuple(1 + rng.normal(0, 0.004, 2)),
        shear=float(rng.normal(0, 0.0004)),
        bow_mm=float(rng.uniform(0, 0.2)),
        outline_mm=placed(PARTS[part], (rng.uniform(-28, 28), rng.uniform(-55, 55)), float(rng.uniform(0, 360))),
        thickness_mm=thickness,
        face=face,
        blur_px=float(rng.uniform(1.0, 1.6)) * scale,
        noise=float(rng.uniform(0.003, 0.007)),
        seed=seed,
        centre=tuple(rng.normal(0, 0.004, 2)),
        **({} if dark else {"tint": BLUE}),
    )
    bars = _bars(shot, rng)
    return Case(part, shot, bars, round(thickness + rng.normal(0, THICKNESS_SD_MM), 2))


def _bars(shot: Shot, rng: np.random.Generator) -> Bars:
    return Bars(*(round(BAR_MM * s + rng.normal(0, BAR_SD_MM), 2) for s in shot.stretch))


def judged(case: Case) -> dict:
    """One photo: boundary errors, and the dimensions with their uncertainty."""
    with tempfile.TemporaryDirectory() as d:
        photo, job = Path(d) / "photo.jpg", Path(d) / "job"
        save(photo, case.shot, render(case.shot))
        wanted = Wanted("sheet", bars=case.bars)
        trace(photo, job, Request(case.thickness_mm, reference=wanted), lens=Path(NO_LENS))
        result = json.loads((job / "trace.json").read_text())
    long = [d["u95_mm"] for d in result["dimensions"] if 40 < d["value_mm"] < 60]
    found = compare(truth_of(case.part), result)
    return {**found, "u95_long_mm": quantile(long, 0.5), "scale_u95": result["scale"]["u95_relative"]}


def row(title: str, r: dict) -> str:
    """A line of the table."""
    loops = f"{r['loops_found']}/{r['loops_true']}"
    return (
        f"{title:28} {r['p95_mm']:6.3f}  {r['max_mm']:6.3f}  {loops:5}  {100 * r['coverage']:4.0f} % of "
        f"{r['dimensions']:2}  {r['u95_long_mm']:12.3f}  {100 * r['scale_u95']:7.3f} %"
    )


def in_all(title: str, rows: list[dict]) -> str:
    """What the photos say together."""
    n = sum(r["dimensions"] for r in rows)
    inside = sum(round(r["coverage"] * r["dimensions"]) for r in rows) / n
    p95, u95 = ([r[k] for r in rows] for k in ("p95_mm", "u95_long_mm"))
    return (
        f"{title}: boundary p95 median {np.median(p95):.3f}, worst {max(p95):.3f} mm; u95 of 50 mm median "
        f"{np.median(u95):.3f}, worst {max(u95):.3f} mm; truth inside ± u95 {100 * inside:.1f} % of {n}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--random", type=int, default=0, metavar="N", help="so many photos at random as well")
    print(f"{'':28} p95 mm  max mm  loops  inside u95   u95 of 50 mm  scale u95")
    rows, drawn, refused = [], [], 0
    for title in SHOTS:
        rows.append(judged(case_of(title)))
        print(row(title, rows[-1]), flush=True)
    print(in_all(f"{len(rows)} photos", rows))
    for seed in range(parser.parse_args().random):
        try:
            drawn.append(judged(case_at_random(seed)))
        except Untrustworthy:
            refused += 1
    if drawn:
        print(in_all(f"{len(drawn)} photos at random, {refused} refused", drawn))


if __name__ == "__main__":
    main()
