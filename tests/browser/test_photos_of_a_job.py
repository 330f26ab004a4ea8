"""More than one photo of a part, another one in its place, what gives the scale, and the owner on the title block."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
from playwright.sync_api import expect

from measure.bench import kept
from tests.benches import plate
from tests.browser.looks import TRACE_MS, Bench
from tests.browser.test_accessible import findings

TESTS = Path(__file__).resolve().parents[1]
FIRST = TESTS / "accuracy" / "photos" / "vent-latch.jpg"
AGAIN = TESTS / "accuracy" / "pairs" / "vent-latch-b.jpg"
"""A part, and once more, turned."""
THICK = "4.2"
NOT_IT = TESTS.parent / "samples" / "drawer-stop" / "photo.jpg"


def sent(page: Any, photo: Path, use: str) -> None:
    """Another photo sent, and what comes of it waited for."""
    page.locator(f"[name=use][value={use}]").check(force=True)
    with page.expect_response("**/photo") as answer:
        page.set_input_files("#another-file", photo)
    assert answer.value.ok, answer.value.text()
    page.locator("#progress").wait_for(state="visible")
    page.locator("#progress").wait_for(state="hidden", timeout=TRACE_MS)


def test_a_second_photo_makes_it_surer_and_another_takes_its_place(window: Callable[..., Any], bench: Bench) -> None:
    job = bench.upload("seen twice", FIRST, THICK)
    alone = bench.settled(job)
    page = window(f"/job/{job}#outline")
    page.locator("#look").wait_for()
    page.click("#another summary")
    assert findings(page) == []
    sent(page, AGAIN, "too")
    expect(page.locator("#photos-used")).to_have_text(f"Traced together with {AGAIN.name}.")
    both = bench.state(job)
    assert both["refusal"] is None
    assert both["further"] == [AGAIN.name]
    assert both["worst_u95_mm"] < alone["worst_u95_mm"]
    assert (bench.folder / job / kept.further_file(0)).exists()
    sent(page, NOT_IT, "too")  # another part
    expect(page.locator("#refusal")).to_be_visible()
    assert bench.state(job)["further"] == [AGAIN.name]
    page.fill("#thickness", "8")
    sent(page, NOT_IT, "instead")
    other = bench.state(job)
    assert other["refusal"] is None
    assert other["further"] == []
    assert other["thickness_mm"] == 8
    assert len(other["features"]) != len(both["features"])
    before = (bench.folder / job / kept.PHOTO).read_bytes()
    page.locator("#mend [data-undo]").click()
    expect(page.locator("#thickness")).to_have_value(str(both["thickness_mm"]))
    assert bench.state(job)["further"] == [AGAIN.name]
    assert (bench.folder / job / kept.PHOTO).read_bytes() != before  # the photo that goes with the outline is back


def test_what_gives_the_scale_is_said_on_the_page(window: Callable[..., Any], bench: Bench, traced: str) -> None:
    page = window(f"/job/{traced}#outline")
    page.locator("#look").wait_for()
    page.click("#scale summary")
    page.select_option("#reference", "sheet")
    with page.expect_download() as got:
        page.click('a[href="/api/target-a4.pdf"]')
    assert "100" in pypdf.PdfReader(got.value.path()).pages[0].extract_text()
    page.fill("#bar-x", "long")
    page.click("#trace-again")
    expect(page.locator("#retrace-wrong")).to_contain_text("“long”")
    page.select_option("#reference", "own")
    expect(page.locator("#scale-sheet")).to_be_hidden()
    page.fill("#own-size", "120x")
    page.click("#trace-again")
    expect(page.locator("#retrace-wrong")).to_contain_text("120x")
    assert findings(page) == []
    new = window("/")
    new.click("#scale summary")
    new.select_option("#reference", "own")
    expect(new.locator("#own-size")).to_be_visible()
    assert findings(new) == []


def test_a_rectangle_of_ones_own_is_looked_for(bench: Bench, window: Callable[..., Any]) -> None:
    """The sample has a card and nothing of 120 × 80 mm, so that it is refused for what was asked, and kept as asked."""
    job = bench.traced("by a box")
    page = window(f"/job/{job}#outline")
    page.locator("#look").wait_for()
    page.click("#scale summary")
    page.select_option("#reference", "own")
    page.fill("#own-size", "120x80")
    with page.expect_response("**/trace"):
        page.click("#trace-again")
    page.locator("#progress").wait_for(state="hidden", timeout=TRACE_MS)
    state = bench.settled(job)
    assert state["scale"]["reference"] == "120x80"
    expect(page.locator("#refusal")).to_be_visible()
    page.reload()
    expect(page.locator("#own-size")).to_have_value("120x80")


def test_the_owner_stands_on_the_title_block_where_that_is_wanted(
    window: Callable[..., Any], bench: Bench, tmp_path: Path
) -> None:
    plate(bench.folder, "owned")
    page = window("/job/owned#outline")
    expect(page.locator("#tab-drawing")).to_be_enabled()  # the state has come
    page.click("#about summary")
    page.fill("#about-owner", "A. Nobody")
    page.click("#about-form [type=submit]")
    expect(page.locator("#about-kept")).to_have_text("Kept.")
    for wanted in (False, True):
        page.click("#tab-outline")
        page.set_checked("#about-drawn", wanted)
        page.click("#about-form [type=submit]")
        expect(page.locator("#about-kept")).to_have_text("Kept.")  # said anew each time
        page.click("#tab-drawing")
        with page.expect_download() as got:
            page.click('.files [data-file="pdf"][data-what="sketch"]')
        path = tmp_path / f"{wanted}.pdf"
        got.value.save_as(path)
        assert ("A. Nobody" in pypdf.PdfReader(path).pages[0].extract_text()) == wanted
    shutil.rmtree(bench.folder / "owned")
