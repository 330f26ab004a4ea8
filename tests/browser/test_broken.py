"""A broken part on the page: two pieces joined; or filled in, a second break marked, one kept, the other taken back."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from measure.broken.suspected import suspected
from tests.accuracy.broken import marked
from tests.browser.looks import Bench, retraced
from tests.browser.test_accessible import findings
from tests.browser.test_keyboard import tab_to
from tests.simulated_traces import trace as simulated
from tests.test_complete import job_of
from tests.test_suspected import OFF, around

PHOTOS = Path(__file__).parents[1] / "accuracy" / "broken"
KNOB, HOOK = PHOTOS / "tap-knob-broken.jpg", PHOTOS / "gate-hook-two.jpg"
WHOLE = "R5"
"""An arc that the photo shows whole: marked as broken it is filled in as well, like the one that is."""


@pytest.fixture(scope="module")
def knob(bench: Any) -> tuple[str, str]:
    """The job of a broken knob, and how a person who sees it marks its break."""
    job = str(bench.upload("tap knob", KNOB, "6.0"))
    assert bench.settled(job)["state"] == "traced"
    truth = json.loads(KNOB.with_suffix(".truth.json").read_text())
    return job, marked(truth, json.loads((bench.folder / job / "trace.json").read_text()))


def touch(page: Any, label: str) -> None:
    """Click a label on the photo."""
    page.locator(f'.tag[data-label="{label}"]').click()


def test_one_break_is_kept_and_one_taken_back(window: Callable[..., Any], knob: tuple[str, str], bench: Any) -> None:
    job, torn = knob
    page = window(f"/job/{job}#outline")
    page.locator(f'.tag[data-label="{WHOLE}"]').wait_for()
    assert page.locator(".feature.completed").count() == 0
    page.click("#complete summary")
    for label in torn.split("-"):
        touch(page, label)
    assert page.input_value("#broken") == torn
    assert page.locator("#panel-outline").is_visible()  # marking does not lead to the readings
    page.click("#complete-form button[type=submit]")
    row = page.locator("#breaks li")
    expect(row).to_have_count(1)
    expect(row).to_contain_text("To be looked at")
    assert "% of the boundary bears that out" in row.inner_text()
    assert "bears that out" not in page.inner_text("#cautions")  # said once
    assert page.locator(".feature.completed").count() > 0

    page.click("#complete summary")
    touch(page, WHOLE)
    page.select_option("#by", "turn")
    page.click("#complete-form button[type=submit]")
    expect(page.locator("#breaks li")).to_have_count(2)

    page.locator(f'[data-break="{torn}"] [data-answer="keep"]').click()
    expect(page.locator(f'[data-break="{torn}"]')).to_contain_text("Kept")
    page.locator(f'[data-break="{WHOLE}"] [data-answer="seen"]').click()
    expect(page.locator(f'[data-break="{WHOLE}"]')).to_have_count(0)
    page.reload()
    expect(row).to_have_count(1)
    expect(row).to_have_attribute("data-break", torn)
    expect(row).to_contain_text("Kept")
    state = bench.state(job)
    origins = {f["label"]: f["origin"] for f in state["features"]}
    assert {k for k, v in origins.items() if v == "completed"} == set(state["completion"]["breaks"][0]["features"])
    assert origins[WHOLE] == "seen"
    assert findings(page) == []


def test_it_is_asked_where_it_may_be_broken_and_a_touch_answers(window: Callable[..., Any], bench: Bench) -> None:
    """A plate with a corner off, which its mirror image fills; and the same that its owner says is whole."""
    estimate = simulated(around(OFF), 4.0, np.random.default_rng(5)).estimate
    (asked,) = suspected(estimate.features)
    for name in ("corner-off", "corner-cut"):
        job_of(bench.folder / name, estimate)
    page = window("/job/corner-off#outline")
    question = page.locator("#asked li")
    expect(question).to_contain_text(f"Is it broken at {asked.mark}?")
    expect(page.locator(f'.feature.wanted[data-label="{asked.mark}"]')).to_have_count(1)  # shown on the picture
    assert findings(page) == []
    question.locator('[data-answer="broken"]').click()
    expect(page.locator("#breaks li")).to_contain_text("counterpart mirrored")
    expect(question).to_have_count(0)
    page.click("#mend [data-undo]")
    expect(question).to_have_count(1)

    page = window("/job/corner-cut#outline")
    question = page.locator("#asked li")
    question.locator('[data-answer="whole"]').click()
    expect(question).to_have_count(0)
    expect(page.locator("#breaks li")).to_have_count(0)
    page.reload()
    page.locator("#looks-right").wait_for()
    expect(question).to_have_count(0)


def test_a_break_by_keys_and_what_cannot_be_told(window: Callable[..., Any], knob: tuple[str, str]) -> None:
    job, torn = knob
    page = window(f"/job/{job}#outline", color_scheme="dark")
    page.locator("#breaks li").wait_for()
    tab_to(page, f'[data-break="{torn}"] [data-answer="seen"]')
    page.keyboard.press("Enter")
    expect(page.locator("#breaks li")).to_have_count(0)
    expect(page.locator("#tab-outline")).to_be_focused()
    page.keyboard.press("ControlOrMeta+z")
    expect(page.locator("#breaks li")).to_contain_text("Kept")
    tab_to(page, "#complete summary")
    page.keyboard.press("Enter")
    tab_to(page, "#broken")
    page.keyboard.type("r4")
    tab_to(page, "#by")
    page.keyboard.type("longer")
    tab_to(page, "#complete-form button[type=submit]")
    page.keyboard.press("Enter")
    expect(page.locator("#complete-wrong")).to_contain_text("nothing tells what was there")
    assert page.input_value("#broken") == "r4"
    expect(page.locator("#breaks li")).to_contain_text("Kept")  # the other break is as it was
    assert findings(page) == []


def test_two_pieces_are_joined(window: Callable[..., Any], bench: Any) -> None:
    job = str(bench.upload("gate hook", HOOK, "6.0"))
    bench.settled(job)
    page = window(f"/job/{job}#outline")
    tick = page.get_by_label("It is broken in two pieces")
    expect(page.locator("#cautions")).to_contain_text("tick “It is broken in two pieces” and trace again")
    assert not tick.is_checked()
    tick.check()
    assert findings(page) == []
    assert retraced(page) == "traced"
    expect(page.locator("#cautions")).to_contain_text("Two pieces are joined along a break")
    page.reload()
    expect(tick).to_be_checked()
    truth = json.loads(HOOK.with_suffix(".truth.json").read_text())
    xs = [x for s in truth["loops"][0]["segments"] for x, _ in (s["start"], s["end"])]
    lengths = [d for d in bench.state(job)["dimensions"] if abs(d["value_mm"] - (max(xs) - min(xs))) < d["u95_mm"]]
    assert lengths, "no dimension is the length of the whole part"
