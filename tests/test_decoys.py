"""No silent wrong scale: some of the photos of `tests.accuracy.decoys`, drawn smaller."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calib.card.card import Card, Failure, find_card
from calib.view.view import camera_prior
from tests.accuracy.cards_photos import Decoy, decoys, goods, real_card
from tests.accuracy.decoys import scale_error
from tests.accuracy.small_photos import Scene, photo

WIDE = 1200
DECOYS = (
    "business card 85 x 55, round",
    "large card x 1.6",
    "bent 1.2 mm",
    "box of a card's size, 10 mm, white",
    "card on a small box 15 mm",
    "card's outline printed on a slip, too small",
)
GOODS = ("good 05 on cloth", "good 16 on laminate", "white card on white paper, overcast", "business card far beside")


@cache
def all_decoys() -> dict[str, Decoy]:
    """By name."""
    return {d.scene.name: d for d in decoys()}


def found(scene: Scene) -> Card | Failure:
    small = replace(scene, wide=WIDE)
    return find_card(photo(small), camera_prior(small.size_px, 27.0 if scene.exif else None))


@pytest.mark.parametrize("name", DECOYS)
def test_a_decoy_gives_no_scale(name: str) -> None:
    decoy = all_decoys()[name]
    refused = found(decoy.scene)
    assert isinstance(refused, Failure)
    assert refused.code in decoy.codes, refused


@pytest.mark.parametrize("name", GOODS)
def test_a_good_card_gives_the_right_scale(name: str) -> None:
    scene = next(s for s in goods() if s.name == name)
    card = found(scene)
    assert isinstance(card, Card), card
    assert abs(scale_error(replace(scene, wide=WIDE), card.solution.view)) < 0.01


@pytest.mark.parametrize(("height", "radial"), [(86.0, 0.045), (100.0, 0.08), (86.0, -0.03)])
def test_a_card_that_fills_three_quarters_of_the_frame_is_not_bent(height: float, radial: float) -> None:
    """Seen through lenses as phones have them, whose k1 it tells."""
    card = real_card(np.random.default_rng(4), face=(0.05, 0.1, 0.35), at=(0.0, 0.0), turn=3.0)
    scene = Scene("near", (card,), (0.0, 0.0), ground="paper", height=height, radial=radial, wide=WIDE)
    sure = found(scene)
    assert isinstance(sure, Card), sure
    k1, sd = sure.solution.view.parameters[9], np.sqrt(sure.solution.view.covariance[9, 9])
    assert abs(k1 - radial) < 0.008  # the focal length, by whose square it is measured, is known to 2.5 %
    assert abs(k1 - radial) < 3 * np.hypot(sd, 0.05 * radial)


def test_there_are_enough_of_both() -> None:
    names = [d.scene.name for d in decoys()] + [s.name for s in goods()]
    assert len(set(names)) == len(names)
    assert len(list(decoys())) >= 40
    assert len(list(goods())) >= 40
