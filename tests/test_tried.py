"""`check` decides by what `trace` comes to. Figures and traces are invented, but for one of a sample's photo."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from calib.light.exposure import Exposure
from calib.messages import Message
from calib.reference.found import Caution
from measure.check.fitness import CardFigures, Fitness, fitness, reference_in
from measure.check.part import PartFigures
from measure.check.reply import reply
from measure.check.rules import findings_of, verdict
from measure.check.tried import Tried, try_trace, u95_of_50
from measure.geometry.dimensions import Dimension
from measure.tracing.request import Request
from tests.sample_photos import middle

FINE = Fitness(
    None,
    Exposure(200.0, 0.0),
    1.0,
    0.4,
    4.0,
    CardFigures(5.0, 400.0, 0.06, 0.0, False, ()),
    PartFigures(0.06, 0.2, 1.0, 0.0, 0.0, 0.0, 0.0),
)
DARK = replace(FINE, exposure=Exposure(50.0, 0.0))


def said(f: Fitness, tried: Tried) -> tuple[str, list[str]]:
    found = findings_of(f, tried)
    return verdict(found), [x.code for x in found]


def test_what_trace_refuses_is_to_be_taken_again_in_its_words() -> None:
    why = Message("no-outline", "The part's edges can't be followed.")
    found = findings_of(FINE, Tried(why))
    assert verdict(found) == "retake"
    assert found[0].text == why.text


def test_what_trace_draws_is_not_to_be_taken_again_whatever_the_figures() -> None:
    assert said(DARK, Tried(u95_50_mm=0.1)) == ("usable", ["too-dark"])
    assert verdict(findings_of(DARK)) == "retake", "the figures by themselves"


def test_what_trace_remarks_is_said() -> None:
    assert said(FINE, Tried(None, (Caution("unsure-size", "May be off."),))) == ("usable", ["unsure-size"])
    assert said(FINE, Tried(None, (Caution("unchecked-file", "Of no checksums."),)))[0] == "good"
    assert said(FINE, Tried(None, (Caution("wall-or-shadow", "Look at it."),))) == ("usable", ["wall-or-shadow"])
    assert said(FINE, Tried(None, (Caution("something-beside", "It is not measured."),)))[0] == "good"


def test_an_owner_is_told_what_owners_can_do() -> None:
    cautions = (Caution("wall-contradicts", "The wall does not go with the thickness: measure that again."),)
    answer = reply(findings_of(FINE, Tried(None, cautions)))
    assert "soft light" in answer
    assert "measure that again" not in answer


def test_a_length_that_is_hardly_known_is_told() -> None:
    assert said(FINE, Tried(u95_50_mm=0.5)) == ("usable", ["inexact"])
    assert said(FINE, Tried(u95_50_mm=0.2)) == ("good", [])


def test_without_a_thickness_it_is_said_what_hangs_on_it() -> None:
    """Camera 400 mm up, judged as 4 mm thick: a millimetre shifts 50 mm by 50/396 = 0.13 mm."""
    found = findings_of(FINE, Tried(u95_50_mm=0.2, guessed_mm=4.0))
    assert verdict(found) == "good"
    assert [x.code for x in found] == ["no-thickness"]
    assert "by 0.13 mm" in found[0].text
    assert "thickness" not in reply(found), "the owner need not measure it"


def test_the_scales_share_of_a_size_grows_with_it() -> None:
    """By hand: a scale of ± 1 % and edges of ± 0.3 mm; 40 mm are ± hypot(0.4, 0.3) = 0.5, 50 mm hypot(0.5, 0.3)."""
    assert u95_of_50([Dimension("distance", ("E1", "E3"), 40.0, 0.5)], 0.01) == pytest.approx(math.hypot(0.5, 0.3))
    assert math.isnan(u95_of_50([], 0.01))


def test_the_sample_is_drawn_and_check_tells_how_exactly() -> None:
    photo, request = middle(), Request(4.2)
    found = reference_in(photo)
    figures = fitness(photo, request, found)
    tried = try_trace(photo, found, request)
    assert tried.refused is None
    assert 0.03 < tried.u95_50_mm < 0.4, "as the sample's own sizes have it: tests/test_samples.py"
    assert verdict(findings_of(figures, tried)) == "good"


@pytest.mark.parametrize(("wrong", "verdict"), [(0.6, "usable"), (0.89, "usable"), (0.91, "retake"), (1.0, "retake")])
def test_what_is_almost_surely_wrong_is_to_be_taken_again(wrong: float, verdict: str) -> None:
    """At most one photo in ten that is called so would have been right: nine in ten must be expected to be wrong."""
    tried = Tried(None, (Caution("unsure-size", "May be off."),), wrong=wrong)
    assert said(FINE, tried) == (verdict, ["unsure-size"])
