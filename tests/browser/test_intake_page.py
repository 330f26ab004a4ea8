"""The owners' page on a phone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.browser.looks import PHOTO, TRACE_MS
from tests.browser.test_accessible import in_both_looks

PHONE = {"width": 390, "height": 844, "has_touch": True, "is_mobile": True}


def test_a_photo_is_sent_and_judged(window: Callable[..., Any], open_to_owners: Any) -> None:
    page = window(open_to_owners.intake, **PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.locator("#camera").bounding_box()["y"] < 844  # in sight without scrolling
    pictures = page.locator(".steps img").first
    assert pictures.evaluate("i => i.complete && i.naturalWidth > 0")
    assert in_both_looks(page) == []
    assert page.get_attribute("#photo-camera", "capture") == "environment"
    page.set_input_files("#photo-camera", PHOTO)
    page.fill("#name", "vent latch")
    page.tap("#go")
    page.locator("#verdict").wait_for(timeout=TRACE_MS)
    assert page.inner_text("#verdict-head").startswith("Thank you")
    assert len(page.inner_text("#reply")) > 20
    assert in_both_looks(page) == []
    assert page.locator("a[href*='job']").count() == 0  # nothing of anybody's jobs


def test_a_bad_photo_is_told_what_to_do(window: Callable[..., Any], open_to_owners: Any, tmp_path: Any) -> None:
    from PIL import Image

    dull = tmp_path / "table.jpg"
    Image.new("RGB", (1600, 1200), (150, 120, 90)).save(dull)
    page = window(open_to_owners.intake, **PHONE)
    page.set_input_files("#photo-file", dull)
    page.tap("#go")
    page.locator("#verdict.retake").wait_for(timeout=TRACE_MS)
    assert "once more" in page.inner_text("#verdict-head")
    assert page.inner_text("#reply")
    page.tap("#another")
    assert page.is_visible("#camera")


def test_what_is_no_photo_is_said_at_once(window: Callable[..., Any], open_to_owners: Any, tmp_path: Any) -> None:
    words = tmp_path / "letter.txt"
    words.write_text("no photo")
    page = window(open_to_owners.intake, **PHONE)
    page.set_input_files("#photo-file", words)
    assert "no photo" in page.inner_text("#wrong")
