"""From an owner's phone, the evening before, to the fixer's DXF."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import expect

from tests.accuracy.score import compare
from tests.browser.looks import PHOTO, TRACE_MS, features_of_dxf
from tests.browser.test_accessible import findings
from tests.browser.test_intake_page import PHONE
from tests.sample_photos import truth

GOOD_MM = 0.15
"""95 % of the boundary, of ordinary photos: as the README promises."""


def fits_a_phone(page: Any) -> None:
    """The fixer's own phone will do as well for a job that waits: the field and the button are in sight."""
    page.locator("#thickness").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator("#trace-again").scroll_into_view_if_needed()
    expect(page.locator("#trace-again")).to_be_in_viewport()
    page.locator("#thickness").evaluate("e => e.scrollIntoView({ block: 'end' })")  # clear of the picture, which stays
    assert findings(page) == []


def test_a_photo_from_an_owner_becomes_a_drawing(
    window: Callable[..., Any], open_to_owners: Any, tmp_path: Path
) -> None:
    phone = window(open_to_owners.intake, **PHONE)
    phone.set_input_files("#photo-camera", PHOTO)
    phone.fill("#name", "vent latch from the owner")
    phone.fill("#thickness", "about 4")
    phone.fill("#owner", "A. Nobody")
    phone.fill("#contact", "room 3")
    phone.tap("#go")
    phone.locator("#verdict").wait_for(timeout=TRACE_MS)
    ticket = re.findall(r"Your number is (\d+)", phone.inner_text("#ticket"))
    assert len(ticket) == 1

    page = window(open_to_owners.url)
    card = page.locator("#list li", has_text="vent latch from the owner")
    expect(card).to_contain_text("Waits to be traced")
    expect(card).to_contain_text(f"No. {ticket[0]} · A. Nobody")
    expect(card).not_to_contain_text("room 3")
    card.locator("a").click()
    page.wait_for_url("**/job/**")
    expect(page.locator("#mend-head")).to_have_text("How thick is it?")
    expect(page.locator("#owner-thickness")).to_contain_text("about 4")
    page.click("#about summary")
    expect(page.locator("#about-contact")).to_have_value("room 3")
    assert page.locator("#progress").is_hidden()  # nobody is at work on it
    assert page.input_value("#thickness") == ""  # what an owner says is no measurement
    assert findings(page) == []
    own = window(open_to_owners.url, **PHONE)  # the address with its token first
    own.goto(page.url)
    fits_a_phone(own)
    page.click("#trace-again")
    expect(page.locator("#retrace-wrong")).to_contain_text("thickness")
    page.fill("#thickness", "4,2")
    page.click("#trace-again")
    page.locator("#look").wait_for(timeout=TRACE_MS)
    expect(page.locator("#mend-head")).to_contain_text("Not quite")
    assert page.locator("#subject-row").is_hidden()
    page.click("#looks-right")
    page.click("#tab-drawing")
    page.locator(".sheets img").first.wait_for()
    with page.expect_download() as got:
        page.click('[data-what="sketch"][data-file="dxf"]')
    dxf = tmp_path / "owner.dxf"
    got.value.save_as(dxf)
    score = compare(truth() | {"photo": PHOTO.name, "dimensions": []}, {"features": features_of_dxf(dxf)})
    assert score["p95_mm"] < GOOD_MM
    assert score["loops_found"] == score["loops_true"]
