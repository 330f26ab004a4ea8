"""What a drawing says of its sizes, in words that need no key."""

from __future__ import annotations

import math

import numpy as np
import pytest

from measure.dimensioning.gauging import OVERALL, SIZES, Stated, hardly_known
from measure.dimensioning.least_sure import least_sure
from measure.dimensioning.words import in_words
from measure.geometry.features import Arc, Estimate, Feature, Line
from measure.sheet.marks import Text
from measure.sheet.sheet import Drawing, sketch

LABELS = ("E1", "R2", "R3", "E4")
MANY = {"diameter", "radius", "pitch", "tips", "peaks", "roots"}
COUNTS = {"along": 3, "across": 3, "bearing": 3, "fan": 3, "corner": 3, "run": 4, "rise": 4, "corners": 4}


@pytest.mark.parametrize("kind", [*SIZES, OVERALL])
def test_no_size_is_called_by_a_word_of_the_program(kind: str) -> None:
    words = in_words(kind, LABELS[: COUNTS.get(kind, 2)])
    assert not {"bearing", "offset", "fan", "stretch", "reach", "run", "rise", "peaks", "across"} & set(words.split())
    if kind not in {*MANY, OVERALL}:
        assert all(x in words for x in LABELS[: COUNTS.get(kind, 2)])


def test_examples() -> None:
    assert in_words("distance", ("E1", "E3")) == "E1 to E3"
    assert in_words("bearing", ("E1", "R2", "R3")) == "angle, E1 to the line from R2 to R3"
    assert in_words("corner", ("E7", "E8", "E2")) == "corner of E7 and E8 to E2"
    assert in_words("radius", ("R1", "R2", "R3", "R4")) == "radius R1, R2, R3 …"
    assert in_words("diameter", ("D1",)) == "diameter D1"


def test_the_least_sure_size_is_none_of_which_hardly_anything_is_known() -> None:
    """Of 216 ± 66 mm the u95 is 31 % of the radius, and a quarter is the limit: then the width is the least sure."""
    sizes = [("radius", ("R6",), 216.0, 66.0), ("distance", ("E1", "E3"), 24.0, 0.2), ("radius", ("R1",), 3.0, 0.1)]
    found = least_sure(sizes)
    assert found is not None
    assert (found.u95_mm, found.words) == (0.2, "E1 to E3")
    assert least_sure([]) is None
    assert hardly_known(Stated("radius", ("R6",), 216.0, 66.0))
    assert not hardly_known(Stated("radius", ("R6",), 216.0, 50.0))


def bowed() -> tuple[Feature, ...]:
    """A plate of 60 by 30 mm whose upper side bulges by 2 mm: an arc of 226 mm ((30² + 2²) / (2 · 2))."""
    radius = (30.0**2 + 2.0**2) / (2 * 2.0)
    return (
        Line("E1", 0, (0.0, 0.0), (60.0, 0.0)),
        Line("E2", 0, (60.0, 0.0), (60.0, 30.0)),
        Arc("R1", 0, (60.0, 30.0), (0.0, 30.0), centre=(30.0, 32.0 - radius), radius=radius, turn="ccw"),
        Line("E3", 0, (0.0, 30.0), (0.0, 0.0)),
    )


@pytest.mark.parametrize(("u95_mm", "stated"), [(6.0, True), (66.0, False)])
def test_an_arc_that_is_hardly_known_is_told_by_how_far_it_bulges(u95_mm: float, stated: bool) -> None:
    sd = u95_mm / 1.96
    white = np.diag(np.square([0.02, 0.001, 0.02, 0.001, 0.02, sd, sd, 0.02, 0.001]))
    known = Estimate(bowed(), white, (), np.zeros((9, 0)), np.zeros((0, 0)))
    sheet = sketch(Drawing("bowed", bowed(), estimate=known))
    assert any(d.wanted.form == "radius" for d in sheet.drawn) is stated
    words = " ".join(m.content for m in sheet.marks if isinstance(m, Text))
    assert ("bulges 2.0" in words) is not stated
    assert "226" not in words  # neither in the table


def test_words_of_two_dimensions_keep_apart() -> None:
    """As far as half their own height at least, so that a ± is never read with the next figure."""
    from tests.drawn_parts import drawn_parts, sheet_named
    from tests.sheet_faults import box

    for name in drawn_parts():
        said = [[box(m) for m in d.marks if isinstance(m, Text)] for d in sheet_named(name).drawn]
        for i, one in enumerate(said):
            for other in said[:i]:
                assert min(a.distance(b) for a in one for b in other) > 0.5, name


def test_the_bulge_is_that_of_the_arc() -> None:
    from measure.sheet.sheet import _bulge

    arc = bowed()[2]
    assert isinstance(arc, Arc)
    assert _bulge(arc, Stated("radius", ("R1",), arc.radius, 0.01 * arc.radius), ".") == "2.00 ±0.02"
    assert math.dist(arc.start, arc.end) == 60
