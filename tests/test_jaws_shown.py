"""Where jaws are drawn: outside jaws beyond what they hold, inside jaws between, on the outline as it is seen."""

from __future__ import annotations

import re

import numpy as np
import pytest

from calib.arrays import Array
from calib.tools.at_hand import AtHand
from measure.geometry.features import Circle, Feature, Line
from measure.job import job, records, view_record
from measure.planning.jaws import Bar, jaw_bars
from measure.planning.planning import Suggestion
from measure.planning.worksheet import worksheet
from measure.sheet.marks import Path, Text
from measure.steps.jaws_shown import jaws_shown
from measure.steps.shown import over_picture
from tests.make_samples import SAMPLES

WIDE_MM, HIGH_MM = 40.0, 20.0
CALIPER = AtHand(150.0, 2.0, 4.0)
CORNERS = [(0.0, 0.0), (WIDE_MM, 0.0), (WIDE_MM, HIGH_MM), (0.0, HIGH_MM)]
PLATE: list[Feature] = [
    *(Line(f"E{i + 1}", 0, CORNERS[i], CORNERS[(i + 1) % 4]) for i in range(4)),
    Circle("D1", 1, (10.0, 10.0), 5.0),
    Circle("D2", 2, (28.0, 10.0), 5.0),
]
NAMED = {f.label: f for f in PLATE}


def bars(kind: str, *labels: str) -> tuple[Bar, ...]:
    return jaw_bars(kind, [NAMED[x] for x in labels], PLATE, caliper=CALIPER)


def box(bar: Bar) -> list[float]:
    return [round(float(v), 3) for v in (*bar.corners.min(0), *bar.corners.max(0))]


def test_outside_jaws_lie_beyond_both_edges() -> None:
    """Over the plate's height of 20, at its middle: 9 mm long, as thick as the jaw's tip."""
    assert sorted(box(b) for b in bars("width", "E1", "E3")) == [[15.5, -4.0, 24.5, 0.0], [15.5, 20.0, 24.5, 24.0]]


def test_inside_jaws_lie_between() -> None:
    """Half as thick as both tips pushed together are: 1 mm."""
    assert sorted(box(b) for b in bars("gap", "E1", "E3")) == [[15.5, 0.0, 24.5, 1.0], [15.5, 19.0, 24.5, 20.0]]


def test_between_two_holes() -> None:
    """The web runs from x = 15 to 23, the span from 5 to 33; in a hole of radius 5 a bar is at most 5 long."""
    assert sorted(box(b) for b in bars("web", "D1", "D2")) == [[11.0, 7.5, 15.0, 12.5], [23.0, 7.5, 27.0, 12.5]]
    assert sorted(box(b) for b in bars("span", "D1", "D2")) == [[5.0, 7.5, 6.0, 12.5], [32.0, 7.5, 33.0, 12.5]]


@pytest.mark.parametrize("labels", [("D1", "E1"), ("E1", "D1")])
def test_between_a_hole_and_an_edge_in_either_order(labels: tuple[str, str]) -> None:
    assert sorted(box(b) for b in bars("web", *labels)) == [[5.5, -4.0, 14.5, 0.0], [7.5, 5.0, 12.5, 9.0]]


def test_in_a_bore_both_are_inside_it() -> None:
    pair = bars("bore", "D1")
    for b in pair:
        assert np.hypot(*(b.at - [10, 10])) == pytest.approx(5)  # they touch the rim
        assert np.hypot(*(b.corners.mean(0) - [10, 10])) < 5
    assert np.hypot(*(pair[0].at - pair[1].at)) == pytest.approx(10)  # across all of it


def test_a_height_is_taken_over_an_edge_and_a_depth_with_the_rod() -> None:
    upper, lower = jaw_bars("thickness", [], PLATE, caliper=CALIPER)
    assert (upper.level, lower.level) == ("upper", "lower")
    x0, y0, x1, y1 = box(upper)
    assert y0 < 0 < y1  # over E1, the longest edge
    assert (x0 + x1) / 2 == WIDE_MM / 2
    beam, rod = jaw_bars("thickness", [], PLATE, "opening", CALIPER)
    assert box(rod)[1] == 0.0  # E1 runs along y = 0, the opening lies above
    assert box(beam)[1] < 0


def test_a_gauge_is_no_jaw() -> None:
    assert bars("radius", "D1") == ()


def test_on_the_photo_they_touch_the_line_as_it_is_drawn() -> None:
    """Each bar's one long side has its middle on the path of the feature that it touches, to the pixel."""
    folder = SAMPLES / "drawer-stop"  # a thick part: the wall's two edges lie far apart
    traced = records.from_text((folder / job.TRACE).read_text(), job.TRACE)
    record = view_record.from_text((folder / job.VIEW).read_text(), job.VIEW)
    outline = [records.feature(f) for f in traced.features]
    paths = {f.label: points(f.path) for f in over_picture(traced, record).drawn.features}
    for kind, labels in (("width", ("E2", "E6")), ("width", ("E1", "E4")), ("bore", ("D1",)), ("web", ("D2", "E1"))):
        shown = jaws_shown(record, kind, labels, outline, "part", CALIPER)
        assert len(shown) == 2
        for jaw, label in zip(shown, labels if len(labels) == 2 else labels * 2, strict=True):
            assert off(points(jaw.path)[:2].mean(0), paths[label]) < 1.5, (kind, label)
            assert not jaw.hidden
    assert [j.hidden for j in jaws_shown(record, "thickness", (), outline, "part", CALIPER)] == [False, True]
    assert jaws_shown(record, "width", ("E2", "E99"), outline, "part", CALIPER) == ()
    assert jaws_shown(record, "width", ("E2", "D1"), outline, "part", CALIPER) == ()


def test_on_the_worksheet_each_reading_has_its_two_jaws_and_a_depth_its_rod() -> None:
    """Closed narrow rings among the dimensions; the depth is the last number, in the table and at the rod."""
    asked = [
        Suggestion("width", ("E1", "E3"), "caliper", 20.0, 0.5, 1),
        Suggestion("bore", ("D1",), "caliper", 10.0, 0.1, 0),
    ]
    for depth in (False, True):
        marks = worksheet("plate", PLATE, asked, "", opening=depth, depth=depth, caliper=CALIPER).marks
        rings = [m for m in marks if isinstance(m, Path) and m.closed and m.layer == "DIMENSIONS"]
        assert len(rings) == 2 * (len(asked) + depth)
        numbers = [m.content for m in marks if isinstance(m, Text)]
        assert [numbers.count(str(n)) for n in (1, 2, 3)] == [2, 2, 2 * depth]


def points(path: str) -> Array:
    return np.array([[float(x), float(y)] for x, y in re.findall(r"([-\d.]+),([-\d.]+)", path)])


def off(p: Array, line: Array) -> float:
    """Distance of a point from a line of points."""
    a, b = line[:-1], line[1:]
    t = np.clip(((p - a) * (b - a)).sum(1) / np.maximum(((b - a) ** 2).sum(1), 1e-9), 0, 1)[:, None]
    return float(np.hypot(*(p - a - t * (b - a)).T).min())
