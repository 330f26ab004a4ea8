"""Where things are: the trace button in sight, the picture on top on a tablet, nothing covered by what is said."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.benches import plate
from tests.browser.looks import Bench
from tests.browser.test_accessible import findings

DESK = {"width": 1280, "height": 800}
UPRIGHT = {"width": 820, "height": 1180}
PHONE = {"width": 390, "height": 844}


@pytest.fixture
def job(bench: Bench) -> str:
    if not (bench.folder / "laid-out").exists():
        plate(bench.folder, "laid-out")
    return "/job/laid-out"


def box(page: Any, selector: str) -> Any:
    found = page.locator(selector).bounding_box()
    assert found, selector
    return found


@pytest.mark.parametrize("size", [DESK, UPRIGHT, PHONE], ids=["desk", "tablet", "phone"])
def test_the_trace_button_is_in_sight_at_once(window: Callable[..., Any], size: dict[str, int]) -> None:
    page = window("/", **size)
    start = box(page, "#start")
    assert start["y"] >= 0
    assert start["y"] + start["height"] <= size["height"]
    page.click("#scale summary")
    page.select_option("#reference", "own")
    page.focus("#contact" if page.locator("#contact").is_visible() else "#own-tolerance")
    fields = box(page, ".fields")
    assert fields["y"] + fields["height"] <= box(page, "#start")["y"]  # the button is never over a field
    assert findings(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_tablet_held_upright_the_picture_is_on_top(window: Callable[..., Any], job: str, scheme: str) -> None:
    page = window(f"{job}#readings", color_scheme=scheme, **UPRIGHT)
    expect(page.locator("#next")).to_be_visible()
    stage, panels = box(page, ".stage"), box(page, ".panels")
    assert stage["width"] == panels["width"] == UPRIGHT["width"]
    assert stage["y"] + stage["height"] <= panels["y"] + 1
    assert stage["height"] > 0.35 * UPRIGHT["height"]
    assert findings(page) == []


@pytest.mark.parametrize("size", [DESK, UPRIGHT], ids=["desk", "tablet"])
def test_what_is_said_covers_nothing(window: Callable[..., Any], job: str, bench: Bench, size: dict[str, int]) -> None:
    page = window(f"{job}#readings", **size)
    expect(page.locator("#next")).to_be_visible()
    bench.post("/api/jobs/laid-out/readings", kind="bore", features=["D1"], value="6.0")
    said = page.locator("#notes p").first
    said.wait_for()
    note, stage, panels = said.bounding_box(), box(page, ".stage"), box(page, ".panels")
    assert note["y"] >= max(b["y"] + b["height"] for b in (stage, panels)) - 1
    assert note["y"] + note["height"] <= size["height"] + 1
    bench.post("/api/jobs/laid-out/undo", revision=bench.state("laid-out")["revision"])


def test_the_focus_stays_where_the_hands_are(window: Callable[..., Any], job: str) -> None:
    page = window(f"{job}#readings", **DESK)
    expect(page.locator("#next")).to_be_visible()
    page.click("#next-take")
    expect(page.locator("#value")).to_be_focused()
    page.keyboard.type("60,01")
    page.keyboard.press("Enter")
    expect(page.locator("#readings li")).to_have_count(1)
    expect(page.locator("#labels")).to_be_focused()
    page.click("#undo")
    expect(page.locator("#readings li")).to_have_count(0)
    expect(page.locator("#undo")).to_be_disabled()
    expect(page.locator("#tab-readings")).to_be_focused()


def test_a_job_whose_picture_cant_be_had_has_a_sign_in_its_place(
    window: Callable[..., Any], bench: Bench, job: str
) -> None:
    page = window("/about:blank")
    page.route("**/thumbnail.jpg", lambda route: route.fulfill(status=404, body=""))
    (only,) = (j for j in bench.ask("/api/jobs")["jobs"] if j["id"] == "laid-out")  # others may be out of sight
    listed = {"jobs": [only | {"thumbnail": "/api/jobs/laid-out/thumbnail.jpg"}]}
    page.route("**/api/jobs", lambda route: route.fulfill(json=listed))
    page.goto("/")
    expect(page.locator("#list .thumb .icon").first).to_be_visible()
    expect(page.locator("#list .thumb img")).to_have_count(0)
