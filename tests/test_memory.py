"""How much memory a photo takes: an ordinary one of 12 megapixels at most 600 MB, whatever is asked of it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.sample_photos import FOLDER as SAMPLE

ROOT = Path(__file__).parent.parent
MEASURES = """
import re, sys
from pathlib import Path
from measure.cli.app import app
from measure.cli.run import run
assert run(app, sys.argv[1:]) in (0, 1)
print(int(re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]) / 1000)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory is told otherwise elsewhere")
@pytest.mark.parametrize(
    ("folder", "more"),
    [(SAMPLE, ["--thickness", "4.2"]), (SAMPLE.parent / "cable-port", ["--subject", "opening"])],
    ids=["a part", "an opening"],
)
def test_a_trace_of_twelve_megapixels(tmp_path: Path, folder: Path, more: list[str]) -> None:
    """600 MB is what was asked for; about 300 were measured on one computer."""
    words = ["trace", str(folder / "photo.jpg"), *more, "--job", str(tmp_path / "job")]
    command = [sys.executable, "-c", MEASURES, *words]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert float(done.stdout.split()[-1]) < 600
