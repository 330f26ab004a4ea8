"""The worksheet and the caliper that it is for: told of once, respected at once; and that no reading is needed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
from playwright.sync_api import expect

from measure.job import job, records
from tests.browser.looks import Bench
from tests.browser.test_accessible import findings

LESS_MM = 1.0
SURER = 1e-4


def test_the_caliper_at_hand_is_told_of_and_respected(
    window: Callable[..., Any], bench: Bench, traced: str, tmp_path: Path
) -> None:
    page = window(f"/job/{traced}#readings")
    expect(page.locator("#next")).to_be_visible()
    first = bench.state(traced)["next"]
    page.click("#caliper summary")
    expect(page.locator("#caliper-reach")).to_have_value("150")
    page.fill("#caliper-reach", "far")
    page.click("#caliper-form [type=submit]")
    expect(page.locator("#caliper-wrong")).to_contain_text("“far” is no number of millimetres")
    page.fill("#caliper-reach", "5")
    page.click("#caliper-form [type=submit]")
    expect(page.locator("#caliper-wrong")).to_contain_text("reach is 10 to 2000 mm")
    reach = max(first["expected_mm"] - LESS_MM, 10.0)
    try:
        page.fill("#caliper-reach", f"{reach:.1f}".replace(".", ","))
        page.click("#caliper-form [type=submit]")
        expect(page.locator("#caliper-kept")).to_have_text("Kept.")
        after = bench.state(traced)["next"]
        assert after["features"] != first["features"]
        assert after["expected_mm"] <= reach
        assert findings(page) == []
        page.click("#tab-drawing")
        with page.expect_download() as got:
            page.click('[data-what="worksheet"]')
        got.value.save_as(tmp_path / "sheet.pdf")
        text = pypdf.PdfReader(tmp_path / "sheet.pdf").pages[0].extract_text()
        assert f"{after['kind']} {' '.join(after['features'])}" in text
        assert f"{first['kind']} {' '.join(first['features'])}" not in text
    finally:
        bench.post(f"/api/jobs/{traced}/caliper", reach="150", inside="2.5", tip="4")
    assert bench.state(traced)["next"]["features"] == first["features"]


def test_where_all_is_known_the_button_says_that_no_reading_is_needed(window: Callable[..., Any], bench: Bench) -> None:
    folder = bench.folder / "known"
    plain = records.from_text((bench.folder / bench.traced("known well") / job.TRACE).read_text(), job.TRACE)
    estimate = records.estimate(plain, job.TRACE)
    exact = replace(estimate, white=estimate.white * SURER, shared=estimate.shared * SURER)
    known = plain.model_copy(update={"adjustment": records.adjustment_record(exact), "part": "known"})
    job.write(folder, {job.TRACE: records.to_text(known).encode()})
    page = window("/job/known#readings")
    expect(page.locator("#next-head")).to_have_text("Enough")
    page.click("#tab-drawing")
    page.click('[data-what="worksheet"]')
    expect(page.locator("#make-wrong")).to_contain_text("no reading is needed")
