"""Drawing habits of ISO 129-1:2018, ISO 3098-0 and ISO 128-2, as far as excerpts and secondary sources could be read.

ISO 129-1 (excerpt): value above the dimension line; read from the bottom or from the right; one character height;
each dimension once, repeats are auxiliary; the unit is not written; the sign for a diameter or radius stands before
the number; decimal comma (the sheet offers it; the default is the point of British practice). Arrowheads of 15 degrees
or more, three times as long as wide or longer: from a textbook. ISO 3098-0: heights 2.5 and 3.5 mm of the series 1.8,
2.5, 3.5, 5. ISO 128-2: widths 0.25 and 0.5 mm, wide to narrow 2 : 1.
"""

import math

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from measure.sheet.layout.drawn import GAP_MM, OVERSHOOT_MM
from measure.sheet.marks import LONG_DASH_DOT, NARROW, WIDE, Fill, Path, Text, polylines
from tests.drawn_parts import sheet_named

HEIGHTS_MM = (1.8, 2.5, 3.5, 5.0, 7.0)
NAMES = ("gusset", "plate with six holes", "slotted bar", "clip", "plate with a slanting slot", "knob of twelve arcs")


@pytest.fixture(scope="module", params=NAMES)
def sheet(request):
    return sheet_named(request.param)


def texts(d):
    return [m for m in d.marks if isinstance(m, Text)]


def arrows(d):
    return [np.array(m.points) for m in d.marks if isinstance(m, Fill)]


def test_values_stand_above_their_line(sheet):
    for d in sheet.drawn:
        value = texts(d)[0]
        up = np.array([-math.sin(value.angle_rad), math.cos(value.angle_rad)])
        shelf = next(m for m in d.marks if isinstance(m, Path))
        near = min(
            LineString(polylines(m)).distance(LineString([value.at, np.array(value.at) - 1.2 * up])) for m in [shelf]
        )
        if d.wanted.form in ("linear", "slot", "diameter", "radius", "pitch"):
            assert near < 1e-6, d.caption


def test_words_are_read_from_the_bottom_or_from_the_right(sheet):
    for d in sheet.drawn:
        for t in texts(d):
            turn = math.degrees(t.angle_rad)
            assert -90 < turn <= 90.01
            if d.wanted.form == "linear":
                assert turn > -80  # upright words are read from the right


def test_one_character_height_and_a_smaller_one_for_the_uncertainty(sheet):
    for d in sheet.drawn:
        heights = [t.height_mm for t in texts(d)]
        assert heights in ([3.5], [3.5, 2.5])
        assert set(heights) <= set(HEIGHTS_MM)


def test_each_dimension_stands_once(sheet):
    stated = [(d.wanted.stated.kind, tuple(sorted(d.wanted.stated.labels))) for d in sheet.drawn]
    assert len(set(stated)) == len(stated)


def test_repeats_are_auxiliary_and_in_brackets():
    drawn = sheet_named("slotted bar").drawn
    assert [d.caption.words for d in drawn if d.wanted.auxiliary] == ["(110.00)"]
    assert not any("(" in d.caption.words for d in drawn if not d.wanted.auxiliary)


def test_the_unit_is_not_written(sheet):
    assert not any("mm" in d.caption.words for d in sheet.drawn)


def test_signs_stand_before_the_number(sheet):
    for d in sheet.drawn:
        value = d.caption.value.split("× ")[-1].split(" on ")[-1]
        if d.wanted.form in ("diameter", "pitch"):
            assert value.startswith("\N{DIAMETER SIGN}")
        elif d.wanted.form == "radius":
            assert value.startswith("R")
        elif d.wanted.form == "angle":
            assert value.endswith("\N{DEGREE SIGN}")


def test_arrowheads(sheet):
    for d in sheet.drawn:
        for tip, a, b in arrows(d):
            width = math.dist(a, b)
            length = math.dist(tip, (a + b) / 2)
            assert length >= 3 * width
            assert math.degrees(2 * math.atan(width / 2 / length)) >= 15


def test_dimension_lines_stand_outside_ten_millimetres_off_and_eight_apart(sheet):
    part = Polygon(polylines(sheet.outline[0], 0.01))
    x0, y0, x1, y1 = part.bounds
    for d in sheet.drawn:
        if d.wanted.form != "linear" or min(abs(math.sin(d.angle_rad)), abs(math.cos(d.angle_rad))) > 0.01:
            continue
        x, y = polylines(d.marks[0])[0]
        away = max(x0 - x, x - x1) if abs(math.sin(d.angle_rad)) > 0.5 else max(y0 - y, y - y1)
        steps = (away - 10) / 8
        assert steps >= -0.01
        assert steps == pytest.approx(round(steps), abs=0.02)


def test_extension_lines_leave_a_gap_and_run_past_the_dimension_line(sheet):
    assert GAP_MM == 1.0
    assert OVERSHOOT_MM == 2.0
    part = LineString(polylines(sheet.outline[0], 0.01))
    for d in sheet.drawn:
        if d.wanted.form != "linear":
            continue
        line, *extensions = (m for m in d.marks if isinstance(m, Path))
        dimension = LineString(polylines(line))
        for m in extensions:
            start, end = polylines(m)[[0, -1]]
            assert dimension.distance(LineString([start, end])) < 1e-6
            assert dimension.distance(LineString([end, end])) == pytest.approx(2.0, abs=1e-6)
            if all(len(e.points) > 1 for e in d.wanted.ends):  # from edges, not from centres or corners
                assert part.distance(LineString([start, start])) >= 0.9


def test_line_widths_two_to_one():
    assert WIDE.width_mm == 0.5
    assert NARROW.width_mm == 0.25
    assert WIDE.width_mm / NARROW.width_mm == 2


def test_long_dashed_dotted_line():
    """ISO 128: dashes of 24, gaps of 3 and dots of half a line width (from memory)."""
    assert [x / LONG_DASH_DOT.width_mm for x in LONG_DASH_DOT.dashes_mm] == [24, 3, 0.5, 3]
    assert LONG_DASH_DOT.fitted(100.0).stretch == pytest.approx(1, abs=0.1)


def test_round_features_have_centre_lines(sheet):
    lines = [m for m in sheet.marks if not isinstance(m, Text) and m.layer == "CENTRE"]
    assert lines
    assert all(m.pen.width_mm == 0.25 for m in lines)
    ink = [LineString(polylines(m)) for m in lines]
    for d in sheet.drawn:
        if d.wanted.form == "diameter":
            centre = LineString([d.points[0], d.points[0]])
            assert sum(line.distance(centre) < 0.05 for line in ink) >= 1
