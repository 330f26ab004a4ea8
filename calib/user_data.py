"""Where a person's own figures are kept between jobs: the folder that the platform has for a program's data."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def folder(kind: str, variable: str) -> Path:
    """The folder for one kind of figures; it need not be there.

    Args:
        kind: its name, such as ``printers``.
        variable: environment variable that names another folder.
    """
    named = os.environ.get(variable)
    if named:
        return Path(named)
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "jawline" / kind
