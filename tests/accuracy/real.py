"""Real photographs against what is known of the things in them: python -m tests.accuracy.real FOLDER

FOLDER holds two small sets that are not kept here: `coins_on_a4/test.jpeg`, coins on a sheet of A4, and
`letter_with_30mm_board/`, a chessboard of 30 mm squares printed on a sheet of letter size. Each coin is marked with a
dot as the part, the others as none, and traced by the sheet; corners of the board are laid on the sheet's plane.
"""

from __future__ import annotations

import argparse
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np

from calib.arrays import Array
from calib.errors import JawlineError
from calib.finding.finding import find_reference
from calib.photo.photo import Photo, load
from calib.rectangle.refusals import Failure
from calib.reference.found import Found
from calib.reference.wanted import wanted
from calib.view.view import View
from measure.geometry.dimensions import list_dimensions
from measure.silhouette.strokes import Strokes
from measure.tracing import parts
from measure.tracing.request import Request
from measure.tracing.tracing import trace_by

COINS: tuple[tuple[str, float, float, tuple[float, float]], ...] = (
    ("5 cent", 21.25, 1.67, (753, 1320)),
    ("2 cent", 18.75, 1.67, (863, 1310)),
    ("2 cent", 18.75, 1.67, (820, 963)),
    ("1 cent", 16.25, 1.67, (1010, 1235)),
    ("20 cent", 22.25, 2.14, (665, 1193)),
    ("20 cent", 22.25, 2.14, (597, 1057)),
    ("1 euro", 23.25, 2.33, (910, 1047)),
)
"""Diameter and thickness, mm (mint specifications, from memory), and a pixel on the coin."""
OTHERS = ((867, 1143), (785, 1150), (650, 1297), (572, 1263))
"""Coins that touch others."""
SQUARE_MM, INNER = 30.0, (4, 6)
SPREAD = 1.96


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("folder", type=Path)
    folder = words.parse_args().folder
    _coins(folder / "coins_on_a4" / "test.jpeg")
    for path in sorted((folder / "letter_with_30mm_board").glob("*.jpg")):
        _board(path)


def _sheet(photo: Photo, name: str) -> Found | Failure:
    return find_reference(photo.rgb, parts.prior_of(photo, None), wanted(name))


def _coins(path: Path) -> None:
    photo = load(path)
    sheet = _sheet(photo, "a4")
    if isinstance(sheet, Failure):
        print("coins: no sheet:", sheet.what)
        return
    print(f"tilt {sheet.view.tilt_deg:.0f}°")
    for name, true_mm, thick_mm, at in COINS:
        away = tuple(np.array([p, p], float) for p in (*OTHERS, *(c[3] for c in COINS)) if p != at)
        request = Request(thick_mm, strokes=Strokes((np.array([at, at], float),), away), reference=wanted("a4"))
        try:
            done = trace_by(photo, sheet, request)
        except JawlineError as why:
            print(f"{name:8} {true_mm:6.2f} refused: {why.code}")
            continue
        said = " ".join(c.code for c in done.cautions)
        sizes = [d for d in list_dimensions(done.estimate) if d.kind in ("diameter", "radius")]
        for d in sizes:
            value, u95 = (d.value_mm, d.u95_mm) if d.kind == "diameter" else (2 * d.value_mm, 2 * d.u95_mm)
            inside = "inside" if abs(value - true_mm) <= u95 else "OUTSIDE"
            print(f"{name:8} {true_mm:6.2f} {d.kind:8} {value:6.2f} {value - true_mm:+.2f} / {u95:.2f} {inside} {said}")
        if not sizes:
            print(f"{name:8} {true_mm:6.2f} drawn without an arc; {said}")


def _board(path: Path) -> None:
    photo = load(path)
    sheet = _sheet(photo, "letter")
    if isinstance(sheet, Failure):
        print(f"{path.stem}: no sheet:", sheet.what)
        return
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    seen, corners = cv2.findChessboardCornersSB(grey, INNER, flags=cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY)
    if not seen:
        print(f"{path.stem}: no corners seen")
        return
    corners = corners.reshape(-1, 2).astype(float)
    grid = np.stack(np.meshgrid(range(INNER[0]), range(INNER[1])), -1).reshape(-1, 2)
    lengths = [
        (k, j)
        for k, j in combinations(range(len(grid)), 2)
        if 0 in (grid[j] - grid[k])  # along a row or a column
    ]
    squares = [kj for kj in lengths if abs(grid[kj[1]] - grid[kj[0]]).sum() == 1]
    print(f"{path.stem}: tilt {sheet.view.tilt_deg:.0f}°")
    for name, pairs in (("squares", squares), ("all lengths along rows and columns", lengths)):
        rows = np.array([_length(sheet.view, corners, k, j) for k, j in pairs])
        true = np.array([SQUARE_MM * abs(grid[j] - grid[k]).sum() for k, j in pairs])
        off, u95 = rows[:, 0] - true, rows[:, 1]
        share = float((abs(off) <= u95).mean())
        print(
            f"    {name}: {len(pairs)}, error {np.mean(off):+.3f} on average, {abs(off).max():.2f} at most, "
            f"u95 {np.median(u95):.2f}, inside {100 * share:.0f} %, {100 * np.mean(off / true):+.2f} %"
        )


CORNER_PX = 0.15
"""How sure the place of a corner of the print is, pixels of a webcam's picture (chosen: common practice for a blurred
corner of low noise)."""


def _length(view: View, px: Array, k: int, j: int) -> tuple[float, float]:
    """A distance on the sheet's plane, and its u95 by the view and by the two corners' own places."""
    pair = px[[k, j]]
    at, by = view.plane(pair), view.plane_sensitivity(pair, 0.0)
    along = (at[1] - at[0]) / np.hypot(*(at[1] - at[0]))
    gradient = along @ (by[1] - by[0])
    corner = CORNER_PX * view.mm_per_px(at.mean(0))
    return float(np.hypot(*(at[1] - at[0]))), SPREAD * float(
        np.sqrt(gradient @ view.covariance @ gradient + 2 * corner**2)
    )


if __name__ == "__main__":
    main()
