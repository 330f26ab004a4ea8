"""Bulges of DXF polylines (group 42): the tangent of a quarter of the included angle, positive counter-clockwise.

Sources: AutoCAD's GetBulge reference and LibreDWG's documentation (90 and 180 degrees: 0.414214 and 1); the other
values are tan(angle / 4) to six digits.
"""

import math

import pytest
from ezdxf.math import bulge_center, bulge_radius

from measure.geometry.features import Arc, Line
from measure.geometry.outline_path import bulge, loop_vertices
from measure.sheet.marks import bulge_arc

PUBLISHED = [
    (30, 0.131652),
    (45, 0.198912),
    (60, 0.267949),
    (90, 0.414214),
    (120, 0.577350),
    (180, 1.0),
    (270, 2.414214),
]


@pytest.mark.parametrize(("deg", "value"), PUBLISHED)
def test_bulge_of_an_angle(deg, value):
    assert bulge(math.radians(deg)) == pytest.approx(value, abs=5e-7)
    assert bulge(-math.radians(deg)) == pytest.approx(-value, abs=5e-7)


@pytest.mark.parametrize(("deg", "value"), PUBLISHED)
@pytest.mark.parametrize("turn", ["ccw", "cw"])
def test_bulge_of_an_arc(deg, value, turn):
    sign = 1 if turn == "ccw" else -1
    a, b = 0.3, 0.3 + sign * math.radians(deg)
    start, end = ((5 * math.cos(t), 5 * math.sin(t)) for t in (a, b))
    arc = Arc("R1", 0, start, end, centre=(0.0, 0.0), radius=5.0, turn=turn)
    chord = Line("E1", 0, end, start)
    vertices = loop_vertices([arc, chord])
    assert vertices[0] == pytest.approx((*start, sign * value), abs=5e-7)
    assert vertices[1] == pytest.approx((*end, 0.0))
    centre, radius, _, sweep = bulge_arc(start, end, vertices[0][2])
    assert centre == pytest.approx((0, 0), abs=1e-9)
    assert radius == pytest.approx(5)
    assert math.degrees(sweep) == pytest.approx(sign * deg)
    assert radius == pytest.approx(bulge_radius(start, end, vertices[0][2]))  # a second implementation
    assert centre == pytest.approx(tuple(bulge_center(start, end, vertices[0][2])), abs=1e-9)
