"""What holds for all tests."""

import os
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is there: the command's own setting, in `measure/cli`

from calib.lens import store as lens_store
from calib.tools import at_hand


@pytest.fixture(autouse=True)
def no_kept_lenses(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Whoever runs the tests may keep lens profiles: they must not take part."""
    folder = tmp_path_factory.getbasetemp() / "no-lenses"
    monkeypatch.setenv(lens_store.VARIABLE, str(folder))
    return folder


@pytest.fixture(autouse=True)
def pocket_caliper(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Nor may the caliper that they have told of, nor their printers."""
    folder = tmp_path / "caliper"
    monkeypatch.setenv(at_hand.VARIABLE, str(folder))
    monkeypatch.setenv("JAWLINE_PRINTERS", str(tmp_path / "printers"))
    return folder
