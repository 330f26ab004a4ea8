"""How exactly a part on the printed sheet is measured: photos rendered on the spot, traced, compared with the truth.

    python -m tests.accuracy.target

Unknown lens, office printer, paper a little bowed; bars measured with a caliper's scatter. Two minutes of work.
"""

import json
import math
import tempfile
from pathlib import Path

import numpy as np

from calib.target import BAR_SD_MM
from calib.target_layout import BAR_MM
from calib.wanted import Bars, Wanted
from measure.steps.trace import NO_LENS, trace
from tests.accuracy.score import compare, quantile
from tests.accuracy.shapes import flatten_segment
from tests.rendered_sheet import Shot, render, save
from tests.simulated_parts import circle, polygon

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


def judged(title: str, folder: Path, size_px: tuple[int, int] = (3200, 2400)) -> dict:
    """One photo: boundary errors, and the dimensions with their uncertainty."""
    part, at, changes = SHOTS[title]
    loops = placed(PARTS[part], at, 21.0)
    scale = size_px[0] / 4000
    rng = np.random.default_rng(len(title))
    shot = Shot(
        size_px=size_px,
        focal_px=2900.0 * scale,
        blur_px=1.3 * scale,
        **{"outline_mm": loops, "thickness_mm": THICKNESS_MM, "face": DARK, "seed": len(title), **changes},
    )
    photo = folder / "photo.jpg"
    save(photo, shot, render(shot))
    bars = [BAR_MM * s + rng.normal(0, BAR_SD_MM) for s in shot.stretch]
    trace(photo, folder / "job", THICKNESS_MM, "part", lens=Path(NO_LENS), wanted=Wanted("sheet", bars=Bars(*bars)))
    result = json.loads((folder / "job" / "trace.json").read_text())
    found = compare(truth_of(part), result)
    long = [d["u95_mm"] for d in result["dimensions"] if 40 < d["value_mm"] < 65]
    return {**found, "u95_long_mm": quantile(long, 0.5), "scale_u95": result["scale"]["u95_relative"]}


def main() -> None:
    print(f"{'':28} p95 mm  max mm  loops  inside u95  u95 of 50 mm  scale u95")
    for title in SHOTS:
        with tempfile.TemporaryDirectory() as d:
            r = judged(title, Path(d))
        loops = f"{r['loops_found']}/{r['loops_true']}"
        print(
            f"{title:28} {r['p95_mm']:6.3f}  {r['max_mm']:6.3f}  {loops:5}"
            f"  {100 * r['coverage']:4.0f} % of {r['dimensions']:2}"
            f"  {r['u95_long_mm']:12.3f}  {100 * r['scale_u95']:7.3f} %"
        )


if __name__ == "__main__":
    main()
