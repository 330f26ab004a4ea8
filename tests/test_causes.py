"""Photo, cause, sentence: what goes wrong is named as what it is.

Photos are invented and drawn, or made of a sample's photo: smaller, as a messenger sends it, or with less in it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calib.errors import JawlineError, PartRefused
from calib.finding import finding
from calib.paper import sheets
from calib.paper.formats import A4
from calib.photo.photo import Photo, load
from calib.rectangle.refusals import Failure, too_oblique
from calib.reference.wanted import wanted
from calib.view.view import project
from measure.edges.edge_loop import EdgeLoop
from measure.edges.plausible import contrast_along, require_edges
from measure.silhouette import silhouette
from measure.tracing import pixels
from measure.tracing.request import Request
from measure.tracing.tracing import trace
from tests.drawn_sheets import BLUE, DARK, Thing, camera, photo, prior

Pixels = NDArray[np.uint8]
SAMPLE = Path(__file__).parents[1] / "samples" / "vent-latch" / "photo.jpg"
CARD = Thing(85.60, 53.98, BLUE, at=(-40.0, 0.0), turn=8.0, top=0.76, radius=3.18)
NEAR = camera(height=230.0)


def latch(long_px: int) -> Pixels:
    rgb = load(SAMPLE).rgb
    share = long_px / max(rgb.shape[:2])
    return np.asarray(cv2.resize(rgb, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), np.uint8)


def cut(share: float) -> Pixels:
    """The card's right end, so much of its length, is beyond the photo's right edge."""
    long, short = 85.60 / 2, 53.98 / 2
    c, s = np.cos(np.radians(CARD.turn)), np.sin(np.radians(CARD.turn))
    corners = np.array([[x, y] for x in (-long, long) for y in (-short, short)]) @ np.array([[c, s], [-s, c]])
    x = project(NEAR, np.c_[corners + np.array(CARD.at), np.full(4, 0.76)])[:, 0]
    right = int(x.max() - share * np.ptp(x))
    rgb = photo(NEAR, CARD, Thing(24.0, 30.0, DARK, at=(-105.0, 0.0)))
    return np.ascontiguousarray(rgb[:, :right])


def bare() -> Pixels:
    """A card on a bare table, and two soft shadows."""
    rgb = photo(NEAR, CARD).astype(float)
    y, x = np.mgrid[: rgb.shape[0], : rgb.shape[1]]
    for at_y in (250, 620):
        off = np.hypot((x - 930) / 90, (y - at_y) / 110)
        rgb *= 1 - 0.4 / (1 + np.exp((off - 1) / 0.12))[..., None]
    return rgb.astype(np.uint8)


TABLE: dict[str, tuple[Callable[[], Pixels], str | None, str, str]] = {
    "a messenger's copy": (lambda: latch(640), None, "too-far", "mm a pixel"),
    "a small part of the card cut off": (lambda: cut(0.15), None, "cut-off", "cut off by the photo's edge"),
    "half of the card cut off": (lambda: cut(0.5), None, "cut-off", "cut off by the photo's edge"),
    "a bare table with shadows": (bare, None, "no-part", "No part can be told from the table"),
    "a letter-size sheet alone": (
        lambda: photo(camera(), Thing(279.4, 215.9, turn=4.0), Thing(40.0, 24.0, DARK)),
        None,
        "lone-sheet",
        "may be a letter-size sheet",
    ),
    "an A4 sheet alone": (
        lambda: photo(camera(), Thing(297.0, 210.0, turn=4.0), Thing(40.0, 24.0, DARK)),
        None,
        "lone-sheet",
        "may be an A4 sheet",
    ),
    "a card, and an A4 sheet asked for": (
        lambda: photo(NEAR, CARD),
        "a4",
        "wrong-shape",
        "What lies there is no A4 sheet",
    ),
    "two things on an A4 sheet": (
        lambda: photo(
            camera(), Thing(297.0, 210.0), Thing(40.0, 34.0, DARK, at=(-60, 0)), Thing(40.0, 34.0, DARK, at=(50, 0))
        ),
        "a4",
        "several-parts",
        "Two things of like size lie there",
    ),
}


@pytest.mark.parametrize("row", TABLE)
def test_the_cause_is_named(row: str) -> None:
    taken, reference, code, sentence = TABLE[row]
    with pytest.raises(JawlineError) as why:
        trace(Photo(taken(), 27, None, "a.jpg"), Request(thickness_mm=4.0, reference=wanted(reference)))
    assert (why.value.code, sentence in why.value.text) == (code, True), why.value.text
    if reference is not None:
        assert "card" not in why.value.text


@pytest.mark.parametrize(("things", "code"), [((CARD,), "no-sheet"), ((), "too-oblique")])
def test_a_card_that_looks_like_a_sheet_from_the_side_is_no_sheet(
    things: tuple[Thing, ...], code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a view from 50° the card would be such a sheet; it is seen from above, as its own shape says."""
    monkeypatch.setattr(finding, "find_sheet", lambda *_: too_oblique(50.0))
    why = finding.find_reference(photo(NEAR, *things), prior(), wanted("letter"))
    assert isinstance(why, Failure)
    assert why.code == code
    assert "card" not in why.text


