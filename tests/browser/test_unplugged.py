"""The bench program is stopped under an open page and started again: said, and nothing that was typed is lost."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import expect

from tests.browser.looks import Bench
from tests.browser.running import address, running


def test_a_bench_that_is_started_again(window: Callable[..., Any], bench: Bench, traced: str, tmp_path: Path) -> None:
    folder = tmp_path / "evening"
    folder.mkdir()
    with running(folder) as said:
        url = address(said)
        job = Bench(url, folder).copied(bench.folder / traced, "vent latch")
        page = window(f"{url}/job/{job}#readings")
        page.fill("#labels", "D2")
        page.locator("#value").wait_for()
        page.fill("#value", "5.38")
        expect(page.locator("#lost")).to_be_hidden()
    expect(page.locator("#lost")).to_be_visible()
    page.click("#add")
    expect(page.locator("#value-wrong")).to_contain_text("does not answer")
    assert page.input_value("#value") == "5.38"
    with running(folder, "--port", url.rsplit(":", 1)[1].split("/")[0]) as said:
        assert address(said).startswith(url.split("/?")[0])
        expect(page.locator("#lost")).to_be_hidden()
        assert (page.input_value("#labels"), page.input_value("#value")) == ("D2", "5.38")
        page.click("#add")
        expect(page.locator("#readings li")).to_have_count(1)
        assert len(Bench(address(said), folder).state(job)["readings"]) == 1
