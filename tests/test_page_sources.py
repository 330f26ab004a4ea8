"""The page's own sources: short lines, one dark palette, and types that are those of what the bench answers.

What these tests don't see is looked over by the linter and the type check in `.ci/web`.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

import measure.bench as page
from tests.benches import bench, plate, width

FOLDER = Path(page.__file__).parent
SOURCES = sorted(p for part in ("static", "templates") for p in (FOLDER / part).iterdir() if p.suffix != ".svg")


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: p.name)
def test_no_line_is_longer_than_the_others_of_the_project(path: Path) -> None:
    assert [n for n, line in enumerate(path.read_text().splitlines(), 1) if len(line) > 120] == []


def test_each_colour_is_said_once_for_a_look() -> None:
    said = [
        name for p in SOURCES if p.suffix == ".css" for name in re.findall(r"^\s*(--[a-z-]+):", p.read_text(), re.M)
    ]
    assert "--ground" in said
    assert max(map(said.count, said)) == 2  # light and dark


def properties(name: str) -> set[str]:
    """Those of a type in `types.js` that are always there."""
    block = re.search(rf"@typedef {{object}} {name}\b(.*?)\*/", (FOLDER / "static" / "types.js").read_text(), re.S)
    assert block, name
    return set(re.findall(r"@property {.*} (\w+)", block[1]))


def test_the_types_are_those_of_what_is_answered(tmp_path: Path) -> None:
    with bench(plate(tmp_path)) as client:
        state: dict[str, Any] = client.post("/api/jobs/plate/readings", json=width("60.0")).json()
    assert properties("State") <= state.keys()
    for name, found in (("Feature", "features"), ("Dimension", "dimensions"), ("Reading", "readings")):
        assert properties(name) <= state[found][0].keys(), name
