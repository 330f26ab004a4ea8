"""Sheets of paper found and measured, alone and with a card on them; what is not such a sheet refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.arrays import Array
from calib.finding.finding import find_reference
from calib.paper.formats import A4, LETTER
from calib.paper.sheets import FoundSheet, find_sheet
from calib.rectangle.refusals import Failure
from calib.reference.found import Found
from calib.reference.wanted import wanted
from calib.view.view import View, project
from measure.steps.phrases import on_command_line
from tests.drawn_sheets import BLUE, DARK, Thing, camera, photo, prior

SHEET = Thing(297.0, 210.0, turn=4.0, at=(5.0, -4.0))
CARD = Thing(85.60, 53.98, BLUE, at=(70.0, 40.0), turn=25.0, top=0.76, radius=3.18)
PART = Thing(40.0, 24.0, DARK, at=(-60.0, -30.0), turn=40.0)


def scale_error(view: View, q: Array) -> tuple[float, float]:
    """Relative error of a length on the sheet, and its standard deviation."""
    px = project(q, np.array([[-60.0, -50.0, 0.0], [20.0, 40.0, 0.0]]))
    found, J = view.plane(px), view.plane_sensitivity(px)
    d = found[1] - found[0]
    length = float(np.hypot(*d))
    a = d / length @ (J[1] - J[0])
    return length / float(np.hypot(80.0, 90.0)) - 1, float(np.sqrt(a @ view.covariance @ a)) / length


GOOD = {
    "a4, upright": (camera(height=520.0), replace(SHEET, turn=88.0), A4),
    "a4, oblique": (camera(30.0, 100.0, 460.0, k1=0.02), SHEET, A4),
    "letter": (camera(k1=-0.02), replace(SHEET, width=279.4, height=215.9), LETTER),
    "a4, sides bowed by 0.4 mm": (camera(), replace(SHEET, bow=0.4), A4),
}


@pytest.mark.parametrize("name", GOOD)
def test_sheets_are_found_and_measured(name: str) -> None:
    q, thing, reference = GOOD[name]
    sheet = find_sheet(photo(q, thing, PART), prior(), reference)
    assert isinstance(sheet, FoundSheet), sheet
    error, sd = scale_error(sheet.joint.view, q)
    print(name, f"error {100 * error:.3f} %, u95 {196 * sd:.3f} %")
    assert abs(error) < 2.6 * sd
    assert sd < 0.002
    c, s = np.cos(np.radians(thing.turn)), np.sin(np.radians(thing.turn))
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [thing.width / 2, thing.height / 2]
    true = project(q, np.c_[ring @ np.array([[c, s], [-s, c]]) + np.array(thing.at), np.zeros(4)])
    assert min(np.hypot(*(np.roll(sheet.corners_px, k, 0) - true).T).max() for k in range(4)) < 1.5


REFUSED = {
    "cut-off": (camera(height=330.0), replace(SHEET, at=(150.0, 0.0)), A4),
    "wrong-shape": (camera(), SHEET, LETTER),
    "too-oblique": (camera(50.0, 100.0, 400.0), SHEET, A4),
    "curled": (camera(), replace(SHEET, bow=3.0), A4),
    "round-corners": (camera(), replace(SHEET, radius=9.0), A4),
    "no-sheet": (camera(), PART, A4),
}


@pytest.mark.parametrize("code", REFUSED)
def test_the_rest_is_refused_for_the_true_reason(code: str) -> None:
    q, thing, reference = REFUSED[code]
    refused = find_sheet(photo(q, thing), prior(), reference)
    assert isinstance(refused, Failure)
    assert refused.code == code, refused
    assert refused.text.endswith(".")


@pytest.mark.parametrize(
    ("width", "height", "radius", "code"),
    [
        (88.9, 63.5, 3.2, "wrong-shape"),  # a playing card, 1 % off A4's ratio
        (150.0, 72.0, 9.0, "wrong-shape"),  # a phone
        (248.0, 179.0, 12.0, "wrong-shape"),  # a tablet
        (105.0, 74.0, 3.0, "round-corners"),  # an identity card, of A4's ratio
    ],
)
def test_look_alikes_do_not_pass_for_a4(width: float, height: float, radius: float, code: str) -> None:
    """Even if a person says that it is A4; sizes of the trade, the tablet's invented."""
    thing = Thing(width, height, DARK, turn=7.0, radius=radius)
    refused = find_sheet(photo(camera(height=1.6 * width), thing, ground=(0.4, 0.38, 0.35)), prior(), A4)
    assert isinstance(refused, Failure), refused
    assert refused.code == code, refused


