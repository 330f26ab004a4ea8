"""A feature that the trace got wrong is touched on the photo and said what it is; one undo takes that back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect

from tests.browser.test_accessible import findings


def test_touched_said_fitted_anew_and_taken_back(window: Callable[..., Any], bench: Any) -> None:
    job = str(bench.traced("to be said of"))
    before = bench.state(job)
    line = next(f["label"] for f in before["features"] if f["kind"] == "line")
    hole = [f["label"] for f in before["features"] if f["kind"] == "circle"][-1]
    page = window(f"/job/{job}#outline", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    page.click("#say summary")
    page.locator(f'.tag[data-label="{line}"]').click()
    expect(page.locator("#say-labels")).to_have_value(line)
    assert page.locator("#panel-outline").is_visible()
    page.click("#say-form button[type=submit]")
    expect(page.locator("#said-list")).to_contain_text(f"A person decided: {line} is one straight edge.")
    page.fill("#say-labels", hole)
    page.select_option("#say-what", "ignore")
    assert findings(page) == []
    page.click("#say-form button[type=submit]")
    expect(page.locator("#said-list li")).to_have_count(2)
    assert hole not in [f["label"] for f in bench.state(job)["features"]]
    assert "A person decided" not in page.inner_text("#cautions")  # said once
    page.fill("#say-labels", "e99")
    page.click("#say-form button[type=submit]")
    expect(page.locator("#say-wrong")).to_contain_text("no E99")
    page.click("#mend [data-undo]")
    expect(page.locator("#said-list li")).to_have_count(1)
    assert hole in [f["label"] for f in bench.state(job)["features"]]


def test_a_hole_is_said_to_be_there(window: Callable[..., Any], bench: Any, traced: str) -> None:
    """A touch leaves a mark that is sent with the next trace."""
    page = window(f"/job/{traced}#outline", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    page.check('[name="tool"][value="hole"]', force=True)
    expect(page.locator("#tool-words")).to_contain_text("middle of a hole")
    box = page.locator("#view").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator(".stroke.away")).to_have_count(1)
    page.route("**/trace", lambda route: route.abort())
    with page.expect_request("**/trace") as asked:
        page.click("#trace-again")
    assert [len(s) for s in asked.value.post_data_json["strokes"]["away"]] == [1]
