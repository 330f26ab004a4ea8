"""A bench's private folder goes with it, and what a killed one left behind goes with the next."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from measure.bench.session import Session

STAYS = """
import time
from measure.bench.session import Session
with Session() as session:
    (session.place() / "photo.jpg").write_bytes(b"a card's face")
    print(session.folder, flush=True)
    time.sleep(60)
"""


def test_a_folder_goes_with_its_bench_or_with_the_next_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    root = Path(__file__).parent.parent
    environment = {**os.environ, "TMPDIR": str(tmp_path), "PYTHONPATH": str(root)}
    with subprocess.Popen([sys.executable, "-c", STAYS], env=environment, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        theirs = Path(other.stdout.readline().strip())
        with Session() as own:
            assert own.folder.is_dir()
            assert own.folder.stat().st_mode & 0o077 == 0, "others may look into it"
            assert any(theirs.iterdir()), "a bench that lives has lost its photos"
        assert not own.folder.exists()
        other.send_signal(signal.SIGKILL)
        other.wait(10)
    assert theirs.exists()
    with Session():
        assert not theirs.exists()
    assert os.listdir(tmp_path) == []