def test_a_side_that_something_covers_is_refused() -> None:
    """A dark board over most of a long side, askew, so that no rectangle of the sheet's shape is left."""
    board = Thing(220.0, 60.0, DARK, at=(0.0, 112.0), turn=9.0)
    refused = find_sheet(photo(camera(), SHEET, board), prior(), A4)
    assert isinstance(refused, Failure), refused


def test_card_and_sheet_give_one_view_that_is_better_than_each() -> None:
    q = camera(10.0)
    rgb = photo(q, SHEET, CARD, PART)
    u95 = {}
    for words, name in ((None, "id-1+a4"), ("id-1", "id-1"), ("a4", "id-1+a4")):
        found = find_reference(rgb, prior(), wanted(words))
        assert isinstance(found, Found), found
        assert found.name == name
        error, sd = scale_error(found.view, q)
        print(words, found.name, f"error {100 * error:.3f} %, u95 {196 * sd:.3f} %")
        assert abs(error) < 2.6 * sd
        u95[name] = 1.96 * sd
    assert u95["id-1+a4"] < 0.75 * u95["id-1"]


def test_a_lone_sheet_needs_a_word() -> None:
    rgb = photo(camera(), SHEET, PART)
    refused = find_reference(rgb, prior())
    assert isinstance(refused, Failure)
    assert refused.code == "lone-sheet"
    assert "--reference a4" in refused.said(on_command_line)
    found = find_reference(rgb, prior(), wanted("a4"))
    assert isinstance(found, Found)
    assert found.field_px is not None


def test_a_card_tells_a_small_sheet_from_a4() -> None:
    """A5 has the shape of A4: only the card knows."""
    small = Thing(210.0, 148.5, turn=4.0, at=(20.0, 10.0))
    card = replace(CARD, at=(50.0, 20.0))
    rgb = photo(camera(height=330.0), small, card)
    refused = find_reference(rgb, prior(), wanted("a4"))
    assert isinstance(refused, Failure)
    assert refused.code == "references-disagree"
    assert "210 × 14" in refused.text
    found = find_reference(rgb, prior())
    assert isinstance(found, Found)
    assert found.name == "id-1"
    assert found.underlay_px is not None


def test_a_badly_cut_sheet_is_told_and_the_card_believed() -> None:
    odd = replace(SHEET, width=294.8, height=208.4)
    q = camera(10.0)
    found = find_reference(photo(q, odd, CARD), prior())
    assert isinstance(found, Found)
    assert [c.code for c in found.cautions] == ["references-disagree"]
    error, sd = scale_error(found.view, q)
    assert abs(error) < 2.6 * sd


def test_a_rectangle_of_ones_own() -> None:
    q = camera(height=300.0)
    plate = Thing(120.0, 80.0, at=(10.0, 0.0), turn=-12.0, top=3.0)
    found = find_reference(photo(q, plate), prior(), wanted("120x80x3", "0.1"))
    assert isinstance(found, Found), found
    assert found.name == "120x80"
    error, sd = scale_error(found.view, q)
    print(f"error {100 * error:.3f} %, u95 {196 * sd:.3f} %")
    assert abs(error) < 2.6 * sd
