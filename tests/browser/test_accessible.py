"""No serious or critical finding of axe-core, in light and in dark, on every view."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.browser.looks import leg_and_slot

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def axe() -> str:
    spec = importlib.util.find_spec("axe_playwright_python")
    assert spec is not None, "pip install 'jawline[test]'"
    assert spec.origin is not None
    return (Path(spec.origin).parent / "axe.min.js").read_text("utf-8")


def findings(page: Any) -> list[str]:
    """What weighs, one line each."""
    page.evaluate(axe())  # evaluated, not added as a script: the page's own content policy stays in force
    found = page.evaluate("tags => axe.run(document, { runOnly: tags })", TAGS)
    return [
        f"{v['impact']} {v['id']}: {n['target']} {n['failureSummary']}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
        for n in v["nodes"]
    ]


@pytest.fixture(scope="module")
def with_a_slip(bench: Any) -> str:
    job = str(bench.traced("looked at with axe"))
    leg, slot = leg_and_slot(bench.state(job))
    for kind, features, value in (
        ("gap", slot.split(), "5.00"),
        ("width", leg.split(), "60.23"),
        ("bore", ["D2"], "5.38"),
    ):
        bench.post(f"/api/jobs/{job}/readings", kind=kind, features=features, value=value, unit="mm", tool="caliper")
    return job


def in_both_looks(page: Any) -> list[str]:
    """What weighs in light and in dark."""
    out = []
    for look in ("dark", "light"):
        page.emulate_media(color_scheme=look, reduced_motion="reduce")
        page.wait_for_function("look => document.documentElement.dataset.look === look", arg=look)
        out += [f"{look}: {x}" for x in findings(page)]
    return out


def test_the_job_in_each_step(window: Callable[..., Any], bench: Any, with_a_slip: str) -> None:
    page = window(f"/job/{with_a_slip}#outline")
    page.locator(".tag").first.wait_for(state="attached")
    assert in_both_looks(page) == []
    page.click("#complete summary")
    page.check('[name="tool"][value="corners"]', force=True)
    assert in_both_looks(page) == []
    page.click("#tab-readings")
    page.fill("#labels", leg_and_slot(bench.state(with_a_slip))[0])
    page.locator("#value").wait_for()
    page.click("#add")
    page.click("#all-features summary")
    page.wait_for_timeout(200)
    assert in_both_looks(page) == []
    page.click("#tab-drawing")
    page.click("#trial summary")
    page.click("#trial-take")
    page.locator("#trial-wrong:not(:empty)").wait_for()
    assert in_both_looks(page) == []
    page.fill("#said", "tight at E2")
    page.click("#trial-take")
    page.locator("#trial-found:not(:empty)").wait_for()
    with page.expect_download():
        page.click('[data-what="fit"]')
    page.click("#compare summary")
    for how in ("slide", "over"):
        page.locator(f"[name=compare][value={how}]").check(force=True)
        page.locator(".layer.was").wait_for()
        assert in_both_looks(page) == []


def test_the_list_of_jobs(window: Callable[..., Any], with_a_slip: str) -> None:
    page = window("/")
    page.locator("#list li").first.wait_for()
    page.click("#start")
    assert in_both_looks(page) == []


def test_the_switch_holds_on_the_next_page(window: Callable[..., Any], with_a_slip: str) -> None:
    page = window("/", color_scheme="light")
    page.click("#theme")
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground != "rgb(243, 240, 232)"
    page.goto(f"/job/{with_a_slip}")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == ground
