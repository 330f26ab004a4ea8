"""The list of jobs: searched, renamed, deleted; with sixty of them on a phone too."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from measure.bench import kept
from measure.bench.shelf import Shelf
from tests.benches import plate
from tests.browser.looks import Bench
from tests.browser.running import address, running
from tests.browser.test_accessible import findings
from tests.browser.test_intake_page import PHONE

EVENING = 60


@pytest.fixture(scope="module")
def evening(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    folder = tmp_path_factory.mktemp("sixty")
    shelf = Shelf(folder)
    for n in range(EVENING):
        of = shelf.new("lamp arm", kept.Kept(name=f"lamp-arm bracket {n + 1}", owner=f"owner {n % 7}", at=1.76e9 + n))
        if n % 2:
            plate(folder, of.id)
    with running(folder) as said:
        yield Bench(address(said), folder)


@pytest.mark.parametrize("size", [{"width": 1280, "height": 800}, PHONE], ids=["desk", "phone"])
def test_sixty_jobs_are_searched(window: Callable[..., Any], evening: Bench, size: dict[str, Any]) -> None:
    page = window(evening.url, **size)
    expect(page.locator("#list li")).to_have_count(EVENING)
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    page.fill("#find", "owner 3 57")
    expect(page.locator("#list li")).to_have_count(0)
    page.fill("#find", "bracket 57")
    expect(page.locator("#list li")).to_have_count(1)
    expect(page.locator("#found")).to_have_text("1 of 60")
    expect(page.locator("#list li")).to_contain_text("No. 57 · owner 0")
    assert findings(page) == []


def test_a_job_is_renamed_and_deleted(window: Callable[..., Any], evening: Bench) -> None:
    page = window(evening.url)
    page.fill("#find", "bracket 42")
    page.locator("#list a").first.click()
    page.wait_for_url("**/job/**")
    expect(page.locator("#job-name")).to_contain_text("42 ·")  # the state has come
    page.click("#about summary")
    page.fill("#about-name", "lamp-arm bracket, broken")
    page.fill("#about-contact", "room 3")
    page.click("#about-form [type=submit]")
    expect(page.locator("#about-kept")).to_have_text("Kept.")
    expect(page.locator("#job-name")).to_have_text("42 · lamp-arm bracket, broken")
    page.click("#remove")
    expect(page.locator("#remove-not")).to_be_focused()  # what does no harm comes first
    page.click("#remove-not")
    expect(page.locator("#remove-ask")).to_be_hidden()
    page.click("#remove")
    assert findings(page) == []
    folder = Path(evening.folder) / page.url.split("/job/")[1].split("#")[0]
    assert folder.exists()
    page.click("#remove-sure")
    page.wait_for_url(f"{evening.url}/")
    expect(page.locator("#list li")).to_have_count(EVENING - 1)
    assert not folder.exists()
