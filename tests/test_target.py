"""The printed reference sheet, found and measured in photos rendered from its own geometry; all scenes invented."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pypdf
import pypdfium2
import pytest
from numpy.typing import NDArray

from calib.errors import WrongUsage
from calib.finding.finding import find_reference
from calib.rectangle.refusals import Failure
from calib.reference.found import Found
from calib.reference.wanted import Bars, Wanted
from calib.target.layout import BAR_MM, LAYOUTS
from calib.target.target import Target, find_target, locate_target
from calib.view.view import View, camera_prior
from measure.drawing.target_pdf import target_pdf
from measure.steps.target import target
from tests.rendered_sheet import Shot, render

PLAIN = Shot(size_px=(1600, 1200), focal_px=1160.0, height_mm=300.0, radial=0.02, stretch=(0.996, 1.003))
ROUGH = replace(PLAIN, rays=1)


@lru_cache
def photo(shot: Shot) -> NDArray[np.uint8]:
    return render(shot)


def u95_mm(found: Found, ends_px: NDArray[np.float64]) -> float:
    """Of the distance between two points of the field."""
    at, moved = found.view.plane(ends_px), found.view.plane_sensitivity(ends_px)
    along = at[1] - at[0]
    gradient = along @ (moved[1] - moved[0]) / np.hypot(*along)
    return 1.96 * float(np.sqrt(gradient @ found.view.covariance @ gradient))


def found_in(shot: Shot, bars: Bars) -> Found | Failure | None:
    return find_target(photo(shot), camera_prior(shot.size_px, 26.0), bars)


def measured(shot: Shot) -> Bars:
    return Bars(BAR_MM * shot.stretch[0], BAR_MM * shot.stretch[1])


def truth(shot: Shot) -> View:
    return View(shot.parameters(), np.zeros((10, 10)), shot.size_px)


def test_numbers_tell_the_papers_apart() -> None:
    numbers = [k for layout in LAYOUTS.values() for k in layout.markers]
    assert len(numbers) == len(set(numbers))
    assert max(numbers) < 250


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=list(LAYOUTS))
def test_printed_sheet_is_true_to_size(layout: object) -> None:
    """The PDF rendered at 10 px a millimetre: markers are read back where the layout has them, and bars are 100 mm."""
    assert hasattr(layout, "markers")
    data = target_pdf(layout)  # type: ignore[arg-type]
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    assert [float(v) * 25.4 / 72 for v in pages[0].mediabox[2:]] == pytest.approx(
        [layout.width_mm, layout.height_mm], abs=0.01
    )
    assert len(pages) == 2
    scale = 10.0
    image = np.asarray(pypdfium2.PdfDocument(data)[1].render(scale=scale * 25.4 / 72).to_pil().convert("L"))
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250))
    corners, numbers, _ = detector.detectMarkers(image)
    assert {int(k) for k in numbers.ravel()} == set(layout.markers)
    for at, k in zip(corners, numbers.ravel(), strict=True):
        x, y = ((at.reshape(4, 2) + 0.5) / scale).T
        on_paper = np.stack([x, layout.height_mm - y], 1) - layout.on_paper_mm
        assert np.abs(on_paper - layout.markers[int(k)]).max() < 0.15
    dark = image < 128
    row = layout.height_mm - (layout.on_paper_mm[1] + layout.half_mm[1] + 8.0 - 2.0)  # below the bar's own line
    ends = np.flatnonzero(dark[round(row * scale)])
    middles = ends[ends < ends[0] + 8].mean(), ends[ends > ends[-1] - 8].mean()
    assert (middles[1] - middles[0]) / scale == pytest.approx(BAR_MM, abs=0.1)


def test_saddle_points_are_located_without_bias() -> None:
    """Within a fortieth of a pixel, mean within a two hundredth; the stated standard deviation is no smaller."""
    shot = replace(PLAIN, rays=3)
    seen = locate_target(photo(shot), camera_prior(shot.size_px, 26.0))
    assert isinstance(seen, Target)
    drawn = seen.layout.saddles_mm[seen.points.which] * shot.stretch
    off = seen.points.points_px - truth(shot).pixels(drawn)
    assert len(off) == len(seen.layout.saddles_mm)
    assert off.std() < 0.025
    assert np.abs(off.mean(0)).max() < 0.005
    assert off.std() < np.median(seen.points.sigma_px)


@pytest.mark.parametrize("layout", ["a4", "letter", "a5"])
def test_lengths_on_the_sheet(layout: str) -> None:
    """50 mm in the field, lens unknown, printer 0.4 and 0.3 % out: within 0.02 mm, and u95 no more than 0.06 mm."""
    shot = replace(PLAIN, layout=layout, height_mm=210.0 if layout == "a5" else 300.0, radial=0.03)
    found = found_in(shot, measured(shot))
    assert isinstance(found, Found)
    assert found.cautions == ()
    ends = np.array([[-25.0, -10], [25, -10], [-12, -25], [-12, 25], [-18, -17], [17, 18]])
    px = truth(shot).pixels(ends)
    seen = found.view.plane(px)
    for i in (0, 2, 4):
        error = abs(np.hypot(*(seen[i + 1] - seen[i])) - np.hypot(*(ends[i + 1] - ends[i])))
        assert error < 0.02
        assert error < u95_mm(found, px[i : i + 2]) < 0.06


def test_without_bars_it_goes_on_and_says_so() -> None:
    found = found_in(PLAIN, Bars())
    assert isinstance(found, Found)
    assert [c.code for c in found.cautions] == ["bars"]
    sure = found_in(PLAIN, measured(PLAIN))
    assert isinstance(sure, Found)
    ends_px = truth(PLAIN).pixels(np.array([[-25.0, 0.0], [25.0, 0.0]]))
    assert u95_mm(found, ends_px) > 10 * u95_mm(sure, ends_px)


def test_one_bar_tells_both_ways() -> None:
    """Pixels are square, so that the photo itself shows how the two stretches differ."""
    both, one = found_in(PLAIN, measured(PLAIN)), found_in(PLAIN, Bars(measured(PLAIN).x_mm))
    assert isinstance(both, Found)
    assert isinstance(one, Found)
    assert one.view.parameters[5] == pytest.approx(both.view.parameters[5], rel=2e-3)


@pytest.mark.parametrize(
    ("shot", "bars", "code"),
    [
        (PLAIN, Bars(10.0, 99.8), "bars"),
        (PLAIN, Bars(100.3, 99.6), "bars"),
        (PLAIN, Bars(98.6, 100.3), "bars"),
        (replace(ROUGH, covered_mm=((-95, -130, 95, 30),)), Bars(), "covered"),
        (replace(ROUGH, blur_px=1.8), Bars(), "blurred"),
        (replace(ROUGH, tilt_deg=50.0, height_mm=280.0), Bars(), "too-oblique"),
        (replace(ROUGH, height_mm=480.0), Bars(), "too-small"),
        (replace(ROUGH, bow_mm=9.0), Bars(), "not-flat"),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_refused_by_name_of_the_reason(shot: Shot, bars: Bars, code: str) -> None:
    found = found_in(shot, bars)
    assert isinstance(found, Failure)
    assert found.code == code
    assert found.text.endswith(".")


def test_swapped_bars_are_told_apart_from_a_misread_one() -> None:
    swapped, misread = found_in(PLAIN, Bars(100.3, 99.6)), found_in(PLAIN, Bars(98.6, 100.3))
    assert isinstance(swapped, Failure)
    assert "99.6 mm along x and 100.3 mm along y" in swapped.text
    assert isinstance(misread, Failure)
    assert "can't both be right" in misread.text


@pytest.mark.parametrize("stretch", [(0.994, 0.994), (1.002, 0.994)])
def test_a_sheet_seen_from_straight_above_is_found(stretch: tuple[float, float]) -> None:
    """Principal point and pose can hardly be told apart there, and a printed sheet is never quite as drawn."""
    shot = replace(ROUGH, tilt_deg=0.1, turn_deg=99.0, stretch=stretch, radial=0.002)
    found = found_in(shot, measured(shot))
    assert isinstance(found, Found)


def test_partly_covered_sheet_works_or_says_no() -> None:
    """With one short side and half of a long one covered the rest must do."""
    shot = replace(PLAIN, covered_mm=((-95, 90, 95, 130), (60, 0, 95, 130)))
    found = found_in(shot, measured(shot))
    assert isinstance(found, Found)
    at = np.array([[-25.0, 0.0], [25.0, 0.0]])
    seen = found.view.plane(truth(shot).pixels(at))
    assert np.hypot(*(seen[1] - seen[0])) == pytest.approx(50.0, abs=0.03)


def test_no_sheet_is_no_sheet() -> None:
    blank = np.full((900, 1200, 3), 190, np.uint8)
    prior = camera_prior((1200, 900), 26.0)
    assert find_target(blank, prior) is None
    wanted = find_reference(blank, prior, Wanted("sheet"))
    assert isinstance(wanted, Failure)
    assert wanted.code == "no-sheet"


def test_command_refuses_what_it_can_not_do(tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match="paper"):
        target("a3", tmp_path / "t.pdf")
    with pytest.raises(WrongUsage, match=r"\.pdf"):
        target("a4", tmp_path / "t.png")
    mine = tmp_path / "mine.pdf"
    mine.write_bytes(b"a person's own")
    with pytest.raises(WrongUsage, match="not written by jawline"):
        target("a4", mine)
    assert mine.read_bytes() == b"a person's own"
