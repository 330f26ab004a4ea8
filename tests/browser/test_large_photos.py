"""Photos at the limit of pixels: one that claims more is refused in a sentence, a large one is looked at."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import expect

from calib.photo.photo import MAX_MEGAPIXELS
from tests.browser.looks import PHOTO, THICKNESS, TRACE_MS

LARGE_MEGAPIXELS = 48  # what today's telephones take at most in their normal mode; common knowledge


def claims(width: int, height: int) -> bytes:
    """A small JPEG whose header claims other sizes."""
    out = io.BytesIO()
    Image.new("RGB", (800, 600), "grey").save(out, "JPEG")
    data = bytearray(out.getvalue())
    frame = data.index(b"\xff\xc0") + 5  # marker, length, precision; then height and width: ITU-T T.81, B.2.2
    data[frame : frame + 4] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(data)


def started(page: Any, photo: Path) -> None:
    page.set_input_files("#photo-file", photo)
    page.fill("#thickness", THICKNESS)
    page.click("#start")


def test_more_pixels_than_the_limit_are_refused_in_one_sentence(window: Callable[..., Any], tmp_path: Path) -> None:
    photo = tmp_path / "wall.jpg"
    photo.write_bytes(claims(14_000, 9_000))  # 126 megapixels
    page = window("/")
    started(page, photo)
    expect(page.locator(".wrong:not(:empty)").first).to_contain_text(f"claims more than {MAX_MEGAPIXELS} megapixels")
    assert page.input_value("#thickness") == THICKNESS
    assert page.is_enabled("#start")


def test_a_large_photo_gets_its_answer(window: Callable[..., Any], bench: Any, tmp_path: Path) -> None:
    """The sample enlarged: its edges are smeared over more pixels than a phone's own 48 megapixels would show."""
    small = Image.open(PHOTO)
    times = (LARGE_MEGAPIXELS * 1e6 / (small.width * small.height)) ** 0.5
    photo = tmp_path / "large.jpg"
    small.resize((round(small.width * times), round(small.height * times))).save(photo, quality=90)
    page = window("/")
    started(page, photo)
    page.wait_for_url("**/job/**")
    expect(page.locator("#refusal-text")).to_contain_text("blurred", timeout=TRACE_MS)
    shown = bench.state(page.url.rsplit("/", 1)[1].split("#")[0])["photo"]
    assert shown["width"] * shown["height"] < 12e6  # a tablet is not sent 48 megapixels
    page.wait_for_function("document.querySelector('#world image').getAttribute('href')")
    assert page.is_enabled("#trace-again")
