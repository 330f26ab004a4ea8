"""From a photo dropped on the page to a DXF that is as true as the command line's."""

from __future__ import annotations

import base64
import csv
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from playwright.sync_api import expect

from measure.steps.draw import JobOrder, draw
from measure.tracing.request import Request
from tests.accuracy.laying import lines_of, loops_of, spaced
from tests.accuracy.score import compare
from tests.browser.looks import LEG_MM, PHOTO, THICKNESS, TRACE_MS, across, features_of_dxf, leg_and_slot
from tests.sample_photos import FOLDER, truth

SAME_MM = 0.1
"""The bench measures in its copy, with the card's face averaged away. That moves the view by a hundredth of a pixel,
and the outline still answers to so little: by 0.06 mm here, where it should be 0.01. The page's is held against the
truth as well."""

DROP = """([name, data]) => {
  const bytes = Uint8Array.from(atob(data), c => c.charCodeAt(0));
  const carried = new DataTransfer();
  carried.items.add(new File([bytes], name, { type: "image/jpeg" }));
  for (const kind of ["dragenter", "dragover", "drop"])
    document.body.dispatchEvent(new DragEvent(kind, { dataTransfer: carried, bubbles: true, cancelable: true }));
}"""


def enter(page: Any, kind: str, labels: str, value: str) -> None:
    """One reading, by its labels."""
    page.fill("#labels", labels)
    page.locator(f"#kinds-list input[value='{kind}']").check(force=True)
    page.locator("#value").wait_for()
    page.fill("#value", value)
    page.click("#add")
    expect(page.locator("#value")).to_have_value("")


def test_from_a_dropped_photo_to_a_dxf(window: Callable[..., Any], tmp_path: Path, bench: Any) -> None:
    page = window("/")
    page.evaluate(DROP, ["latch.jpg", base64.b64encode(PHOTO.read_bytes()).decode()])
    assert page.evaluate("document.activeElement.id") == "thickness"  # asked for, since nothing is right without it
    page.keyboard.press("Enter")
    assert "thickness" in page.inner_text("#thickness-wrong")
    page.fill("#thickness", THICKNESS)
    page.fill("#name", "vent latch plate")
    page.click("#start")
    page.wait_for_url("**/job/**")
    page.locator("#look").wait_for(timeout=TRACE_MS)
    state = bench.state(page.url.split("/job/")[1].split("#")[0])
    assert page.locator(".feature").count() == len(state["features"])
    page.click("#looks-right")

    labels = dict(zip(("width", "gap"), leg_and_slot(state), strict=True))
    rows = list(csv.DictReader((FOLDER / "readings.csv").open()))
    for k, row in enumerate(r for r in rows if r["features"]):
        value = f"{LEG_MM}" if row["kind"] == "width" else row["value"]  # the file's is over another length
        enter(page, row["kind"], labels.get(row["kind"], row["features"]), value.replace(".", ","))
        assert page.locator("#readings li").count() == k + 1
    assert set(page.locator("#readings .says b").all_inner_texts()) == {"Agrees"}
    page.click("#tab-drawing")
    page.locator(".sheets img").first.wait_for()
    assert page.locator("#sizes tr").count() > 10
    with page.expect_download() as got:
        page.click('[data-what="sketch"][data-file="dxf"]')
    assert got.value.suggested_filename.endswith("sketch.dxf")
    dxf = tmp_path / "page.dxf"
    got.value.save_as(dxf)

    readings = tmp_path / "readings.csv"
    readings.write_text("".join(x for x in (FOLDER / "readings.csv").open() if not x.startswith("thickness")))
    draw(
        JobOrder(PHOTO, Request(4.2), readings=readings, name="vent latch plate"), tmp_path / "job", say=lambda _: None
    )
    by_page, by_command = (features_of_dxf(p) for p in (dxf, tmp_path / "job" / "sketch.dxf"))
    mine, its = (lines_of(loops_of({"features": f})) for f in (by_page, by_command))
    apart = [shapely.distance(shapely.points(spaced(a, 0.1)), b) for a, b in ((mine, its), (its, mine))]
    assert np.quantile(np.concatenate(apart), 0.95) < SAME_MM
    score = compare(truth() | {"photo": PHOTO.name, "dimensions": []}, {"features": by_page})
    assert score["p95_mm"] < 0.15  # as the README promises of ordinary photos
    assert score["loops_found"] == score["loops_true"]
    assert not score["mirrored"]


def test_a_slip_is_mended_where_it_stands(window: Callable[..., Any], bench: Any) -> None:
    """Inches taken for millimetres are put right by one button, swapped digits in the form they were entered in."""
    job = bench.traced("to be read again")
    page = window(f"/job/{job}#readings")
    page.locator(".feature").first.wait_for(state="attached")
    leg, slot = leg_and_slot(bench.state(job))
    enter(page, "gap", slot, "5.00")
    enter(page, "width", leg, "2.442")  # 62.03 mm in inches, by 25.4
    page.click(".readings .as-unit")
    row = page.locator("#readings li").first
    expect(row).to_contain_text("62.03 mm")
    expect(row).not_to_contain_text("Contradicted")
    row.locator(".change-it").click()
    expect(page.locator("#add-words")).to_have_text("Change the reading")
    expect(page.locator("#value")).to_have_value("2.442")
    assert page.input_value("#unit") == "in"
    page.fill("#value", "62.02")
    page.select_option("#unit", "mm")
    page.click("#add")
    expect(page.locator("#readings li")).to_have_count(2)
    expect(row).to_contain_text("62.02")
    expect(page.locator("#add-words")).to_have_text("Enter the reading")


def test_a_slip_is_named_and_undone(window: Callable[..., Any], bench: Any) -> None:
    job = bench.traced("with a slip")
    page = window(f"/job/{job}#readings")
    page.locator(".feature").first.wait_for(state="attached")
    leg, slot = leg_and_slot(bench.state(job))
    enter(page, "gap", slot, "5.00")
    expect(page.locator("#readings li")).to_have_count(1)
    without = across(bench.state(job), LEG_MM)[1]  # as the photo and the other reading have it, not this one
    enter(page, "width", leg, "60.23")  # 62.03 is right: two digits changed places
    row = page.locator("#readings li").first
    assert row.get_attribute("class", timeout=2000).startswith("suspect")
    says = row.inner_text()
    assert "Contradicted" in says
    (short,) = re.findall(r"([\d.]+) mm (?:under|less)", says)  # said once
    assert abs(float(short) - (without - 60.23)) < 0.01  # it is said to a hundredth
    assert row.locator("svg use[href$='#suspect']").count() == 1  # a shape of its own, not a colour alone
    page.keyboard.press("Escape")
    page.click("#undo")
    expect(page.locator("#readings li")).to_have_count(1)
    page.fill("#labels", leg)
    page.fill("#value", "abc")
    page.click("#add")
    expect(page.locator("#value-wrong")).to_contain_text("not a number")
    assert page.input_value("#value") == "abc"
    assert page.locator("#next-words").inner_text()
