"""Two windows of one job: what is done in one shows in the other, which says so."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect


def test_the_second_window_is_told(window: Callable[..., Any], traced: str, bench: Any) -> None:
    job = traced
    first, second = window(f"/job/{job}#readings"), window(f"/job/{job}#readings")
    for page in (first, second):
        page.locator(".feature").first.wait_for(state="attached")
        page.wait_for_timeout(300)
    first.fill("#labels", "D2")
    first.locator("#value").wait_for()
    first.fill("#value", "5.38")
    first.click("#add")
    first.locator("#readings li").wait_for()
    second.locator("#readings li").wait_for()
    expect(second.locator("#notes")).to_contain_text("another window")
    assert "another window" not in first.inner_text("#notes")
    second.click("#undo")
    expect(first.locator("#readings li")).to_have_count(0)
    expect(first.locator("#notes")).to_contain_text("another window")


def test_who_was_overtaken_is_told_and_loses_nothing(window: Callable[..., Any], traced: str, bench: Any) -> None:
    job = traced
    page = window(f"/job/{job}#readings")
    page.locator(".feature").first.wait_for(state="attached")
    state = bench.post(f"/api/jobs/{job}/readings", kind="bore", features=["D2"], value="5.38", unit="mm")
    page.locator("#readings li").wait_for()
    page.route(
        "**/undo",
        lambda route: (
            bench.post(f"/api/jobs/{job}/readings", kind="bore", features=["D1"], value="5.40"),
            route.continue_(),
        ),
    )
    page.click("#undo")
    page.locator("#notes p", has_text="another window").first.wait_for()
    expect(page.locator("#readings li")).to_have_count(2)
    assert len(state["readings"]) == 1
    while readings := (now := bench.state(job))["readings"]:
        path = f"/api/jobs/{job}/readings/{readings[0]['key']}?revision={now['revision']}"
        bench.ask(path, method="DELETE")
