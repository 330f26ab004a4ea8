"""Both edges of the wall are drawn on the photo and explained."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect

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
