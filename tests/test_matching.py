"""Partners of features, on parts of our own invention."""

from dataclasses import replace

import numpy as np
import pytest

from measure.geometry.motion import Motion
from measure.several.matching import covered, partners
from tests.simulated_parts import parts

BRACKET = next(p.features for p in parts() if p.name == "bracket")
PLATE = next(p.features for p in parts() if p.name == "plate")


def test_every_feature_finds_itself_in_any_order():
    order = np.random.default_rng(3).permutation(len(BRACKET))
    pairs = partners(BRACKET, [BRACKET[i] for i in order])
    assert [(i, int(order[j])) for i, j in pairs] == [(i, i) for i in range(len(BRACKET))]
    assert covered(BRACKET, [i for i, _ in pairs]) == pytest.approx(1)


def test_partners_may_lie_a_little_apart_but_not_far():
    near, far = (Motion(0.0, (d, 0.0)) for d in (0.2, 1.0))
    assert len(partners(BRACKET, [near.of(f) for f in BRACKET])) == len(BRACKET)
    found = partners(BRACKET, [far.of(f) for f in BRACKET])
    assert covered(BRACKET, [i for i, _ in found]) < 0.6


def test_another_part_has_few_partners():
    assert covered(PLATE, [i for i, _ in partners(PLATE, BRACKET)]) < 0.3


def test_a_hole_is_no_outside_and_a_fillet_no_rounding():
    hole = next(f for f in BRACKET if f.kind == "circle")
    assert partners([hole], [replace(hole, loop=0)]) == []
    arc = next(f for f in BRACKET if f.kind == "arc")
    assert partners([arc], [replace(arc, turn="cw" if arc.turn == "ccw" else "ccw")]) == []


def test_half_of_an_edge_is_no_partner_of_the_whole():
    line = next(f for f in BRACKET if f.kind == "line")
    half = replace(line, end=tuple(np.add(line.start, line.end) / 2))
    assert partners([line], [half]) == []
