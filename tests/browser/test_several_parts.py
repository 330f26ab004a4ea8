"""Three parts in one photo: the page asks which are meant, and each that is touched becomes a job of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import expect

from tests.browser.looks import LEG_MM, THICKNESS, TRACE_MS, Bench, on_screen
from tests.browser.test_accessible import findings
from tests.sample_photos import copied, save, scene

SHIFTS_PX = (-300, 300)
"""Where copies of the part lie, in rows of the sample at half its size."""
LIKE = 0.04
"""A copy that is shifted in the picture and not on the table is seen by so much larger or smaller, at most."""
INSIDE_PX = (160, 55)
"""A place on the part's face, between tongue and slot, from the corner of the box round it."""


def test_each_part_that_is_touched_becomes_a_job(window: Callable[..., Any], bench: Bench, tmp_path: Path) -> None:
    part, three = scene().part_px, scene().rgb
    for down in SHIFTS_PX:
        three = copied(scene().rgb, part, (0, down), onto=three)
    page = window("/", width=1280, height=800)
    page.set_input_files("#photo-file", save(three, tmp_path / "three.jpg"))
    page.fill("#thickness", THICKNESS)
    page.fill("#name", "three latches")
    page.click("#start")
    page.wait_for_url("**/job/**")
    expect(page.locator("#refusal")).to_be_visible(timeout=TRACE_MS)
    expect(page.locator("#parts")).to_have_attribute("open", "")  # which are meant is asked for at once
    expect(page.locator("#refusal-text")).to_contain_text("Several things of like size")
    assert findings(page) == []
    page.click("#parts-touch")
    state = bench.state(page.url.split("/job/")[1].split("#")[0])
    spot = part.min(0) + INSIDE_PX
    for down in (0, *SHIFTS_PX):
        page.mouse.click(*on_screen(page, state, [np.add(spot, (0, down))])[0])
    expect(page.locator(".touched circle")).to_have_count(3)
    expect(page.locator("#parts-words")).to_have_text("Trace 3 parts, a job each")
    page.click("#parts-go")
    expect(page.locator("#parts-made a")).to_have_count(2, timeout=TRACE_MS)
    ids = [state["id"], *page.locator("#parts-made a").all_inner_texts()]
    assert len(set(ids)) == 3
    for id in ids:
        found = bench.settled(id)
        assert found["state"] == "traced", found["refusal"]
        assert max(d["value_mm"] for d in found["dimensions"] if d["kind"] == "distance") < LEG_MM * (1 + LIKE)
        assert max(d["value_mm"] for d in found["dimensions"] if d["kind"] == "distance") > LEG_MM * (1 - LIKE)
    page.goto("/")
    expect(page.locator("#list li", has_text="three latches")).to_have_count(3)