def test_nobody_is_told_of_a_card_by_what_is_said_of_the_part() -> None:
    for said in (*silhouette._SAID, silhouette._TWO_PIECES):
        assert "card" not in said.text


def test_few_pixels_are_told_of_what_is_drawn_too() -> None:
    (told,) = pixels.caution(0.15)
    assert told.code == "too-far"
    assert "0.15 mm a pixel" in told.text
    assert "1.5 mm" in told.text, "ten pixels"
    assert not pixels.caution(0.1)


def test_pixels_are_no_cause_where_there_are_enough_or_another_is_plain() -> None:
    hidden, two = PartRefused("Hidden.", "faint-edge"), PartRefused("Two.", "several-parts")
    assert pixels.cause(hidden, 0.1) is hidden
    assert pixels.cause(two, 0.3) is two
    assert pixels.cause(hidden, 0.3).code == "too-far"


def test_a_dark_coin_on_white_is_not_said_to_have_hardly_an_edge() -> None:
    unsure = EdgeLoop(np.zeros((9, 2)), np.zeros((9, 2)), np.full(9, 0.3), np.zeros((9, 1)))
    with pytest.raises(PartRefused) as why:
        require_edges([unsure], lambda _: 1.6)  # natural logarithm of a fifth, as dark on white paper
    assert why.value.code == "unsure-edge"
    assert "stands out" in why.value.text
    assert "colour" not in why.value.text


def test_contrast_is_the_logarithm_of_how_much_darker_a_disc_is() -> None:
    """A disc of a fifth of the ground's light, 20 px/mm from straight above: ln 5 = 1.61."""
    from calib.light.profile import Light
    from calib.view.view import View

    rgb = np.full((600, 600, 3), 230, np.uint8)
    cv2.circle(rgb, (300, 300), 200, (109, 109, 109), -1)  # sRGB 230 is 0.791 of full light, 109 is 0.153
    light = Light.of(rgb, (0, 0, 600, 600))
    t = np.linspace(0, 2 * np.pi, 200, endpoint=False)

    class Above:
        def pixels(self, points_mm: np.ndarray, height_mm: float = 0.0) -> np.ndarray:
            return points_mm * [20, -20] + 300

    above: View = Above()  # type: ignore[assignment]
    assert contrast_along(light, above, 0.0, 10 * np.stack([np.cos(t), np.sin(t)], 1)) == pytest.approx(1.64, abs=0.05)


def test_no_advice_on_colours_where_no_view_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "located_sheet", lambda *_: None)
    rgb = photo(camera(), Thing(297.0, 210.0))
    corners = project(camera(), np.array([[-148.5, -105, 0], [148.5, -105, 0], [148.5, 105, 0], [-148.5, 105, 0.0]]))
    why = sheets.judge_sheet(rgb, corners, A4, prior())
    assert isinstance(why, Failure)
    assert why.code == "unsolved"
    assert "colour" not in why.text


def test_a_part_that_is_burnt_out_is_refused_for_that() -> None:
    """Its wall has lost its light as well, so that nothing tells where its face ends."""
    white = Thing(40.0, 24.0, (1.8, 1.8, 1.7), at=(-40.0, -20.0), turn=30.0, top=8.0)
    card = Thing(85.60, 53.98, BLUE, at=(45.0, 30.0), turn=10.0, top=0.76, radius=3.18)
    rgb = photo(camera(12.0, 200.0, 330.0), card, white)
    with pytest.raises(PartRefused) as refused:
        trace(Photo(rgb, 27, None, "a.jpg"), Request(thickness_mm=8.0))
    assert refused.value.code == "overexposed"
