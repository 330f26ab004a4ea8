"""What killed processes left half-written: the next one that has the folder to itself clears it away."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from pathlib import Path

from calib.files import is_link

_LEFT = re.compile(r"\..*\.\d{1,10}\.part")


def beside(name: str) -> str:
    """What a file or folder is called while this process writes it, beside its place: ``.NAME.PROCESS.part``."""
    return f".{name.lstrip('.')}.{os.getpid()}.part"


def clear_left(folder: Path) -> None:
    """Remove what somebody began to write in a folder and never finished.

    Args:
        folder: nobody else changes it meanwhile; only what lies in it under the names of `beside` is removed.
    """
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if _LEFT.fullmatch(entry.name) and not is_link(entry):
                _remove(entry)


def _remove(entry: os.DirEntry[str]) -> None:
    with contextlib.suppress(OSError):
        if entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry.path)
        else:
            os.unlink(entry.path)
