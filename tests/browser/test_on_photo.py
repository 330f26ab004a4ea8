"""The drawing over the photo, and the jaws where a reading is asked for and where one was taken."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect

from tests.browser.test_accessible import findings
from tests.make_samples import SAMPLES


def test_jaws_and_the_photo_beneath(window: Callable[..., Any], bench: Any) -> None:
    shutil.copytree(SAMPLES / "vent-latch", bench.folder / "latch-over-photo")
    page = window("/job/latch-over-photo#readings", width=1280, height=800)
    page.locator(".feature").first.wait_for(state="attached")
    state = bench.state("latch-over-photo")
    taken = sum(len(r["jaws"]) for r in state["readings"])
    assert taken == 2 * len(state["readings"])  # each of the sample's is taken with two jaws
    expect(page.locator(".jaw.taken")).to_have_count(taken)
    expect(page.locator(".jaw.asked")).to_have_count(len(state["next"]["jaws"]) if state["next"] else 0)
    page.fill("#labels", "E2 E8")
    expect(page.locator(".jaw.asked")).to_have_count(2)  # one kind fits: outside jaws
    page.fill("#labels", "E9 E10")
    expect(page.locator(".jaw.asked")).to_have_count(2)
    page.click("#tab-outline")
    expect(page.locator(".jaw")).to_have_count(0)
    page.click("#tab-drawing")
    shown = page.locator(".sheets .is img")
    expect(shown).to_have_attribute("src", with_in("sketch.svg?v="))
    with page.expect_response("**/sketch.svg*over=photo") as answered:
        page.check("#over-photo")
    assert "<image " in answered.value.text()
    expect(shown).to_have_attribute("src", with_in("over=photo"))
    expect(page.locator("#over-photo-words")).to_be_visible()
    painted = shown.evaluate(
        """async (img) => {
          await img.decode();
          const c = document.createElement('canvas');
          [c.width, c.height] = [210, 297];
          const g = c.getContext('2d');
          g.drawImage(img, 0, 0, 210, 297);
          const d = g.getImageData(0, 0, 210, 297).data;
          let blue = 0;
          for (let i = 0; i < d.length; i += 4) if (d[i + 2] > d[i] + 25) blue += 1;
          return blue;
        }"""
    )
    assert painted > 500  # mm² of a blue plate of some 1300 mm², faded: its photo is seen, not a white sheet
    assert findings(page) == []


def with_in(part: str) -> Any:
    """An address with this in it."""
    return re.compile(re.escape(part))
