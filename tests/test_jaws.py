"""Calipers and their files."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import ReadingsRefused
from calib.tools.jaws import TOOLS, bore_shortfall_mm, hollow_rise_mm, read_tools, uncertainty


@given(st.floats(0.5, 50), st.floats(0, 1.5))
def test_shortfall_is_the_chord(diameter: float, flat: float) -> None:
    w = min(flat, 0.9 * diameter)
    chord = diameter - bore_shortfall_mm(diameter, flat)
    assert math.hypot(chord, w) == pytest.approx(diameter)
    assert 0 <= bore_shortfall_mm(diameter, flat) < diameter
    assert hollow_rise_mm(diameter / 2, flat) == pytest.approx(bore_shortfall_mm(diameter, flat) / 2)


@pytest.mark.parametrize("tool", ["caliper", "vernier", "plastic"])
def test_inside_is_less_sure_than_outside_and_long_than_short(tool: str) -> None:
    t = TOOLS[tool]
    assert uncertainty(t, "inside", 20).total_mm > uncertainty(t, "outside", 20).total_mm
    assert uncertainty(t, "outside", 500).total_mm > uncertainty(t, "outside", 20).total_mm


def test_tools_stand_in_the_order_that_people_expect() -> None:
    u = [uncertainty(TOOLS[n], "outside", 30).total_mm for n in ("caliper", "vernier", "plastic")]
    assert u == sorted(u)
    assert 0.012 < u[0] < 0.02  # a digital caliper in a practised hand: common practice
    assert uncertainty(TOOLS["gauge"], "radius", 5.0).total_mm > 0.1


def test_small_radii_have_finer_leaves() -> None:
    gauge = TOOLS["gauge"]
    assert uncertainty(gauge, "radius", 2.0).common_mm < uncertainty(gauge, "radius", 8.0).common_mm


def test_users_own_tools(tmp_path: Path) -> None:
    path = tmp_path / "tools.toml"
    path.write_text(
        "\ufeff[micrometer]\nstep_mm = 0.001\npermissible_mm = 0.004\nhand_mm = 0.003\nzero_mm = 0.002\n"
        '[long]\nstep_mm = 0.02\npermissible_mm = [[300, 0.03], [1000, 0.06]]\nsource = "certificate"\n'
        "[leaves]\nstep_mm = 0.25\npermissible_mm = 0.02\nleaf = true\nzero_mm = 0\n",
        encoding="utf-8",
    )
    tools = read_tools(path)
    assert set(TOOLS) < set(tools)
    assert uncertainty(tools["micrometer"], "outside", 10).total_mm < 0.006
    assert tools["long"].permissible_at(400) == 0.06
    assert tools["long"].source == "certificate"
    assert tools["leaves"].leaf


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("[a\n", "TOML"),
        ("[a]\nstep_mm = 0.01\n", "permissible_mm"),
        ("[a]\npermissible_mm = 0.01\n", "step_mm"),
        ("[a]\nstep_mm = -1\npermissible_mm = 0.02\n", "step_mm"),
        ("[a]\nstep_mm = true\npermissible_mm = 0.02\n", "step_mm"),
        ("[a]\nstep_mm = 0.01\npermissible_mm = [[300, 0.03], [100, 0.02]]\n", "rising"),
        ("[a]\nstep_mm = 0.01\npermissible_mm = 'wide'\n", "permissible_mm"),
        ("[a]\nstep_mm = 0.01\npermissible_mm = 0.02\ncolour = 1\n", "colour"),
        ('["a b"]\nstep_mm = 0.01\npermissible_mm = 0.02\n', "name"),
        ("a = 3\n", "table"),
        ("[a]\nstep_mm = 0.01\npermissible_mm = 0.02\nleaf = 1\n", "leaf"),
    ],
)
def test_tools_files_that_make_no_sense(tmp_path: Path, text: str, word: str) -> None:
    path = tmp_path / "tools.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ReadingsRefused, match=word) as e:
        read_tools(path)
    assert e.value.code == "tools-file"
    assert "\n" not in e.value.text.strip()


def test_a_tools_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ReadingsRefused, match="can't be read"):
        read_tools(tmp_path / "none.toml")
