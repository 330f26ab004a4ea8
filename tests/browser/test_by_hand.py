"""A missing boundary drawn by hand on the page, kept in the words that a command takes; and a break that stays open."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from measure.job import job as files
from measure.steps.complete import complete
from tests.accuracy.broken import marked
from tests.browser.looks import on_screen
from tests.browser.test_accessible import findings

PULL = Path(__file__).parents[1] / "accuracy" / "broken" / "drawer-pull-broken.jpg"


@pytest.fixture(scope="module")
def pull(bench: Any) -> tuple[str, str]:
    """The job of a drawer pull with a corner off, and how a person who sees it marks its break."""
    job = str(
        bench.upload("drawer pull", PULL, str(json.loads(PULL.with_suffix(".truth.json").read_text())["thickness_mm"]))
    )
    assert bench.settled(job)["state"] == "traced"
    truth = json.loads(PULL.with_suffix(".truth.json").read_text())
    return job, marked(truth, json.loads((bench.folder / job / files.TRACE).read_text()))


def marked_on(page: Any, torn: str, by: str) -> None:
    """Open the form, choose what is done, and mark the break by its labels."""
    page.click("#complete summary")
    page.select_option("#by", by)
    page.fill("#broken", torn)


def end_of(state: Any, label: str) -> tuple[float, float]:
    """Where a feature ends in the photo, in its own pixels."""
    path = next(f["path"] for f in state["features"] if f["label"] == label)
    x, y = re.findall(r"(-?[\d.]+),(-?[\d.]+)", path)[-1]
    return float(x) / state["photo"]["scale"] - 0.5, float(y) / state["photo"]["scale"] - 0.5


def test_drawn_on_the_photo_and_the_same_by_command(
    window: Callable[..., Any], bench: Any, pull: tuple[str, str], tmp_path: Path
) -> None:
    job, torn = pull
    before = shutil.copytree(bench.folder / job, tmp_path / "by-command")
    page = window(f"/job/{job}#outline", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    marked_on(page, torn, "hand")
    expect(page.locator("#draw-row")).to_be_visible()
    page.check('[name="draw-tool"][value="on"]', force=True)
    page.fill("#draw-size", "1,5")
    spot = on_screen(page, bench.state(job), [end_of(bench.state(job), torn.split("-")[-1])])[0]
    page.mouse.click(*spot)
    expect(page.locator("#drawn")).to_have_value("on 1.5")
    expect(page.locator(".drawn-line")).to_have_count(2)  # what is drawn, and straight on to where the break ends
    page.check('[name="draw-tool"][value="to"]', force=True)
    page.mouse.click(*spot)
    expect(page.locator("#drawn")).to_have_value("on 1.5; to end")
    page.fill("#drawn", "on 1.5; sideways 3")
    expect(page.locator("#complete-wrong")).to_contain_text("can't be drawn")
    page.fill("#drawn", "on 1.5; to end")
    expect(page.locator("#complete-wrong")).to_be_empty()
    assert findings(page) == []
    page.click("#complete-form button[type=submit]")
    row = page.locator("#breaks li")
    expect(row).to_contain_text("drawn by hand")
    expect(row).to_contain_text("“on 1.5; to end”")
    assert page.locator(".feature.completed").count() > 0
    complete(before, broken=torn, drawn="on 1.5; to end")
    by_page, by_command = (json.loads((f / files.TRACE).read_text()) for f in (bench.folder / job, before))
    assert by_page["features"] == by_command["features"]
    page.locator('[data-answer="seen"]').click()
    expect(row).to_have_count(0)
    assert page.locator(".feature.completed").count() == 0


def test_a_break_left_open_is_dashed_and_has_no_sizes(
    window: Callable[..., Any], bench: Any, pull: tuple[str, str]
) -> None:
    job, torn = pull
    page = window(f"/job/{job}#outline", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    page.click("#complete summary")
    page.select_option("#by", "open")
    page.click("#complete-form button[type=submit]")
    expect(page.locator("#complete-wrong")).to_contain_text("Say which break stays open")
    page.fill("#broken", torn)
    page.click("#complete-form button[type=submit]")
    expect(page.locator("#breaks li")).to_contain_text("Broken")
    expect(page.locator(".feature.broken")).to_have_count(1)
    state = bench.state(job)
    free = next(f["label"] for f in state["features"] if f["origin"] == "broken")
    assert not any(free in d["features"] for d in state["dimensions"])
    assert free not in (state["next"] or {"features": []})["features"]
    found = json.loads((bench.folder / job / files.TRACE).read_text())
    assert [f["label"] for f in found["broken"]] == [free]
    assert findings(page) == []
    page.locator('[data-answer="seen"]').click()
    expect(page.locator(".feature.broken")).to_have_count(0)
