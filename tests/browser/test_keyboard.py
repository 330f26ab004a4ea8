"""A whole job without a pointer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import expect

from tests.browser.looks import THICKNESS, TRACE_MS
from tests.sample_photos import middle, save

TABS = 150


def tab_to(page: Any, selector: str) -> None:
    """Press Tab until it is there, as a person would."""
    for _ in range(TABS):
        if page.evaluate("s => document.activeElement?.matches(s) ?? false", selector):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} is not reached with the Tab key")


def test_a_job_by_keys_alone(window: Callable[..., Any], tmp_path: Path) -> None:
    page = window("/")
    tab_to(page, "#thickness")
    page.keyboard.type(THICKNESS)
    page.on("filechooser", lambda _: None)  # from here on the browser hands them to us
    tab_to(page, "#choose")
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Enter")
    chooser.value.set_files(save(middle().rgb, tmp_path / "small.jpg"))
    expect(page.locator("#start")).to_be_focused()
    page.keyboard.press("Enter")
    page.wait_for_url("**/job/**")
    expect(page.locator("#looks-right")).to_be_focused(timeout=TRACE_MS)

    tab_to(page, "#view")
    before = page.locator("#world").get_attribute("transform")
    page.keyboard.press("+")
    page.keyboard.press("ArrowLeft")
    assert page.locator("#world").get_attribute("transform") != before
    page.keyboard.press("0")
    tab_to(page, "#looks-right")
    page.keyboard.press("Enter")
    expect(page.locator("#next-take")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#value")).to_be_focused()
    page.keyboard.type("1234")
    page.keyboard.press("Enter")  # far too long: said, not taken for good
    page.locator("#readings li.suspect, #value-wrong:not(:empty)").first.wait_for()
    if page.locator("#readings li").count():
        page.keyboard.press("Escape")
        tab_to(page, "#undo")
        page.keyboard.press("Enter")
        expect(page.locator("#readings li")).to_have_count(0)
        tab_to(page, "#tab-readings")
    tab_to(page, "#labels")
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("d2")
    page.locator("#value").wait_for()
    page.keyboard.press("Enter")
    expect(page.locator("#value")).to_be_focused()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("5,38")
    page.keyboard.press("Enter")
    page.locator("#readings li.kept").wait_for()

    tab_to(page, "#tab-readings")
    page.keyboard.press("ArrowRight")
    tab_to(page, '[data-what="sketch"][data-file="dxf"]')
    with page.expect_download() as got:
        page.keyboard.press("Enter")
    assert got.value.suggested_filename.endswith("sketch.dxf")
