"""Where a person's own figures are kept between jobs: the folder that the platform has for a program's data."""

from __future__ import annotations

import os
from pathlib import Path


def folder(kind: str, variable: str) -> Path:
    """The folder for one kind of figures; it need not be there.

    Args:
        kind: its name, such as ``printers``.
        variable: environment variable that names another folder.
    """
    from platformdirs import user_data_path

    named = os.environ.get(variable)
    return Path(named) if named else user_data_path("jawline", appauthor=False) / kind
