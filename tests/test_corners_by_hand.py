"""Corners of the card marked by hand: they say where to look, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from calib.card.card import Card, Failure, find_card
from calib.finding.finding import find_reference
from calib.reference.wanted import Bars, Wanted
from tests.drawn_cards import Drawing, corners_px, photo, prior
from tests.test_card import FOUND, REFUSED, error_px


@pytest.mark.parametrize("name", ["plain", "grid, two colours, upside down", "near"])
def test_rough_corners_lead_to_what_is_found_without_them(name: str) -> None:
    d = FOUND[name]
    rgb = photo(d)
    free = find_card(rgb, prior())
    assert isinstance(free, Card)
    rng = np.random.default_rng(7)
    rough = rng.permutation(corners_px(d) + rng.uniform(-20, 20, (4, 2)))
    card = find_card(rgb, prior(), corners_px=rough)
    assert isinstance(card, Card), card
    assert error_px(card, d) < 2.0
    assert np.abs(card.corners_px - free.corners_px).max() < 1.0
    assert card.solution.size_sd_mm == pytest.approx(free.solution.size_sd_mm, rel=0.1)


@pytest.mark.parametrize("code", ["look-alike", "square-corners", "corners", "bent"])
def test_what_is_no_card_is_refused_all_the_same(code: str) -> None:
    d = REFUSED[code]
    refused = find_card(photo(d), prior(), corners_px=corners_px(d))
    assert isinstance(refused, Failure)
    assert refused.code in (code, "no-card", "unclear")


def test_corners_beside_the_card_find_nothing() -> None:
    d = Drawing()
    true = corners_px(d)
    for wrong in (true + np.array([300.0, 250.0]), true.mean(0) + 0.6 * (true - true.mean(0))):
        assert isinstance(find_card(photo(d), prior(), corners_px=wrong), Failure)


def test_a_card_asked_for_by_name_is_found_where_it_is_marked() -> None:
    d = FOUND["plain"]
    found = find_reference(photo(d), prior(), Wanted("id-1"), corners_px(d) + 8.0)
    assert not isinstance(found, Failure)
    assert found.name == "id-1"


@pytest.mark.parametrize(
    ("corners", "wanted"),
    [
        ([[0, 0], [100, 0], [50, 10], [50, 100]], Wanted()),
        ([[0, 0], [100, 0], [100, 60], [0, 60]], Wanted("sheet")),
        ([[0, 0], [100, 0], [100, 60], [0, 60]], Wanted(bars=Bars(99.6))),
    ],
)
def test_corners_that_make_no_sense_are_refused_in_a_sentence(corners: list[list[float]], wanted: Wanted) -> None:
    refused = find_reference(photo(FOUND["plain"]), prior(), wanted, np.array(corners, float))
    assert isinstance(refused, Failure)
    assert refused.code == "corners"
    assert refused.text.endswith(".")
