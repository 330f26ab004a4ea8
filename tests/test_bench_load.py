"""Several owners at once, a smaller version of `tests.benchmarks.bench_load`."""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median

import pytest

from tests.benchmarks.bench_load import loaded
from tests.sample_photos import middle, save


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from /proc")
def test_each_owner_gets_an_answer_while_the_fixer_works_on(tmp_path: Path) -> None:
    photo = save(middle().rgb, tmp_path / "x.jpg").read_bytes()
    found = loaded([photo + bytes([k]) for k in range(3)])
    assert [status for status, _ in found.answers] == [200] * 3
    assert 20 < found.idle_mb < found.most_mb < 2000
    assert median(found.fixer_s) < 1.0
