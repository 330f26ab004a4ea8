"""Snap hooks: beam theory done again by numbers, what follows from what, and the command."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from measure.cli.app import app
from measure.cli.run import run
from measure.printing.light_parts import LIGHT_PARTS
from measure.printing.strength import clip
from measure.printing.strength.clip import Hook
from measure.printing.strength.clip_report import cautions, judge, lines, rounded_down
from measure.printing.strength.materials import MATERIALS, with_own

HOOK = Hook(12.0, 1.6, 5.0, 0.8)


@pytest.mark.parametrize(("tip", "expected"), [(1.0, clip.EVEN), (0.5, clip.TAPERED)])
def test_factor_by_integration(tip: float, expected: float) -> None:
    """Virtual work: travel = ∫ M(x)² / (E I(x)) dx / P, strain = M h / (2 E I) at the root."""
    value, _ = quad(lambda x: 2 * (1 - x) ** 2 / (1 - (1 - tip) * x) ** 3, 0, 1)
    assert expected == pytest.approx(value, rel=1e-12)


def test_force_is_that_of_the_beam_formula() -> None:
    """P = 3 E I y / l³, I = b h³ / 12 = 1.7067 mm⁴: 3 · 1600 · 1.7067 · 0.8 / 1728 = 3.793 N."""
    assert clip.deflection_force_n(HOOK, 1600) == pytest.approx(3 * 1600 * (5 * 1.6**3 / 12) * 0.8 / 12**3)
    assert clip.deflection_force_n(HOOK, 1600) == pytest.approx(3.793, abs=0.001)


def test_by_hand() -> None:
    """ε = 1.5 · 1.6 · 0.8 / 144 = 1.333 %; friction 0.5 on 30°: (0.5 + 0.57735) / (1 − 0.28868) = 1.5146."""
    assert clip.strain(HOOK) == pytest.approx(0.013333, abs=1e-6)
    assert clip.mating_factor(30, 0.5) == pytest.approx(1.5146, abs=1e-4)


sizes = st.floats(0.3, 50.0)


@given(sizes, sizes, st.floats(0.05, 5.0), st.floats(0.003, 0.2), st.booleans())
def test_both_ways_round(length: float, thick: float, undercut: float, permissible: float, tapered: bool) -> None:
    """What is found as the limit is strained exactly to the limit."""
    most = clip.most_thick_mm(length, undercut, permissible, tapered)
    least = clip.least_length_mm(thick, undercut, permissible, tapered)
    assert clip.strain(Hook(length, most, 5.0, undercut, tapered)) == pytest.approx(permissible)
    assert clip.strain(Hook(least, thick, 5.0, undercut, tapered)) == pytest.approx(permissible)
    hook = Hook(length, thick, 5.0, undercut, tapered)
    far = Hook(length, thick, 5.0, clip.most_undercut_mm(hook, permissible), tapered)
    assert clip.strain(far) == pytest.approx(permissible)


def test_friction_locks_a_steep_slope() -> None:
    assert clip.locking_angle_deg(0.7) == pytest.approx(55.008, abs=0.001)
    assert clip.mating_factor(54.9, 0.7) > 100
    assert clip.mating_factor(55.1, 0.7) == math.inf
    judged = judge(Hook(12.0, 1.0, 5.0, 0.5, angle_deg=60.0), MATERIALS["abs"])
    assert judged.mating_n is None
    assert "clip-locks" in [code for code, _ in cautions(judged)]


@pytest.mark.parametrize("name", MATERIALS)
@pytest.mark.parametrize("layers", ["along", "across"])
@pytest.mark.parametrize("assemblies", ["one", "many"])
@pytest.mark.parametrize("find", ["thickness", "length"])
def test_what_is_worked_out_holds_and_hardly_more_does(name: str, layers: str, assemblies: str, find: str) -> None:
    j = judge(HOOK, MATERIALS[name], layers, assemblies, find=find)  # type: ignore[arg-type]
    assert j.holds(j.assemblies)
    step = 0.1 if find == "length" or j.hook.thick_mm >= 0.5 else 0.01
    more = {"thickness": j.hook.thick_mm + step, "length": j.hook.length_mm - step}[find]
    worse = Hook(*((12.0, more) if find == "thickness" else (more, 1.6)), 5.0, 0.8)
    assert clip.strain(worse) > j.permissible[j.assemblies]


def test_layers_across_halve_and_say_so() -> None:
    along, across = (judge(HOOK, MATERIALS["petg"], layers) for layers in ("along", "across"))  # type: ignore[arg-type]
    assert across.permissible["one"] == pytest.approx(along.permissible["one"] / 2)
    assert "clip-layers" in [code for code, _ in cautions(across)]
    assert "clip-layers" not in [code for code, _ in cautions(along)]


def test_every_material_says_where_its_figures_are_from() -> None:
    for m in MATERIALS.values():
        assert 0 < m.strain_many <= 0.6 * m.strain_one + 1e-12
        assert m.strain_source
        assert m.modulus_source
        assert m.friction_source


def test_own_figures() -> None:
    own = with_own(MATERIALS["pla"], strain=0.02, modulus_mpa=3000)
    assert (own.strain_one, own.strain_many, own.modulus_mpa) == (0.02, 0.01, 3000)
    assert own.strain_source == own.modulus_source == "your own figure"
    assert own.friction_source == MATERIALS["pla"].friction_source


def test_doubts() -> None:
    codes = [code for code, _ in clip.doubts(Hook(5.0, 2.0, 5.0, 1.5))]
    assert codes == ["clip-short", "clip-far"]
    assert clip.doubts(HOOK) == ()
    assert "clip-thin" in [c for c, _ in cautions(judge(Hook(12.0, 0.6, 5.0, 0.3), MATERIALS["petg"]))]


@pytest.mark.parametrize(("value", "down"), [(1.29, 1.2), (0.499, 0.49), (1.2, 1.2), (-13.72, -13.8), (-13.8, -13.8)])
def test_rounding_is_to_the_safe_side(value: float, down: float) -> None:
    assert rounded_down(value) == pytest.approx(down)


# ---------------------------------------------------------------------------------------------------------- the command
def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["clip", "--length", "12", "--thick", "1,6", "--width", "5mm", "--undercut", "0.8", "--material", "petg"]
    assert run(app, words) == 0
    out, err = capsys.readouterr()
    assert "holds (78% of it)" in out
    assert "BREAKS or stays bent (131% of it)" in out
    assert "at most 1.2 mm thick, or at least 13.8 mm long" in out
    assert LIGHT_PARTS in err
    assert run(app, [*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["holds"] == {"one": True, "many": False}
    assert told["strain"] == pytest.approx(0.013333)
    assert told["cautions"][-1] == {"code": "guide-only", "text": LIGHT_PARTS}


def test_left_out_sizes_are_worked_out(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(app, ["clip", "--length", "12", "--undercut", "0.8", "--material", "petg", "--taper", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["worked_out"] == "thickness"
    assert told["hook"]["thick_mm"] == pytest.approx(2.0)  # 1.0904 · 0.0102 · 144 / 0.8 = 2.002
    assert run(app, ["clip", "--thick", "1.6", "--undercut", "0.8", "--material", "pla", "--assemblies", "one"]) == 0
    assert "13.9 mm long" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "part"),
    [
        ("--undercut 0.8 --material petg", "--length or --thick"),
        ("--length 12 --undercut 0.8 --material wood", "pla, petg, abs"),
        ("--length 12 --undercut x --material pla", "is not a number"),
        ("--length nan --undercut 1 --material pla", "outside 1 to 300"),
        ("--length 12 --thick -1 --undercut 1 --material pla", "outside 0.1 to 30"),
        ("--length 12 --undercut 1 --material pla --angle 90", "outside 1 to 89"),
        ("--length 12 --undercut 1 --material pla --layers up", "along or across"),
        ("--length 12 --undercut 1 --material pla --assemblies 3", "one or many"),
        ("--length 12 --undercut 1", "--material"),
    ],
)
def test_wrong_usage(capsys: pytest.CaptureFixture[str], words: str, part: str) -> None:
    assert run(app, ["clip", *words.split(), "--json"]) == 2
    out, err = capsys.readouterr()
    assert part in json.loads(out)["error"]["text"]
    assert len(err.strip().splitlines()) == 1


def test_the_help_names_every_material(capsys: pytest.CaptureFixture[str]) -> None:
    from measure.cli.clip import MATERIAL_NAMES

    assert ", ".join(MATERIALS) == MATERIAL_NAMES


def test_lines_say_what_would_do_only_where_it_breaks() -> None:
    assert not any("What would do" in x for x in lines(judge(Hook(20.0, 1.0, 5.0, 0.5), MATERIALS["petg"])))
