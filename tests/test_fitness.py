"""Figures and verdicts on the sample photo, spoiled in the ways there are codes for; and the rules by themselves."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from calib.light.exposure import Exposure
from calib.photo.photo import Photo
from calib.rectangle.refusals import Failure
from measure.check.fitness import CardFigures, Fitness, fitness
from measure.check.part import PartFigures
from measure.check.reply import ADVICE, SHEET_ADVICE, advice_on, reply
from measure.check.rules import RULES, Finding, findings_of, verdict
from measure.tracing.request import Request
from tests.sample_photos import HALF, LEFT, TOP, copied, middle, scene, truth, without
from tests.spoiled_photos import Pixels, blurred, lit, mirrored_lamp, shaken, slanted, smaller


def camera() -> dict[str, Any]:
    """The true camera of the cut-out."""
    whole = truth()["camera"]
    return {**whole, "cx": whole["cx"] - LEFT, "cy": whole["cy"] - TOP}


def judged_as(rgb: Pixels, thickness_mm: float = 4.2) -> tuple[str, dict[str, Finding], Fitness]:
    found = fitness(replace(middle(), rgb=np.ascontiguousarray(rgb)), Request(thickness_mm))
    findings = findings_of(found)
    return verdict(findings), {x.code: x for x in findings}, found


def middle_px(outline: np.ndarray) -> tuple[float, float]:
    x, y = outline.mean(0) / HALF
    return float(x - LEFT), float(y - TOP)


def test_the_sample_is_good_but_for_the_cards_number() -> None:
    said, findings, found = judged_as(middle().rgb)
    assert said == "good"
    assert set(findings) == {"card-digits"}
    assert findings["card-digits"].level == "note"
    assert found.part is not None
    assert found.card is not None
    assert found.card.tilt_deg == pytest.approx(9, abs=1.5)  # of the scene, as it was rendered


@pytest.mark.parametrize(
    ("spoil", "code", "said"),
    [
        (lambda rgb: blurred(rgb, 3), "blurred", "retake"),
        (lambda rgb: shaken(rgb, 21), "blurred", "retake"),
        (lambda rgb: lit(rgb, 0.2), "too-dark", "usable"),
        (lambda rgb: lit(rgb, 0.03), "too-dark", "retake"),
        (lambda rgb: lit(rgb, 8.0), "too-bright", "retake"),
        (lambda rgb: smaller(rgb, 1.7), "too-far", "usable"),
        (lambda rgb: smaller(rgb, 4), "too-far", "retake"),
        (lambda rgb: slanted(rgb, camera(), 32), "too-slanted", "usable"),  # of a cut-out: ± 0.8 mm
        (lambda rgb: mirrored_lamp(rgb, middle_px(scene().card_px), 150), "glare-card", "usable"),
        (lambda rgb: mirrored_lamp(rgb, (1230 - LEFT, 1680 - TOP), 45), "glare-part", "usable"),
    ],
)
def test_what_is_wrong_is_named(spoil, code: str, said: str) -> None:
    got, findings, _ = judged_as(spoil(middle().rgb))
    assert code in findings
    assert got == said


def test_too_slanted_says_how_much() -> None:
    _, findings, _ = judged_as(slanted(middle().rgb, camera(), 32))
    assert "25°" in findings["too-slanted"].text or "26°" in findings["too-slanted"].text


def test_a_thick_part_is_told_from_its_thickness() -> None:
    assert "too-thick" in judged_as(middle().rgb, 30.0)[1]


def on_half_the_photo(rgb: Pixels) -> tuple[str, dict[str, Finding], Fitness]:
    """As `judged_as`, for changes to the whole sample at half its size."""
    found = fitness(Photo(rgb, 28.0, None, "half.jpg"), Request(4.2))
    findings = findings_of(found)
    return verdict(findings), {x.code: x for x in findings}, found


def test_a_part_very_near_the_frames_edge() -> None:
    bare = without(scene().rgb, scene().part_px)
    shift = 20 - int(scene().part_px[:, 0].min())
    _, findings, _ = on_half_the_photo(copied(scene().rgb, scene().part_px, (shift, 0), onto=bare))
    assert findings["near-edge"].level == "usable"


def test_without_a_part_the_card_is_judged() -> None:
    said, findings, found = on_half_the_photo(without(scene().rgb, scene().part_px))
    assert (said, found.failure and found.failure.code) == ("retake", "no-part")
    assert {"no-part", "card-digits"} <= set(findings)


def test_without_a_card_the_picture_itself_is_judged() -> None:
    bare = without(scene().rgb, scene().card_px)
    said, findings, found = on_half_the_photo(blurred(bare, 3))
    assert said == "retake"
    assert found.card is None
    assert "blurred" in findings
    assert "too-dark" in on_half_the_photo(lit(bare, 0.03))[1]


# ------------------------------------------------------------------------------------------------- the rules themselves
def fine() -> Fitness:
    card = CardFigures(5.0, 400.0, 0.06, 0.0, False, ())
    part = PartFigures(0.06, 0.2, 1.0, 0.0, 0.0, 0.0, 0.0)
    return Fitness(None, Exposure(200.0, 0.0), 1.0, 0.4, 4.0, card, part)


def test_a_fine_photo_has_no_findings() -> None:
    assert findings_of(fine()) == ()
    assert verdict(()) == "good"


def with_part(**figures: float) -> Fitness:
    f = fine()
    assert f.part is not None
    return replace(f, part=replace(f.part, **figures))


def with_card(**figures: object) -> Fitness:
    f = fine()
    assert f.card is not None
    return replace(f, card=replace(f.card, **figures))


def failed(code: str, text: str) -> Fitness:
    return replace(fine(), failure=Failure(code, text), card=None, part=None)


@pytest.mark.parametrize(
    ("f", "code", "level"),
    [
        (replace(fine(), blur_px=1.6), "blurred", "usable"),
        (replace(fine(), blur_px=3.0), "blurred", "retake"),
        (replace(fine(), exposure=Exposure(100.0, 0.0)), "too-dark", "usable"),
        (replace(fine(), exposure=Exposure(250.0, 0.8)), "too-bright", "retake"),
        (replace(fine(), off_axis=0.9), "off-centre", "usable"),
        (with_part(clipped=0.5), "too-bright", "usable"),
        (with_part(mm_per_px=0.15), "too-far", "usable"),
        (with_part(mm_per_px=0.30), "too-far", "retake"),
        (with_part(edge_room=0.01), "near-edge", "usable"),
        (with_part(lean_mm=10.0), "too-thick", "usable"),
        (with_part(glare=0.1), "glare-part", "usable"),
        (with_part(glare=0.4), "glare-part", "retake"),
        (with_part(shaded=0.1), "shadow", "usable"),
        (with_part(shaded=0.3), "shadow", "retake"),
        (with_part(faint=0.2), "faint-edge", "usable"),
        (with_part(faint=0.5), "faint-edge", "retake"),
        (with_card(tilt_deg=30.0), "too-slanted", "usable"),
        (with_card(tilt_deg=41.0), "too-slanted", "retake"),
        (with_card(camera_height_mm=150.0), "too-near", "usable"),
        (with_card(glare=0.1), "glare-card", "usable"),
        (with_card(cautions=("faint-side",)), "faint-card", "usable"),
        (with_card(cautions=("sides-disagree",)), "faint-card", "usable"),
        (with_card(shows_number=True), "card-digits", "note"),
        (
            replace(fine(), failure=Failure("cut-off", "The card is cut off."), card=None, part=None),
            "cut-off",
            "retake",
        ),
    ],
)
def test_each_rule_alone(f: Fitness, code: str, level: str) -> None:
    assert [(x.code, x.level) for x in findings_of(f)] == [(code, level)]


def test_a_white_part_mirrors_no_lamp() -> None:
    assert {x.code for x in findings_of(with_part(glare=0.8, clipped=0.7))} == {"too-bright"}


def test_figures_that_are_none_say_nothing() -> None:
    nothing = Fitness(None, Exposure(200.0, 0.0), math.nan)
    assert findings_of(nothing) == ()


def test_the_gravest_comes_first_and_no_code_twice() -> None:
    f = with_part(shaded=0.1, mm_per_px=0.3, clipped=0.9)
    found = findings_of(replace(f, exposure=Exposure(250.0, 0.8)))
    assert [x.level for x in found] == ["retake", "retake", "usable"]
    assert len({x.code for x in found}) == len(found)


# -------------------------------------------------------------------------------------------------------------- replies
def sentences(text: str) -> int:
    return sum(text.count(mark) for mark in (". ", "? ", "! ")) + 1


def test_every_code_has_advice_in_one_sentence() -> None:
    codes = {rule.code for rule in RULES} | {"faint-card"}
    assert codes <= set(ADVICE)
    for advice in (*ADVICE.values(), *SHEET_ADVICE.values()):
        assert sentences(advice) == 1
        assert advice.endswith(".")


OF_A_CARD = {"bent", "two-cards", "faint-card", "glare-card", "no-card", "look-alike"}
"""Codes that only a card has."""


@pytest.mark.parametrize("code", sorted({*ADVICE, *SHEET_ADVICE} - OF_A_CARD))
def test_nobody_with_a_sheet_is_told_about_a_card(code: str) -> None:
    assert "card" not in advice_on(Finding(code, "retake", "Something is amiss."), by_card=False)


@pytest.mark.parametrize(
    "f",
    [
        fine(),
        with_card(shows_number=True),
        with_part(shaded=0.1, faint=0.2, mm_per_px=0.15),
        replace(with_card(shows_number=True, tilt_deg=41.0, glare=0.2), blur_px=5.0),
        failed("strange-new-code", "Something is amiss; mend it."),
    ],
)
def test_replies_are_two_to_four_friendly_sentences(f: Fitness) -> None:
    text = reply(findings_of(f))
    assert text.startswith("Thank you")
    assert 2 <= sentences(text) <= 4
    assert "code" not in text
