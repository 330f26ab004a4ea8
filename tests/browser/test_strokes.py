"""Strokes end to end: a photo that is refused, then traced wrongly, then rightly, by what is painted on it."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from playwright.sync_api import expect

from tests.accuracy.score import compare
from tests.browser.looks import painted_on, retraced
from tests.sample_photos import HALF, LEFT, TOP, Pixels, copied, middle, project, save, scene, truth, turned

SECOND_PX = (0, -480)
"""Where a copy of the part lies, from the part."""
ACROSS_COPY = ((480, 80), (470, 160), (330, 240), (220, 260))
RIGHT_MM = 0.25
"""Without spot and copy the sample's middle comes out within 0.20 mm."""
SPOT_MM, SPOT_RADIUS_MM = (-6.0, 6.5), 3.5
"""A spot in the table's colour on the part's face, between slot, holes and edges: it looks like one hole more."""
ACROSS_SPOT_MM = ((-10.5, 6.5), (-1.5, 6.5))
TABLE = (220, 178, 140)
"""The table's colour in the sample, sRGB: its median beside the part."""


def in_middle(points_mm: Any) -> Any:
    """(n, 2) pixels of the sample's middle of points on the part's face, by the truth."""
    on_table = turned(np.asarray(points_mm, float), truth()["place"])
    return project(truth()["camera"], on_table, 4.2) - [LEFT, TOP]


def spotted(rgb: Pixels) -> Pixels:
    """The photo with a spot on the part."""
    a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = in_middle(SPOT_MM + SPOT_RADIUS_MM * np.c_[np.cos(a), np.sin(a)])
    spot = np.zeros(rgb.shape[:2], np.uint8)
    cv2.fillPoly(spot, [np.round(ring).astype(np.int32)], 255)
    soft = cv2.GaussianBlur(spot, (0, 0), 1)[..., None] / 255.0
    return np.asarray(rgb * (1 - soft) + soft * np.array(TABLE), np.uint8)


@pytest.fixture(scope="module")
def part_px() -> Any:
    """(n, 2) the part in the sample's middle."""
    return scene().part_px / HALF - [LEFT, TOP]


def loops(bench: Any, job: str) -> int:
    """How many outlines were traced: the outer one and one a hole."""
    found = json.loads((bench.folder / job / "trace.json").read_text())
    return len({f["loop"] for f in found["features"]})


def off_mm(bench: Any, job: str) -> float:
    """How far the outline is off the truth, 95 % of it, mm."""
    found = json.loads((bench.folder / job / "trace.json").read_text())
    return float(compare(truth() | {"photo": "photo.jpg", "dimensions": []}, found)["p95_mm"])


def test_a_photo_of_two_parts_is_refused_until_one_is_painted_away(
    window: Callable[..., Any], bench: Any, part_px: Any, tmp_path: Path
) -> None:
    two = save(copied(middle().rgb, part_px, SECOND_PX, onto=middle().rgb), tmp_path / "two.jpg")
    job = bench.upload("two of them", two)
    assert bench.settled(job)["state"] == "refused"
    page = window(f"/job/{job}")
    page.locator("#refusal").wait_for()
    assert "Two things of like size" in page.inner_text("#refusal-text")
    page.check('[name="tool"][value="away"]', force=True)
    painted_on(page, bench.state(job), ACROSS_COPY)
    assert retraced(page) == "traced"
    assert off_mm(bench, job) < RIGHT_MM


def test_a_spot_taken_for_a_hole_is_painted_over_and_one_undo_takes_that_back(
    window: Callable[..., Any], bench: Any, tmp_path: Path
) -> None:
    true = len(truth()["loops"])
    job = bench.upload("with a spot", save(spotted(middle().rgb), tmp_path / "spot.jpg"))
    assert bench.settled(job)["state"] == "traced"
    assert loops(bench, job) == true + 1
    page = window(f"/job/{job}#outline")
    page.locator(".feature").first.wait_for(state="attached")
    wrong = page.locator(".feature").count()
    page.check('[name="tool"][value="part"]', force=True)
    painted_on(page, bench.state(job), in_middle(ACROSS_SPOT_MM))
    assert retraced(page) == "traced"
    assert loops(bench, job) == true
    assert off_mm(bench, job) < RIGHT_MM
    assert page.locator(".feature").count() != wrong
    assert page.locator(".stroke.part").count() > 0
    page.click("#mend [data-undo]")
    expect(page.locator(".stroke.part")).to_have_count(0)
    expect(page.locator(".feature")).to_have_count(wrong)
    assert loops(bench, job) == true + 1
