"""A bench's own private folder: photos lie there on their way, and go with it."""

from __future__ import annotations

import os
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from bench.shelf import is_running

PREFIX = "jawline-bench-"
"""What the folders of sessions are called, followed by the process they are of."""


@dataclass(slots=True)
class Session:
    """From the start of a bench to its end. Use as a context.

    Attributes:
        folder: goes when the bench ends.
    """

    folder: Path = field(init=False)

    def __enter__(self) -> Session:
        forget_dead_sessions()
        self.folder = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-"))
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    def place(self) -> Path:
        """A new empty folder in it."""
        return Path(tempfile.mkdtemp(dir=self.folder))


def forget_dead_sessions() -> None:
    """Remove what a bench left behind that was killed: photos whose cards nobody could hide may be among it."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*-*"):
        pid = folder.name.removeprefix(PREFIX).split("-")[0]
        if pid.isdecimal() and not is_running(int(pid)) and not folder.is_symlink():
            shutil.rmtree(folder, ignore_errors=True)
