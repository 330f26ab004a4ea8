"""The names that a script wants: all are there, say what they are, and load nothing before they are asked for."""

from __future__ import annotations

import inspect
import os
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import ezdxf
import pytest

import calib
import measure

ROOT = Path(__file__).parent.parent
HEAVY = ("numpy", "cv2", "scipy", "pydantic", "PIL")


@pytest.mark.parametrize("package", [calib, measure], ids=lambda p: p.__name__)
def test_every_name_is_there_and_says_what_it_is(package: ModuleType) -> None:
    assert package.__all__ == sorted(package.__all__)
    for name in package.__all__:
        assert inspect.getdoc(getattr(package, name)), name
    with pytest.raises(AttributeError, match="no attribute 'telescope'"):
        package.telescope  # noqa: B018


def test_a_function_says_what_comes_in_and_what_it_raises() -> None:
    for package in (calib, measure):
        for name in package.__all__:
            thing = getattr(package, name)
            if not inspect.isfunction(thing):
                continue
            said = inspect.getdoc(thing) or ""
            assert "Args:" in said or len(inspect.signature(thing).parameters) == 1, name


def test_importing_the_packages_loads_no_heavy_library() -> None:
    code = f"import sys, calib, measure; print([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_example_of_the_readme_runs(tmp_path: Path) -> None:
    found = re.search(r"```python\n(.*?)```", (ROOT / "README.md").read_text(), re.S)
    assert found
    (tmp_path / "samples").symlink_to(ROOT / "samples")
    script = tmp_path / "example.py"
    script.write_text(found[1])
    command = [sys.executable, str(script)]
    done = subprocess.run(
        command, cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert re.search(r"^distance E1 E\d+ 22\.0\d ± 0\.\d\d mm$", done.stdout, re.M)  # the tongue's reading is 22.01
    drawn = ezdxf.readfile(tmp_path / "latch.dxf")
    assert {e.dxf.layer for e in drawn.modelspace()} >= {"OUTLINE"}
