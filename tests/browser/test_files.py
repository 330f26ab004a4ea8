"""What the buttons give is what it says it is, by readers that did not write it; and drawings over each other."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pypdf
import pytest
import trimesh
from lxml import etree
from playwright.sync_api import expect

from measure.steps.reconcile import reconcile
from measure.steps.trial import trial

LONGEST_MM = 62.0
"""Of the sample part: the true length of its long leg (samples/vent-latch/truth.json)."""


def dxf(path: Path) -> float:
    """The longest side of the outline, mm."""
    document = ezdxf.readfile(path)
    assert document.header["$INSUNITS"] == 4  # millimetres
    points = [p for e in document.modelspace().query('LWPOLYLINE[layer=="OUTLINE"]') for p in e.get_points("xy")]
    xs, ys = zip(*points, strict=True)
    return max(max(xs) - min(xs), max(ys) - min(ys))


def mesh(path: Path) -> float:
    solid = trimesh.load(path, force="mesh")
    assert solid.is_watertight
    with zipfile.ZipFile(path) as z:
        (model,) = [n for n in z.namelist() if n.endswith(".model")]
        assert etree.fromstring(z.read(model)).get("unit") == "millimeter"
    return float(max(solid.extents))


def svg(path: Path) -> float:
    """The longest side of the outline on the sheet, which is drawn true to size here."""
    root = etree.parse(path).getroot()
    assert root.get("width").endswith("mm")
    assert [float(v) for v in root.get("viewBox").split()][2] == float(root.get("width")[:-2])  # a unit is a millimetre
    (drawn,) = root.xpath("//*[@id='outline']")
    path_data = " ".join(drawn.xpath(".//*[local-name()='path']/@d"))
    points = re.findall(r"(-?[\d.]+),(-?[\d.]+)", re.sub(r"A\S+ \S+ \S+ \S+ ", "L", path_data))
    xs, ys = zip(*((float(x), float(y)) for x, y in points), strict=True)
    return max(max(xs) - min(xs), max(ys) - min(ys))


def pdf(path: Path) -> float:
    """The largest size that is written on the sheet."""
    (page, *_) = pypdf.PdfReader(path).pages
    text = page.extract_text()
    assert "vent latch" in text
    return max(float(v) for v in re.findall(r"\b[2-9]\d\.\d+", text))


def worksheet(path: Path) -> None:
    (page, *_) = pypdf.PdfReader(path).pages
    text = page.extract_text()
    assert "Worksheet: vent latch" in text
    assert "outside jaws" in text


BUTTONS = (
    ("files", "sketch", "dxf", dxf, 0.0),
    ("files", "sketch", "svg", svg, 0.0),
    ("files", "sketch", "pdf", pdf, 0.0),
    ("files", "worksheet", "pdf", worksheet, 0.0),
    ("files", "gauge", "3mf", mesh, 0.0),
    ("files", "solid", "3mf", mesh, 0.0),
    ("fits", "fit", "dxf", dxf, 0.2),
    ("fits", "gauge", "3mf", mesh, 0.2),
    ("fits", "solid", "3mf", mesh, 0.2),
)
"""Where each stands, what it makes, in which format, how that is read, and the room that a fit takes, mm."""


def test_each_button_gives_its_file(window: Callable[..., Any], traced: str, tmp_path: Path) -> None:
    page = window(f"/job/{traced}#drawing")
    for place, what, file, read, room_mm in BUTTONS:
        button = page.locator(f'.{place} [data-what="{what}"][data-file="{file}"]')
        expect(button).to_be_enabled()
        with page.expect_download() as got:
            button.click()
        assert got.value.suggested_filename.endswith(f".{file}")
        path = tmp_path / got.value.suggested_filename
        got.value.save_as(path)
        # the photo alone is within 0.3 mm on so long a side (± 0.115 mm median u95), a fit takes its room on both sides
        found = read(path)
        assert found is None or found == pytest.approx(LONGEST_MM - 2 * room_mm, abs=0.3), (place, what, file)
        assert page.inner_text("#make-wrong") == ""


def test_a_trial_print_and_the_drawing_before_it(window: Callable[..., Any], bench: Any) -> None:
    """What is said of a print makes the next drawing; both lie over each other by slider and overlay; undo takes what
    was said back. Words that can't be understood are said so and stay to be mended."""
    job = bench.traced("tried")
    page = window(f"/job/{job}#drawing")
    page.locator(".sheets img").first.wait_for()
    expect(page.locator("#compare")).to_be_hidden()  # nothing to compare with yet
    page.click("#trial summary")
    page.fill("#said", "wobbles")
    page.click("#trial-take")
    expect(page.locator("#trial-wrong")).to_contain_text("“wobbles” can't be understood")
    assert page.input_value("#said") == "wobbles"
    page.fill("#said", "tight at E2\ngap 0,4 at E5")
    page.click("#trial-take")
    expect(page.locator("#trial-found")).to_contain_text("E2 back by")
    # 0.4 less the play it is to have, 0.1; a hundredth or two go to what all else says of the edge
    expect(page.locator("#trial-found")).to_contain_text(re.compile(r"E5 out by 0\.(28|29|30) ± 0\.1"))
    page.click("#compare summary")
    expect(page.locator("#earlier option")).to_have_count(2)
    page.locator("[name=compare][value=slide]").check(force=True)
    was = page.locator(".layer.was")
    expect(was).to_be_visible()
    assert "inset(0px 50% 0px 0px)" in was.evaluate("e => getComputedStyle(e).clipPath")
    page.focus("#slide")
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    assert "inset(0px 30% 0px 0px)" in was.evaluate("e => getComputedStyle(e).clipPath")
    picture = was.locator("img")
    page.wait_for_function("e => e.complete && e.naturalWidth > 0", arg=picture.element_handle())
    assert picture.get_attribute("src").endswith("/revisions/1.svg")
    page.locator("[name=compare][value=over]").check(force=True)
    expect(page.locator("#compare-key")).to_be_visible()
    expect(page.locator("#slide")).to_be_hidden()
    page.locator("[name=compare][value=off]").check(force=True)
    expect(was).to_be_hidden()
    assert (bench.folder / job / "trials.csv").exists()
    with page.expect_response("**/undo") as undone:
        page.click("#trial-form [data-undo]")
    assert undone.value.ok, undone.value.text()
    assert not (bench.folder / job / "trials.csv").exists()


def test_a_trial_by_a_command_shows_on_an_open_page(window: Callable[..., Any], bench: Any) -> None:
    """The last thing it keeps is the next revision, after everything else of the job has changed."""
    job = bench.traced("tried elsewhere")
    page = window(f"/job/{job}#drawing")
    page.locator(".sheets img").first.wait_for()
    reconcile(bench.folder / job)
    trial(bench.folder / job, ["tight at E2"])
    expect(page.locator("#earlier option")).to_have_count(2)
