"""DIN 862: permissible errors of calipers, as a trade sheet of the standard prints them (micrometres).

The jaw effect is geometry; the comparison values for it are calculated here. A maker's guide's figures are from memory.
"""

import math

import pytest

from calib.tools.jaws import TOOLS, bore_shortfall_mm, uncertainty

DIGITAL = {50: 20, 100: 20, 200: 30, 300: 30, 400: 30, 500: 30, 600: 30, 700: 40, 800: 40, 900: 40, 1000: 40}
VERNIER = {50: 50, 100: 50, 200: 50, 300: 50, 400: 60, 500: 70, 600: 80, 700: 90, 800: 100, 900: 110, 1000: 120}


@pytest.mark.parametrize(("tool", "table"), [("caliper", DIGITAL), ("vernier", VERNIER)])
def test_permissible_errors(tool: str, table: dict[int, int]) -> None:
    for length_mm, limit_um in table.items():
        assert TOOLS[tool].permissible_at(length_mm) * 1000 == pytest.approx(limit_um)


def test_inside_readings_may_be_20_um_further_off() -> None:
    assert TOOLS["caliper"].inside_extra_mm == 0.02
    assert TOOLS["vernier"].inside_extra_mm == 0.02


def test_standard_uncertainty_is_the_limit_over_root_three_at_least() -> None:
    """Type B: ± 20 µm → 11.5 µm, ± 40 µm → 23.1 µm; with the zero's share back in, and the hand's on top."""
    tool = TOOLS["caliper"]
    for touch, limit_um in (("outside", 11.547), ("inside", 23.094)):
        u = uncertainty(tool, touch, 50.0)  # type: ignore[arg-type]
        scale_um = math.hypot(u.common_mm, tool.zero_mm) * 1000
        assert scale_um >= limit_um - 1e-3
        assert scale_um < limit_um * 1.06
        assert u.single_mm**2 == pytest.approx(0.0029**2 + tool.hand_mm**2, rel=0.01)


SHORTFALL = {
    3: {0.2: 0.0067, 0.3: 0.0150, 0.5: 0.0420, 0.7: 0.0828, 1.0: 0.1716},
    5: {0.2: 0.0040, 0.3: 0.0090, 0.5: 0.0251, 0.7: 0.0492, 1.0: 0.1010},
    8: {0.2: 0.0025, 0.3: 0.0056, 0.5: 0.0156, 0.7: 0.0307, 1.0: 0.0627},
    10: {0.2: 0.0020, 0.3: 0.0045, 0.5: 0.0125, 0.7: 0.0245, 1.0: 0.0501},
}


def test_inside_jaws_in_a_small_hole() -> None:
    """D − √(D² − w²), calculated."""
    for diameter, row in SHORTFALL.items():
        for flat, shortfall in row.items():
            assert bore_shortfall_mm(diameter, flat) == pytest.approx(shortfall, abs=6e-5)


def test_makers_guide_from_memory() -> None:
    """From memory: D = 5 mm, flats of 0.3, 0.5, 0.7 mm: 9, 26, 47 µm."""
    for flat, um in ((0.3, 9), (0.5, 26), (0.7, 47)):
        assert bore_shortfall_mm(5.0, flat) * 1000 == pytest.approx(um, abs=2.5)
