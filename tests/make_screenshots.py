"""Pictures of the bench page for the README: `python -m tests.make_screenshots`. Needs Chromium."""

from __future__ import annotations

import csv
import io
import shutil
import tempfile
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

from tests.browser.looks import Bench
from tests.browser.running import ARGS, address, running
from tests.sample_photos import FOLDER

OUT = FOLDER.parent / "bench"
LARGEST_KB = 200
SLIP = {"kind": "width", "features": ["E2", "E8"], "value": "63.02", "unit": "mm", "tool": "caliper"}
"""62.03 mm is right."""


def job_with_readings(bench: Bench) -> str:
    """The sample, traced, with its readings and a slip."""
    job = bench.traced("vent latch plate")
    rows = csv.DictReader((FOLDER / "readings.csv").open())
    readings = [{**r, "features": r["features"].split()} for r in rows if r["features"]]
    for r in (*readings, SLIP):
        bench.post(f"/api/jobs/{job}/readings", **r)
    return job


def keep(page: Any, name: str) -> None:
    """The page as it is, as WebP."""
    image = Image.open(io.BytesIO(page.screenshot()))
    path = OUT / f"{name}.webp"
    image.save(path, quality=82, method=6)
    size = path.stat().st_size / 1000
    if size > LARGEST_KB:
        raise SystemExit(f"{path.name} has {size:.0f} kB")
    print(f"{path.name}: {size:.0f} kB")


def main() -> None:
    OUT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        jobs, inbox = Path(scratch) / "jobs", Path(scratch) / "inbox"
        jobs.mkdir()
        inbox.mkdir()
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)
        with running(jobs) as said:
            bench = Bench(address(said), jobs)
            job = job_with_readings(bench)
            for name, look, view in (
                ("outline", "light", "#outline"),
                ("readings", "light", "#readings"),
                ("drawing", "dark", "#drawing"),
            ):
                page = browser.new_page(viewport={"width": 1180, "height": 800}, color_scheme=look)
                page.goto(f"{bench.url}/job/{job}{view}")
                page.locator(".feature").first.wait_for(state="attached")
                page.wait_for_timeout(1200)
                keep(page, name)
                page.close()
        with running(inbox, "--intake") as said:
            page = browser.new_page(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True)
            page.goto(address(said, "/intake"))
            page.wait_for_timeout(800)
            keep(page, "intake")
        browser.close()


if __name__ == "__main__":
    main()
