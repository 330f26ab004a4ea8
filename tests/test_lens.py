"""Lens profiles: read from a small JSON file, and refused by name of what is wrong in it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from calib.errors import WrongUsage
from calib.lens.lens import Profile, read_profile

GOOD: dict[str, Any] = {"name": "workshop phone", "radial": 0.012, "radial_sd": 0.002}


def test_a_profile(tmp_path: Path) -> None:
    path = tmp_path / "lens.json"
    path.write_text(json.dumps(GOOD), encoding="utf-8-sig")
    assert read_profile(path) == Profile("workshop phone", 0.012, 0.002)
    path.write_text(json.dumps({**GOOD, "focal_35mm": 26.3, "focal_35mm_sd": 0.2}))
    assert read_profile(path).focal_35mm == 26.3


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"name": ""}, '"name"'),
        ({"radial": None}, '"radial"'),
        ({"radial": "0.012"}, '"radial" must be a number'),
        ({"radial": 7}, '"radial" must be a number from -0.6 to 0.6'),
        ({"radial_sd": 0}, '"radial_sd" must be a number'),
        ({"radial_sd": float("nan")}, '"radial_sd" must be a number'),
        ({"focal_35mm": 26}, "both"),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, change: dict[str, Any], part: str) -> None:
    path = tmp_path / "lens.json"
    path.write_text(json.dumps({**GOOD, **change}))
    with pytest.raises(WrongUsage) as why:
        read_profile(path)
    assert part in why.value.text


@pytest.mark.parametrize("text", ["", "{", "[]", "3", '"x"', "[" * 100_000, "1" * 9_000], ids=lambda t: t[:6])
def test_no_profile_at_all(tmp_path: Path, text: str) -> None:
    (tmp_path / "lens.json").write_text(text)
    with pytest.raises(WrongUsage):
        read_profile(tmp_path / "lens.json")
    with pytest.raises(WrongUsage, match="can't be read"):
        read_profile(tmp_path / "none.json")
