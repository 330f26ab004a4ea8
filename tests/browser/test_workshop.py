"""Printing from the page: the printer's own errors by its test piece, thin places, snap hooks."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
from playwright.sync_api import expect

from tests.benches import plate
from tests.browser.looks import Bench
from tests.browser.test_accessible import findings
from tests.browser.test_files import mesh

SWELLS_MM, SHRINKS = 0.06, 0.002
"""A printer whose every outer face stands out by so much, every inner one stands in, and that shrinks. Invented."""
LONG_MM = 60.0
"""The plate's length, by `tests/jobs.py`."""


@pytest.fixture
def page(window: Callable[..., Any], bench: Bench) -> Any:
    if not (bench.folder / "printed").exists():
        plate(bench.folder, "printed")
    page = window("/job/printed#drawing")
    expect(page.locator('.files [data-what="solid"]')).to_be_enabled()
    return page


def printed_mm(kind: str, nominal_mm: float) -> float:
    return nominal_mm * (1 - SHRINKS) + (2 if kind == "outside" else -2) * SWELLS_MM


def test_a_printers_errors_are_learned_and_taken_out(page: Any, tmp_path: Path) -> None:
    page.click("#printing summary")
    expect(page.locator("#printer-sizes li")).to_have_count(8)
    for link, check in (("3mf", None), ("pdf", "number")):
        with page.expect_download() as got:
            page.click(f'a[href$="test-piece.{link}"]')
        path = tmp_path / f"piece.{link}"
        got.value.save_as(path)
        if check:
            assert "Worksheet: printer test piece" in pypdf.PdfReader(path).pages[0].extract_text()
        else:
            assert zipfile.is_zipfile(path)
    page.fill("#printer-name", "bench-petg")
    page.click("#printer-form [type=submit]")
    expect(page.locator("#printer-wrong")).to_contain_text("0 of the test piece's sizes are too few")
    nominal = (50.0, 14.0, 40.0, 12.0, 24.0, 5.0, 16.0, 4.0)  # the test piece's outline, `measure/printing/coupon.py`
    for n, size in enumerate(nominal, 1):
        page.fill(f"#printer-size-{n}", f"{printed_mm('outside' if n <= 4 else 'inside', size):.2f}".replace(".", ","))
    page.click("#printer-form [type=submit]")
    expect(page.locator("#printer-found")).to_contain_text("bench-petg: outsides +0.0")
    expect(page.locator("#printer")).to_have_value("bench-petg")
    assert findings(page) == []
    with page.expect_download() as got:
        page.click('.files [data-what="solid"]')
    got.value.save_as(tmp_path / "solid.3mf")
    # drawn so that it comes out as 60 mm: (60 - 2 × 0.06) / 0.998, within what the caliper tells of the printer
    assert mesh(tmp_path / "solid.3mf") == pytest.approx((LONG_MM - 2 * SWELLS_MM) / (1 - SHRINKS), abs=0.03)


def test_thin_places_are_named_and_drawn(page: Any, tmp_path: Path) -> None:
    page.click("#thin summary")
    page.fill("#thin-limit", "a little")
    page.click("#thin-form [type=submit]")
    expect(page.locator("#thin-wrong")).to_contain_text("“a little” is not a number")
    page.fill("#thin-limit", "10")  # under the slot and the hole, 9.5 and 9 mm are left (`tests/jobs.py`)
    page.click("#thin-form [type=submit]")
    expect(page.locator("#thin-found")).to_contain_text("below 10 mm")
    expect(page.locator("#thin-found")).to_contain_text("T1: 9.0")
    assert findings(page) == []
    with page.expect_download() as got:
        page.click("#thin-sketch")
    got.value.save_as(tmp_path / "thin.pdf")
    assert pypdf.PdfReader(tmp_path / "thin.pdf").pages


def test_a_snap_hook_is_judged(page: Any) -> None:
    page.click("#hook summary")
    page.click("#hook-form [type=submit]")
    expect(page.locator("#hook-wrong")).to_contain_text("The undercut is missing")
    page.fill("#hook-undercut", "0,8")
    page.fill("#hook-length", "15")
    page.click("#hook-form [type=submit]")
    expect(page.locator("#hook-found")).to_contain_text("The thickness is the thickest that bends without breaking")
    page.fill("#hook-thick", "6")
    page.click("#hook-form [type=submit]")
    expect(page.locator("#hook-found")).to_contain_text("BREAKS or stays bent")
    assert findings(page) == []
