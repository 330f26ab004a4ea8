"""Are a photo and its truth one? The strongest edges along the card's sides, less where the truth has them, px.

python -m tests.accuracy.lab.verify DIR       a line for every photo; near 0 is right
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageOps

from calib.arrays import Array
from tests.accuracy import shapes as sh
from tests.accuracy.lab.camera import Camera

REACH_PX, STEP_PX = 6.0, 0.25
FAINTEST = 0.02
"""Least step in linear light that counts as an edge."""


def card_off_px(photo: Path) -> Array:
    """How far the edge of the card's upper face is from its true place, px, outwards positive, at points of those sides
    that hide their own walls and are not faint."""
    truth = json.loads(photo.with_suffix(".truth.json").read_text())
    with Image.open(photo) as im:
        coded = np.asarray(ImageOps.exif_transpose(im).convert("RGB"), np.float32) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4).mean(2).astype(np.float32)
    camera = Camera.of(truth["camera"])
    return np.concatenate([_off_px(linear, camera, card) for card in truth["reference"]])


def _off_px(linear: NDArray[np.float32], camera: Camera, card: dict[str, Any]) -> Array:
    points, normals = _sides(card)
    points, normals = (v[((points - camera.centre_mm[:2]) * normals).sum(1) > 0] for v in (points, normals))
    z = np.full((len(points), 1), card["z0"] + card["thick"])
    at, out = camera.project(np.c_[points, z]), camera.project(np.c_[points + 0.01 * normals, z])
    along = (out - at) / np.linalg.norm(out - at, axis=1, keepdims=True)
    s = np.arange(-REACH_PX, REACH_PX + 1e-9, STEP_PX)
    where = (at[:, None] + s[:, None] * along[:, None]).astype(np.float32)
    profiles = cv2.remap(linear, where[..., 0], where[..., 1], cv2.INTER_CUBIC)
    slope = np.abs(np.gradient(cv2.GaussianBlur(profiles, (9, 1), 1.5), axis=1))
    weights = slope * (slope > 0.5 * slope.max(1, keepdims=True))
    return ((weights * s).sum(1) / weights.sum(1))[np.ptp(profiles, axis=1) > FAINTEST]


def _sides(card: dict[str, Any]) -> tuple[Array, Array]:
    """Points along the straight sides, 0.5 mm apart, and outward normals, in the world."""
    points, normals = [], []
    for side in sh.move(sh.rounded(card["w"], card["h"], card["r"]), *card["place"]):
        if side["kind"] != "line":
            continue
        line = shapely.LineString([side["start"], side["end"]])
        p = shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(1, line.length - 1, 0.5)))
        d = (np.array(side["end"]) - side["start"]) / line.length
        points.append(p)
        normals.append(np.tile([d[1], -d[0]], (len(p), 1)))
    return np.concatenate(points), np.concatenate(normals)


def main() -> None:
    """Print the figures."""
    a = argparse.ArgumentParser(description="Are photos and their truths one?")
    a.add_argument("folder", type=Path)
    for photo in sorted(a.parse_args().folder.glob("*.jpg")):
        off = card_off_px(photo)
        lo, middle, hi = np.quantile(off, [0.25, 0.5, 0.75]) if len(off) else [np.nan] * 3
        print(f"{photo.stem:24} {middle:+.3f} px, half within {lo:+.3f} to {hi:+.3f}, {len(off)} points", flush=True)


if __name__ == "__main__":
    main()
