"""Both edges of the wall are drawn on the photo and explained; and what is painted in vain is said to be so."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect

from tests.browser.looks import retraced
from tests.browser.test_accessible import findings


def test_edges_apart(window: Callable[..., Any], bench: Any, traced: str) -> None:
    page = window(f"/job/{traced}#outline", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    state = bench.state(traced)
    outside = sum(f["loop"] == 0 for f in state["features"])
    expect(page.locator(".edge-upper")).to_have_count(outside)
    expect(page.locator(".edge-lower")).to_have_count(outside)
    expect(page.locator("#wall-words")).to_contain_text("do not paint it away")
    assert findings(page) == []


def test_strokes_that_change_nothing_say_so(window: Callable[..., Any], bench: Any) -> None:
    """What is part already is painted as part: the line comes out as it was, and the page says that."""
    job = bench.traced("painted in vain")
    page = window(f"/job/{job}#outline", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    page.click("#zoom-part")
    expect(page.locator("#mend-same")).to_have_text("")
    page.check('[name="tool"][value="part"]', force=True)
    wide, tall = tongue_middle(page)
    page.mouse.move(wide - 12, tall)
    page.mouse.down()
    page.mouse.move(wide + 12, tall, steps=4)
    page.mouse.up()
    expect(page.locator(".stroke.part")).to_have_count(1)
    before = bench.state(job)["features"]
    assert retraced(page) == "traced"
    expect(page.locator("#mend-same")).to_have_text("What you painted changed nothing: the line is as it was.")
    now = bench.state(job)
    assert [f["label"] for f in now["features"]] == [f["label"] for f in before]
    assert len(now["strokes"]["part"]) == 1
    assert retraced(page) == "traced"  # with the same strokes: nothing was painted since
    expect(page.locator("#mend-same")).to_have_text("")
    assert findings(page) == []


def tongue_middle(page: Any) -> tuple[float, float]:
    """A place on the screen that lies well within the part: by the middles of two edges that face each other."""
    at = [page.locator(f'.feature[data-label="{label}"]').bounding_box() for label in ("E1", "E5")]
    (ax, ay), (bx, by) = ((b["x"] + b["width"] / 2, b["y"] + b["height"] / 2) for b in at)
    return 0.25 * ax + 0.75 * bx, 0.25 * ay + 0.75 * by
