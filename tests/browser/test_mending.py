"""A wrong outline or a wrong card corner, shown where and traced again."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.browser.looks import THICKNESS, TRACE_MS
from tests.sample_photos import middle, save


@pytest.fixture(scope="module")
def mended(bench: Any, tmp_path_factory: pytest.TempPathFactory) -> str:
    job = str(bench.upload("to be mended", save(middle().rgb, tmp_path_factory.mktemp("small") / "small.jpg")))
    assert bench.settled(job)["state"] == "traced"
    return job


def posted(page: Any) -> Any:
    """What is sent by “Trace again”."""
    with page.expect_response("**/trace") as answered:  # till then the job is in its old state
        page.click("#trace-again")
    return answered.value.request.post_data_json


def traced_again(page: Any) -> None:
    page.locator("#progress").wait_for()
    page.locator("#look:visible, #refusal:visible").wait_for(timeout=TRACE_MS)


def test_what_is_said_of_the_upper_edge_stays_for_the_next_trace(
    window: Callable[..., Any], bench: Any, tmp_path: Path
) -> None:
    """Asked once beside the thickness; “Trace again” has it, and may say otherwise."""
    page = window("/")
    page.fill("#thickness", THICKNESS)
    page.focus('#rim-ask [value="unknown"]')
    page.keyboard.press("ArrowLeft")  # the answers are one group for the keys
    assert page.locator('#rim-ask [value="clear"]').is_checked()
    page.set_input_files("#photo-file", save(middle().rgb, tmp_path / "small.jpg"))
    page.click("#start")
    page.wait_for_url("**/job/**")
    page.locator("#look").wait_for(timeout=TRACE_MS)
    id = page.url.split("/job/")[1].split("#")[0]
    record = json.loads((bench.folder / id / "trace.json").read_text())
    assert record["rim"]["told"] == "clear"
    assert page.locator("#rim").input_value() == "clear"
    page.select_option("#rim", "sharp")
    assert posted(page)["rim"] == "sharp"
    assert bench.settled(id)["rim"] == "sharp"
    expect(page.locator("#looks-right")).to_be_focused()  # the button that was pressed was gone meanwhile


def test_of_an_opening_it_is_asked_as_well(window: Callable[..., Any]) -> None:
    page = window("/")
    page.check('[name="subject"][value="opening"]', force=True)
    assert page.locator("#rim-ask").is_visible()


def test_strokes_go_along_and_can_be_taken_back(window: Callable[..., Any], mended: str, bench: Any) -> None:
    page = window(f"/job/{mended}#outline")
    page.locator(".feature").first.wait_for(state="attached")
    page.wait_for_timeout(200)
    page.check('[name="tool"][value="away"]', force=True)
    box = page.locator("#view").bounding_box()
    world = page.locator("#world").get_attribute("transform")
    page.mouse.move(box["x"] + 60, box["y"] + 90)
    page.mouse.down()
    page.mouse.move(box["x"] + 260, box["y"] + 90, steps=8)
    page.mouse.up()
    assert page.locator("#world").get_attribute("transform") == world  # painting does not move the picture
    page.check('[name="tool"][value="part"]', force=True)
    page.focus("#view")
    for key in ("Space", "Shift+ArrowRight", "Shift+ArrowRight", "Space"):
        page.keyboard.press(key)
    assert page.locator(".stroke").count() == 2
    page.click("#stroke-back")
    assert page.locator(".stroke").count() == 1
    sent = posted(page)
    assert sent["strokes"]["part"] == []
    (stroke,) = np.array(sent["strokes"]["away"])
    a, *_, e = [float(v) for v in world.replace("(", " ").replace(")", " ").split() if v[0].isdigit() or v[0] == "-"]
    assert np.ptp(stroke[:, 0]) == pytest.approx(200 / e, rel=0.05)  # pixels of the picture, not of the screen
    assert stroke[0, 0] == pytest.approx((60 - a) / e, abs=3)
    traced_again(page)
    assert bench.settled(mended)["state"] == "traced"
    assert page.locator(".stroke").count() == 1


def test_a_corner_of_the_card_is_dragged_and_nudged(window: Callable[..., Any], mended: str) -> None:
    page = window(f"/job/{mended}#outline")
    page.locator(".feature").first.wait_for(state="attached")
    page.click("#zoom-all")
    page.check('[name="tool"][value="corners"]', force=True)
    corner = page.locator('[data-corner="2"]')
    found = corner.get_attribute("aria-label")
    box = corner.bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 6, middle[1] + 4, steps=3)
    assert page.locator("#loupe").is_visible()
    page.mouse.up()
    dragged = corner.get_attribute("aria-label")
    assert dragged != found
    corner.focus()
    for _ in range(6):
        page.keyboard.press("ArrowLeft")
    assert corner.get_attribute("aria-label") != dragged
    for _ in range(4):
        page.keyboard.press("ArrowUp")
    sent = posted(page)
    assert len(sent["card_corners"]) == 4
    traced_again(page)
