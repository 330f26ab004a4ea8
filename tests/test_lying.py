"""A card's shadow tells whether it lies on the table; a line is not a card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.card.card import Card, Failure, find_card
from calib.card.lying import Beside
from calib.rectangle.refusals import drawn, raised
from tests.drawn_cards import Drawing, photo, prior

CARD = Drawing(camera_height=190.0, turn=10.0)


@pytest.mark.parametrize("table", ["plain", "stripes"])
@pytest.mark.parametrize(("shadow_mm", "code"), [(2.5, None), (9.0, "card-raised")])
def test_a_wide_shadow_betrays_a_raised_card(shadow_mm: float, code: str | None, table: str) -> None:
    d = replace(CARD, shadow=(shadow_mm, 0.6 * shadow_mm, 0.5), table=table)
    found = find_card(photo(d), prior())
    assert (found.code if isinstance(found, Failure) else None) == code


def test_a_dark_thing_farther_on_is_no_shadow() -> None:
    """A black strip 14 mm beside the card, and one that goes on past its ends."""
    for strip in (
        replace(CARD, width=12.0, height=54.0, at=(63.0, 11.0), radius=0.1),
        replace(CARD, width=200.0, height=6.0, at=(-6.0, 34.0), radius=0.1),
    ):
        dark = replace(strip, face=(0.02, 0.02, 0.02), shadow=(0.0, 0.0, 0.0), thickness=0.1)
        assert isinstance(find_card(photo(CARD, dark), prior()), Card)


def test_what_is_seen_is_judged() -> None:
    nothing, much = np.zeros(4), np.full(4, 1.0)
    assert not Beside(np.array([0.0, -0.06, 0.0, 0.0]), nothing, 0.0, 0.0, nothing, much).raised
    assert Beside(np.array([0.0, -0.4, -0.1, 0.0]), nothing, 0.0, 0.0, nothing, much).raised
    assert Beside(nothing, np.array([0.0, 0.0, -0.3, 0.0]), -0.1, 0.0, nothing, much).raised  # one side up
    assert not Beside(nothing, np.array([0.0, 0.0, -0.3, 0.0]), -0.3, 0.0, nothing, much).raised  # a striped table
    line = np.full(4, -2.0)
    assert Beside(nothing, nothing, 0.0, 1.2, nothing, much).raised  # one end up, its shadow a wedge
    assert not Beside(nothing, nothing, 0.0, 0.3, nothing, much).raised
    assert Beside(nothing, nothing, 0.0, 0.0, line, nothing).drawn
    assert not Beside(nothing, nothing, 0.0, 0.0, line, much).drawn  # a face of another colour, with a dark rim
    white = np.array([-2.0, -2.0, -0.1, -2.0])
    assert not Beside(nothing, nothing, 0.0, 0.0, white, nothing).drawn  # a white card's shadow on paper
    assert {raised().code, drawn().code} == {"card-raised", "card-drawn"}
