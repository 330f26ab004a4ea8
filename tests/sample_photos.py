"""The sample photo changed in ways that a measuring tool must notice, made from the photo and its known truth."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calib.photo.photo import Photo, load

FOLDER = Path(__file__).resolve().parent.parent / "samples" / "vent-latch"
HALF = 0.5
"""The photo is used at half size: enough to be refused."""

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Scene:
    """The photo, and where card and part are in it: (n, 2) outlines in pixels."""

    rgb: Pixels
    card_px: NDArray[np.float64]
    part_px: NDArray[np.float64]


def project(camera: dict[str, Any], points_mm: NDArray[np.float64], height_mm: float) -> NDArray[np.float64]:
    """(n, 2) pixels of points at a height over the table, by the truth's own camera."""
    p = np.c_[points_mm, np.full(len(points_mm), height_mm)] @ np.array(camera["R"]).T + camera["t"]
    q = p[:, :2] / p[:, 2:]
    q = q * (1 + camera["k1"] * (q**2).sum(1, keepdims=True))
    return np.asarray(q * camera["f"] + [camera["cx"], camera["cy"]])


def turned(points: NDArray[np.float64], place: list[float]) -> NDArray[np.float64]:
    """Points turned by place[2] degrees and shifted by the rest."""
    a = np.radians(place[2])
    return np.asarray(points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + place[:2])


@cache
def truth() -> dict[str, Any]:
    """The sample's truth file."""
    found: dict[str, Any] = json.loads((FOLDER / "truth.json").read_text())
    return found


@cache
def scene() -> Scene:
    """The sample at half size."""
    rgb = np.asarray(Image.open(FOLDER / "photo.jpg"))
    small = cv2.resize(rgb, None, fx=HALF, fy=HALF, interpolation=cv2.INTER_AREA)
    card = truth()["reference"][0]
    w, h = card["w"] / 2, card["h"] / 2
    corners = turned(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]), card["place"])
    outer = [s["start"] for s in truth()["loops"][0]["segments"]]
    part = turned(np.array(outer, float), truth()["place"])
    camera = truth()["camera"]
    return Scene(
        small, (project(camera, corners, card["thick"]) + 0.5) * HALF, (project(camera, part, 4.2) + 0.5) * HALF
    )


LEFT, TOP, WIDTH, HEIGHT = 900, 912, 2232, 1200
"""The sample's middle, with card and part in it: as sharp, and a quarter of the pixels."""


@cache
def middle() -> Photo:
    """The sample cut down to its middle, as if taken with a longer lens."""
    whole = load(FOLDER / "photo.jpg")
    assert whole.focal_35mm is not None
    cut = whole.rgb[TOP : TOP + HEIGHT, LEFT : LEFT + WIDTH]
    return replace(whole, rgb=np.ascontiguousarray(cut), focal_35mm=whole.focal_35mm * whole.rgb.shape[1] / WIDTH)


def mask_of(outline_px: NDArray[np.float64], shape: tuple[int, ...], grown_px: int) -> Pixels:
    """Where an outline is, grown by some pixels."""
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(outline_px).astype(np.int32)], 255)
    return np.asarray(cv2.dilate(mask, np.ones((grown_px, grown_px), np.uint8)), np.uint8)


def without(rgb: Pixels, outline_px: NDArray[np.float64], grown_px: int = 61) -> Pixels:
    """The photo with something covered by table from further up, its edge blended."""
    soft = cv2.GaussianBlur(mask_of(outline_px, rgb.shape, grown_px), (0, 0), 8)[..., None] / 255.0
    table = np.roll(rgb, 520, axis=0)
    return np.asarray(rgb * (1 - soft) + table * soft, np.uint8)


def copied(rgb: Pixels, outline_px: NDArray[np.float64], shift_px: tuple[int, int], onto: Pixels) -> Pixels:
    """Another photo with a copy of something from this one, shifted."""
    soft = cv2.GaussianBlur(mask_of(outline_px, rgb.shape, 3), (0, 0), 1)[..., None] / 255.0
    move = np.array([[1, 0, shift_px[0]], [0, 1, shift_px[1]]], float)
    soft = cv2.warpAffine(soft, move, rgb.shape[1::-1])[..., None]
    moved = cv2.warpAffine(rgb, move, rgb.shape[1::-1])
    return np.asarray(onto * (1 - soft) + moved * soft, np.uint8)


def copied_in_plane(outline_px: NDArray[np.float64], shift_mm: tuple[float, float], onto: Pixels) -> Pixels:
    """Another photo with a copy of something flat, shifted along the card's axes as the camera would see it there."""
    card = truth()["reference"][0]
    w, h = card["w"] / 2, card["h"] / 2
    corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]])
    to_photo = cv2.getPerspectiveTransform(corners.astype(np.float32), scene().card_px[:4].astype(np.float32))
    shift = np.array([[1, 0, shift_mm[0]], [0, 1, shift_mm[1]], [0, 0, 1]], float)
    move = to_photo @ shift @ np.linalg.inv(to_photo)
    rgb = scene().rgb
    soft = cv2.GaussianBlur(mask_of(outline_px, rgb.shape, 3), (0, 0), 1) / 255.0
    soft = cv2.warpPerspective(soft, move, rgb.shape[1::-1])[..., None]
    moved = cv2.warpPerspective(rgb, move, rgb.shape[1::-1])
    return np.asarray(onto * (1 - soft) + moved * soft, np.uint8)


def painted(rgb: Pixels, outline_px: NDArray[np.float64], colour: tuple[int, int, int]) -> Pixels:
    """The photo with a plain shape over it."""
    soft = cv2.GaussianBlur(mask_of(outline_px, rgb.shape, 1), (0, 0), 1)[..., None] / 255.0
    return np.asarray(rgb * (1 - soft) + np.array(colour) * soft, np.uint8)


def save(rgb: Pixels, path: Path) -> Path:
    """As a JPEG without EXIF."""
    Image.fromarray(rgb).save(path, quality=92)
    return path
