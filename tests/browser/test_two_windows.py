"""Two windows of one job: what is done in one shows in the other, which says so."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


def test_the_second_window_is_told(window: Callable[..., Any], bench: Any) -> None:
    job = bench.traced("twice open")
    first, second = window(f"/job/{job}#readings"), window(f"/job/{job}#readings")
    for page in (first, second):
        page.locator(".feature").first.wait_for(state="attached")
        page.wait_for_timeout(300)
    first.fill("#labels", "D2")
    first.locator("#kinds-list input").first.wait_for(state="attached")
    first.fill("#value", "5.38")
    first.click("#add")
    first.locator("#readings li").wait_for()
    second.locator("#readings li").wait_for()
    assert "another window" in second.inner_text("#notes")
    assert "another window" not in first.inner_text("#notes")
    second.click("#undo")
    first.wait_for_function("document.querySelectorAll('#readings li').length === 0")
    assert "another window" in first.inner_text("#notes")


def test_who_was_overtaken_is_told_and_loses_nothing(window: Callable[..., Any], bench: Any) -> None:
    job = bench.traced("overtaken")
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
    page.wait_for_function("document.querySelectorAll('#readings li').length === 2")
    assert len(state["readings"]) == 1
