"""Sheets after ISO 5457 and ISO 7200: the figures come from a secondary source (a code model of ISO 5457).

Filing margin 20 mm, other margins 10 mm, frame line 0.7 mm; on A4 upright the frame is 180 x 277 mm, and so is the
title block 180 mm wide. Sheet sizes: ISO 216.
"""

import pytest

from measure.sheet.layout import frame
from measure.sheet.marks import Path


def test_margins_and_frame():
    paper = frame.Paper("A4", 210, 297)
    x0, y0, x1, y1 = paper.frame
    assert (x0, y0, 210 - x1, 297 - y1) == (20, 10, 10, 10)
    assert (x1 - x0, y1 - y0) == (180, 277)
    assert frame.BLOCK_MM == 180


def test_frame_line():
    border = frame.border(frame.Paper("A4", 210, 297))
    closed = [m for m in border if isinstance(m, Path) and m.closed]
    assert len(closed) == 1
    assert closed[0].pen.width_mm == 0.7


@pytest.mark.parametrize(
    ("name", "sides"),
    [("A4", {210, 297}), ("A3", {297, 420}), ("A2", {420, 594}), ("A1", {594, 841}), ("A0", {841, 1189})],
)
def test_sizes(name, sides):
    assert all({w, h} == sides for n, w, h in frame.PAPER if n == name)


def test_the_title_block_is_as_wide_as_its_fields():
    from measure.dimensioning.dimensioning import plan_dimensions
    from measure.dimensioning.gauging import ListGauge
    from measure.sheet.sheet import Drawing, _title_rows
    from tests.drawn_parts import drawn_parts

    features = drawn_parts()["gusset"]
    rows = _title_rows(Drawing("", features), plan_dimensions(features, ListGauge(features)), "A4", 1)
    assert [sum(f.width_mm for f in row) for row in rows] == [180.0] * len(rows)
