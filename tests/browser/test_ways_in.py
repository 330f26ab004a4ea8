"""A photo comes in by every way there is, and the picture is moved by two fingers."""

from __future__ import annotations

import base64
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.sample_photos import save

PASTE = """([name, data]) => {
  const bytes = Uint8Array.from(atob(data), c => c.charCodeAt(0));
  const clipboardData = new DataTransfer();
  clipboardData.items.add(new File([bytes], name, { type: "image/jpeg" }));
  document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true }));
}"""


def by_paste(page: Any, photo: Path) -> None:
    page.evaluate(PASTE, ["photo.jpg", base64.b64encode(photo.read_bytes()).decode()])


def by_camera(page: Any, photo: Path) -> None:
    assert page.get_attribute("#photo-camera", "capture") == "environment"  # a tablet opens the camera at its back
    with page.expect_file_chooser() as asked:
        page.click("#camera")
    asked.value.set_files(photo)


def by_file(page: Any, photo: Path) -> None:
    with page.expect_file_chooser() as asked:
        page.click("#choose")
    asked.value.set_files(photo)


@pytest.mark.parametrize("way", [by_paste, by_camera, by_file])
def test_a_photo_comes_in(window: Callable[..., Any], way: Callable[[Any, Path], None], tmp_path: Path) -> None:
    """Shown at once, the thickness asked for, and what is sent begins to be traced. It is of a bare table, so that
    nobody is long at it when this test has ended."""
    page = window("/")
    way(page, save(np.full((600, 800, 3), 150, np.uint8), tmp_path / "photo.jpg"))
    expect(page.locator("#drop-words")).to_have_text("photo.jpg")
    expect(page.locator("#preview")).to_be_visible()
    assert page.evaluate("document.activeElement.id") == "thickness"
    page.fill("#thickness", "4.2")
    with page.expect_response(lambda r: r.url.endswith("/api/jobs") and r.request.method == "POST") as sent:
        page.click("#start")
    assert sent.value.ok
    page.wait_for_url("**/job/**")


def test_text_that_is_pasted_stays_text(window: Callable[..., Any]) -> None:
    page = window("/")
    page.focus("#name")
    page.evaluate(
        """() => {
          const clipboardData = new DataTransfer();
          clipboardData.setData("text/plain", "vent latch");
          const e = new ClipboardEvent("paste", { clipboardData, bubbles: true, cancelable: true });
          window.kept = document.activeElement.dispatchEvent(e);
        }"""
    )
    assert page.evaluate("window.kept")  # nobody took it away from the field
    assert page.inner_text("#photo-wrong") == ""


def fingers(session: Any, kind: str, *points: tuple[float, float]) -> None:
    """Touch as the browser gets it from a screen."""
    touches = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(points)]
    session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})


def test_two_fingers_zoom_and_one_pans(window: Callable[..., Any], traced: str) -> None:
    page = window(f"/job/{traced}", width=820, height=1180, has_touch=True)
    page.locator(".feature").first.wait_for(state="attached")
    box = page.locator("#view").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    under = f"""() => {{
      const m = document.querySelector("#world").getScreenCTM();
      return [m.a, ({x} - m.e) / m.a, ({y} - m.f) / m.d];
    }}"""
    scale, px, py = page.evaluate(under)
    session = page.context.new_cdp_session(page)
    fingers(session, "touchStart", (x - 60, y))
    fingers(session, "touchStart", (x - 60, y), (x + 60, y))
    for d in (80, 100, 120):
        fingers(session, "touchMove", (x - d, y), (x + d, y))
    fingers(session, "touchEnd")
    wider, qx, qy = page.evaluate(under)
    assert wider / scale == pytest.approx(2.0, rel=0.02)  # fingers twice as far apart
    assert (qx, qy) == pytest.approx((px, py), abs=8)  # what was between them stays there
    fingers(session, "touchStart", (x, y))
    fingers(session, "touchMove", (x + 30, y + 10))
    fingers(session, "touchMove", (x + 60, y + 40))
    fingers(session, "touchEnd")
    same, rx, ry = page.evaluate(under)
    assert same == wider
    assert (qx - rx, qy - ry) == pytest.approx((60 / wider, 40 / wider), abs=2)
    assert page.evaluate("document.activeElement.id") != "labels"  # no feature was picked by the way
