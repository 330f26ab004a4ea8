"""What every sheet has, whatever the outline: part and dimensions on it, no larger than needed, nothing over words."""

from __future__ import annotations

import io
from unittest.mock import patch

import ezdxf
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, example, given, settings

from measure.drawing.dxf import write_dxf
from measure.geometry.features import Arc, Feature, Line, flatten
from measure.geometry.motion import Motion
from measure.geometry.offsetting import scaled
from measure.sheet.layout import frame
from measure.sheet.marks import Text
from measure.sheet.sheet import REDUCED, Drawing, Sheet, sketch
from tests.drawn_parts import drawn_parts, estimate_of
from tests.random_outlines import outlines
from tests.sheet_faults import outside_the_frame, touching_words
from tests.simulated_parts import polygon
from tests.simulated_traces import features_of

MANY = settings(max_examples=25, deadline=None, suppress_health_check=[*HealthCheck])
SAME_MM = 0.3
"""A dimension tells the overall size where its ends lie as near to the rim, together: chosen there."""

_CORNERS = (
    (24.202520617184963, 5.826596929146294),
    (8.08489288612029, 25.761104538042648),
    (-19.620158015081536, 15.216980022810205),
    (-20.796417377973988, 14.008667101258093),
    (-34.46897806233902, -25.043178459173106),
    (-4.95981953654678e-15, -27.0),
)
TILTED = (
    Line("E1", 0, _CORNERS[0], _CORNERS[1]),
    Line("E2", 0, _CORNERS[1], _CORNERS[2]),
    Arc("R1", 0, _CORNERS[2], _CORNERS[3], (-18.908767212332744, 13.347776147957482), 2.0, "ccw"),
    Line("E3", 0, _CORNERS[3], _CORNERS[4]),
    Line("E4", 0, _CORNERS[4], _CORNERS[5]),
    Line("E5", 0, _CORNERS[5], _CORNERS[0]),
)
"""An outline whose fillet's label once lay on an arrowhead."""


def drawn(features: tuple[Feature, ...]) -> Sheet:
    return sketch(Drawing("nobody's part", features, estimate=estimate_of(features), thickness_mm=4.2))


def overall(sheet: Sheet) -> tuple[float, float]:
    """Width and height of the part as it lies on the sheet, in its own millimetres."""
    turned = [Motion(sheet.turn_rad).of(f) for f in sheet.features]
    wide, high = np.ptp(np.concatenate([flatten(f, 0.01) for f in turned]), axis=0)
    return float(wide), float(high)


def told(sheet: Sheet, upright: bool) -> list[float]:
    """Sizes that level or upright dimensions of a sheet state."""
    way = np.pi / 2 if upright else 0.0
    return [
        d.wanted.stated.value
        for d in sheet.drawn
        if d.wanted.form == "linear" and abs(np.sin(d.angle_rad - way)) < 0.02
    ]


@MANY
@example(TILTED)
@given(outlines())
def test_the_part_and_all_that_is_said_of_it_lie_on_the_sheet(features: tuple[Feature, ...]) -> None:
    sheet = drawn(features)
    assert outside_the_frame(sheet) == []
    assert touching_words(sheet) == []
    for size, upright in zip(overall(sheet), (False, True), strict=True):
        assert min(abs(v - size) for v in told(sheet, upright)) < SAME_MM


@MANY
@given(outlines())
def test_no_smaller_sheet_would_hold_it(features: tuple[Feature, ...]) -> None:
    sheet = drawn(features)
    assert (sheet.name, sheet.width_mm, sheet.height_mm) in frame.PAPER
    assert sheet.reduced == 1  # no outline here is larger than the largest sheet
    size = {(n, w, h): i for i, (n, w, h) in enumerate(frame.PAPER)}[sheet.name, sheet.width_mm, sheet.height_mm]
    assume(size)
    with patch.object(frame, "PAPER", frame.PAPER[:size]):
        assert drawn(features).reduced > 1


def test_a_slight_taper_is_told_by_offsets_and_not_by_a_vertex_metres_away() -> None:
    """1.2 degrees between sides of 60 mm: they would meet 2.9 m off (60 mm / tan 1.2 degrees)."""
    features = features_of([polygon([(0, 0, 0), (120, 0, 0), (120, 62.5, 0), (0, 60, 0)])])
    sheet = drawn(features)
    assert sheet.name == "A4"
    assert not any(d.wanted.form == "angle" for d in sheet.drawn)
    said = {round(v, 1) for v in (*told(sheet, True), *told(sheet, False))}
    assert {120.0, 60.0, 62.5} <= said


@pytest.mark.parametrize(("times", "reduced"), [(4.5, 2), (14, 5)])
def test_what_no_sheet_holds_is_drawn_smaller_with_its_own_sizes(times: float, reduced: int) -> None:
    """The long plate is 262 mm long; A0 holds 1149 mm at the most, and the dimensions besides."""
    large = scaled(drawn_parts()["long plate"], times)
    sheet = drawn(large)
    assert sheet.reduced == reduced
    assert reduced in REDUCED
    assert outside_the_frame(sheet) == []
    assert touching_words(sheet) == []
    assert max(told(sheet, False)) == pytest.approx(262 * times)
    words = [m.content for m in sheet.marks if isinstance(m, Text)]
    assert f"1:{reduced}" in words
    assert not any("True size" in w for w in words)
    doc = ezdxf.read(io.StringIO(write_dxf(sheet).decode()))
    outline = [e for e in doc.modelspace().query("LWPOLYLINE") if e.dxf.layer == "OUTLINE"]
    across = np.ptp(np.concatenate([[p[:2] for p in e.get_points()] for e in outline]), axis=0)
    assert across[0] == pytest.approx(262 * times)  # the drawing file is at true size all the same
    for d in doc.modelspace().query("DIMENSION"):
        if d.dxf.dimtype & 7 == 0 and abs(d.dxf.angle) < 1:
            assert abs(d.dxf.defpoint3[0] - d.dxf.defpoint2[0]) == pytest.approx(d.dxf.actual_measurement, abs=0.6)
