"""The whole job on the page by a new fixer: `python -m tests.benchmarks.hands`. Needs Chromium.

From a photo of 12 megapixels to the DXF, with three readings. Clicks, keys and waiting are counted and measured; how
long hands and head take is reckoned by the keystroke-level model (Card, Moran and Newell, Communications of the ACM 23,
1980; its figures are from memory). Taking the caliper readings themselves is work at the bench, and not counted.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import expect, sync_playwright

from tests.browser.looks import PHOTO, THICKNESS, TRACE_MS, Bench
from tests.browser.running import ARGS, address, running

KEY_S, POINT_S, BUTTON_S, HOME_S, THINK_S = 0.28, 1.1, 0.1, 0.4, 1.35
"""A key by an average typist who is no secretary, a pointing by mouse, pressing or releasing its button, moving a hand
between mouse and keys, making up one's mind: the model's own, from memory."""
READINGS = 3
LOOKS = 8
"""Times that a new fixer makes up their mind while following the outline once round (chosen)."""
PROMISED_S = 180.0


@dataclass
class Step:
    """What one part of the job takes."""

    name: str
    clicks: int = 0
    keys: int = 0
    seconds: float = 0.0
    waited_s: float = 0.0


@dataclass
class Fixer:
    """Does what a person does, and counts it."""

    page: Any
    steps: list[Step] = field(default_factory=list)
    on_keys: bool = False

    def begin(self, name: str) -> None:
        """The next part of the job."""
        self.steps.append(Step(name))

    def _homed(self, on_keys: bool) -> None:
        if self.on_keys != on_keys:
            self.steps[-1].seconds += HOME_S
        self.on_keys = on_keys

    def think(self, times: int = 1) -> None:
        """Make up one's mind."""
        self.steps[-1].seconds += times * THINK_S

    def counted_click(self) -> None:
        """A click that the browser does not see: in the system's own window for a file."""
        self._homed(False)
        self.steps[-1].clicks += 1
        self.steps[-1].seconds += POINT_S + 2 * BUTTON_S

    def click(self, selector: str) -> None:
        """Decide, point and click."""
        self.think()
        self.counted_click()
        self.page.click(selector)

    def type(self, text: str, then: str = "") -> None:
        """Type, and perhaps one key more."""
        self.think()
        self._homed(True)
        for key in (*text, *([then] if then else [])):
            self.page.keyboard.press(key)
        self.steps[-1].keys += len(text) + bool(then)
        self.steps[-1].seconds += KEY_S * (len(text) + bool(then))

    def wait(self, locator: Any) -> None:
        """For what comes of it."""
        began = time.monotonic()
        expect(locator).to_be_visible(timeout=TRACE_MS)
        self.steps[-1].waited_s += time.monotonic() - began


def whole_job(page: Any, bench: Bench) -> Fixer:
    """From the first page to the DXF.

    Args:
        page: of the browser, at the list of jobs.
        bench: asked for what the caliper would show.
    """
    hands = Fixer(page)
    hands.begin("thickness and photo")
    hands.click("#thickness")
    hands.type(THICKNESS)
    with page.expect_file_chooser() as chooser:
        hands.click("#choose")
    hands.counted_click()  # the photo, and
    hands.counted_click()  # “Open”
    chooser.value.set_files(PHOTO)
    hands.begin("trace")
    hands.click("#start")
    hands.wait(page.locator("#look"))
    hands.begin("look at the outline")
    hands.think(LOOKS)
    hands.click("#looks-right")
    job = page.url.split("/job/")[1].split("#")[0]
    for n in range(1, READINGS + 1):
        hands.begin(f"reading {n}")
        hands.wait(page.locator("#next"))
        wanted = bench.state(job)["next"]
        if wanted is None:
            hands.steps.pop()
            break
        hands.click("#next-take")
        expect(page.locator("#value")).to_be_focused(timeout=TRACE_MS)
        hands.type(f"{wanted['expected_mm']:.2f}".replace(".", ","), then="Enter")
        hands.wait(page.locator(f"#readings li:nth-child({n})"))
    hands.begin("drawing and DXF")
    hands.click("#tab-drawing")
    hands.wait(page.locator(".sheets img").first)
    began = time.monotonic()
    with page.expect_download(timeout=TRACE_MS) as got:
        hands.click('[data-what="sketch"][data-file="dxf"]')
    assert got.value.suggested_filename.endswith("sketch.dxf")
    hands.steps[-1].waited_s += time.monotonic() - began
    return hands


def table(steps: list[Step]) -> str:
    """For people, and for the README."""
    rows = [
        *steps,
        Step("all", *(sum(getattr(s, k) for s in steps) for k in ("clicks", "keys", "seconds", "waited_s"))),
    ]
    out = ["| | clicks | keys | hands, s | waiting, s |", "|---|---|---|---|---|"]
    out += [f"| {s.name} | {s.clicks} | {s.keys} | {s.seconds:.0f} | {s.waited_s:.1f} |" for s in rows]
    return "\n".join(out)


def main() -> None:
    """Do it and print the table."""
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        jobs = Path(scratch) / "jobs"
        jobs.mkdir()
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)
        with running(jobs) as said:
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(address(said))
            hands = whole_job(page, Bench(address(said), jobs))
        browser.close()
    print(table(hands.steps))
    assert sum(s.seconds for s in hands.steps) < PROMISED_S


if __name__ == "__main__":
    main()
